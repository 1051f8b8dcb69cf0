"""Pages: paper sizes, the frame with its title strip, and the choice of scale."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

from survey.errors import DrawingError
from survey.record.model import Record
from survey.sheets.drawing import (
    XY,
    Anchor,
    Box,
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
from survey.sheets.kit.lettering import plain_text, printed_text, shorten, text_width_mm
from survey.sheets.kit.placing import extent, on_paper

SCALES = (1.0, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5, 10.0, 12.5, 20.0, 25.0, 30.0, 40.0, 50.0, 75.0, 100.0)
"""Scales 1 : n that sheets are drawn at: those of ISO 5455 and, between them, those a scale rule carries."""
NOT_A_DESIGN = "Geometric record, not a structural design."
SPELLED_OUT = "Letters this print lacks are spelled out."
"""Stands below a name of which some letters are not in the sheets' font."""
STRIP_MM = 22.0
"""Height of the title strip along the foot of a sheet."""
_FILING_MM, _MARGIN_MM = 20.0, 10.0
"""Left margin, for filing, and the other three."""


class Paper(Enum):
    """Paper sizes, width and height in mm."""

    A4_PORTRAIT = (210.0, 297.0)
    A4_LANDSCAPE = (297.0, 210.0)
    A3_PORTRAIT = (297.0, 420.0)
    A3_LANDSCAPE = (420.0, 297.0)

    @property
    def frame(self) -> Box:
        """The frame inside the margins."""
        width, height = self.value
        return Box(_FILING_MM, _MARGIN_MM, width - _FILING_MM - _MARGIN_MM, height - 2 * _MARGIN_MM)

    @property
    def area(self) -> Box:
        """What a drawing may use: inside the frame, above the title strip, with a little air."""
        frame = self.frame
        strip = self.strip_mm
        return Box(frame.left, frame.bottom + strip, frame.width, frame.height - strip).grown(-4.0)

    @property
    def strip_mm(self) -> float:
        """Height of the title strip; narrow paper has it in two rows."""
        return STRIP_MM if self is Paper.A3_LANDSCAPE else 2 * STRIP_MM - 12.0


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet before its frame: what is drawn on it, and what the title strip says of it.

    ``name`` is the file name's stem and is shared by the pages of one set; ``scale`` is None for a page of
    tables.
    """

    name: str
    title: str
    primitives: tuple[Primitive, ...]
    placed: tuple[Placed, ...] = ()
    scale: float | None = None
    paper: Paper = Paper.A3_LANDSCAPE
    framed: bool = True
    """False for a page that brings its own frame (a tile of a template)."""


@dataclass(frozen=True, slots=True)
class TitleBlock:
    """What every title strip of a set says of the arch."""

    arch: str
    place: str
    recorded_on: str
    recorded_by: str

    @classmethod
    def of(cls, record: Record) -> TitleBlock:
        """Title block of a record."""
        return cls(record.name, record.place, record.recorded_on, record.recorded_by)


def choose_scale(width_mm: float, height_mm: float, box: Box) -> float:
    """The largest drawing of ``SCALES`` that fits a box of the paper.

    Raises
    ------
    DrawingError
        When not even the smallest fits.

    Examples
    --------
    >>> choose_scale(2900.0, 1000.0, Box(0.0, 0.0, 300.0, 200.0))
    10.0
    """
    for scale in SCALES:
        if width_mm / scale <= box.width and height_mm / scale <= box.height:
            return scale
    raise DrawingError(
        f"{width_mm / 1000:.1f} m by {height_mm / 1000:.1f} m do not fit {box.width:.0f} mm by "
        f"{box.height:.0f} mm of paper at 1 : {SCALES[-1]:g}; check the unit of the record"
    )


def fitted(drawn: Callable[[float], Drawing], box: Box, *, scales: Sequence[float] = SCALES) -> Placed:
    """A drawing in the middle of a box, at the largest scale at which it fits with its texts and dimensions.

    Parameters
    ----------
    drawn : callable
        Gives the drawing laid out for a plot scale 1 : n.
    box : Box
        Area of the paper.
    scales : sequence of float
        Plot scales 1 : n to try, the largest drawing first.

    Raises
    ------
    DrawingError
        When it does not fit at the smallest scale.
    """
    for scale in scales:
        drawing = drawn(scale)
        bounds = extent(on_paper(Placed(drawing, (0.0, 0.0), (0.0, 0.0), scale)))
        if bounds.width <= box.width and bounds.height <= box.height:
            (px, py), (bx, by) = box.middle, bounds.middle
            return Placed(drawing, (0.0, 0.0), (px - bx, py - by), scale)
    raise DrawingError(
        f"the drawing {drawn(scales[-1]).name!r} does not fit {box.width:.0f} mm by {box.height:.0f} mm of "
        f"paper at 1 : {scales[-1]:g}; check the unit of the record"
    )


def scales_for(width_mm: float, box: Box, scales: Sequence[float] = SCALES) -> tuple[float, ...]:
    """Of some scales those at which so much alone goes into a box: others need not be drawn to be tried.

    Examples
    --------
    >>> scales_for(2900.0, Box(0.0, 0.0, 300.0, 200.0))
    (10.0, 12.5, 20.0, 25.0, 30.0, 40.0, 50.0, 75.0, 100.0)
    """
    return tuple(s for s in scales if width_mm / s <= box.width) or tuple(scales[-1:])


def finish(pages: Sequence[Page], block: TitleBlock) -> tuple[Sheet, ...]:
    """Frames and title strips round a set of pages, numbered in their order within the set named."""
    sheets = []
    for number, page in enumerate(pages, start=1):
        width, height = page.paper.value
        numbered = f"{page.name.replace('_', ' ')}, {number} of {len(pages)}"
        frame = _frame(page, block, numbered) if page.framed else ()
        name = page.name if len(pages) == 1 else f"{page.name}_{number}"
        sheets.append(Sheet(name, page.title, width, height, page.placed, (*page.primitives, *frame)))
    return tuple(sheets)


def _frame(page: Page, block: TitleBlock, number: str) -> tuple[Primitive, ...]:
    """Border and title strip."""
    box = page.paper.frame
    heavy, fine = ink.pen(Layer.FRAME, ink.HEAVY_MM), ink.pen(Layer.FRAME, ink.FINE_MM)
    corners: tuple[XY, ...] = (
        (box.left, box.bottom),
        (box.right, box.bottom),
        (box.right, box.top),
        (box.left, box.top),
    )
    top = box.bottom + page.paper.strip_mm
    marks: list[Primitive] = [
        Polyline(corners, heavy, closed=True),
        Line((box.left, top), (box.right, top), ink.pen(Layer.FRAME, ink.BOLD_MM)),
    ]
    scale = "–" if page.scale is None else f"1 : {page.scale:g}"
    facts = (("scale", scale), ("unit", "mm"), ("recorded", block.recorded_on or "–"), ("sheet", number))
    for cell, content in zip(_cells(page.paper), (*_headlines(page, block), facts), strict=True):
        marks += _cell(cell, content)
        if cell.left > box.left:
            marks.append(Line((cell.left, cell.bottom), (cell.left, cell.top), fine))
        if cell.top < top:
            marks.append(Line((cell.left, cell.top), (cell.right, cell.top), fine))
    return tuple(marks)


def _headlines(page: Page, block: TitleBlock) -> tuple[tuple[tuple[str, str], ...], ...]:
    """Two-line contents of the wide cells: (large line, small line)."""
    under = ", ".join(part for part in (block.place, block.recorded_by and f"by {block.recorded_by}") if part)
    names = (block.arch, block.place, block.recorded_by)
    told = (("", SPELLED_OUT),) if any(plain_text(n) != printed_text(n) for n in names) else ()
    return ((("", block.arch), ("", under), *told), (("", page.title), ("", NOT_A_DESIGN)))


def _cells(paper: Paper) -> tuple[Box, Box, Box]:
    """Cells of the title strip: the arch, the sheet, the facts."""
    box, strip = paper.frame, paper.strip_mm
    if paper is Paper.A3_LANDSCAPE:
        facts = 124.0
        wide = (box.width - facts) / 2
        return (
            Box(box.left, box.bottom, wide, strip),
            Box(box.left + wide, box.bottom, wide, strip),
            Box(box.left + 2 * wide, box.bottom, facts, strip),
        )
    low, high = strip * 0.38, strip * 0.62
    half = box.width / 2
    return (
        Box(box.left, box.bottom + low, half, high),
        Box(box.left + half, box.bottom + low, half, high),
        Box(box.left, box.bottom, box.width, low),
    )


def _cell(box: Box, content: tuple[tuple[str, str], ...]) -> list[Primitive]:
    """Contents of one cell: two lines without captions, or facts side by side under captions."""
    room = box.width - 8.0
    if not content[0][0]:
        (_, large), (_, small), *rest = content
        height = ink.TITLE_MM
        while height > ink.TEXT_MM and text_width_mm(large, height, bold=True) > room:
            height -= 0.2
        return [
            Text((box.left + 4.0, box.bottom + box.height * 0.56), shorten(large, room, height, bold=True),
                 height, ink.letters(Layer.FRAME), bold=True),
            Text((box.left + 4.0, box.bottom + box.height * 0.22), shorten(small, room, ink.TEXT_MM),
                 ink.TEXT_MM, ink.letters(Layer.FRAME)),
            *(Text((box.left + 4.0, box.bottom + 1.2), shorten(told, room, ink.SMALL_TEXT_MM),
                   ink.SMALL_TEXT_MM, ink.letters(Layer.FRAME)) for _, told in rest),
        ]  # fmt: skip
    marks: list[Primitive] = []
    widths = [
        max(text_width_mm(value, ink.HEAD_MM), text_width_mm(name, ink.SMALL_TEXT_MM))
        for name, value in content
    ]
    gap = (room - sum(widths)) / (len(content) - 1)
    x = box.left + 4.0
    for (name, value), width in zip(content, widths, strict=True):
        grey, black = ink.letters(Layer.FRAME, ink.GREY), ink.letters(Layer.FRAME)
        marks.append(Text((x, box.bottom + box.height * 0.66), name, ink.SMALL_TEXT_MM, grey))
        marks.append(Text((x, box.bottom + box.height * 0.26), value, ink.HEAD_MM, black))
        x += width + gap
    return marks


def left_text(at: XY, text: str, height_mm: float = ink.TEXT_MM, *, bold: bool = False) -> Text:
    """A plain line of text on the paper itself."""
    return Text(at, text, height_mm, ink.letters(), Anchor.LEFT, bold=bold)
