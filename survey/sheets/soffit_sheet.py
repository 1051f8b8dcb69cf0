"""The soffit unrolled to a strip: deviation, lip, joint and face offset, aligned over the station."""

from __future__ import annotations

import numpy as np

from survey.condition.result import DeviationMap
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.record.model import Condition, Record
from survey.sheets import ink, strip
from survey.sheets.deviation_style import MISSING, deviation_style
from survey.sheets.drawing import XY, Anchor, Box, Dash, Layer, Line, Polyline, Primitive, Sheet, Style, Text
from survey.sheets.furniture import orientation_mark
from survey.sheets.labels import thinned
from survey.sheets.page import Page, Paper, TitleBlock, finish

NAME = "soffit"
_LEFT_MM = 14.0
_BRICKS_MM = 20.0
_GAP_MM = 11.0
_DOT = Style(Layer.DEVIATION, 0.1, ink.BLACK, fill=ink.BLACK)
_LINE = ink.pen(Layer.DEVIATION, ink.MEDIUM_MM)
_WHISKER = ink.pen(Layer.DEVIATION, ink.FINE_MM, ink.GREY)


def soffit_sheet(record: Record, map_: DeviationMap) -> Sheet:
    """One A3 sheet of the innermost ring: its bricks side by side, and four traces below them."""
    area = Paper.A3_LANDSCAPE.area
    ring = min(course.ring for course in map_.courses)
    length = curve_of(map_.shape).length_mm
    box = Box(area.left + _LEFT_MM, area.bottom + 12.0, area.width - _LEFT_MM, area.height - 12.0)
    bricks = Box(box.left, box.top - 14.0 - _BRICKS_MM, box.width, _BRICKS_MM)
    traces = Box(box.left, box.bottom, box.width, bricks.bottom - box.bottom - 8.0)
    title = f"Ring {ring}: the soffit unrolled, left springing to right springing"
    marks: list[Primitive] = [
        Text((area.left, area.top - ink.HEAD_MM), title, ink.HEAD_MM, ink.letters(), bold=True),
        *orientation_mark((area.right - 34.0, area.top - ink.HEAD_MM)),
        *_bricks(map_, ring, bricks, length),
        *_traces(record, map_, ring, traces, length),
    ]
    page = Page(NAME, "Soffit, unrolled", tuple(marks))
    (sheet,) = finish([page], TitleBlock.of(record))
    return sheet


def _bricks(map_: DeviationMap, ring: int, box: Box, length: float) -> list[Primitive]:
    """The courses as they lie along the soffit, tinted by deviation, numbered above."""
    window = strip.Strip(box, (0.0, length), (0.0, 1.0))
    marks: list[Primitive] = []
    numbers: list[Text] = []
    for course in map_.ring(ring):
        if not np.isfinite(course.start_mm + course.end_mm):
            continue
        missing = course.condition is Condition.MISSING
        style = MISSING if missing else deviation_style(course.deviation_mm, map_.tolerances.intrados_mm)
        xs = (window.x_at(course.start_mm), window.x_at(course.end_mm))
        corners: tuple[XY, ...] = tuple(
            (x, y) for x, y in zip((*xs, *xs[::-1]), (box.bottom,) * 2 + (box.top,) * 2, strict=True)
        )
        marks.append(Polyline(corners, style, closed=True))
        letters = ink.letters(Layer.TEXT, ink.ACCENT if course.flag else ink.BLACK)
        at = (0.5 * (xs[0] + xs[1]), box.top + 1.5)
        words = str(course.course)
        numbers.append(Text(at, words, ink.SMALL_TEXT_MM, letters, Anchor.MIDDLE, bold=bool(course.flag)))
    return [*marks, *thinned(numbers)]


def _traces(record: Record, map_: DeviationMap, ring: int, box: Box, length: float) -> list[Primitive]:
    """Deviation, lip, joint and face offset, one below the other on the same scale of stations."""
    height = (box.height - 4 * _GAP_MM) / 4
    boxes = [
        Box(box.left, box.top - _GAP_MM - height - n * (height + _GAP_MM), box.width, height)
        for n in range(4)
    ]
    tolerance = map_.tolerances
    station = map_.column(ring, "station_mm")
    ends = map_.column(ring, "end_mm")
    deviation, sigma = map_.column(ring, "deviation_mm"), map_.column(ring, "deviation_sigma_mm")
    lip, joint = map_.column(ring, "lip_mm"), map_.column(ring, "joint_mm")
    face = map_.column(ring, "face_offset_mm")
    marks: list[Primitive] = []

    def banded(place: Box, values: Floats, band: float, title: str) -> strip.Strip:
        window = strip.Strip(place, (0.0, length), strip.symmetric_range(values, 1.5 * band))
        marks.extend([*strip.band(window, -band, band), *strip.ruled(window, title)])
        return window

    window = banded(
        boxes[0],
        np.concatenate([deviation + 1.96 * sigma, deviation - 1.96 * sigma]),
        tolerance.intrados_mm,
        f"Deviation, mm, with its 95 % interval; tolerance ± {tolerance.intrados_mm:g}",
    )
    marks.extend(strip.whiskers(window, station, deviation, 1.96 * sigma, _WHISKER))
    marks.extend(
        [*strip.trace(window, station, deviation, _LINE), *strip.dots(window, station, deviation, _DOT)]
    )
    window = banded(
        boxes[1], lip, tolerance.lip_mm, f"Lip to the next course, mm; tolerance ± {tolerance.lip_mm:g}"
    )
    marks.extend(_bars(window, ends, lip))
    marks.extend(_joints(record, length, boxes[2], ends, joint))
    words = f"Face offset, mm (positive: towards you); tolerance ± {tolerance.face_mm:g}"
    if not np.isfinite(face).any():
        words += " – not measured"
    window = banded(boxes[3], face, tolerance.face_mm, words)
    marks.extend([*strip.trace(window, station, face, _LINE), *strip.dots(window, station, face, _DOT)])
    return [*marks, *strip.station_ticks(window)]


def _joints(record: Record, length: float, box: Box, ends: Floats, joint: Floats) -> list[Primitive]:
    """Joint after each course, with the record's limits dashed and the mean drawn fine."""
    limits = record.joints
    top = 1.1 * max(limits.max_mm, float(np.nanmax(joint, initial=0.0)))
    window = strip.Strip(box, (0.0, length), (0.0, top))
    title = f"Joint after each course, mm; limits {limits.min_mm:g} and {limits.max_mm:g} dashed"
    marks = strip.ruled(window, title)
    dashed = ink.pen(Layer.DEVIATION, ink.FINE_MM, ink.GREY, dash=Dash.DASHED)
    for limit in (limits.min_mm, limits.max_mm):
        y = window.y_at(limit)
        marks.append(Line((box.left, y), (box.right, y), dashed))
    marks.extend(_bars(window, ends, joint))
    return marks


def _bars(window: strip.Strip, x: Floats, y: Floats) -> list[Primitive]:
    """A stroke from zero to every known reading, with a dot at its end."""
    strokes: list[Primitive] = [
        Line(window.at(float(a), 0.0), window.at(float(a), float(b)), _LINE)
        for a, b in zip(x, y, strict=True)
        if np.isfinite(a + b)
    ]
    return [*strokes, *strip.dots(window, x, y, _DOT, 0.5)]
