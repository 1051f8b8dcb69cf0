"""A drawing at 1 : 1 parted over pages to be joined: match lines, crosses, and check bars on every page."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.curves.protocol import Floats
from survey.sheets.drawing import (
    XY,
    Anchor,
    Arc,
    Box,
    Circle,
    Dash,
    Drawing,
    EllipticArc,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Text,
)
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import check_bar, rectangle, refused_band, refused_letters
from survey.sheets.kit.lettering import shorten, text_corners, text_width_mm
from survey.sheets.kit.page import Page, Paper
from survey.sheets.kit.placing import Mark, arc_points, exploded, sweep_rad

OVERLAP_MM = 16.0
"""Neighbouring tiles both show a strip this wide; the match line runs along its middle."""
_MARGIN_MM = 7.0
"""Few printers leave more than this blank."""
_GUTTER_LEFT_MM, _GUTTER_MM, _FOOT_MM = 10.0, 4.5, 17.0
"""Strips outside the tile's window for the upright check bar, the neighbours' names, and the foot."""
_REFUSED_MM = 10.0
"""Height of the black field over every tile of a plan that must not be built from."""
_NAME_MM = 7.0
"""Capital height of a tile's name."""
_SAMPLE_MM = 4.0
"""Lines and arcs are walked in steps no longer than this to see which tiles they touch."""
_ROWS = 1_000_000
"""More rows than any drawing has, to hold row and column of a cell in one number."""
_SHIFTS = 8
"""Positions of the grid tried along each axis for the fewest tiles."""


@dataclass(frozen=True, slots=True)
class Tile:
    """One page's share of the drawing: row 0 at the top, column 0 at the left, cell in model millimetres."""

    row: int
    column: int
    cell: Box

    @property
    def name(self) -> str:
        """Row letter and column number, such as B3."""
        return f"{row_letters(self.row)}{self.column + 1}"


@dataclass(frozen=True, slots=True)
class Tiling:
    """Tiles that together show the whole drawing, row by row; empty ones are left out."""

    paper: Paper
    landscape: bool
    tiles: tuple[Tile, ...]
    refused: bool = False
    """True when the plan must not be built from: every tile then says so along its head."""

    def at(self, row: int, column: int) -> Tile | None:
        """The tile in a place of the grid, None where it is left out."""
        return next((t for t in self.tiles if t.row == row and t.column == column), None)


def row_letters(row: int) -> str:
    """A, B … Z, AA, AB …

    Examples
    --------
    >>> row_letters(0), row_letters(25), row_letters(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    row += 1
    while row:
        row, digit = divmod(row - 1, 26)
        letters = chr(65 + digit) + letters
    return letters


def window(paper: Paper, *, refused: bool = False) -> Box:
    """Part of a page that shows the drawing, on paper; less where a refusal stands above it."""
    width, height = paper.value
    left, bottom = _MARGIN_MM + _GUTTER_LEFT_MM, _MARGIN_MM + _FOOT_MM
    head = _GUTTER_MM + (_REFUSED_MM if refused else 0.0)
    return Box(left, bottom, width - left - _MARGIN_MM - _GUTTER_MM, height - bottom - _MARGIN_MM - head)


def tile(drawing: Drawing, papers: tuple[Paper, ...], *, refused: bool = False) -> Tiling:
    """Part a drawing at 1 : 1 over the fewest pages of one of the papers given.

    Parameters
    ----------
    drawing : Drawing
    papers : tuple of Paper
        Upright and lengthwise form of one size; the one that needs fewer tiles is taken, the first of equals.
    refused : bool
        True when the plan must not be built from; the tiles then keep room to say so.
    """
    points = _samples(exploded(drawing.primitives))
    found = [_parted(points, paper, refused=refused) for paper in papers]
    return min(found, key=lambda tiling: len(tiling.tiles))


def _parted(points: Floats, paper: Paper, *, refused: bool) -> Tiling:
    """Tiles on one paper, with the grid shifted to where it needs the fewest."""
    shown = window(paper, refused=refused)
    pitch = np.array([shown.width - OVERLAP_MM, shown.height - OVERLAP_MM])
    low = points.min(axis=0)
    best: tuple[int, Floats, np.ndarray] | None = None
    for i in range(_SHIFTS):
        for j in range(_SHIFTS):
            origin = low - pitch * np.array([i, j]) / _SHIFTS
            index = np.floor((points - origin) / pitch).astype(np.int64)
            codes = np.unique(index[:, 0] * _ROWS + index[:, 1])
            if best is None or len(codes) < best[0]:
                best = (len(codes), origin, np.stack(np.divmod(codes, _ROWS), axis=1))
    assert best is not None  # there is always a first position
    _, origin, cells = best
    first_column, last_row = int(cells[:, 0].min()), int(cells[:, 1].max())
    tiles = [
        Tile(
            last_row - int(j),
            int(i) - first_column,
            Box(
                float(origin[0] + i * pitch[0]),
                float(origin[1] + j * pitch[1]),
                float(pitch[0]),
                float(pitch[1]),
            ),
        )
        for i, j in cells
    ]
    landscape = paper.value[0] > paper.value[1]
    return Tiling(paper, landscape, tuple(sorted(tiles, key=lambda t: (t.row, t.column))), refused)


def _samples(marks: tuple[Mark, ...]) -> Floats:
    """Points (n, 2) along everything drawn, close enough that no tile is missed by more than a few mm."""
    points: list[XY] = []
    for mark in marks:
        match mark:
            case Line(start, end):
                points += _along((start, end))
            case Polyline(corners):
                points += _along((*corners, corners[0]) if mark.closed else corners)
            case Circle(centre):
                points.append(centre)
            case Text():
                points += text_corners(mark)
            case Arc() | EllipticArc():
                length = sweep_rad(mark) * (
                    mark.radius if isinstance(mark, Arc) else max(mark.semi_x, mark.semi_y)
                )
                points += arc_points(mark, max(2, math.ceil(length / _SAMPLE_MM) + 1))
    return np.array(points, dtype=float)


def _along(corners: tuple[XY, ...]) -> list[XY]:
    points = [corners[0]]
    for (x0, y0), (x1, y1) in pairwise(corners):
        n = max(1, math.ceil(math.hypot(x1 - x0, y1 - y0) / _SAMPLE_MM))
        points += [(x0 + (x1 - x0) * k / n, y0 + (y1 - y0) * k / n) for k in range(1, n + 1)]
    return points


def tile_pages(drawing: Drawing, tiling: Tiling, *, name: str, title: str, arch: str) -> tuple[Page, ...]:
    """One page a tile, in reading order.

    Parameters
    ----------
    drawing : Drawing
    tiling : Tiling
        From :func:`tile`.
    name, title : str
        Name and title of the pages.
    arch : str
        Printed at the foot of every tile.
    """
    shown = window(tiling.paper, refused=tiling.refused)
    pages = []
    for number, part in enumerate(tiling.tiles, start=1):
        corner = (part.cell.left - OVERLAP_MM / 2, part.cell.bottom - OVERLAP_MM / 2)
        placed = Placed(drawing, corner, (shown.left, shown.bottom), 1.0, clip=shown)
        marks = (
            rectangle(shown, ink.pen(Layer.FRAME, ink.HAIR_MM, ink.GREY)),
            *_match_lines(tiling, part, shown),
            *_foot(part, f"tile {number} of {len(tiling.tiles)}", title, arch, shown),
            *check_bar((shown.left - 1.5, shown.bottom + 4.0), upright=True),
            *(_refused(shown) if tiling.refused else ()),
        )
        pages.append(Page(name, title, marks, (placed,), 1.0, tiling.paper, framed=False))
    return tuple(pages)


def _refused(shown: Box) -> tuple[Primitive, ...]:
    """The head of a tile that must not be used."""
    band = Box(shown.left, shown.top + _GUTTER_MM, shown.width, _REFUSED_MM)
    return (refused_band(band), *refused_letters(band))


def _match_lines(tiling: Tiling, part: Tile, shown: Box) -> list[Primitive]:
    """Match lines with the neighbours' names outside the window, and crosses at the cell's corners."""
    inner = shown.grown(-OVERLAP_MM / 2)
    pen = ink.pen(Layer.FRAME, ink.FINE_MM, ink.ACCENT, dash=Dash.CHAIN)
    cross = ink.pen(Layer.FRAME, ink.FINE_MM, ink.ACCENT)
    x, y = shown.middle
    sides = (
        (0, -1, (inner.left, shown.bottom), (inner.left, shown.top), (shown.left - 1.5, y), math.pi / 2),
        (0, 1, (inner.right, shown.bottom), (inner.right, shown.top), (shown.right + 3.2, y), math.pi / 2),
        (-1, 0, (shown.left, inner.top), (shown.right, inner.top), (x, shown.top + 1.4), 0.0),
        (1, 0, (shown.left, inner.bottom), (shown.right, inner.bottom), (x, shown.bottom - 3.2), 0.0),
    )
    marks: list[Primitive] = []
    for row, column, start, end, at, turn in sides:
        neighbour = tiling.at(part.row + row, part.column + column)
        if neighbour is None:
            continue
        marks.append(Line(start, end, pen))
        if column == -1:
            at = (at[0], shown.bottom + 4.0 + 100.0 + (shown.top - shown.bottom - 104.0) / 2)
        style = ink.letters(Layer.FRAME, ink.ACCENT)
        marks.append(Text(at, f"joins {neighbour.name}", ink.TEXT_MM, style, Anchor.MIDDLE, turn, bold=True))
    for cx in (inner.left, inner.right):
        for cy in (inner.bottom, inner.top):
            marks.append(Line((cx - 4.0, cy), (cx + 4.0, cy), cross))
            marks.append(Line((cx, cy - 4.0), (cx, cy + 4.0), cross))
            marks.append(Circle((cx, cy), 1.5, cross))
    return marks


def _foot(part: Tile, number: str, title: str, arch: str, shown: Box) -> list[Primitive]:
    """Name of the tile, what it belongs to, and the level check bar."""
    y = _MARGIN_MM
    where = f"row {row_letters(part.row)}, column {part.column + 1}, {number}"
    black, grey = ink.letters(Layer.FRAME), ink.letters(Layer.FRAME, ink.GREY)
    x = shown.left + text_width_mm(part.name, _NAME_MM, bold=True) + 4.0
    room = shown.right - 104.0 - x
    return [
        Text((shown.left, y + 2.6), part.name, _NAME_MM, black, bold=True),
        Text((x, y + 7.6), shorten(arch, room, ink.TEXT_MM, bold=True), ink.TEXT_MM, black, bold=True),
        Text((x, y + 4.0), shorten(title, room, ink.SMALL_TEXT_MM), ink.SMALL_TEXT_MM, black),
        Text((x, y + 0.6), shorten(where, room, ink.SMALL_TEXT_MM), ink.SMALL_TEXT_MM, grey),
        *check_bar((shown.right - 100.0, y + 2.0)),
    ]


def index_marks(tiling: Tiling, placed: Placed) -> tuple[Primitive, ...]:
    """Cells of the tiles with their names, on a page that shows the drawing ``placed`` at a small scale."""
    (mx, my), (px, py), scale = placed.origin_model, placed.origin_paper, placed.scale
    pen = ink.pen(Layer.FRAME, ink.FINE_MM, ink.GREY)
    marks: list[Primitive] = []
    for part in tiling.tiles:
        cell = Box(
            (part.cell.left - mx) / scale + px,
            (part.cell.bottom - my) / scale + py,
            part.cell.width / scale,
            part.cell.height / scale,
        )
        marks.append(rectangle(cell, pen))
        height = min(ink.TEXT_MM, cell.width / 5, cell.height / 4)
        at = (cell.left + 0.6 * height, cell.top - 1.6 * height)
        style = ink.letters(Layer.FRAME, ink.ACCENT)
        marks.append(Text(at, part.name, height, style, bold=True, backed=True))
    return tuple(marks)
