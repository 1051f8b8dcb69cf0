"""Strips: readings against the station along the intrados, drawn as a working drawing, not as a chart.

A strip is a box on paper with a horizontal scale shared by all strips of a sheet, a zero line and some ticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Floats
from survey.sheets.drawing import XY, Anchor, Box, Circle, Dash, Layer, Line, Polyline, Primitive, Style, Text
from survey.sheets.kit import ink
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.lettering import text_width_mm
from survey.sheets.kit.placing import mark_box
from survey.sheets.kit.schedule import figure

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Strip:
    """A box on paper with the values its sides stand for.

    Attributes
    ----------
    box : Box
        Paper mm.
    x_range, y_range : tuple of float
        Values at the left and right, and at the lower and upper side.
    """

    box: Box
    x_range: tuple[float, float]
    y_range: tuple[float, float]

    def x_at(self, value: float) -> float:
        """Paper x of a value."""
        low, high = self.x_range
        return self.box.left + (value - low) / (high - low) * self.box.width

    def y_at(self, value: float) -> float:
        """Paper y of a value."""
        low, high = self.y_range
        return self.box.bottom + (value - low) / (high - low) * self.box.height

    def at(self, x: float, y: float) -> XY:
        """Paper point of a pair of values."""
        return self.x_at(x), self.y_at(y)

    def within(self, values: ArrayLike) -> Floats:
        """Values (n,) with those above or below the strip taken out (NaN)."""
        low, high = self.y_range
        array = np.asarray(values, dtype=float)
        with np.errstate(invalid="ignore"):
            return np.where((array >= low) & (array <= high), array, np.nan)


def tick_step(low: float, high: float, most: int) -> float:
    """The smallest round step that gives at most so many steps between two values.

    Examples
    --------
    >>> tick_step(0.0, 1980.0, 12)
    200.0
    >>> tick_step(-7.0, 7.0, 4)
    5.0
    """
    least = (high - low) / most
    decade = float(10.0 ** np.floor(np.log10(least)))
    return next(decade * step for step in _STEPS if decade * step >= least * (1 - 1e-9))


def symmetric_range(values: ArrayLike, at_least: float, *, air_ratio: float = 1.1) -> tuple[float, float]:
    """A range about zero that holds all finite values with some air, and at least a given value."""
    array = np.asarray(values, dtype=float)
    finite = np.abs(array[np.isfinite(array)])
    top = air_ratio * max(at_least, float(finite.max(initial=0.0)))
    return -top, top


def ticks(low: float, high: float, step: float) -> list[float]:
    """Round values between two, both included."""
    first = int(np.ceil(low / step - 1e-9))
    last = int(np.floor(high / step + 1e-9))
    return [n * step for n in range(first, last + 1)]


def ruled(strip: Strip, title: str, *, y_step: float | None = None) -> list[Primitive]:
    """Outline, zero line, ticks with figures at the left, and the title above."""
    box, fine = strip.box, ink.pen(Layer.FRAME, ink.HAIR_MM, ink.GREY)
    low, high = strip.y_range
    step = tick_step(low, high, max(2, int(box.height / 6.0))) if y_step is None else y_step
    decimals = 0 if float(step).is_integer() else 1
    corners = ((box.left, box.bottom), (box.right, box.bottom), (box.right, box.top), (box.left, box.top))
    marks: list[Primitive] = [Polyline(corners, fine, closed=True)]
    for value in ticks(low, high, step):
        y = strip.y_at(value)
        width = ink.FINE_MM if abs(value) < 1e-9 else ink.HAIR_MM
        colour = ink.BLACK if abs(value) < 1e-9 else ink.PALE
        marks.append(Line((box.left, y), (box.right, y), ink.pen(Layer.FRAME, width, colour)))
        at = (box.left - 1.2, y - 0.5 * ink.SMALL_TEXT_MM)
        words = figure(value, decimals)
        marks.append(Text(at, words, ink.SMALL_TEXT_MM, ink.letters(), Anchor.RIGHT))
    marks.append(Text((box.left, box.top + 1.3), title, ink.TEXT_MM, ink.letters(), bold=True))
    return marks


def station_ticks(strip: Strip, *, name: str = "station, mm") -> list[Primitive]:
    """Ticks and figures of the horizontal scale below a strip."""
    box = strip.box
    low, high = strip.x_range
    pen = ink.pen(Layer.FRAME, ink.FINE_MM)
    marks: list[Primitive] = []
    for value in ticks(low, high, tick_step(low, high, max(4, int(box.width / 16.0)))):
        x = strip.x_at(value)
        marks.append(Line((x, box.bottom), (x, box.bottom - 1.2), pen))
        at = (x, box.bottom - 1.9 - ink.SMALL_TEXT_MM)
        marks.append(Text(at, figure(value), ink.SMALL_TEXT_MM, ink.letters(), Anchor.MIDDLE))
    at = (box.right, box.bottom - 3.2 - 2 * ink.SMALL_TEXT_MM)
    marks.append(Text(at, name, ink.SMALL_TEXT_MM, ink.letters(), Anchor.RIGHT))
    return marks


def band(strip: Strip, low: float, high: float) -> list[Primitive]:
    """A washed band between two values, ruled at both: the tolerance."""
    top, bottom = min(high, strip.y_range[1]), max(low, strip.y_range[0])
    box = strip.box
    corners = tuple((x, strip.y_at(y)) for y in (bottom, top) for x in (box.left, box.right))
    a, b, d, c = corners
    return [
        Polyline(
            (a, b, c, d),
            ink.area(Layer.DEVIATION, ink.WASH, width_mm=ink.FINE_MM, colour=ink.GREY),
            closed=True,
        )
    ]


def envelope(strip: Strip, x: ArrayLike, low: ArrayLike, high: ArrayLike, style: Style) -> list[Primitive]:
    """The field between two lines over the stations (n,), cut at the strip; none where a value is missing."""
    xs, floor, top = (np.asarray(v, dtype=float) for v in (x, low, high))
    if not np.isfinite(floor + top).all():
        return []
    ends = strip.y_range
    upper = [strip.at(float(a), float(b)) for a, b in zip(xs, np.clip(top, *ends), strict=True)]
    lower = [strip.at(float(a), float(b)) for a, b in zip(xs, np.clip(floor, *ends), strict=True)]
    return [Polyline((*upper, *lower[::-1]), style, closed=True)]


def blank(strip: Strip, start: float, end: float) -> Polyline:
    """A white field with dashed sides over a run of stations where there is nothing to read."""
    box, (left, right) = strip.box, (strip.x_at(start), strip.x_at(end))
    corners = ((left, box.bottom), (right, box.bottom), (right, box.top), (left, box.top))
    style = Style(Layer.DEVIATION, ink.HAIR_MM, ink.GREY, fill=ink.WHITE, dash=Dash.DASHED)
    return Polyline(corners, style, closed=True)


def beyond(strip: Strip, x: ArrayLike, y: ArrayLike, style: Style) -> list[Primitive]:
    """An arrowhead at the edge of the strip for every reading above or below it, with its figure."""
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    low, high = strip.y_range
    marks: list[Polyline] = []
    wanted: list[list[Text]] = []
    for i in np.flatnonzero(np.isfinite(xs) & np.isfinite(ys)):
        if low <= ys[i] <= high:
            continue
        up = 1.0 if ys[i] > high else -1.0
        tip_x, tip_y = strip.at(float(xs[i]), high if up > 0 else low)
        marks.append(_arrowhead((tip_x, tip_y), up, style))
        foot = tip_y - up * 1.2 - 0.5 * ink.SMALL_TEXT_MM
        letters = ink.letters(Layer.SURVEY, style.colour)
        words = figure(float(ys[i]))
        sides = [(1.0, Anchor.LEFT), (-1.0, Anchor.RIGHT)]
        if tip_x + 1.4 + text_width_mm(words, ink.SMALL_TEXT_MM) > strip.box.right:
            sides.reverse()
        wanted.append(
            [
                Text((tip_x + side * 1.4, foot - row * up * 2.8), words, ink.SMALL_TEXT_MM, letters, anchor)
                for row in range(3)
                for side, anchor in sides
            ]
        )
    return [*marks, *place_labels(wanted, keep_out=[mark_box(mark) for mark in marks]).texts]


def _arrowhead(tip: XY, up: float, style: Style) -> Polyline:
    x, y = tip
    return Polyline(((x, y), (x - 0.9, y - up * 2.2), (x + 0.9, y - up * 2.2)), style, closed=True)


def trace(strip: Strip, x: ArrayLike, y: ArrayLike, style: Style) -> list[Primitive]:
    """A line through readings (n,) in the order given, broken where one is missing (NaN)."""
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    known = np.isfinite(xs) & np.isfinite(ys)
    marks: list[Primitive] = []
    for run in _runs(known):
        points = tuple(strip.at(float(xs[i]), float(ys[i])) for i in run)
        if len(points) > 1:
            marks.append(Polyline(points, style))
    return marks


def _runs(known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[range]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(int)))
    return [range(int(start), int(end)) for start, end in edges.reshape(-1, 2)]


def dots(strip: Strip, x: ArrayLike, y: ArrayLike, style: Style, radius_mm: float = 0.6) -> list[Primitive]:
    """A mark for every known reading."""
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    known = np.isfinite(xs) & np.isfinite(ys)
    return [
        Circle(strip.at(float(a), float(b)), radius_mm, style)
        for a, b in zip(xs[known], ys[known], strict=True)
    ]


def whiskers(
    strip: Strip, x: ArrayLike, y: ArrayLike, half_length: ArrayLike, style: Style
) -> Sequence[Primitive]:
    """A vertical line over the uncertainty of every known reading, cut at the strip's edges."""
    low, high = strip.y_range
    rows = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (x, y, half_length)))
    marks = []
    for a, b, h in zip(*rows, strict=True):
        if np.isfinite(a + b + h):
            start = strip.at(float(a), float(np.clip(b - h, low, high)))
            marks.append(Line(start, strip.at(float(a), float(np.clip(b + h, low, high))), style))
    return marks
