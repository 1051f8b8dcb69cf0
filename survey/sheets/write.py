"""Writing drawings and reports, every file whole or not at all."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from survey.condition.result import DeviationMap
from survey.files import safe_file_name, write_whole
from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan
from survey.record.model import Record
from survey.sheets.drawing import Placed, Sheet
from survey.sheets.dxf import render_dxf
from survey.sheets.pdf import render_pdf
from survey.sheets.registry import MadeSet, make_deviation_sets, make_fit_sets, make_rebuild_sets
from survey.sheets.report import ReportInput, report_sections
from survey.sheets.report_html import render_report_html
from survey.sheets.report_pdf import report_sheets
from survey.sheets.svg import render_drawing_svg, render_svg

DRAWINGS = "drawings"


def write_fit_sheets(record: Record, fit: ArchFit, folder: Path) -> tuple[Path, ...]:
    """Write the sheets of the survey and the fit into ``folder/drawings``."""
    return _write_sets(make_fit_sets(record, fit), folder)


def write_deviation_sheets(
    record: Record, fit: ArchFit, map_: DeviationMap, folder: Path
) -> tuple[Path, ...]:
    """Write the sheets of the condition into ``folder/drawings``."""
    return _write_sets(make_deviation_sets(record, fit, map_), folder)


def write_rebuild_sheets(record: Record, fit: ArchFit, plan: RebuildPlan, folder: Path) -> tuple[Path, ...]:
    """Write the sheets of the rebuild into ``folder/drawings``."""
    return _write_sets(make_rebuild_sets(record, fit, plan), folder)


def write_sheets(
    record: Record, fit: ArchFit, map_: DeviationMap, plan: RebuildPlan, folder: Path
) -> tuple[Path, ...]:
    """Write every drawing as PDF, SVG and DXF, then report.html and report.pdf.

    Parameters
    ----------
    record, fit, map_, plan
        One arch through all rooms.
    folder : Path
        Made if missing; drawings go into its folder ``drawings``.

    Returns
    -------
    tuple of Path
        Every file written, the reports last.
    """
    sets = (
        *make_fit_sets(record, fit),
        *make_deviation_sets(record, fit, map_),
        *make_rebuild_sets(record, fit, plan),
    )
    paths = list(_write_sets(sets, folder))
    given = ReportInput(record, fit, map_, plan)
    sections = report_sections(given, sets)
    paths.append(write_whole(folder / "report.html", render_report_html(given, sections)))
    title = f"Report: {record.name}"
    paths.append(write_whole(folder / "report.pdf", render_pdf(report_sheets(given, sections), title=title)))
    return tuple(paths)


def _write_sets(sets: Iterable[MadeSet], folder: Path) -> tuple[Path, ...]:
    """One PDF a set, one SVG a drawn page, one DXF a drawing."""
    target = folder / DRAWINGS
    paths: list[Path] = []
    written: set[str] = set()
    for made in sets:
        paths.append(write_whole(target / f"{safe_file_name(made.name)}.pdf", render_pdf(made.sheets)))
        if not made.tiled:
            paths.extend(_write_svg(sheet, target) for sheet in made.sheets if sheet.placed)
        for placed in _drawings(made):
            name = safe_file_name(placed.drawing.name)
            if name in written:
                continue
            written.add(name)
            text = render_dxf(placed.drawing, scale=placed.scale)
            paths.append(write_whole(target / f"{name}.dxf", text))
            if made.tiled:
                whole = render_drawing_svg(placed.drawing, scale=placed.scale, title=made.sheets[0].title)
                paths.append(write_whole(target / f"{name}.svg", whole))
    return tuple(paths)


def _write_svg(sheet: Sheet, target: Path) -> Path:
    return write_whole(target / f"{safe_file_name(sheet.name)}.svg", render_svg(sheet))


def _drawings(made: MadeSet) -> Iterable[Placed]:
    """Drawings of a set at the scale they are placed at; of a tiled set those at full size."""
    for sheet in made.sheets:
        for placed in sheet.placed:
            if not made.tiled or placed.scale == 1.0:
                yield placed
