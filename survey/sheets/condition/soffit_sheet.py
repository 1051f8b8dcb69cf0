"""The soffit unrolled to a strip: deviation, lip, joint and face offset, aligned over the station."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.result import DeviationMap
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.record.model import Condition, JointLimits, Record
from survey.sheets.condition.deviation_style import course_style, deviation_scale
from survey.sheets.drawing import XY, Anchor, Box, Dash, Layer, Line, Polyline, Primitive, Sheet, Style, Text
from survey.sheets.kit import ink, strip
from survey.sheets.kit.course_labels import course_labels
from survey.sheets.kit.exaggeration import readable_mm
from survey.sheets.kit.furniture import orientation_mark
from survey.sheets.kit.page import Page, Paper, TitleBlock, finish

NAME = "soffit"
_TRACED = ("deviation_mm", "lip_mm", "joint_mm", "face_offset_mm")
_OUTER_NOTE = (
    "over the stations of the soffit; from the curve at its own depth, of its back where only that was read"
)
_LEFT_MM = 14.0
_HEAD_MM = 20.0
_BRICKS_MM = 18.0
_GAP_MM = 10.0
_DOT = Style(Layer.DEVIATION, 0.1, ink.BLACK, fill=ink.BLACK)
_BEYOND = Style(Layer.DEVIATION, 0.2, ink.ACCENT, fill=ink.ACCENT)
_LINE = ink.pen(Layer.DEVIATION, ink.MEDIUM_MM)
_WHISKER = ink.pen(Layer.DEVIATION, ink.FINE_MM, ink.GREY)
_DASHED = ink.pen(Layer.DEVIATION, ink.FINE_MM, ink.GREY, dash=Dash.DASHED)


def soffit_sheets(record: Record, map_: DeviationMap) -> tuple[Sheet, ...]:
    """One A3 sheet a ring: its bricks side by side, and four traces below them.

    The innermost ring, whose inner face is the soffit, always has one; the others have one where anything was
    read on them.
    """
    length = curve_of(map_.shape).length_mm
    rings = [_Soffit(map_, ring, length) for ring in sorted({course.ring for course in map_.courses})]
    shown = [rings[0], *(ring for ring in rings[1:] if ring.has_readings)]
    pages = [_page(record, ring, is_soffit=ring is rings[0]) for ring in shown]
    return finish(pages, TitleBlock.of(record))


def soffit_sheet(record: Record, map_: DeviationMap) -> Sheet:
    """The first of :func:`soffit_sheets`, of the innermost ring."""
    return soffit_sheets(record, map_)[0]


def _page(record: Record, soffit: _Soffit, *, is_soffit: bool) -> Page:
    area = Paper.A3_LANDSCAPE.area
    map_ = soffit.map_
    box = Box(area.left + _LEFT_MM, area.bottom + 9.0, area.width - _LEFT_MM, area.height - 9.0)
    bricks = Box(box.left, box.top - _HEAD_MM - 5.0 - _BRICKS_MM, box.width, _BRICKS_MM)
    traces = Box(box.left, box.bottom, box.width, bricks.bottom - box.bottom)
    own = "the soffit" if is_soffit else f"ring {soffit.ring}"
    title = f"Ring {soffit.ring}: {'the soffit' if is_soffit else 'its inner face'} unrolled"
    marks: list[Primitive] = [
        Text((area.left, area.top - ink.HEAD_MM), title, ink.HEAD_MM, ink.letters(), bold=True),
        _note((area.left, area.top - 9.0), "left springing to right springing, seen from outside"),
        _note((area.left, area.top - 13.0), "bold number: see the flag in the table of deviations"),
        *([] if is_soffit else [_note((area.left, area.top - 17.0), _OUTER_NOTE)]),
        *deviation_scale(area.left + 150.0, area.top, map_.tolerances.intrados_mm, of=own),
        *orientation_mark((area.right - 34.0, area.top - ink.HEAD_MM)),
        *_bricks(soffit, bricks),
        *_traces(soffit, record.joints, traces),
    ]
    heading = "Soffit, unrolled" if is_soffit else f"Ring {soffit.ring}, unrolled"
    return Page(NAME, heading, tuple(marks))


def _note(at: XY, words: str) -> Text:
    return Text(at, words, ink.SMALL_TEXT_MM, ink.letters())


@dataclass(frozen=True, slots=True, eq=False)
class _Soffit:
    """One ring of the map over the length of the intrados."""

    map_: DeviationMap
    ring: int
    length_mm: float

    def column(self, name: str) -> Floats:
        """A field of every course."""
        return self.map_.column(self.ring, name)

    @property
    def has_readings(self) -> bool:
        """Whether any trace would show anything."""
        return any(bool(np.isfinite(self.column(name)).any()) for name in _TRACED)

    @property
    def stations(self) -> tuple[float, float]:
        """Ends of the strips: the springings, and what was measured beyond them."""
        ends = np.concatenate([self.column("start_mm"), self.column("end_mm"), [0.0, self.length_mm]])
        return float(np.nanmin(ends)), float(np.nanmax(ends))

    @property
    def gaps(self) -> list[tuple[float, float]]:
        """Stations between which courses are missing."""
        found: list[tuple[float, float]] = []
        before = -1
        for k, course in enumerate(self.map_.ring(self.ring)):
            if course.condition is not Condition.MISSING or not np.isfinite(course.start_mm + course.end_mm):
                continue
            if found and before == k - 1:
                found[-1] = (found[-1][0], course.end_mm)
            else:
                found.append((course.start_mm, course.end_mm))
            before = k
        return found


def _bricks(soffit: _Soffit, box: Box) -> list[Primitive]:
    """The courses as they lie along the soffit, tinted by deviation, numbered above."""
    window = strip.Strip(box, soffit.stations, (0.0, 1.0))
    tolerance = soffit.map_.tolerances.intrados_mm
    marks: list[Primitive] = []
    numbers: list[Text] = []
    flagged: list[bool] = []
    for course in soffit.map_.ring(soffit.ring):
        if not np.isfinite(course.start_mm + course.end_mm):
            continue
        (left, bottom), (right, top) = window.at(course.start_mm, 0.0), window.at(course.end_mm, 1.0)
        corners = ((left, bottom), (right, bottom), (right, top), (left, top))
        tag = f"ring-{course.ring}-course-{course.course}"
        marks.append(Polyline(corners, course_style(course, tolerance), closed=True, tag=tag))
        letters = ink.letters(Layer.TEXT, ink.ACCENT if course.flag else ink.BLACK)
        at = (0.5 * (left + right), top + 1.5)
        words, bold = str(course.course), bool(course.flag)
        numbers.append(Text(at, words, ink.SMALL_TEXT_MM, letters, Anchor.MIDDLE, bold=bold))
        flagged.append(bold)
    return [*marks, *course_labels(numbers, flagged)]


def _traces(soffit: _Soffit, limits: JointLimits, box: Box) -> list[Primitive]:
    """Deviation, lip, joint and face offset, one below the other on the same scale of stations."""
    height = (box.height - 4 * _GAP_MM) / 4
    boxes = [Box(box.left, box.top - (n + 1) * (_GAP_MM + height), box.width, height) for n in range(4)]
    face = _face(soffit, boxes[3])
    return [
        *_deviation(soffit, boxes[0]),
        *_lip(soffit, boxes[1]),
        *_joints(soffit, limits, boxes[2]),
        *face,
        *strip.station_ticks(strip.Strip(boxes[3], soffit.stations, (0.0, 1.0))),
    ]


def _banded(soffit: _Soffit, window: strip.Strip, tolerance_mm: float, title: str) -> list[Primitive]:
    """A strip ruled, with its tolerance band and nothing where courses are missing."""
    return [
        *strip.band(window, -tolerance_mm, tolerance_mm),
        *(strip.blank(window, *gap) for gap in soffit.gaps),
        *strip.ruled(window, title),
    ]


def _window(soffit: _Soffit, box: Box, values: Floats, tolerance_mm: float) -> strip.Strip:
    most = readable_mm(values, tolerance_mm)
    return strip.Strip(box, soffit.stations, strip.symmetric_range([most], 1.5 * tolerance_mm))


def _unmeasured(values: Floats) -> str:
    return "" if np.isfinite(values).any() else " – not measured"


def _deviation(soffit: _Soffit, box: Box) -> list[Primitive]:
    station, deviation = soffit.column("station_mm"), soffit.column("deviation_mm")
    half, tolerance = 1.96 * soffit.column("deviation_sigma_mm"), soffit.map_.tolerances.intrados_mm
    window = _window(soffit, box, np.concatenate([deviation + half, deviation - half]), tolerance)
    title = f"Deviation, mm (positive: outwards), with its 95 % interval; tolerance ± {tolerance:g}"
    shown = window.within(deviation)
    return [
        *_banded(soffit, window, tolerance, title + _unmeasured(deviation)),
        *strip.whiskers(window, station, shown, half, _WHISKER),
        *strip.trace(window, station, shown, _LINE),
        *strip.dots(window, station, shown, _DOT),
        *strip.beyond(window, station, deviation, _BEYOND),
    ]


def _lip(soffit: _Soffit, box: Box) -> list[Primitive]:
    lip, tolerance = soffit.column("lip_mm"), soffit.map_.tolerances.lip_mm
    window = _window(soffit, box, lip, tolerance)
    title = f"Lip to the next course, mm (positive: the next lies further out); tolerance ± {tolerance:g}"
    return [
        *_banded(soffit, window, tolerance, title + _unmeasured(lip)),
        *_bars(window, soffit.column("end_mm"), lip),
    ]


def _face(soffit: _Soffit, box: Box) -> list[Primitive]:
    station, face = soffit.column("station_mm"), soffit.column("face_offset_mm")
    tolerance = soffit.map_.tolerances.face_mm
    window = _window(soffit, box, face, tolerance)
    title = f"Face offset, mm (positive: towards you); tolerance ± {tolerance:g}"
    shown = window.within(face)
    return [
        *_banded(soffit, window, tolerance, title + _unmeasured(face)),
        *strip.trace(window, station, shown, _LINE),
        *strip.dots(window, station, shown, _DOT),
        *strip.beyond(window, station, face, _BEYOND),
    ]


def _joints(soffit: _Soffit, limits: JointLimits, box: Box) -> list[Primitive]:
    """Joint after each course, with the record's limits dashed."""
    joint = soffit.column("joint_mm")
    top = 1.1 * max(limits.max_mm, readable_mm(joint, limits.max_mm / 2))
    bottom = 1.1 * min(0.0, max(-top, float(np.nanmin(joint, initial=0.0))))
    window = strip.Strip(box, soffit.stations, (bottom, top))
    title = f"Joint after each course, mm; limits {limits.min_mm:g} and {limits.max_mm:g} dashed"
    levels = [window.y_at(limit) for limit in (limits.min_mm, limits.max_mm)]
    return [
        *(strip.blank(window, *gap) for gap in soffit.gaps),
        *strip.ruled(window, title + _unmeasured(joint)),
        *(Line((box.left, y), (box.right, y), _DASHED) for y in levels),
        *_bars(window, soffit.column("end_mm"), joint),
    ]


def _bars(window: strip.Strip, x: Floats, y: Floats) -> list[Primitive]:
    """A stroke from zero to every known reading, with a dot at its end; an arrowhead where it is cut."""
    low, high = window.y_range
    strokes: list[Primitive] = [
        Line(window.at(float(a), 0.0), window.at(float(a), float(np.clip(b, low, high))), _LINE)
        for a, b in zip(x, y, strict=True)
        if np.isfinite(a + b)
    ]
    return [
        *strokes,
        *strip.dots(window, x, window.within(y), _DOT, 0.5),
        *strip.beyond(window, x, y, _BEYOND),
    ]
