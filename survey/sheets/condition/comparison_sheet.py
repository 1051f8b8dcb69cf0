"""The comparison sheet: what moved between two surveys of one arch, course by course."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from survey.condition.comparing.compare import Comparison
from survey.condition.comparing.tie import Tie
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.collars import with_found_collars
from survey.fitting.result import ArchFit, Estimate
from survey.record.model import Record
from survey.sheets.condition.comparison_drawing import (
    DOT,
    MOVED_DOT,
    NAME,
    READABLE_MM,
    STILL,
    comparison_drawing,
    movement_factor,
)
from survey.sheets.drawing import Anchor, Box, Placed, Primitive, Sheet, Text
from survey.sheets.kit import ink, strip
from survey.sheets.kit.arrangement import Arranged, further_columns, rule_beside, sheets_of, side_column
from survey.sheets.kit.columns import Part, Said, cautioned_columns
from survey.sheets.kit.exaggeration import readable_mm
from survey.sheets.kit.furniture import orientation_mark, scale_bar
from survey.sheets.kit.lettering import plain_text
from survey.sheets.kit.page import Paper, fitted
from survey.sheets.kit.placing import extent, on_paper
from survey.sheets.kit.schedule import Column, Schedule, figure

TWICE = 2.0
"""Intervals are two standard uncertainties either way, about 95 %."""
_STRIPS_MM = 84.0
_LEAST_MM = 1.0
"""The strips reach at least so far either way."""
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
    strips = Box(left.left + 9.0, left.bottom + 9.0, left.width - 9.0, under - 8.0 - left.bottom - 9.0)
    marks: list[Primitive] = [
        *_caption(movement_factor(comparison, placed.scale), left),
        *scale_bar((left.left, under), placed.scale, longest_mm=60.0),
        *orientation_mark((left.right - 34.0, under + 1.0)),
        *_strips(fit_a, comparison, strips),
        rule_beside(column),
    ]
    parts = _parts(record_a, record_b, comparison)
    pages = cautioned_columns(parts, CAUTIONS, column, further_columns(area))
    arrangement = Arranged(placed, left, left, pages)
    return sheets_of(record_a, NAME, "Comparison: what moved between two surveys", arrangement, marks)


def _placed(record_a: Record, fit_a: ArchFit, comparison: Comparison, left: Box) -> Placed:
    """The drawing below the caption, leaving what is below it to the strips."""
    room = Box(left.left, left.bottom + _STRIPS_MM + 12.0, left.width, left.height - _STRIPS_MM - 12.0 - 9.0)
    placed = fitted(lambda scale: comparison_drawing(record_a, fit_a, comparison, scale), room)
    x, y = placed.origin_paper
    return replace(placed, origin_paper=(x, y + room.top - extent(on_paper(placed)).top))


def _caption(factor: int, left: Box) -> list[Primitive]:
    lines = (
        f"movements drawn × {factor} from where each course was in the earlier survey; figures at strokes: "
        "how far it went;",
        "heavy with a head: beyond both uncertainties; grey: within them; ring: edges of the course moved "
        "too differently to be right, measure again.",
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
    window = strip.Strip(box, ends, strip.symmetric_range([readable_mm(reach, READABLE_MM)], _LEAST_MM))
    shown = window.within(value)
    return [
        *strip.ruled(window, title),
        *strip.whiskers(window, station, shown, half, STILL),
        *strip.dots(window, station, np.where(moved, np.nan, shown), DOT, 0.6),
        *strip.dots(window, station, np.where(moved, shown, np.nan), MOVED_DOT, 0.8),
        *strip.beyond(window, station, value, MOVED_DOT),
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
    rows = tuple((words, _value(s), _known(s.sigma)) for words, s in named)
    columns = (Column("movement", Anchor.LEFT), Column("value"), Column("standard\nuncertainty"))
    return Schedule(columns, rows, "Springings and crown, mm")


def _value(size: Estimate) -> str:
    """A figure, or why there is none."""
    return figure(size.value, 1) or ("not known" if math.isinf(size.sigma) else "not measured")


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
