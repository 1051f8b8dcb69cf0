"""The comparison drawn: every course's movement between two surveys, exaggerated, over the earlier curve."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np

from survey.condition.comparing.compare import Comparison
from survey.condition.comparing.movement import CourseMovement
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.counting.edge_readings import ring_offset_mm
from survey.fitting.result import ArchFit
from survey.record.model import Record
from survey.sheets.drawing import (
    XY,
    Anchor,
    Box,
    Circle,
    Drawing,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Style,
    Text,
)
from survey.sheets.kit import ink
from survey.sheets.kit.course_labels import course_labels, scaled
from survey.sheets.kit.exaggeration import exaggeration, readable_mm
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.lettering import text_box, text_width_mm
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.placing import mark_box, on_paper
from survey.sheets.kit.schedule import figure

NAME = "comparison"
LONGEST_MM = 16.0
"""Longest exaggerated movement on paper."""
READABLE_MM = 3.0
"""Movements of this size are drawn readably whatever else there is."""
_NUMBERS_MM = 10.0
"""From the longest stroke to the row of course numbers, with room for a figure between, on paper."""
_APART_MM = 1.0
"""Between two figures, on paper."""
_LARGE_MM = 100.0
"""From here on movements are written in whole millimetres."""
_STEP_MM = 1.2
"""Between the boxes on paper that keep figures off a stroke."""
STILL = ink.pen(Layer.DEVIATION, ink.FINE_MM, ink.GREY)
_MOVED = ink.pen(Layer.DEVIATION, ink.BOLD_MM, ink.ACCENT)
_HEAD = ink.area(Layer.DEVIATION, ink.ACCENT, colour=ink.ACCENT, width_mm=ink.HAIR_MM)
DOT = Style(Layer.DEVIATION, 0.1, ink.GREY, fill=ink.WHITE)
MOVED_DOT = Style(Layer.DEVIATION, 0.1, ink.ACCENT, fill=ink.ACCENT)
_MISREAD = Style(Layer.DEVIATION, 0.3, ink.BLACK, fill=ink.WHITE)


def movement_factor(comparison: Comparison, scale: float) -> int:
    """How many times movements are exaggerated at 1 : ``scale``."""
    sizes = [math.hypot(c.outwards_mm.value, c.along_mm.value) for c in comparison.courses if not c.misread]
    return exaggeration(readable_mm(sizes, READABLE_MM), scale, longest_mm=LONGEST_MM)


def comparison_drawing(record_a: Record, fit_a: ArchFit, comparison: Comparison, scale: float) -> Drawing:
    """Every compared course's movement as a stroke from where it was, exaggerated, over the earlier curve.

    How far it went is written at the strokes of :func:`told_courses`, and at one longer than can be drawn,
    which is cut; one within the uncertainties is grey, one beyond them heavy with a head; a course whose
    edges cannot all be right is ringed.
    """
    curve = curve_of(fit_a.best.shape)
    fine = ink.pen(Layer.CURVE, ink.FINE_MM, ink.GREY)
    marks: list[Primitive] = list(curve_primitives(curve, ink.pen(Layer.CURVE, ink.BOLD_MM)))
    for ring in record_a.rings:
        back = ring_offset_mm(record_a.rings, ring.ring) + ring.depth_mm
        marks.extend(curve_primitives(curve.offset(back), fine))
    factor = movement_factor(comparison, scale)
    starts, tips = _strokes(record_a, fit_a, comparison, scale, factor)
    for course, start, tip in zip(comparison.courses, starts, tips, strict=True):
        marks.extend(_stroke(course, start, tip, scale))
    numbers = _numbers(record_a, comparison, curve, _inwards_mm(curve, tips) / scale, scale)
    wanted = _figures(comparison, curve, starts, tips, factor, scale)
    soffit = curve.point(np.arange(0.0, curve.length_mm, _STEP_MM * scale)) / scale
    lines = [box for a, b in zip(starts / scale, tips / scale, strict=True) for box in _along(a, b)]
    clear = _placed_apart(wanted, numbers, [*lines, *(_spot(xy) for xy in soffit)])
    # Where a crowd of strokes leaves no place, a figure over a stroke is better than none.
    rest = [places for places in wanted if not set(places) & set(clear)]
    heads = [mark_box(m) for m in on_paper(_at_origin(marks, scale)) if isinstance(m, Polyline) and m.tag]
    crowded = _placed_apart(rest, numbers, [*heads, *(text_box(t).grown(_APART_MM) for t in clear)])
    return Drawing(NAME, (*marks, *scaled((*numbers, *clear, *crowded), scale)))


def _placed_apart(
    wanted: Sequence[Sequence[Text]], taken: Sequence[Text], keep_out: Sequence[Box]
) -> tuple[Text, ...]:
    """Figures each in its first free place, none so close to another that they read as one."""
    placed: list[Text] = []
    for places in wanted:
        around = [text_box(text).grown(_APART_MM) for text in placed]
        placed.extend(place_labels([places], taken, [*keep_out, *around]).texts)
    return tuple(placed)


def _at_origin(marks: list[Primitive], scale: float) -> Placed:
    return Placed(Drawing(NAME, tuple(marks)), (0.0, 0.0), (0.0, 0.0), scale)


def told_courses(comparison: Comparison, curve: Curve) -> frozenset[tuple[int, int]]:
    """(ring, course) of those whose movement is written: next to the springings, at the crown, the largest
    of all, and the largest of every run of courses that moved beyond the uncertainties.

    Springings and crown are those of the innermost ring; a course to be measured again is passed over.
    """
    courses = [c for c in comparison.courses if not c.misread]
    if not courses:
        return frozenset()
    first = [c for c in courses if c.ring == min(each.ring for each in courses)]
    told = [
        *(min(first, key=lambda c: abs(c.station_mm - at)) for at in np.linspace(0.0, curve.length_mm, 3)),
        max(courses, key=_size_mm),
        *(max(run, key=_size_mm) for moved, run in _runs(comparison.courses) if moved),
    ]
    return frozenset((c.ring, c.course) for c in told)


def _runs(courses: tuple[CourseMovement, ...]) -> Iterator[tuple[bool, list[CourseMovement]]]:
    """Neighbours in the list that moved alike, beyond the uncertainties or not, ring by ring."""
    for (_, moved), run in groupby(courses, key=lambda c: (c.ring, c.moved and not c.misread)):
        yield moved, list(run)


def _size_mm(course: CourseMovement) -> float:
    return math.hypot(course.outwards_mm.value, course.along_mm.value)


def _figures(
    comparison: Comparison, curve: Curve, starts: Floats, tips: Floats, factor: int, scale: float
) -> list[list[Text]]:
    """Places on paper for the figures, the largest movement's first."""
    told = told_courses(comparison, curve)
    wanted: list[tuple[float, list[Text]]] = []
    for course, start, tip in zip(comparison.courses, starts, tips, strict=True):
        size = _size_mm(course)
        cut = factor * size > math.dist(start, tip) + 1e-6
        if course.misread or not (cut or (course.ring, course.course) in told):
            continue
        way = tip - start
        along = way / max(float(np.hypot(*way)), 1e-9)
        words = f"{figure(size, 1 if size < _LARGE_MM else 0)} mm"
        wanted.append((size, _places(words, tip / scale, along, moved=course.moved)))
    return [places for _, places in sorted(wanted, key=lambda each: -each[0])]


def _places(words: str, tip: Floats, along: Floats, *, moved: bool) -> list[Text]:
    """Places for a figure on paper: beyond the tip of its stroke, then further and further round it."""
    style = ink.letters(Layer.DEVIATION, ink.ACCENT if moved else ink.BLACK)
    height = ink.SMALL_TEXT_MM
    half = np.array([text_width_mm(words, height, bold=moved), height]) / 2
    places = []
    for far in (1.0, 3.0, 6.0, 10.0):
        for turn in np.radians([0, 40, -40, 80, -80, 120, -120]):
            c, s = math.cos(turn), math.sin(turn)
            out = np.array([along[0] * c - along[1] * s, along[0] * s + along[1] * c])
            x, y = tip + out * (far + float(half @ np.abs(out)))
            at = (float(x), float(y) - height / 2)
            places.append(Text(at, words, height, style, Anchor.MIDDLE, bold=moved, backed=True))
    return places


def _along(start: Floats, end: Floats) -> list[Box]:
    """Small boxes on paper over a stroke, one beside the other."""
    n = max(2, math.ceil(math.dist(start, end) / _STEP_MM) + 1)
    return [_spot(xy) for xy in np.linspace(start, end, n)]


def _spot(xy: Floats) -> Box:
    return Box(float(xy[0]), float(xy[1]), 0.0, 0.0).grown(_STEP_MM / 2)


def _strokes(
    record_a: Record, fit_a: ArchFit, comparison: Comparison, scale: float, factor: int
) -> tuple[Floats, Floats]:
    """Where every course was (n, 2), and the tip of its stroke (n, 2)."""
    courses, curve = comparison.courses, curve_of(fit_a.best.shape)
    station = np.array([c.station_mm for c in courses])
    if not len(station):
        return np.empty((0, 2)), np.empty((0, 2))
    inner = np.array([ring_offset_mm(record_a.rings, c.ring) for c in courses])
    normal, tangent = curve.normal(station), curve.tangent(station)
    starts = curve.point(station) + inner[:, None] * normal
    out = np.array([c.outwards_mm.value for c in courses])[:, None] * normal
    step = factor * (out + np.array([c.along_mm.value for c in courses])[:, None] * tangent)
    size = np.hypot(step[:, 0], step[:, 1])
    most = LONGEST_MM * scale
    return starts, starts + step * np.minimum(1.0, most / np.maximum(size, 1e-9))[:, None]


def _stroke(course: CourseMovement, start: Floats, tip: Floats, scale: float) -> list[Primitive]:
    was, goes = _pair(start), _pair(tip)
    tag = f"ring-{course.ring}-course-{course.course}"
    if course.misread:
        return [Circle(was, 1.2, _MISREAD, tag=tag)]
    if not course.moved:
        return [Line(was, goes, STILL), Circle(was, 0.4, DOT, tag=tag)]
    way = tip - start
    length = float(np.hypot(*way))
    along = way / max(length, 1e-9)
    head = min(2.4 * scale, 0.7 * length)
    side = 0.35 * head * np.array([-along[1], along[0]])
    neck = tip - head * along
    corners = (goes, _pair(neck + side), _pair(neck - side))
    return [
        Line(was, _pair(neck), _MOVED),
        Polyline(corners, _HEAD, closed=True, tag=tag),
        Circle(was, 0.6, MOVED_DOT),
    ]


def _pair(xy: Floats) -> XY:
    return float(xy[0]), float(xy[1])


def _inwards_mm(curve: Curve, tips: Floats) -> float:
    """How far the tips (n, 2) reach into the opening at most."""
    return max(0.0, -float(curve.locate(tips).distance_mm.min(initial=0.0)))


def _numbers(
    record_a: Record, comparison: Comparison, curve: Curve, reach_mm: float, scale: float
) -> tuple[Text, ...]:
    """Numbers of the innermost ring's courses inside the opening, beyond the strokes, on paper."""
    first = min((ring.ring for ring in record_a.rings), default=1)
    courses = [c for c in comparison.courses if c.ring == first]
    if not courses:
        return ()
    station = np.array([c.station_mm for c in courses])
    inside = min(reach_mm, LONGEST_MM) + _NUMBERS_MM
    at = (curve.point(station) - inside * scale * curve.normal(station)) / scale
    row = [
        Text(
            (float(x), float(y) - 0.5 * ink.SMALL_TEXT_MM),
            str(c.course),
            ink.SMALL_TEXT_MM,
            ink.letters(Layer.TEXT, ink.ACCENT if c.moved else ink.GREY),
            Anchor.MIDDLE,
            bold=c.moved,
        )
        for c, (x, y) in zip(courses, at, strict=True)
    ]
    return course_labels(row, [c.moved for c in courses])
