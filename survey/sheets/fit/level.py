"""A springing line out of level: the level drawn through it, and how much it falls, in words."""

from __future__ import annotations

from dataclasses import dataclass

from survey.sheets.drawing import XY, Anchor, Dash, Layer, Line, Text
from survey.sheets.kit import ink
from survey.sheets.kit.schedule import figure

_LEAST_MM = 0.5
"""A fall that is written as nothing is no fall."""
LEVEL_PEN = ink.pen(Layer.SETTING_OUT, ink.FINE_MM, dash=Dash.DOTTED)


@dataclass(frozen=True, slots=True)
class Level:
    """The level line, and places on paper (model millimetres over the scale) for the words at it.

    Both are empty where the springing line is level.
    """

    marks: tuple[Line, ...] = ()
    wanted: tuple[tuple[Text, ...], ...] = ()


def fall_words(left: XY, right: XY) -> str:
    """Which springing stands how much higher; blank where both are level.

    Examples
    --------
    >>> fall_words((-500.0, 0.0), (500.0, 12.4)), fall_words((-500.0, 0.0), (500.0, 0.2))
    ('right springing 12 higher', '')
    """
    fall = right[1] - left[1]
    if abs(fall) < _LEAST_MM:
        return ""
    return f"{'right' if fall > 0.0 else 'left'} springing {figure(abs(fall))} higher"


def level_of(left: XY, right: XY, scale: float, *, up_mm: tuple[float, ...] = (1.0, 4.6, 8.2)) -> Level:
    """The level through the lower springing, and how much higher the other one stands.

    Parameters
    ----------
    left, right : (2,) float, mm
        Springing points.
    scale : float
        Plot scale 1 : n.
    up_mm : tuple of float
        Heights over the higher springing, on paper, at which the words are tried.

    Examples
    --------
    >>> drawn = level_of((-500.0, 0.0), (500.0, -8.0), 10.0)
    >>> drawn.marks[0].start, drawn.marks[0].end
    ((-500.0, -8.0), (500.0, -8.0))
    >>> drawn.wanted[0][0].text
    'dotted: level; left springing 8 higher over the span'
    """
    told = fall_words(left, right)
    if not told:
        return Level()
    low, high = min(left[1], right[1]), max(left[1], right[1])
    words = f"dotted: level; {told} over the span"
    line = Line((left[0], low), (right[0], low), LEVEL_PEN)
    style = ink.letters(Layer.SETTING_OUT)
    places = tuple(
        Text(
            ((left[0] + share * (right[0] - left[0])) / scale, high / scale + up),
            words,
            ink.SMALL_TEXT_MM,
            style,
            Anchor.MIDDLE,
            backed=True,
        )
        for up in up_mm
        for share in (0.74, 0.26, 0.68, 0.32, 0.5)
    )
    return Level((line,), (places,))
