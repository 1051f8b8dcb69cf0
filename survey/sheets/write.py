"""Writing drawings and reports, every file whole or not at all.

Each function imports what its own stage draws, so that a command which only fits does not wait for the rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from survey.files import safe_file_name, write_whole
from survey.rebuild.cautions import NOT_TO_BE_BUILT
from survey.sheets.drawing import Drawing, Layer, Placed, Text
from survey.sheets.kit import ink
from survey.sheets.kit.placing import extent, on_paper
from survey.sheets.render.pdf import render_pdf
from survey.sheets.render.svg import render_drawing_svg, render_svg
from survey.sheets.sheet_set import MadeSet

if TYPE_CHECKING:
    from survey.condition.comparing.compare import Comparison
    from survey.condition.result import DeviationMap
    from survey.fitting.result import ArchFit
    from survey.rebuild.plan import RebuildPlan
    from survey.record.model import Record

DRAWINGS = "drawings"


def write_fit_sheets(record: Record, fit: ArchFit, folder: Path) -> tuple[Path, ...]:
    """Write the sheets of the fit into ``folder/drawings`` as PDF and SVG."""
    from survey.sheets.fit.sets import FIT_SETS, make_fit_sets

    paths = tuple(_write_pages(make_fit_sets(record, fit), folder))
    _drop_older((s.name for s in FIT_SETS), folder, paths)
    return paths


def write_deviation_sheets(
    record: Record, fit: ArchFit, map_: DeviationMap, folder: Path
) -> tuple[Path, ...]:
    """Write the sheets of the condition into ``folder/drawings`` as PDF and SVG."""
    from survey.sheets.condition.sets import DEVIATION_SETS, make_deviation_sets

    paths = tuple(_write_pages(make_deviation_sets(record, fit, map_), folder))
    _drop_older((s.name for s in DEVIATION_SETS), folder, paths)
    return paths


def write_rebuild_sheets(record: Record, fit: ArchFit, plan: RebuildPlan, folder: Path) -> tuple[Path, ...]:
    """Write the sheets of the rebuild into ``folder/drawings`` as PDF, SVG and DXF."""
    from survey.sheets.rebuild.sets import REBUILD_SETS, make_rebuild_sets

    sets = make_rebuild_sets(record, fit, plan)
    paths = (*_write_pages(sets, folder), *_write_drawings(sets, folder, plan.refusals))
    _drop_older((s.name for s in REBUILD_SETS), folder, paths)
    return paths


def write_comparison_sheets(
    earlier: Record, later: Record, comparison: Comparison, folder: Path, *, fit_earlier: ArchFit
) -> tuple[Path, ...]:
    """Write the sheets of two surveys compared into ``folder/drawings`` as PDF and SVG."""
    from survey.sheets.condition.comparison_sheet import comparison_sheet
    from survey.sheets.sheet_set import Part

    sheets = comparison_sheet(earlier, later, comparison, fit_a=fit_earlier)
    paths = tuple(_write_pages([MadeSet("comparison", sheets, Part.CONDITION, tiled=False)], folder))
    _drop_older(["comparison"], folder, paths)
    return paths


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
    from survey.sheets.condition.sets import DEVIATION_SETS, make_deviation_sets
    from survey.sheets.fit.sets import FIT_SETS, make_fit_sets
    from survey.sheets.rebuild.sets import REBUILD_SETS, make_rebuild_sets
    from survey.sheets.record.sets import RECORD_SETS, make_record_sets
    from survey.sheets.report.html import render_report_html
    from survey.sheets.report.pdf import report_sheets
    from survey.sheets.report.report import ReportInput, report_sections

    sets = (
        *make_record_sets(record),
        *make_fit_sets(record, fit),
        *make_deviation_sets(record, fit, map_),
        *make_rebuild_sets(record, fit, plan),
    )
    paths = [*_write_pages(sets, folder), *_write_drawings(sets, folder, plan.refusals)]
    known = (RECORD_SETS, FIT_SETS, DEVIATION_SETS, REBUILD_SETS)
    _drop_older((s.name for stage in known for s in stage), folder, paths)
    given = ReportInput(record, fit, map_, plan)
    sections = report_sections(given, sets)
    paths.append(write_whole(folder / "report.html", render_report_html(given, sections)))
    title = f"Report: {record.name}"
    paths.append(write_whole(folder / "report.pdf", render_pdf(report_sheets(given, sections), title=title)))
    return tuple(paths)


def _write_pages(sets: Iterable[MadeSet], folder: Path) -> list[Path]:
    """One PDF a set, one SVG a drawn page; a tiled set has its whole drawing as one SVG instead."""
    target = folder / DRAWINGS
    paths: list[Path] = []
    for made in sets:
        paths.append(write_whole(target / f"{safe_file_name(made.name)}.pdf", render_pdf(made.sheets)))
        for sheet in made.sheets:
            if sheet.placed and not made.tiled:
                paths.append(write_whole(target / f"{safe_file_name(sheet.name)}.svg", render_svg(sheet)))
    return paths


def _write_drawings(sets: Iterable[MadeSet], folder: Path, refusals: Sequence[str]) -> list[Path]:
    """One DXF a drawing, and one full-size SVG a tiled drawing, each once, with the refusals of its plan."""
    from survey.sheets.render.dxf import render_dxf

    target = folder / DRAWINGS
    written: dict[str, Path] = {}
    for made in sets:
        for placed in _drawings(made):
            name = safe_file_name(placed.drawing.name)
            if name in written:
                continue
            drawing = refused_drawing(placed.drawing, refusals, placed.scale)
            text = render_dxf(drawing, scale=placed.scale)
            written[name] = write_whole(target / f"{name}.dxf", text)
            if made.tiled:
                whole = render_drawing_svg(drawing, scale=placed.scale, title=made.sheets[0].title)
                written[f"{name} whole"] = write_whole(target / f"{name}.svg", whole)
    return list(written.values())


def refused_drawing(drawing: Drawing, refusals: Sequence[str], scale: float) -> Drawing:
    """A drawing with the refusals of its plan below it in large print; the same drawing where it holds."""
    if not refusals:
        return drawing
    bounds = extent(on_paper(Placed(drawing, (0.0, 0.0), (0.0, 0.0), scale)))
    style = ink.letters(Layer.CAUTION)
    words = [(NOT_TO_BE_BUILT, 8.0), *((refusal, ink.HEAD_MM) for refusal in refusals)]
    marks: list[Text] = []
    y = bounds.bottom - 6.0
    for text, height in words:
        y -= 1.75 * height
        marks.append(Text((bounds.left * scale, y * scale), text, height, style, bold=not marks))
    return replace(drawing, primitives=(*drawing.primitives, *marks))


def _drop_older(names: Iterable[str], folder: Path, written: Iterable[Path]) -> None:
    """Take away the pages and templets of an earlier run in the same folder that this run has not.

    Nobody shall cut bricks to an older plan's templets, or take an older sheet for one of this plan. Only
    files named as the pages of these sets are touched.

    Parameters
    ----------
    names : iterable of str
        Names of all sets of the stages just written, those left out this time included.
    """
    kept = set(written)
    stems = {safe_file_name(name) for name in names}
    for path in (folder / DRAWINGS).glob("*.*"):
        stem, _, number = path.stem.rpartition("_")
        page = path.suffix in (".pdf", ".svg") and path.stem in stems
        numbered = path.suffix == ".svg" and stem in stems and number.isdecimal()
        templet = "templets" in stems and stem == "templet"
        if (page or numbered or templet) and path not in kept:
            path.unlink()


def _drawings(made: MadeSet) -> Iterable[Placed]:
    """Drawings of a set at the scale they are placed at; of a tiled set those at full size."""
    for sheet in made.sheets:
        for placed in sheet.placed:
            if not made.tiled or placed.scale == 1.0:
                yield placed
