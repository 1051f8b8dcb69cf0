"""What stands about a drawing: scale bar, check bar, orientation mark, key, notes and cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from survey.errors import DrawingError
from survey.rebuild.cautions import NOT_TO_BE_BUILT
from survey.sheets.drawing import XY, Anchor, Box, Layer, Line, Polyline, Primitive, Style, Text
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import text_width_mm, wrap
from survey.sheets.kit.schedule import LEADING_RATIO

CAUTION_MM = 2.5
"""Capital height of what warns of danger, where a sheet has the room."""
FURNITURE_MM = 8.0
"""Height that a scale bar and an orientation mark take below a drawing."""
CHECK_MM = 100.0
"""Length of the check bar on every 1 : 1 page."""
_BAND_MM = 13.0
"""Height of the black field over a sheet that must not be built from."""
_MOST_OF_SHEET = 0.2
"""Share of a sheet's height that reasons in large print may take; longer ones are set smaller, up to twice as
much."""
_BAR_STEPS_MM = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0)


def rectangle(box: Box, style: Style) -> Polyline:
    """A box as a closed line."""
    return Polyline(
        ((box.left, box.bottom), (box.right, box.bottom), (box.right, box.top), (box.left, box.top)),
        style,
        closed=True,
    )


def scale_bar(at: XY, scale: float, *, longest_mm: float = 100.0) -> tuple[Primitive, ...]:
    """A bar of five alternating fields, its left foot at ``at``, with figures in model millimetres."""
    step = max((s for s in _BAR_STEPS_MM if 5 * s / scale <= longest_mm), default=_BAR_STEPS_MM[0])
    x, y = at
    field = step / scale
    marks: list[Primitive] = []
    for k in range(5):
        fill = ink.BLACK if k % 2 == 0 else ink.WHITE
        marks.append(rectangle(Box(x + k * field, y, field, 1.6), ink.area(Layer.FRAME, fill)))
    every = 1 if text_width_mm(f"{5 * step:g}", ink.SMALL_TEXT_MM) + 1.5 < field else 5
    for k in range(0, 6, every):
        words = f"{k * step:g}" + (" mm" if k == 5 else "")
        shift = (
            text_width_mm(words, ink.SMALL_TEXT_MM) - text_width_mm(words.split()[0], ink.SMALL_TEXT_MM)
        ) / 2
        foot = (x + k * field + shift, y + 2.8)
        marks.append(Text(foot, words, ink.SMALL_TEXT_MM, ink.letters(Layer.FRAME), Anchor.MIDDLE))
    return tuple(marks)


def check_bar(at: XY, *, upright: bool = False) -> tuple[Primitive, ...]:
    """A line of exactly 100 mm from ``at`` to the right, or upwards, with a tick every 10 mm."""
    x, y = at
    pen = ink.pen(Layer.FRAME, ink.BOLD_MM)

    def point(along: float, off: float) -> XY:
        return (x - off, y + along) if upright else (x + along, y + off)

    marks: list[Primitive] = [Line(point(0.0, 0.0), point(CHECK_MM, 0.0), pen)]
    for k in range(11):
        tall = 3.0 if k in (0, 10) else 2.2 if k == 5 else 1.4
        # the end strokes stand inside the bar: it measures 100 mm over their outer edges
        along = 10.0 * k + {0: 0.5, 10: -0.5}.get(k, 0.0) * ink.FINE_MM
        marks.append(Line(point(along, 0.0), point(along, tall), ink.pen(Layer.FRAME, ink.FINE_MM)))
    turn = math.pi / 2 if upright else 0.0
    words = "check: 100 mm" if upright else "check: this bar measures 100 mm; if not, do not use the print"
    lettering = ink.letters(Layer.FRAME)
    marks.append(Text(point(50.0, 3.8), words, ink.SMALL_TEXT_MM, lettering, Anchor.MIDDLE, turn))
    return tuple(marks)


def orientation_mark(at: XY, *, width_mm: float = 62.0) -> tuple[Primitive, ...]:
    """Left and right as seen from outside: a double arrow with its middle at ``at``."""
    x, y = at
    half = width_mm / 2
    words = "seen from outside"
    pen = ink.pen(Layer.FRAME, ink.FINE_MM)
    room = text_width_mm(words, ink.SMALL_TEXT_MM) / 2 + 1.5
    marks: list[Primitive] = [
        Text((x, y - 0.9), words, ink.SMALL_TEXT_MM, ink.letters(Layer.FRAME, ink.GREY), Anchor.MIDDLE)
    ]
    for side, word in ((-1.0, "left"), (1.0, "right")):
        reach = half - text_width_mm(word, ink.TEXT_MM, bold=True) - 1.5
        tip = x + side * reach
        marks.append(Line((x + side * room, y), (tip, y), pen))
        head = ((tip, y), (tip - side * 2.2, y + 0.8), (tip - side * 2.2, y - 0.8))
        marks.append(Polyline(head, ink.area(Layer.FRAME, ink.BLACK), closed=True))
        anchor = Anchor.RIGHT if side < 0 else Anchor.LEFT
        at_word = (tip + side * 1.5, y - 1.1)
        marks.append(Text(at_word, word, ink.TEXT_MM, ink.letters(Layer.FRAME), anchor, bold=True))
    return tuple(marks)


@dataclass(frozen=True, slots=True)
class KeyEntry:
    """One line of a key: a sample of the style and what it means."""

    style: Style
    meaning: str
    closed: bool = True
    """True for a filled field, False for a line."""


def key(entries: Sequence[KeyEntry], left: float, top: float, *, title: str = "Key") -> tuple[Primitive, ...]:
    """A key from its upper left corner downwards, 5 mm a line."""
    marks: list[Primitive] = [Text((left, top - ink.TEXT_MM), title, ink.TEXT_MM, ink.letters(), bold=True)]
    for n, entry in enumerate(entries):
        y = top - 5.0 - 5.0 * (n + 1)
        if entry.closed:
            marks.append(rectangle(Box(left, y, 9.0, 3.6), entry.style))
        else:
            marks.append(Line((left, y + 1.8), (left + 9.0, y + 1.8), entry.style))
        marks.append(Text((left + 11.5, y + 0.9), entry.meaning, ink.SMALL_TEXT_MM, ink.letters()))
    return tuple(marks)


def key_width_mm(entries: Sequence[KeyEntry]) -> float:
    """Printed width of a key."""
    return 11.5 + max(text_width_mm(entry.meaning, ink.SMALL_TEXT_MM) for entry in entries)


def notes(
    sentences: Sequence[str],
    box: Box,
    *,
    title: str = "",
    height_mm: float = ink.SMALL_TEXT_MM,
    n_columns: int = 1,
    layer: Layer = Layer.TEXT,
) -> tuple[Text, ...]:
    """Sentences from the top of a box downwards, in columns, a sentence never parted between two columns.

    Raises
    ------
    DrawingError
        When they do not fit; nothing is left out.
    """
    lines = _set_lines(sentences, box.width, height_mm, n_columns)
    step = height_mm * LEADING_RATIO
    top = box.top
    marks = []
    if title:
        size = _title_mm(height_mm)
        marks.append(Text((box.left, top - size), title, size, ink.letters(layer), bold=True))
        top -= size * LEADING_RATIO + 1.0
    n_rows = _rows_needed([len(block) for block in lines], n_columns)
    if n_rows * step > top - box.bottom + 1e-6:
        raise DrawingError(
            f"{len(sentences)} sentences need {n_rows * step:.0f} mm of height and the sheet has "
            f"{top - box.bottom:.0f} mm; give them more room"
        )
    column, row = 0, 0
    width = _column_width(box.width, n_columns)
    for block in lines:
        if row + len(block) > n_rows:
            column, row = column + 1, 0
        for line in block:
            x = box.left + column * (width + _GUTTER_MM)
            marks.append(Text((x, top - (row + 1) * step + 0.5), line, height_mm, ink.letters(layer)))
            row += 1
    return tuple(marks)


def _title_mm(height_mm: float) -> float:
    """Capital height of a heading, never below that of its sentences."""
    return max(ink.TEXT_MM, height_mm)


_GUTTER_MM = 6.0


def notes_height_mm(
    sentences: Sequence[str],
    width_mm: float,
    *,
    title: str = "",
    height_mm: float = ink.SMALL_TEXT_MM,
    n_columns: int = 1,
) -> float:
    """Height that :func:`notes` needs."""
    lines = _set_lines(sentences, width_mm, height_mm, n_columns)
    head = _title_mm(height_mm) * LEADING_RATIO + 1.0 if title else 0.0
    return head + _rows_needed([len(block) for block in lines], n_columns) * height_mm * LEADING_RATIO


def cautions(
    sentences: Sequence[str],
    box: Box,
    *,
    title: str = "Before any work",
    n_columns: int = 1,
    height_mm: float = CAUTION_MM,
) -> tuple[Primitive, ...]:
    """Cautions in a ruled field with an accent bar at its left; the field is as high as the box."""
    bar = ink.area(Layer.CAUTION, ink.ACCENT, width_mm=0.0, colour=ink.ACCENT)
    inner = Box(box.left + 4.5, box.bottom + 2.0, box.width - 7.0, box.height - 4.0)
    return (
        rectangle(box, ink.pen(Layer.CAUTION, ink.FINE_MM)),
        rectangle(Box(box.left, box.bottom, 1.6, box.height), bar),
        *notes(sentences, inner, title=title, height_mm=height_mm, n_columns=n_columns, layer=Layer.CAUTION),
    )


def cautions_height_mm(
    sentences: Sequence[str],
    width_mm: float,
    *,
    title: str = "Before any work",
    n_columns: int = 1,
    height_mm: float = CAUTION_MM,
) -> float:
    """Height that :func:`cautions` needs."""
    width_mm -= 7.0
    return notes_height_mm(sentences, width_mm, title=title, height_mm=height_mm, n_columns=n_columns) + 4.0


def refusal_banner(refusals: Sequence[str], area: Box) -> tuple[tuple[Primitive, ...], float]:
    """A black field with white letters along the head of a sheet that must not be built from, and why.

    It needs no colour to be seen, and its height tells how much of the sheet it takes; nothing where the plan
    holds. More reasons than a sheet has room for are counted, with where to read them.
    """
    if not refusals:
        return (), 0.0
    inner_width = area.width - 8.0
    told, size = _told_in_print(tuple(refusals), inner_width, area.height)
    reasons = notes_height_mm(told, inner_width, height_mm=size)
    height = _BAND_MM + reasons + 5.0
    box = Box(area.left, area.top - height, area.width, height)
    band = Box(area.left, area.top - _BAND_MM, area.width, _BAND_MM)
    inner = Box(box.left + 4.0, box.bottom + 2.0, inner_width, reasons + 1.0)
    return (
        rectangle(box, ink.pen(Layer.CAUTION, 1.0)),
        refused_band(band),
        *refused_letters(band),
        *notes(told, inner, height_mm=size, layer=Layer.CAUTION),
    ), height + 3.0


def _told_in_print(
    refusals: tuple[str, ...], width_mm: float, sheet_mm: float
) -> tuple[tuple[str, ...], float]:
    """The reasons that are printed on a sheet, and how large."""
    for size, share in (
        (ink.HEAD_MM, _MOST_OF_SHEET),
        (ink.TEXT_MM, _MOST_OF_SHEET),
        (ink.SMALL_TEXT_MM, 2.0 * _MOST_OF_SHEET),
    ):
        if notes_height_mm(refusals, width_mm, height_mm=size) <= share * sheet_mm:
            return refusals, size
    told = refusals
    for n in range(len(refusals) - 1, 0, -1):
        told = (*refusals[:n], f"And {len(refusals) - n} more: read them all in rebuild.json.")
        if notes_height_mm(told, width_mm, height_mm=size) <= share * sheet_mm:
            break
    return told, size


def refused_band(band: Box) -> Polyline:
    """A black field for white letters."""
    return rectangle(band, ink.area(Layer.CAUTION, ink.BLACK))


def refused_letters(band: Box) -> tuple[Text, ...]:
    """The words of a refused plan in white, as large as the band is high."""
    height = 0.55 * band.height
    at = (band.left + 4.0, band.bottom + 0.5 * (band.height - height))
    return (Text(at, NOT_TO_BE_BUILT, height, ink.letters(Layer.CAUTION, ink.WHITE), bold=True),)


def _column_width(width_mm: float, n_columns: int) -> float:
    return (width_mm - (n_columns - 1) * _GUTTER_MM) / n_columns


def _set_lines(
    sentences: Sequence[str], width_mm: float, height_mm: float, n_columns: int
) -> list[tuple[str, ...]]:
    """Every sentence broken to the width of a column, later lines set in by a blank."""
    width = _column_width(width_mm, n_columns)
    return [wrap(f"– {sentence}", width, height_mm) for sentence in sentences]


def _rows_needed(lengths: Sequence[int], n_columns: int) -> int:
    """Least column height, in lines, that takes blocks of these lengths in order."""
    n_rows = max(lengths, default=0)
    while True:
        column, row = 1, 0
        for length in lengths:
            if row + length > n_rows:
                column, row = column + 1, 0
            row += length
        if column <= n_columns:
            return n_rows
        n_rows += 1
