"""The deviation map: the arch in elevation, courses tinted and hatched, deviations drawn exaggerated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from survey.condition.result import CourseDeviation, DeviationMap
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.counting.edge_readings import ring_offset_mm
from survey.fitting.result import Opens
from survey.record.model import Record, Ring
from survey.sheets.condition.deviation_style import course_style
from survey.sheets.condition.pattern_marks import bracket_marks, clear_mm
from survey.sheets.drawing import (
    XY,
    Anchor,
    Box,
    Circle,
    Dash,
    Drawing,
    Hatch,
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
from survey.sheets.kit.labels import legible_step, place_labels
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.placing import mark_box, on_paper
from survey.sheets.kit.schedule import figure

NAME = "deviations"
LONGEST_MM = 11.0
"""Longest exaggerated deviation on paper."""
_AIR_MM = 3.0
"""Between the trace at its longest and the brickwork, or a bracket."""
_CUT = Style(Layer.DEVIATION, 0.3, ink.ACCENT, fill=ink.WHITE)
_DOT = Style(Layer.DEVIATION, 0.1, ink.BLACK, fill=ink.BLACK)
_FINE = ink.pen(Layer.DEVIATION, ink.HAIR_MM, ink.GREY)
_DASHED = ink.pen(Layer.DEVIATION, ink.HAIR_MM, ink.GREY, dash=Dash.DASHED)
_BOLD = ink.pen(Layer.DEVIATION, ink.BOLD_MM)


def ring_bounds_mm(rings: tuple[Ring, ...], ring: int) -> tuple[float, float]:
    """Distances of a ring's inner and outer face from the intrados, along the normal."""
    inner = ring_offset_mm(rings, ring)
    return inner, inner + next(each.depth_mm for each in rings if each.ring == ring)


def first_ring(map_: DeviationMap) -> tuple[CourseDeviation, ...]:
    """Courses of the innermost ring."""
    return map_.ring(min(course.ring for course in map_.courses))


def trace_factor(map_: DeviationMap, scale: float) -> int:
    """How many times the deviations of the innermost ring are exaggerated at 1 : ``scale``."""
    deviations = [course.deviation_mm for course in first_ring(map_)]
    largest = readable_mm(deviations, map_.tolerances.intrados_mm)
    return exaggeration(largest, scale, longest_mm=LONGEST_MM)


def deviation_drawing(record: Record, map_: DeviationMap, scale: float) -> Drawing:
    """Every course of every ring, the fitted curve, numbers, patterns, hinges and the exaggerated trace.

    The trace of the innermost ring stands inside the opening, or outside the arch where the opening is too
    narrow for it; what is too long to draw is cut, ended with a ring and given in figures.
    """
    curve = curve_of(map_.shape)
    marks: list[Primitive] = []
    for ring in record.rings:
        marks.extend(_bricks(curve, map_.ring(ring.ring), ring_bounds_mm(record.rings, ring.ring), map_))
    marks.extend(curve_primitives(curve, ink.pen(Layer.CURVE, ink.BOLD_MM)))
    numbers = _numbers(record, curve, map_, scale)
    trace = _trace(curve, map_, scale, _base_mm(record, curve, map_, scale))
    marks.extend([*scaled(numbers, scale), *trace.marks, *_hinges(record, map_, scale)])
    marks.extend(bracket_marks(curve, map_, _outermost_mm(record), scale))
    at_origin = Placed(Drawing(NAME, tuple(marks)), (0.0, 0.0), (0.0, 0.0), scale)
    paper = on_paper(at_origin)
    taken = [mark for mark in paper if isinstance(mark, Text)]
    dots = [mark_box(mark) for mark in paper if isinstance(mark, Circle)]
    marks.extend(scaled(place_labels(trace.wanted, taken, dots).texts, scale))
    return Drawing(NAME, tuple(marks))


def _bricks(
    curve: Curve, courses: Sequence[CourseDeviation], bounds: tuple[float, float], map_: DeviationMap
) -> list[Polyline]:
    """Four corners of each course between its stations, on the inner and outer face of its ring."""
    placed = [c for c in courses if math.isfinite(c.start_mm + c.end_mm)]
    ends = np.array([(c.start_mm, c.end_mm) for c in placed]).reshape(-1)
    feet, normals = curve.point(ends).reshape(-1, 2, 2), curve.normal(ends).reshape(-1, 2, 2)
    inner, outer = feet + bounds[0] * normals, feet + bounds[1] * normals
    corners = np.concatenate([inner, outer[:, ::-1]], axis=1)
    return [
        Polyline(_pairs(four), course_style(c, map_.tolerances.intrados_mm), closed=True, tag=_tag(c))
        for c, four in zip(placed, corners, strict=True)
    ]


def _tag(course: CourseDeviation) -> str:
    return f"ring-{course.ring}-course-{course.course}"


def _outermost_mm(record: Record) -> float:
    """Distance of the back of the arch from the intrados."""
    return ring_bounds_mm(record.rings, max(ring.ring for ring in record.rings))[1]


def _base_mm(record: Record, curve: Curve, map_: DeviationMap, scale: float) -> float:
    """Distance of the trace's base line from the intrados, in model mm: inwards where there is room."""
    paper = LONGEST_MM + _AIR_MM
    stations = np.linspace(0.0, curve.length_mm, 181)
    tightest = 1.0 / max(1e-12, float(curve.curvature(stations).max()))
    if tightest > (paper + LONGEST_MM + 1.0) * scale:
        return -paper * scale
    return _outermost_mm(record) + (paper + clear_mm(map_)) * scale


@dataclass(frozen=True, slots=True)
class _Trace:
    """The trace, and places on paper for the figures of what was cut."""

    marks: list[Primitive]
    wanted: list[list[Text]]


def _trace(curve: Curve, map_: DeviationMap, scale: float, base: float) -> _Trace:
    """Deviations of the innermost ring, exaggerated, about a base line beside the arch."""
    factor = trace_factor(map_, scale)
    band = map_.tolerances.intrados_mm * factor
    longest = LONGEST_MM * scale
    stations = np.linspace(0.0, curve.length_mm, 181)
    marks: list[Primitive] = [Polyline(_beside(curve, stations, base), _FINE)]
    if band <= longest:
        marks += [Polyline(_beside(curve, stations, base + off), _DASHED) for off in (band, -band)]
    courses = [c for c in first_ring(map_) if math.isfinite(c.station_mm)]
    station = np.array([c.station_mm for c in courses])
    wished = factor * np.array([c.deviation_mm for c in courses])
    drawn = np.clip(wished, -longest, longest)
    feet, tips = _beside(curve, station, base), _beside(curve, station, base + np.nan_to_num(drawn))
    wanted: list[list[Text]] = []
    run: list[XY] = []
    for k, course in enumerate(courses):
        if math.isnan(course.deviation_mm):
            marks.extend([Polyline(tuple(run), _BOLD)] if len(run) > 1 else [])
            run = []
            continue
        cut = drawn[k] != wished[k]
        marks.append(Line(feet[k], tips[k], _FINE))
        marks.append(Circle(tips[k], 0.9 if cut else 0.6, _CUT if cut else _DOT, tag=_tag(course)))
        run.append(tips[k])
        if cut:
            wanted.append(_figure_places(tips[k], course.deviation_mm, scale))
    marks.extend([Polyline(tuple(run), _BOLD)] if len(run) > 1 else [])
    return _Trace(marks, wanted)


def _figure_places(tip: XY, deviation_mm: float, scale: float) -> list[Text]:
    x, y = tip[0] / scale, tip[1] / scale
    style = ink.letters(Layer.DEVIATION, ink.ACCENT)
    return [
        Text((x + side * 1.8, y + up), figure(deviation_mm), ink.SMALL_TEXT_MM, style, anchor)
        for up in (-0.9, 2.0, -3.8)
        for side, anchor in ((1.0, Anchor.LEFT), (-1.0, Anchor.RIGHT))
    ]


def _beside(curve: Curve, stations: Floats, distance_mm: float | Floats) -> tuple[XY, ...]:
    off = np.broadcast_to(np.asarray(distance_mm, dtype=float), stations.shape)
    return _pairs(curve.point(stations) + off[:, None] * curve.normal(stations))


def _pairs(xy: Floats) -> tuple[XY, ...]:
    return tuple((float(x), float(y)) for x, y in xy)


def _numbers(record: Record, curve: Curve, map_: DeviationMap, scale: float) -> list[Text]:
    """Course numbers in the middle of each ring, on paper; a flagged course stands bold.

    They are black, on a white ground where the brick is tinted: an accent on a tint does not read. They are
    printed larger where that costs no number.
    """
    texts: list[Text] = []
    for ring in record.rings:
        courses = [c for c in map_.ring(ring.ring) if math.isfinite(c.station_mm)]
        middle = sum(ring_bounds_mm(record.rings, ring.ring)) / 2
        at = _beside(curve, np.array([c.station_mm for c in courses]), middle)
        row, large = (
            [_number(c, xy, map_, scale, size) for c, xy in zip(courses, at, strict=True)]
            for size in (ink.SMALL_TEXT_MM, ink.TEXT_MM)
        )
        if legible_step(large) == legible_step(row):
            row = large
        if legible_step(row) > 1:
            # wider than their bricks: without a ground the joints would run through them
            row = [replace(text, backed=True) for text in row]
        texts.extend(course_labels(row, [bool(c.flag) for c in courses], texts))
    return texts


def _number(course: CourseDeviation, at: XY, map_: DeviationMap, scale: float, size_mm: float) -> Text:
    return Text(
        (at[0] / scale, at[1] / scale - 0.5 * size_mm),
        str(course.course),
        size_mm,
        ink.letters(Layer.TEXT),
        Anchor.MIDDLE,
        bold=bool(course.flag),
        backed=course_style(course, map_.tolerances.intrados_mm).hatch is not Hatch.NONE,
    )


def _hinges(record: Record, map_: DeviationMap, scale: float) -> list[Primitive]:
    """An arrowhead at every hinge, pointing at the side that opens, and its number beside it."""
    if map_.movement is None or not map_.movement.hinges:
        return []
    curve = curve_of(map_.shape)
    outermost = _outermost_mm(record)
    marks: list[Primitive] = []
    wanted: list[list[Text]] = []
    heads: list[Box] = []
    style = Style(Layer.DEVIATION, ink.FINE_MM, ink.ACCENT, fill=ink.ACCENT)
    at = curve.locate(np.array([(h.x_mm, h.y_mm) for h in map_.movement.hinges])).station_mm
    for number, (hinge, station) in enumerate(zip(map_.movement.hinges, at, strict=True), start=1):
        foot, normal = curve.point(station), curve.normal(station)
        face, way = (0.0, -scale) if hinge.opens is Opens.INTRADOS else (outermost, scale)
        side = 1.2 * scale * np.array([normal[1], -normal[0]])
        tip, broad = (foot + (face + far * way) * normal for far in (0.8, 5.0))
        corners = np.array([tip, broad + side, broad - side])
        marks.append(Polyline(_pairs(corners), style, closed=True, tag="hinge"))
        heads.append(mark_box(Polyline(_pairs(corners / scale), style)))
        wanted.append(_hinge_number(number, (tip + broad) / 2 / scale, normal * way / scale))
    return [*marks, *scaled(place_labels(wanted, keep_out=heads).texts, scale)]


def _hinge_number(number: int, middle: Floats, away: Floats) -> list[Text]:
    """Places on paper for a hinge's number: on either side of its arrowhead, then beyond it."""
    side = np.array([away[1], -away[0]])
    spots = [middle + far * side for far in (3.2, -3.2)] + [middle + far * away for far in (4.6, 8.0)]
    style = ink.letters(Layer.DEVIATION)
    return [
        Text(
            (x, y - 0.5 * ink.HEAD_MM), str(number), ink.HEAD_MM, style, Anchor.MIDDLE, bold=True, backed=True
        )
        for x, y in _pairs(np.array(spots))
    ]
