"""Brackets outside the arch over the courses of every pattern of distress, lettered as in the words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from survey.condition.result import DeviationMap, Pattern
from survey.curves.protocol import Curve, Floats
from survey.sheets.drawing import XY, Anchor, Layer, Polyline, Primitive, Text
from survey.sheets.kit import ink
from survey.sheets.kit.course_labels import scaled
from survey.sheets.kit.labels import place_labels

FIRST_MM = 4.0
"""The innermost bracket stands this far outside the back of the arch, on paper."""
LEVEL_MM = 5.5
"""Between brackets of patterns that share courses, one outside the other."""
_FOOT_MM = 1.6
_WHOLE_SHARE = 0.8
"""A pattern over more of its ring than this is of the whole arch and gets no bracket."""
_STYLE = ink.pen(Layer.DEVIATION, ink.BOLD_MM, ink.ACCENT)


@dataclass(frozen=True, slots=True)
class Bracket:
    """Where a pattern's bracket goes: its letter, how far out, and between which stations.

    The letter is blank, and there is nothing to draw, for a pattern of the whole arch.
    """

    letter: str
    level: int = 0
    start_mm: float = math.nan
    end_mm: float = math.nan


def brackets_of(map_: DeviationMap) -> tuple[Bracket, ...]:
    """One bracket a pattern, in their order, so that none covers another."""
    rows: list[list[tuple[float, float]]] = []
    found: list[Bracket] = []
    n_lettered = 0
    for pattern in map_.patterns:
        reach = _reach(map_, pattern)
        if reach is None:
            found.append(Bracket(""))
            continue
        start, end = reach
        fitting = (k for k, row in enumerate(rows) if all(b <= start or end <= a for a, b in row))
        level = next(fitting, len(rows))
        rows.extend([[]] if level == len(rows) else [])
        rows[level].append(reach)
        found.append(Bracket(_letter(n_lettered), level, start, end))
        n_lettered += 1
    return tuple(found)


def _reach(map_: DeviationMap, pattern: Pattern) -> tuple[float, float] | None:
    """Stations between which a pattern lies; None for one of the whole arch, or with no place on it."""
    courses = map_.ring(pattern.ring)
    first, last = pattern.first_course, pattern.last_course
    inside = [c for c in courses if first <= c.course <= last and math.isfinite(c.start_mm + c.end_mm)]
    if not inside or len(inside) > _WHOLE_SHARE * len(courses):
        return None
    return min(c.start_mm for c in inside), max(c.end_mm for c in inside)


def _letter(number: int) -> str:
    """A, B … Z, A2, B2 …"""
    return chr(ord("A") + number % 26) + (str(number // 26 + 1) if number >= 26 else "")


def clear_mm(map_: DeviationMap) -> float:
    """How far outside the back of the arch the brackets and their letters reach, on paper; 0 without any."""
    levels = [bracket.level for bracket in brackets_of(map_) if bracket.letter]
    return FIRST_MM + (max(levels) + 1) * LEVEL_MM if levels else 0.0


def bracket_marks(curve: Curve, map_: DeviationMap, outermost_mm: float, scale: float) -> list[Primitive]:
    """Lines and letters of all brackets, in model millimetres for a plot scale of 1 : ``scale``."""
    wanted: list[list[Text]] = []
    marks: list[Primitive] = []
    for bracket in brackets_of(map_):
        if not bracket.letter:
            continue
        stations = np.linspace(bracket.start_mm, bracket.end_mm, 25)
        out = outermost_mm + (FIRST_MM + bracket.level * LEVEL_MM) * scale
        rim = _beside(curve, stations, out)
        feet = _beside(curve, stations[[0, -1]], out - _FOOT_MM * scale)
        marks.append(Polyline((feet[0], *rim, feet[1]), _STYLE, tag=f"pattern-{bracket.letter}"))
        wanted.append(_letter_places(curve, stations, out, bracket.letter, scale))
    return [*marks, *scaled(place_labels(wanted).texts, scale)]


def _beside(curve: Curve, stations: Floats, distance_mm: float) -> tuple[XY, ...]:
    points = curve.point(stations) + distance_mm * curve.normal(stations)
    return tuple((float(x), float(y)) for x, y in points)


def _letter_places(curve: Curve, stations: Floats, out: float, letter: str, scale: float) -> list[Text]:
    style = ink.letters(Layer.DEVIATION, ink.ACCENT)
    places = []
    for far in (3.0, 6.5, 10.0):
        for k in (12, 6, 18):
            ((x, y),) = _beside(curve, stations[k : k + 1], out + far * scale)
            at = (x / scale, y / scale - 0.5 * ink.TEXT_MM)
            places.append(Text(at, letter, ink.TEXT_MM, style, Anchor.MIDDLE, bold=True))
    return places
