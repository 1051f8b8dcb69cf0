"""The comparison sheet: what moved between two surveys of one arch, course by course."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from survey.condition.comparing.compare import Comparison, CourseMovement
from survey.condition.comparing.tie import Tie
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.collars import with_found_collars
from survey.fitting.counting.edge_readings import ring_offset_mm
from survey.fitting.result import ArchFit, Estimate
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
    Sheet,
    Style,
    Text,
)
from survey.sheets.kit import ink, strip
from survey.sheets.kit.arrangement import Arranged, further_columns, rule_beside, sheets_of, side_column
from survey.sheets.kit.columns import Part, Said, flow_parts
from survey.sheets.kit.course_labels import course_labels, scaled
from survey.sheets.kit.exaggeration import exaggeration, readable_mm
from survey.sheets.kit.furniture import cautions, cautions_height_mm, orientation_mark, scale_bar
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.lettering import plain_text
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.page import Paper, fitted
from survey.sheets.kit.placing import extent, on_paper
from survey.sheets.kit.schedule import Column, Schedule, figure

NAME = "comparison"
LONGEST_MM = 16.0
"""Longest exaggerated movement on paper."""
TWICE = 2.0
"""Intervals are two standard uncertainties either way, about 95 %."""
_STRIPS_MM = 84.0
_READABLE_MM, _LEAST_MM = 3.0, 1.0
"""Movements of this size are drawn readably whatever else there is; the strips reach at least so far."""
_STILL = ink.pen(Layer.DEVIATION, ink.FINE_MM, ink.GREY)
_MOVED = ink.pen(Layer.DEVIATION, ink.BOLD_MM, ink.ACCENT)
_HEAD = ink.area(Layer.DEVIATION, ink.ACCENT, colour=ink.ACCENT, width_mm=ink.HAIR_MM)
_DOT = Style(Layer.DEVIATION, 0.1, ink.GREY, fill=ink.WHITE)
_MOVED_DOT = Style(Layer.DEVIATION, 0.1, ink.ACCENT, fill=ink.ACCENT)
_MISREAD = Style(Layer.DEVIATION, 0.3, ink.BLACK, fill=ink.WHITE)
CAUTIONS = (
    "What has moved between two surveys may go on moving, and one loose brick can let the whole ring go: "
    "keep from under the arch until it is propped and an engineer has seen it.",
    "Put tell-tales over open joints and cracks, date them, and measure again as often as the engineer asks.",
    "This shows what moved, not whether it is safe.",
)


def comparison_sheet(
    record_a: Record, record_b: Record, comparison: Comparison, *, fit_a: ArchFit
) -> tuple[Sheet, ...]:
    """What moved, on one A3 sheet; the table of courses goes on to further sheets where it is long.

    Parameters
    ----------
    record_a, record_b : Record
        The earlier and the later survey.
    comparison : Comparison
        Of these two.
    fit_a : ArchFit
        The fit of the earlier survey, in whose arch frame the comparison is given.
    """
    record_a = with_found_collars(record_a, fit_a)
    area = Paper.A3_LANDSCAPE.area
    column = side_column(area)
    left = Box(area.left, area.bottom, column.left - 8.0 - area.left, area.height)
    placed = _placed(record_a, fit_a, comparison, left)
    under = extent(on_paper(placed)).bottom - 11.0
    warned = CAUTIONS
    high = cautions_height_mm(warned, column.width)
    words = Box(column.left, column.bottom + high + 4.0, column.width, column.height - high - 4.0)
    strips = Box(left.left + 9.0, left.bottom + 9.0, left.width - 9.0, under - 8.0 - left.bottom - 9.0)
    marks: list[Primitive] = [
        *_caption(movement_factor(comparison, placed.scale), left),
        *scale_bar((left.left, under), placed.scale, longest_mm=60.0),
        *orientation_mark((left.right - 34.0, under + 1.0)),
        *_strips(fit_a, comparison, strips),
        *cautions(warned, Box(column.left, column.bottom, column.width, high)),
        rule_beside(column),
    ]
    pages = flow_parts(_parts(record_a, record_b, comparison), (words,), further_columns(area))
    arrangement = Arranged(placed, left, left, pages)
    return sheets_of(record_a, NAME, "Comparison: what moved between two surveys", arrangement, marks)


def movement_factor(comparison: Comparison, scale: float) -> int:
    """How many times movements are exaggerated at 1 : ``scale``."""
    sizes = [math.hypot(c.outwards_mm.value, c.along_mm.value) for c in comparison.courses if not c.misread]
    return exaggeration(readable_mm(sizes, _READABLE_MM), scale, longest_mm=LONGEST_MM)


def _placed(record_a: Record, fit_a: ArchFit, comparison: Comparison, left: Box) -> Placed:
    """The drawing below the caption, leaving what is below it to the strips."""
    room = Box(left.left, left.bottom + _STRIPS_MM + 12.0, left.width, left.height - _STRIPS_MM - 12.0 - 9.0)
    placed = fitted(lambda scale: comparison_drawing(record_a, fit_a, comparison, scale), room)
    x, y = placed.origin_paper
    return replace(placed, origin_paper=(x, y + room.top - extent(on_paper(placed)).top))


def comparison_drawing(record_a: Record, fit_a: ArchFit, comparison: Comparison, scale: float) -> Drawing:
    """Every compared course's movement as a stroke from where it was, exaggerated, over the earlier curve.

    A stroke longer than can be drawn is cut and its figure written beside it; one within the uncertainties is
    grey, one beyond them heavy with a head; a course whose edges cannot all be right is ringed.
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
    numbers = _numbers(record_a, fit_a, comparison, scale)
    wanted = _cut_figures(comparison, starts, tips, factor, scale)
    labels = place_labels(wanted, numbers)
    marks.extend(scaled((*numbers, *labels.texts), scale))
    return Drawing(NAME, tuple(marks))


def _cut_figures(
    comparison: Comparison, starts: Floats, tips: Floats, factor: int, scale: float
) -> list[list[Text]]:
    """Places on paper for the size of every movement whose stroke is cut."""
    style = ink.letters(Layer.DEVIATION, ink.ACCENT)
    wanted = []
    for course, start, tip in zip(comparison.courses, starts, tips, strict=True):
        size = math.hypot(course.outwards_mm.value, course.along_mm.value)
        if course.misread or factor * size <= math.dist(start, tip) + 1e-6:
            continue
        x, y = ((start + tip) / 2 / scale).tolist()
        wanted.append(
            [
                Text((x + side * 2.0, y + up), figure(size), ink.SMALL_TEXT_MM, style, anchor)
                for up in (-0.9, 2.0, -3.8)
                for side, anchor in ((1.0, Anchor.LEFT), (-1.0, Anchor.RIGHT))
            ]
        )
    return wanted


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
        return [Line(was, goes, _STILL), Circle(was, 0.4, _DOT, tag=tag)]
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
        Circle(was, 0.6, _MOVED_DOT),
    ]


def _pair(xy: Floats) -> XY:
    return float(xy[0]), float(xy[1])


def _numbers(record_a: Record, fit_a: ArchFit, comparison: Comparison, scale: float) -> tuple[Text, ...]:
    """Numbers of the innermost ring's courses inside the opening, clear of the strokes, on paper."""
    first = min((ring.ring for ring in record_a.rings), default=1)
    courses = [c for c in comparison.courses if c.ring == first]
    if not courses:
        return ()
    curve = curve_of(fit_a.best.shape)
    station = np.array([c.station_mm for c in courses])
    at = (curve.point(station) - (LONGEST_MM + 3.0) * scale * curve.normal(station)) / scale
    row = [
        Text(
            (float(x), float(y) - 0.5 * ink.SMALL_TEXT_MM),
            str(c.course),
            ink.SMALL_TEXT_MM,
            ink.letters(Layer.TEXT, ink.ACCENT if c.moved else ink.BLACK),
            Anchor.MIDDLE,
            bold=c.moved,
        )
        for c, (x, y) in zip(courses, at, strict=True)
    ]
    return course_labels(row, [c.moved for c in courses])


def _caption(factor: int, left: Box) -> list[Primitive]:
    lines = (
        f"movements drawn × {factor} from where each course was in the earlier survey; heavy with a head: "
        "beyond both uncertainties;",
        "grey: within them; ring: edges of the course moved too differently to be right, measure again.",
    )
    return [
        Text((left.left, left.top - ink.TEXT_MM - 3.4 * n), line, ink.SMALL_TEXT_MM, ink.letters())
        for n, line in enumerate(lines)
    ]


def _strips(fit_a: ArchFit, comparison: Comparison, box: Box) -> list[Primitive]:
    """Movement outwards and along the soffit of the innermost ring, with 95 % intervals."""
    length = curve_of(fit_a.best.shape).length_mm
    height = (box.height - 9.0) / 2
    first = min((c.ring for c in comparison.courses), default=1)
    courses = [c for c in comparison.courses if c.ring == first and not c.misread]
    upper = Box(box.left, box.top - height, box.width, height)
    lower = Box(box.left, box.bottom, box.width, height)
    out, along = [c.outwards_mm for c in courses], [c.along_mm for c in courses]
    station = np.array([c.station_mm for c in courses])
    ends = (min(0.0, float(station.min(initial=0.0))), max(length, float(station.max(initial=0.0))))
    moved = np.array([c.moved for c in courses], dtype=bool)
    words = f"Ring {first}, outwards, mm (negative: into the opening), with 95 % intervals"
    return [
        *_strip(upper, ends, words, station, out, moved),
        *_strip(lower, ends, "Along the soffit, mm (positive: to the right)", station, along, moved),
        *strip.station_ticks(strip.Strip(lower, ends, (0.0, 1.0))),
    ]


def _strip(
    box: Box, ends: tuple[float, float], title: str, station: Floats, sizes: list[Estimate], moved: np.ndarray
) -> list[Primitive]:
    value = np.array([s.value for s in sizes])
    half = TWICE * np.array([s.sigma for s in sizes])
    reach = np.concatenate([value + half, value - half])
    window = strip.Strip(box, ends, strip.symmetric_range([readable_mm(reach, _READABLE_MM)], _LEAST_MM))
    shown = window.within(value)
    return [
        *strip.ruled(window, title),
        *strip.whiskers(window, station, shown, half, _STILL),
        *strip.dots(window, station, np.where(moved, np.nan, shown), _DOT, 0.6),
        *strip.dots(window, station, np.where(moved, shown, np.nan), _MOVED_DOT, 0.8),
        *strip.beyond(window, station, value, _MOVED_DOT),
    ]


def _parts(record_a: Record, record_b: Record, comparison: Comparison) -> list[Part]:
    """Which surveys, whether they are of one arch, what moved, the figures, the courses that moved."""
    surveys = (_survey("Earlier", record_a), _survey("Later", record_b))
    parts: list[Part] = [Said("The two surveys", surveys)]
    moved = comparison.sentences
    if comparison.doubts:
        parts.append(Said("First: is it the same arch?", moved[:1]))
        moved = moved[1:]
    parts.append(Said("What moved", moved))
    parts.append(_figures(comparison))
    courses = moved_table(comparison)
    return [*parts, courses] if courses.rows else parts


def _survey(order: str, record: Record) -> str:
    when = plain_text(record.recorded_on) or "on an unknown date"
    return f"{order}: {plain_text(record.name)}, recorded {when}."


def _figures(comparison: Comparison) -> Schedule:
    against = "datum points" if comparison.tie.by is Tie.DATUM else "mean springing"
    named = (
        ("springings further apart", comparison.spread_mm),
        ("right springing lower than left", comparison.settlement_mm),
        (f"crown lower than {against}", comparison.crown_drop_mm),
    )
    rows = tuple((words, figure(s.value, 1) or "not measured", _known(s.sigma)) for words, s in named)
    columns = (Column("movement", Anchor.LEFT), Column("value"), Column("standard\nuncertainty"))
    return Schedule(columns, rows, "Springings and crown, mm")


def _known(sigma: float) -> str:
    """An uncertainty, or that the tie hides the figure."""
    return "cannot be seen" if math.isinf(sigma) else figure(sigma, 1)


def moved_table(comparison: Comparison) -> Schedule:
    """Courses that moved beyond both uncertainties, and those to measure again, in their order."""
    columns = (
        Column("ring"),
        Column("course"),
        Column("station"),
        Column("outwards"),
        Column("along,\nto the right"),
        Column("", Anchor.LEFT),
    )
    rows = tuple(
        (
            str(c.ring),
            str(c.course),
            figure(c.station_mm),
            _with_interval(c.outwards_mm),
            _with_interval(c.along_mm),
            "measure again" if c.misread else "",
        )
        for c in comparison.courses
        if c.moved or c.misread
    )
    return Schedule(columns, rows, "Courses that moved, mm, ± 95 %")


def _with_interval(size: Estimate) -> str:
    return f"{figure(size.value, 1)} ± {figure(TWICE * size.sigma, 1)}"
