"""The look of every sheet: black ink, two greys and one accent, in five pen widths."""

from __future__ import annotations

import re

from survey.errors import DrawingError
from survey.sheets.drawing import Dash, Hatch, Layer, Style

BLACK = "#161616"
GREY = "#6e6e6e"
PALE = "#c4c4c4"
WASH = "#efefed"
WHITE = "#ffffff"
ACCENT = "#a3412c"

HAIR_MM = 0.13
FINE_MM = 0.18
MEDIUM_MM = 0.25
BOLD_MM = 0.4
HEAVY_MM = 0.6

SMALL_TEXT_MM = 2.0
"""Least capital height that still reads on a site print."""
TEXT_MM = 2.2
HEAD_MM = 3.0
TITLE_MM = 4.2


def pen(layer: Layer, width_mm: float = MEDIUM_MM, colour: str = BLACK, *, dash: Dash = Dash.SOLID) -> Style:
    """Line style of a layer."""
    return Style(layer, width_mm, colour, dash=dash)


def area(
    layer: Layer,
    fill: str = WHITE,
    hatch: Hatch = Hatch.NONE,
    *,
    width_mm: float = FINE_MM,
    colour: str = BLACK,
) -> Style:
    """Outline with a fill and a hatch."""
    return Style(layer, width_mm, colour, fill=fill, hatch=hatch)


def letters(layer: Layer = Layer.TEXT, colour: str = BLACK) -> Style:
    """Style of a text."""
    return Style(layer, 0.0, colour)


def red_green_blue(colour: str) -> tuple[int, int, int]:
    """Shares of red, green and blue, 0 to 255, of a colour written as #rrggbb.

    Raises
    ------
    DrawingError
        When it is not written so; anything else could carry markup into a file.
    """
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", colour):
        raise DrawingError(
            f"the colour {colour!r} is not written as #rrggbb; write it with six hexadecimal digits"
        )
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return red, green, blue
