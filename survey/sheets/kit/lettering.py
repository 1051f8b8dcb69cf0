"""Text metrics: how wide a line of lettering is, from the advance widths of the very font the sheets embed.

Every sheet is set in DejaVu Sans, which covers Latin, Greek and Cyrillic and comes with matplotlib; only the
font file is used here, matplotlib itself is not imported. What it lacks is spelled out.
"""

from __future__ import annotations

import importlib.util
import math
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from survey.errors import DrawingError
from survey.sheets.drawing import XY, Anchor, Box, Text
from survey.sheets.kit.spelling import spelled_out

FONT_FAMILY = "DejaVu Sans"
FONT_NAME, BOLD_FONT_NAME = "SurveySans", "SurveySans-Bold"
"""Names under which PDF files know the two fonts."""
CAP_RATIO = 1493.0 / 2048.0
"""Capital height over em size of DejaVu Sans, plain and bold."""
ASCENT_RATIO = 1.07
"""Highest stroke over capital height (the top of ``l``)."""
DESCENT_RATIO = 0.32
"""Lowest stroke below the base line over capital height (the tail of ``g``)."""


@dataclass(frozen=True, slots=True)
class Advances:
    """Advance widths of one font, in fractions of the em, by code point."""

    widths: Mapping[int, float]
    unknown: float
    """Width of the mark printed for a letter the font lacks."""


def font_path(*, bold: bool = False, package: str = "matplotlib") -> Path:
    """Where the font file lies inside an installed package.

    Raises
    ------
    DrawingError
        When the package or its font folder is missing.
    """
    found = importlib.util.find_spec(package)
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    if found is not None and found.origin is not None:
        path = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf" / name
        if path.is_file():
            return path
    raise DrawingError(f"the font {name} was not found in {package}; reinstall matplotlib, which carries it")


def pdf_font(*, bold: bool = False) -> Any:
    """DejaVu Sans as reportlab reads it, once for the measuring and the embedding of it."""
    return _font(BOLD_FONT_NAME if bold else FONT_NAME)


@lru_cache(maxsize=2)
def _font(name: str) -> Any:
    from reportlab.pdfbase.ttfonts import TTFont

    return TTFont(name, str(font_path(bold=name == BOLD_FONT_NAME)))


@lru_cache(maxsize=2)
def advances(*, bold: bool = False) -> Advances:
    """Advance widths of DejaVu Sans, read once from the font file."""
    face = pdf_font(bold=bold).face
    widths = {code: width / 1000.0 for code, width in face.charWidths.items()}
    return Advances(widths, face.defaultWidth / 1000.0)


def plain_text(text: str) -> str:
    r"""One line of printable text: control, format and surrogate characters and line breaks become blanks.

    Examples
    --------
    >>> plain_text("North\ndoor\x00\u202e")
    'North door'
    """
    if text.isprintable() and "  " not in text and text == text.strip():
        return text
    kept = "".join(" " if unicodedata.category(c) in _NOT_PRINTED else c for c in text)
    return " ".join(kept.split())


@lru_cache(maxsize=8192)
def printed_text(text: str) -> str:
    """One line of text as it is printed: letters that the embedded font lacks are spelled out.

    Examples
    --------
    >>> printed_text("Süd-Tür, Αθήνα, Жб"), printed_text("北 door")
    ('Süd-Tür, Αθήνα, Жб', '[U+5317] door')
    """
    flat = plain_text(text)
    if flat.isascii():
        return flat
    return spelled_out(flat, printable_letters())


@lru_cache(maxsize=1)
def printable_letters() -> frozenset[int]:
    """Code points that both the plain and the bold font have."""
    return frozenset(advances().widths) & frozenset(advances(bold=True).widths)


_NOT_PRINTED = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


@lru_cache(maxsize=8192)
def text_width_mm(text: str, height_mm: float, *, bold: bool = False) -> float:
    """Printed width of a line of text whose capitals are ``height_mm`` high.

    Examples
    --------
    >>> round(text_width_mm("H", 1493.0), 6)
    1540.0
    """
    face = advances(bold=bold)
    em = sum(face.widths.get(ord(c), face.unknown) for c in printed_text(text))
    return em * height_mm / CAP_RATIO


@lru_cache(maxsize=4096)
def wrap(text: str, width_mm: float, height_mm: float, *, bold: bool = False) -> tuple[str, ...]:
    """Break a sentence into lines no wider than ``width_mm``; a longer word is broken where the line ends.

    Examples
    --------
    >>> wrap("prop before cutting out", 20.0, 2.0)
    ('prop before', 'cutting out')
    """
    lines: list[str] = []
    line = ""
    for word in printed_text(text).split():
        tried = f"{line} {word}" if line else word
        if text_width_mm(tried, height_mm, bold=bold) <= width_mm:
            line = tried
            continue
        if line:
            lines.append(line)
        line = word
        while len(line) > 1 and text_width_mm(line, height_mm, bold=bold) > width_mm:
            cut = _fitting(line, width_mm, height_mm, bold=bold)
            lines.append(line[:cut])
            line = line[cut:]
    return (*lines, line) if line else tuple(lines)


def shorten(text: str, width_mm: float, height_mm: float, *, bold: bool = False) -> str:
    """Cut a text that is too wide and end it with an ellipsis mark.

    Examples
    --------
    >>> shorten("North cellar door", 15.0, 2.0)
    'North ce…'
    """
    flat = printed_text(text)
    if text_width_mm(flat, height_mm, bold=bold) <= width_mm:
        return flat
    room = width_mm - text_width_mm("…", height_mm, bold=bold)
    return flat[: _fitting(flat, room, height_mm, bold=bold)].rstrip() + "…"


def _fitting(text: str, width_mm: float, height_mm: float, *, bold: bool) -> int:
    """Number of leading letters that fit, at least one."""
    count = 1
    while count < len(text) and text_width_mm(text[: count + 1], height_mm, bold=bold) <= width_mm:
        count += 1
    return count


def text_corners(text: Text) -> tuple[XY, XY, XY, XY]:
    """Corners of the ground a text on paper covers, anticlockwise from its lower left."""
    width = text_width_mm(text.text, text.height_mm, bold=text.bold)
    level = (-DESCENT_RATIO * text.height_mm, ASCENT_RATIO * text.height_mm)
    return _turned_box(text, width, 0.0, level)


def ground_corners(text: Text) -> tuple[XY, XY, XY, XY]:
    """Corners of the white ground of a ``backed`` text: its capitals and figures with a little air."""
    air = 0.25 * text.height_mm
    width = text_width_mm(text.text, text.height_mm, bold=text.bold)
    return _turned_box(text, width, air, (-air, text.height_mm + air))


def _turned_box(text: Text, width: float, air: float, level: XY) -> tuple[XY, XY, XY, XY]:
    """Corners of a box along a text, from the lower left, with ``air`` at both ends."""
    start = {Anchor.LEFT: 0.0, Anchor.MIDDLE: -width / 2.0, Anchor.RIGHT: -width}[text.anchor] - air
    end = start + width + 2 * air
    cos, sin = math.cos(text.turn_rad), math.sin(text.turn_rad)
    x0, y0 = text.at

    def turned(along: float, up: float) -> XY:
        return x0 + along * cos - up * sin, y0 + along * sin + up * cos

    low, high = level
    return turned(start, low), turned(end, low), turned(end, high), turned(start, high)


def text_box(text: Text) -> Box:
    """Upright rectangle round a text on paper."""
    corners = text_corners(text)
    left, bottom = min(x for x, _ in corners), min(y for _, y in corners)
    return Box(left, bottom, max(x for x, _ in corners) - left, max(y for _, y in corners) - bottom)


def texts_overlap(first: Text, second: Text, *, slack_mm: float = 0.05) -> bool:
    """Whether two texts on paper print over each other, turned ones included (separating axes).

    ``slack_mm`` is the depth of overlap that does not count.
    """
    a, b = text_corners(first), text_corners(second)
    for turn in (first.turn_rad, second.turn_rad):
        for axis in ((math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))):
            along_a = [x * axis[0] + y * axis[1] for x, y in a]
            along_b = [x * axis[0] + y * axis[1] for x, y in b]
            depth = min(max(along_a), max(along_b)) - max(min(along_a), min(along_b))
            if depth <= slack_mm:
                return False
    return True
