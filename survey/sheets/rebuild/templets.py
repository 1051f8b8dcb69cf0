"""The templet sheets: every new piece at full size, with its widths, depth, bevels and courses."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan, Templet
from survey.rebuild.words import counted
from survey.record.model import Record
from survey.sheets.drawing import (
    XY,
    Anchor,
    Box,
    Dash,
    Dimension,
    Drawing,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Sheet,
    Text,
)
from survey.sheets.kit import ink
from survey.sheets.kit.caution_print import in_caution_print
from survey.sheets.kit.furniture import cautions, cautions_height_mm, check_bar, refusal_banner
from survey.sheets.kit.lettering import wrap
from survey.sheets.kit.page import Page, Paper, TitleBlock, finish, left_text
from survey.sheets.kit.schedule import LEADING_RATIO, figure
from survey.sheets.kit.tiling import tile, tile_pages
from survey.sheets.rebuild.cutting import what_it_is
from survey.sheets.report.tables import course_runs

NAME = "templets"
_TITLE = "Templets, full size"
_NOTHING = "No new brick is needed: every brick stands or goes back."
_GAP_MM = 4.0
_LEFT_MM, _RIGHT_MM = 12.0, 7.0
"""Left of a piece for its depth dimension, and right of it for the bevel."""
_HEAD_MM, _FOOT_MM = 16.0, 9.0
"""Above a piece for its name and upper width, and below it for the lower width."""
_LEAST_CELL_MM = 78.0
"""Narrowest place of a piece, so that its words do not run down in a column."""
_BAR_MM = 11.0
_WORDS_LINE_MM = ink.TEXT_MM * LEADING_RATIO


@dataclass(frozen=True, slots=True)
class _Cell:
    """A piece with its words and the paper it takes."""

    templet: Templet
    words: tuple[str, ...]
    width: float
    height: float


def templet_sheets(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    """Pieces at 1 : 1 on as many pages as they need; pieces too long for a page as tiles to be joined."""
    del fit  # every set of the rebuild is made from the same three
    pages = in_caution_print(lambda size: _sheets(record, plan, size), lambda pages: (len(pages),))
    return finish(pages, TitleBlock.of(record))


def _sheets(record: Record, plan: RebuildPlan, caution_mm: float) -> list[Page]:
    """The pages with the cautions in one print."""
    paper = _paper(plan.templets)
    area = paper.area
    banner, banner_height = refusal_banner(plan.refusals, area)
    caution_height = cautions_height_mm(plan.cautions, area.width, n_columns=2, height_mm=caution_mm)
    caution_box = Box(area.left, area.bottom + _BAR_MM + 4.0, area.width, caution_height)
    first = Box(
        area.left,
        caution_box.top + _GAP_MM,
        area.width,
        area.top - banner_height - caution_box.top - _GAP_MM,
    )
    later = Box(
        area.left, area.bottom + _BAR_MM + 4.0, area.width, area.height - banner_height - _BAR_MM - 4.0
    )
    cells = [_cell(plan, templet, area.width) for templet in plan.templets]
    fitting = [cell for cell in cells if cell.height <= later.height]
    pages: list[Page] = []
    for number, placed in enumerate(_pages(fitting, first, later)):
        marks: list[Primitive] = [*banner, *check_bar((area.left, area.bottom + 2.0))]
        if number == 0:
            marks += cautions(plan.cautions, caution_box, n_columns=2, height_mm=caution_mm)
        if not cells:
            marks.append(left_text((area.left, first.top - 6.0), _NOTHING))
        for cell, corner in placed:
            marks += _words(cell, corner)
        drawings = tuple(_placed(cell, corner) for cell, corner in placed)
        pages.append(Page(NAME, _TITLE, tuple(marks), drawings, 1.0, paper))
    for cell in cells:
        if cell not in fitting:
            pages += _tiles(record, cell.templet, refused=bool(plan.refusals))
    return pages


def _paper(templets: Sequence[Templet]) -> Paper:
    """A4 where the deepest piece stands on it, else A3."""
    need = max((t.depth_mm for t in templets), default=0.0) + _HEAD_MM + _FOOT_MM + 6 * _WORDS_LINE_MM
    return Paper.A4_PORTRAIT if need <= Paper.A4_PORTRAIT.area.height - _BAR_MM - 4.0 else Paper.A3_PORTRAIT


def _cell(plan: RebuildPlan, templet: Templet, most: float) -> _Cell:
    """How much paper a piece takes with its words."""
    wide = max(templet.width_intrados_mm, templet.width_extrados_mm) + _LEFT_MM + _RIGHT_MM
    width = min(max(wide, _LEAST_CELL_MM), most)
    words = _sentences(plan, templet)
    lines = tuple(line for sentence in words for line in wrap(sentence, width - 2.0, ink.TEXT_MM))
    height = templet.depth_mm + _HEAD_MM + _FOOT_MM + len(lines) * _WORDS_LINE_MM
    return _Cell(templet, lines, width, height)


def _sentences(plan: RebuildPlan, templet: Templet) -> tuple[str, ...]:
    """What is said below a piece: how many are still to cut and for which courses, how many are laid."""
    places = plan.still_to_cut(templet)
    laid = templet.count - len(places)
    runs = course_runs(places).replace(": ", ": courses ").replace("; ", "; ring ")
    said = [f"{counted(len(places), 'piece')}, {what_it_is(templet)}{f'; ring {runs}' if runs else ''}"]
    if laid:
        said.append(f"{laid} laid already" if places else f"none to cut: {laid} laid already")
    if templet.bevel_rad > 1e-4:
        per_hundred = figure(100.0 * math.tan(templet.bevel_rad), 1)
        said.append(f"each side {per_hundred} off square over 100 of depth")
    if templet.joint_error_mm >= 0.05:
        said.append(f"a joint may be {figure(templet.joint_error_mm, 1)} off for sharing it")
    if templet.soffit_step_mm >= 0.1:
        said.append(f"lay to the beds: a soffit arris may stand {figure(templet.soffit_step_mm, 1)} off")
    return tuple(said)


def _pages(cells: Sequence[_Cell], first: Box, later: Box) -> Iterator[list[tuple[_Cell, XY]]]:
    """Cells in rows from the top left, page by page, each with its upper left corner; at least one page."""
    box = first
    page: list[tuple[_Cell, XY]] = []
    x, y, row = box.left, box.top, 0.0
    for cell in cells:
        if x + cell.width > box.right + 1e-6 and x > box.left:
            x, y, row = box.left, y - row - _GAP_MM, 0.0
        if y - cell.height < box.bottom - 1e-6:
            yield page
            box, page = later, []
            x, y, row = box.left, box.top, 0.0
        page.append((cell, (x, y)))
        x += cell.width + _GAP_MM
        row = max(row, cell.height)
    yield page


def _placed(cell: _Cell, corner: XY) -> Placed:
    """The piece at 1 : 1, with room for its depth on the left."""
    half = max(cell.templet.width_intrados_mm, cell.templet.width_extrados_mm) / 2
    foot = (corner[0] + _LEFT_MM + half, corner[1] - _HEAD_MM - cell.templet.depth_mm)
    return Placed(templet_drawing(cell.templet), (0.0, 0.0), foot, 1.0)


def _words(cell: _Cell, corner: XY) -> list[Text]:
    """Name above, sentences below."""
    x, top = corner
    y = top - cell.height + len(cell.words) * _WORDS_LINE_MM
    lines = [
        Text((x + 1.0, y - (k + 1) * _WORDS_LINE_MM + 1.0), line, ink.TEXT_MM, ink.letters())
        for k, line in enumerate(cell.words)
    ]
    name = Text((x + 1.0, top - 6.0), cell.templet.name, 6.0, ink.letters(), bold=True)
    return [name, *lines]


def templet_drawing(templet: Templet) -> Drawing:
    """One piece in model millimetres: outline, middle line, dimensions and bevel; the soffit is at the
    foot."""
    a, b, d = templet.width_intrados_mm / 2, templet.width_extrados_mm / 2, templet.depth_mm
    pen = ink.pen(Layer.DIMENSION, ink.FINE_MM)
    outline = ((-a, 0.0), (a, 0.0), (b, d), (-b, d))
    widest = max(a, b)
    side = math.atan2(d, b - a)
    bevel = figure(math.degrees(templet.bevel_rad), 2)
    marks: list[Primitive] = [
        Polyline(
            outline,
            ink.area(Layer.BRICK_NEW, width_mm=ink.BOLD_MM),
            closed=True,
            tag=f"templet-{templet.name}",
        ),
        Line((0.0, 0.0), (0.0, d), ink.pen(Layer.SETTING_OUT, ink.HAIR_MM, dash=Dash.CHAIN)),
        Dimension((-a, 0.0), (a, 0.0), figure(2 * a, 1), -4.5, pen),
        Dimension((-b, d), (b, d), figure(2 * b, 1), 4.5, pen),
        Dimension((-widest, 0.0), (-widest, d), figure(d, 1), 7.0, pen),
        Text(
            (0.0, d * 0.55),
            templet.name,
            min(9.0, 0.3 * a + 2.0),
            ink.letters(),
            Anchor.MIDDLE,
            bold=True,
            backed=True,
        ),
        Text((0.0, 2.0), "soffit", ink.TEXT_MM, ink.letters(), Anchor.MIDDLE, backed=True),
        Text((0.0, d - 2.0 - ink.TEXT_MM), "back", ink.TEXT_MM, ink.letters(), Anchor.MIDDLE, backed=True),
    ]
    if templet.bevel_rad > 1e-4:
        middle = ((a + b) / 2 + 4.5, d / 2)
        words = f"bevel {bevel}°"
        marks.append(Text(middle, words, ink.TEXT_MM, ink.letters(Layer.DIMENSION), Anchor.MIDDLE, side))
        square = ink.pen(Layer.DIMENSION, ink.HAIR_MM, dash=Dash.DASHED)
        marks.append(Line((a, 0.0), (a, d), square))
    return Drawing(f"templet_{templet.name}", tuple(marks))


def _tiles(record: Record, templet: Templet, *, refused: bool) -> tuple[Page, ...]:
    """A piece longer than a page in tiles."""
    drawing = templet_drawing(templet)
    tiling = tile(drawing, (Paper.A3_PORTRAIT, Paper.A3_LANDSCAPE), refused=refused)
    title = f"{_TITLE}: {templet.name}"
    return tile_pages(drawing, tiling, name=NAME, title=title, arch=record.name)
