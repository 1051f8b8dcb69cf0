"""A drawing and the words that belong to it: side by side, or the words below where that draws larger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

from survey.errors import DrawingError
from survey.record.model import Record
from survey.sheets.drawing import Box, Drawing, Layer, Line, Placed, Primitive, Sheet
from survey.sheets.kit import ink
from survey.sheets.kit.columns import Part, flow_parts
from survey.sheets.kit.page import SCALES, Page, Paper, TitleBlock, finish
from survey.sheets.kit.placing import extent, on_paper

COLUMN_MM = 122.0
"""Width of a column of words and tables; three stand side by side on a sheet."""
GUTTER_MM = 8.0
_AIR_MM = 4.0
"""Between a drawing and the strip below it."""
_LEAST_FOOT_MM = 58.0
"""Least height of the words below a drawing that is as wide as the sheet."""


@dataclass(frozen=True, slots=True)
class Arranged:
    """A first sheet and the columns of words on it and on the sheets after it.

    ``head`` is the line above the drawing and ``foot`` the strip below it, for captions, keys and scale bars.
    """

    placed: Placed
    head: Box
    foot: Box
    pages: tuple[tuple[Primitive, ...], ...]


def further_columns(area: Box) -> tuple[Box, ...]:
    """The three columns of a sheet of words and tables alone."""
    return tuple(
        Box(area.left + k * (COLUMN_MM + GUTTER_MM), area.bottom, COLUMN_MM, area.height) for k in range(3)
    )


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """What is to be arranged: the drawing, laid out for any plot scale, and the words that belong to it.

    Attributes
    ----------
    drawn : callable
        Gives the drawing laid out for a plot scale 1 : n.
    size_mm : tuple of float
        Width and height, in model mm, that the drawing has at the least.
    parts : sequence of Part
        Words and tables, the most important first.
    head_mm, foot_mm : float
        Height kept above and below the drawing for what belongs to it.
    """

    drawn: Callable[[float], Drawing]
    size_mm: tuple[float, float]
    parts: Sequence[Part]
    head_mm: float
    foot_mm: float

    def placed(self, box: Box) -> Placed | None:
        """The drawing in the middle of a box at the largest scale at which it fits; None if at none."""
        width, height = self.size_mm
        for scale in SCALES:
            if width / scale > box.width or height / scale > box.height:
                continue
            drawing = self.drawn(scale)
            bounds = extent(on_paper(Placed(drawing, (0.0, 0.0), (0.0, 0.0), scale)))
            if bounds.width <= box.width and bounds.height <= box.height:
                (px, py), (bx, by) = box.middle, bounds.middle
                return Placed(drawing, (0.0, 0.0), (px - bx, py - by), scale)
        return None


def arranged(subject: Subject) -> Arranged:
    """The arrangement that draws larger; where both draw alike, the one with fewer sheets.

    Raises
    ------
    DrawingError
        The drawing does not fit at the smallest scale, or a table not into a column.
    """
    area = Paper.A3_LANDSCAPE.area
    subject = replace(subject, drawn=cache(subject.drawn))
    side, below = _beside(subject, area), _below(subject, area)
    if below is None:
        return side
    if below.placed.scale != side.placed.scale:
        return below if below.placed.scale < side.placed.scale else side
    return below if len(below.pages) < len(side.pages) else side


def _beside(subject: Subject, area: Box) -> Arranged:
    """The drawing at the left, one column of words at its right."""
    column = side_column(area)
    width = column.left - GUTTER_MM - area.left
    head, foot = subject.head_mm, subject.foot_mm
    room = Box(area.left, area.bottom + foot, width, area.height - head - foot)
    placed = subject.placed(room)
    if placed is None:
        wide, high = (size / 1000.0 for size in subject.size_mm)
        raise DrawingError(
            f"{wide:.1f} m by {high:.1f} m do not fit {room.width:.0f} by {room.height:.0f} mm "
            f"of paper at 1 : {SCALES[-1]:g}; check the unit of the record"
        )
    words = flow_parts(subject.parts, (column,), further_columns(area))
    return Arranged(
        placed,
        Box(area.left, area.top - head, width, head),
        Box(area.left, area.bottom, width, foot),
        ((rule_beside(column), *words[0]), *words[1:]),
    )


def side_column(area: Box) -> Box:
    """The column of words at the right of a sheet."""
    return Box(area.right - COLUMN_MM, area.bottom, COLUMN_MM, area.height)


def rule_beside(column: Box) -> Line:
    """The fine line between a drawing and its column of words."""
    x = column.left - GUTTER_MM / 2
    return Line((x, column.bottom), (x, column.top), ink.pen(Layer.FRAME, ink.HAIR_MM, ink.GREY))


def _below(subject: Subject, area: Box) -> Arranged | None:
    """The drawing over the whole width, three columns of words below it; None when too high for that."""
    head_mm, foot_mm = subject.head_mm, subject.foot_mm
    least = _LEAST_FOOT_MM + foot_mm + _AIR_MM
    room = Box(area.left, area.bottom + least, area.width, area.height - head_mm - least)
    placed = subject.placed(room)
    if placed is None:
        return None
    drop = room.top - extent(on_paper(placed)).top
    x, y = placed.origin_paper
    placed = replace(placed, origin_paper=(x, y + drop))
    under = extent(on_paper(placed)).bottom - _AIR_MM
    foot = Box(area.left, under - foot_mm, area.width, foot_mm)
    top = foot.bottom - GUTTER_MM / 2
    columns = tuple(
        Box(each.left, each.bottom, each.width, top - GUTTER_MM / 2 - each.bottom)
        for each in further_columns(area)
    )
    words = flow_parts(subject.parts, columns, further_columns(area))
    rule = Line((area.left, top), (area.right, top), ink.pen(Layer.FRAME, ink.HAIR_MM, ink.GREY))
    return Arranged(
        placed,
        Box(area.left, area.top - head_mm, area.width, head_mm),
        foot,
        ((rule, *words[0]), *words[1:]),
    )


def sheets_of(
    record: Record, name: str, title: str, arrangement: Arranged, marks: Sequence[Primitive]
) -> tuple[Sheet, ...]:
    """The first sheet with its drawing and further marks, and the sheets its words run on to."""
    placed, first = arrangement.placed, arrangement.pages[0]
    pages = [Page(name, title, (*marks, *first), (placed,), placed.scale)]
    pages += [Page(name, f"{title}, continued", words) for words in arrangement.pages[1:]]
    return finish(pages, TitleBlock.of(record))
