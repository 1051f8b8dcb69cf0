"""The deviation map: the arch in elevation, courses tinted and hatched, deviations drawn exaggerated."""

from __future__ import annotations

import math

import numpy as np

from survey.condition.result import CourseDeviation, DeviationMap
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.edge_readings import ring_offset_mm
from survey.fitting.result import ArchFit
from survey.record.model import Condition, Record, Ring
from survey.sheets import ink
from survey.sheets.deviation_style import MISSING, deviation_scale, deviation_style, outline
from survey.sheets.drawing import (
    XY,
    Anchor,
    Box,
    Circle,
    Dash,
    Drawing,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Sheet,
    Style,
    Text,
)
from survey.sheets.fit_sheet import exaggeration
from survey.sheets.furniture import notes, notes_height_mm, orientation_mark, scale_bar
from survey.sheets.labels import thinned
from survey.sheets.outline import curve_primitives
from survey.sheets.page import Page, Paper, TitleBlock, choose_scale, finish
from survey.sheets.schedule import Column, Schedule, schedule_height_mm, schedule_primitives

NAME = "deviations"
_SIDE_MM = 128.0
_LONGEST_MM = 11.0
"""Longest exaggerated deviation on paper."""
_BASE_MM = _LONGEST_MM + 4.0
"""The exaggerated trace stands this far inside the soffit, on paper."""


def ring_bounds_mm(rings: tuple[Ring, ...], ring: int) -> tuple[float, float]:
    """Distances of a ring's inner and outer face from the intrados, along the normal."""
    inner = ring_offset_mm(rings, ring)
    return inner, inner + next(each.depth_mm for each in rings if each.ring == ring)


def course_outline(curve: Curve, course: CourseDeviation, bounds: tuple[float, float]) -> tuple[XY, ...]:
    """Four corners of a course between its stations, on the inner and outer face of its ring."""
    stations = np.array([course.start_mm, course.end_mm])
    feet, normals = curve.point(stations), curve.normal(stations)
    inner, outer = (feet + bound * normals for bound in bounds)
    corners = np.vstack([inner, outer[::-1]])
    return tuple((float(x), float(y)) for x, y in corners)


def deviation_drawing(record: Record, map_: DeviationMap, scale: float, factor: int) -> Drawing:
    """Every course of every ring, the fitted curve, numbers, and the exaggerated trace of the first ring."""
    curve = curve_of(map_.shape)
    marks: list[Primitive] = []
    for course in map_.courses:
        if math.isfinite(course.start_mm) and math.isfinite(course.end_mm):
            corners = course_outline(curve, course, ring_bounds_mm(record.rings, course.ring))
            marks.append(outline(corners, _course_style(course, map_.tolerances.intrados_mm)))
    marks.extend(curve_primitives(curve, ink.pen(Layer.CURVE, ink.BOLD_MM)))
    marks.extend(_trace(curve, map_, scale, factor))
    marks.extend(_numbers(record, curve, map_, scale))
    return Drawing(NAME, tuple(marks))


def _course_style(course: CourseDeviation, tolerance_mm: float) -> Style:
    if course.condition is Condition.MISSING:
        return MISSING
    return deviation_style(course.deviation_mm, tolerance_mm)


def _first_ring(map_: DeviationMap) -> tuple[CourseDeviation, ...]:
    return map_.ring(min(course.ring for course in map_.courses))


def _trace(curve: Curve, map_: DeviationMap, scale: float, factor: int) -> list[Primitive]:
    """Deviations of the innermost ring, exaggerated, about a base line inside the soffit."""
    base = -_BASE_MM * scale
    band = map_.tolerances.intrados_mm * factor
    stations = np.linspace(0.0, curve.length_mm, 181)
    fine = ink.pen(Layer.DEVIATION, ink.HAIR_MM, ink.GREY)
    dashed = ink.pen(Layer.DEVIATION, ink.HAIR_MM, ink.GREY, dash=Dash.DASHED)
    marks: list[Primitive] = [
        Polyline(_beside(curve, stations, base + off), style)
        for off, style in ((0.0, fine), (band, dashed), (-band, dashed))
    ]
    bold = ink.pen(Layer.DEVIATION, ink.BOLD_MM)
    dot = Style(Layer.DEVIATION, 0.1, ink.BLACK, fill=ink.BLACK)
    run: list[XY] = []
    for course in _first_ring(map_):
        if math.isnan(course.deviation_mm):
            marks.extend([Polyline(tuple(run), bold)] if len(run) > 1 else [])
            run = []
            continue
        station = np.array([course.station_mm])
        foot, tip = (_beside(curve, station, base + off)[0] for off in (0.0, factor * course.deviation_mm))
        marks.extend([Line(foot, tip, fine), Circle(tip, 0.6, dot)])
        run.append(tip)
    if len(run) > 1:
        marks.append(Polyline(tuple(run), bold))
    return marks


def _beside(curve: Curve, stations: Floats, distance_mm: float) -> tuple[XY, ...]:
    points = curve.point(stations) + distance_mm * curve.normal(stations)
    return tuple((float(x), float(y)) for x, y in points)


def _numbers(record: Record, curve: Curve, map_: DeviationMap, scale: float) -> list[Text]:
    """Course numbers outside each ring's inner face; a flagged course stands bold in the accent."""
    texts: list[Text] = []
    for ring in record.rings:
        row = []
        for course in map_.ring(ring.ring):
            if not math.isfinite(course.station_mm):
                continue
            inner, outer = ring_bounds_mm(record.rings, ring.ring)
            foot = curve.point(np.array([course.station_mm]))[0]
            normal = curve.normal(np.array([course.station_mm]))[0]
            x, y = (foot + 0.5 * (inner + outer) * normal) / scale
            letters = ink.letters(Layer.TEXT, ink.ACCENT if course.flag else ink.BLACK)
            at = (float(x), float(y) - 0.5 * ink.SMALL_TEXT_MM)
            words = str(course.course)
            row.append(Text(at, words, ink.SMALL_TEXT_MM, letters, Anchor.MIDDLE, bold=bool(course.flag)))
        texts.extend(thinned(row))
    return [
        Text((t.at[0] * scale, t.at[1] * scale), t.text, t.height_mm, t.style, t.anchor, bold=t.bold)
        for t in texts
    ]


def deviation_sheet(record: Record, fit: ArchFit, map_: DeviationMap) -> Sheet:
    """One A3 sheet: the map, its scale, the patterns seen and the worst courses with what to do."""
    area = Paper.A3_LANDSCAPE.area
    side = Box(area.right - _SIDE_MM, area.bottom, _SIDE_MM, area.height)
    left = Box(area.left, area.bottom + 30.0, area.width - _SIDE_MM - 8.0, area.height - 30.0)
    placed, factor = _placed(record, map_, left)
    words = (
        f"line inside the soffit: deviations of ring {_first_ring(map_)[0].ring} × {factor}, "
        f"dashed: tolerance ± {map_.tolerances.intrados_mm:g} mm"
    )
    rule = ink.pen(Layer.FRAME, ink.HAIR_MM, ink.GREY)
    marks: list[Primitive] = [
        Text((left.left, left.top - ink.TEXT_MM), words, ink.SMALL_TEXT_MM, ink.letters()),
        *deviation_scale(area.left, area.bottom + 24.0, map_.tolerances.intrados_mm),
        *scale_bar((area.left + 128.0, area.bottom + 3.0), placed.scale, longest_mm=60.0),
        *orientation_mark((area.left + 158.0, area.bottom + 16.0)),
        *_side(fit, map_, side),
        Line((side.left - 4.0, side.bottom), (side.left - 4.0, side.top), rule),
    ]
    page = Page(NAME, "Deviations, course by course", tuple(marks), (placed,), placed.scale)
    (sheet,) = finish([page], TitleBlock.of(record))
    return sheet


def _placed(record: Record, map_: DeviationMap, room: Box) -> tuple[Placed, int]:
    curve = curve_of(map_.shape)
    _, outermost = ring_bounds_mm(record.rings, max(ring.ring for ring in record.rings))
    around = np.array(_beside(curve, np.linspace(0.0, curve.length_mm, 181), outermost))
    around = np.vstack([around, _beside(curve, np.array([0.0, curve.length_mm]), 0.0)])
    low, high = around.min(axis=0), around.max(axis=0)
    width, height = (float(v) for v in high - low)
    scale = choose_scale(width, height, room.grown(-6.0))
    readings = np.array([map_.tolerances.intrados_mm, *(c.deviation_mm for c in _first_ring(map_))])
    factor = exaggeration(readings[np.isfinite(readings)], scale, longest_mm=_LONGEST_MM)
    middle = ((low + high) / 2).tolist()
    drawing = deviation_drawing(record, map_, scale, factor)
    return Placed(drawing, (middle[0], middle[1]), room.middle, scale), factor


def _side(fit: ArchFit, map_: DeviationMap, side: Box) -> list[Primitive]:
    """What the map shows, then the worst courses."""
    sentences = [pattern.sentence for pattern in map_.patterns]
    if map_.movement is not None:
        sentences.insert(0, map_.movement.because)
    sentences = sentences or ["No pattern beyond the arch's own irregularity."]
    counts = [count.doubt for count in fit.courses if count.doubt]
    height = notes_height_mm([*sentences, *counts], side.width, title="What it shows") + 0.5
    room = Box(side.left, side.top - height, side.width, height)
    marks: list[Primitive] = [*notes([*sentences, *counts], room, title="What it shows")]
    top = side.top - height - 5.0
    if not map_.worst:
        return marks
    columns = (
        Column("ring/\ncourse", Anchor.LEFT),
        Column("what", Anchor.LEFT, wrap_mm=24.0),
        Column("how much", Anchor.LEFT, wrap_mm=30.0),
        Column("what to do", Anchor.LEFT, wrap_mm=46.0),
    )
    rows = tuple((f"{w.ring}/{w.course}", w.what, w.how_much, w.todo) for w in map_.worst)
    title = "The worst courses"
    while rows and schedule_height_mm(Schedule(columns, rows, title)) > top - side.bottom:
        rows, title = rows[:-1], f"The {len(rows) - 1} worst courses"
    marks.extend(schedule_primitives(Schedule(columns, rows, title), side.left, top))
    return marks
