"""The fit sheet: candidates over the points, exaggerated residuals, the verdict, how the curve is struck."""

from __future__ import annotations

import math

import numpy as np

from survey.curves import ArchShape, Family, curve_of, setting_out
from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit, Candidate, Estimate
from survey.record.model import Record
from survey.sheets import ink, strip
from survey.sheets.drawing import (
    Anchor,
    Box,
    Circle,
    Dash,
    Drawing,
    Layer,
    Line,
    Placed,
    Primitive,
    Sheet,
    Style,
    Text,
)
from survey.sheets.furniture import (
    KeyEntry,
    key,
    key_width_mm,
    notes,
    notes_height_mm,
    orientation_mark,
    scale_bar,
)
from survey.sheets.outline import curve_primitives
from survey.sheets.page import Page, Paper, TitleBlock, choose_scale, finish
from survey.sheets.schedule import Column, Schedule, figure, schedule_height_mm, schedule_primitives

NAME = "fit"
EXAGGERATIONS = (100, 50, 20, 10, 5, 2, 1)
"""Factors residuals may be drawn at; the largest is taken that keeps them within ``_LONGEST_MM`` of paper."""
_LONGEST_MM = 14.0
_SIDE_MM = 132.0
_STRIPS_MM = 105.0
"""Least height kept for the two strips with their titles and figures."""

FAMILY_NAMES: dict[Family, str] = {
    Family.SEMICIRCULAR: "semicircular",
    Family.SEGMENTAL: "segmental",
    Family.ELLIPTICAL: "elliptical",
    Family.THREE_CENTRED: "three-centred",
    Family.FIVE_CENTRED: "five-centred",
}
"""Family names as a mason reads them."""

_DASHES: dict[Family, tuple[Dash, float]] = {
    Family.SEMICIRCULAR: (Dash.DOTTED, ink.BOLD_MM),
    Family.SEGMENTAL: (Dash.DASHED, ink.MEDIUM_MM),
    Family.ELLIPTICAL: (Dash.CHAIN, ink.MEDIUM_MM),
    Family.THREE_CENTRED: (Dash.DASHED, ink.BOLD_MM),
    Family.FIVE_CENTRED: (Dash.SOLID, ink.FINE_MM),
}


def exaggeration(deviation_mm: Floats, scale: float, *, longest_mm: float = _LONGEST_MM) -> int:
    """Round factor that keeps the largest deviation within a readable length on paper."""
    largest = float(np.max(np.abs(deviation_mm), initial=0.0))
    fitting = [f for f in EXAGGERATIONS if f * largest / scale <= longest_mm]
    return fitting[0] if fitting else EXAGGERATIONS[-1]


def difference_mm(chosen: ArchShape, other: ArchShape, station_mm: Floats) -> Floats:
    """How far another curve lies outside the chosen one (n,), along its normal to first order."""
    points = curve_of(chosen).point(station_mm)
    return -curve_of(other).locate(points).distance_mm


def fit_drawing(fit: ArchFit, factor: float) -> Drawing:
    """Chosen curve, the other candidates, and every residual drawn at a stated factor."""
    chosen = fit.best.shape
    curve = curve_of(chosen)
    marks: list[Primitive] = [
        mark
        for candidate in drawn_candidates(fit)
        for mark in curve_primitives(candidate.shape, candidate_style(fit, candidate.family))
    ]
    points = fit.points
    feet, normals = curve.point(points.station_mm), curve.normal(points.station_mm)
    tips = feet + factor * points.deviation_mm[:, None] * normals
    whisker = ink.pen(Layer.DEVIATION, ink.HAIR_MM, ink.GREY)
    for foot, tip, aside in zip(feet, tips, points.set_aside, strict=True):
        end = (float(tip[0]), float(tip[1]))
        marks.append(Line((float(foot[0]), float(foot[1])), end, whisker))
        marks.append(Circle(end, 0.9 if aside else 0.6, _dot(aside=bool(aside))))
    return Drawing(NAME, tuple(marks))


def _dot(*, aside: bool) -> Style:
    if aside:
        return Style(Layer.SURVEY, 0.3, ink.ACCENT, fill=ink.WHITE)
    return Style(Layer.SURVEY, 0.1, ink.BLACK, fill=ink.BLACK)


def drawn_candidates(fit: ArchFit) -> list[Candidate]:
    """Candidates that converged, the chosen one last so that it lies on top."""
    usable = [c for c in fit.candidates.values() if c.converged]
    return sorted(usable, key=lambda c: c.family is fit.chosen)


def candidate_style(fit: ArchFit, family: Family) -> Style:
    """Line of a candidate: heavy and solid for the chosen one, a pattern of its own for every other."""
    if family is fit.chosen:
        return ink.pen(Layer.CURVE, ink.HEAVY_MM)
    dash, width = _DASHES[family]
    return ink.pen(Layer.CANDIDATE, width, ink.GREY, dash=dash)


def fit_sheet(record: Record, fit: ArchFit) -> Sheet:
    """One A3 sheet of the fit."""
    area = Paper.A3_LANDSCAPE.area
    side = Box(area.right - _SIDE_MM, area.bottom, _SIDE_MM, area.height)
    left = Box(area.left, area.bottom, area.width - _SIDE_MM - 8.0, area.height)
    placed, factor = _placed(fit, left)
    used = placed.origin_paper[1] - left.bottom - _drawn_height(fit) / placed.scale / 2 - _LONGEST_MM
    strips = Box(left.left + 9.0, left.bottom + 17.0, left.width - 9.0, used - 17.0 - 16.0)
    rule = ink.pen(Layer.FRAME, ink.HAIR_MM, ink.GREY)
    marks: list[Primitive] = [
        *_caption(placed.scale, factor, left, left.bottom + used),
        *_strips(fit, strips),
        *_key(fit, left),
        *_side(fit, side),
        Line((side.left - 4.0, side.bottom), (side.left - 4.0, side.top), rule),
    ]
    page = Page(NAME, "Fit: the curve it was set out to", tuple(marks), (placed,), placed.scale)
    (sheet,) = finish([page], TitleBlock.of(record))
    return sheet


def _outline(fit: ArchFit) -> Floats:
    curve = curve_of(fit.best.shape)
    return curve.point(np.linspace(0.0, curve.length_mm, 181))


def _drawn_height(fit: ArchFit) -> float:
    return float(np.ptp(_outline(fit)[:, 1]))


def _placed(fit: ArchFit, room: Box) -> tuple[Placed, int]:
    """The drawing at the top of its room, leaving what is below it to the strips."""
    outline = _outline(fit)
    low, high = outline.min(axis=0), outline.max(axis=0)
    width, height = (float(v) for v in high - low)
    air = _LONGEST_MM + 2.0
    most = Box(room.left, room.bottom, room.width - 2 * air, room.height - _STRIPS_MM - 2 * air)
    scale = choose_scale(width, height, most)
    factor = exaggeration(fit.points.deviation_mm[~fit.points.set_aside], scale)
    middle_x, middle_y = (float(v) for v in (low + high) / 2)
    at = (room.middle[0], room.top - air - 4.0 - height / scale / 2)
    return Placed(fit_drawing(fit, factor), (middle_x, middle_y), at, scale), factor


def _caption(scale: float, factor: int, room: Box, below: float) -> list[Primitive]:
    words = f"residuals drawn × {factor} along the normal; ring: point set aside"
    return [
        *scale_bar((room.left, below - 6.0), scale),
        *orientation_mark((room.right - 32.0, below - 6.0)),
        Text((room.left, room.top - ink.TEXT_MM), words, ink.SMALL_TEXT_MM, ink.letters()),
    ]


def _strips(fit: ArchFit, box: Box) -> list[Primitive]:
    """Residuals over the station, and below them the other candidates against the chosen curve."""
    length = curve_of(fit.best.shape).length_mm
    height = (box.height - 14.0) / 2
    upper = Box(box.left, box.top - height, box.width, height)
    lower = Box(box.left, box.bottom, box.width, height)
    kept = ~fit.points.set_aside
    deviation = np.where(kept, fit.points.deviation_mm, np.nan)
    window = strip.Strip(upper, (0.0, length), strip.symmetric_range(deviation, 2.0))
    marks = [*strip.ruled(window, "Residuals of the points, mm (positive: away from the opening)")]
    marks.extend(strip.dots(window, fit.points.station_mm, deviation, _dot(aside=False), 0.6))
    return [*marks, *_differences(fit, lower, length)]


def _differences(fit: ArchFit, box: Box, length: float) -> list[Primitive]:
    """Each other candidate against the chosen curve, cut where it leaves the strip."""
    stations = np.linspace(0.0, length, 361)
    others = [c for c in drawn_candidates(fit) if c.family is not fit.chosen]
    apart = {c.family: difference_mm(fit.best.shape, c.shape, stations) for c in others}
    nearest = min((float(np.abs(d).max()) for d in apart.values()), default=1.0)
    window = strip.Strip(box, (0.0, length), strip.symmetric_range([2.5 * nearest], 2.0))
    title = "The other candidates against the chosen curve, mm"
    marks = [*strip.ruled(window, title), *strip.station_ticks(window)]
    for family, difference in apart.items():
        within = np.where(np.abs(difference) <= window.y_range[1], difference, np.nan)
        marks.extend(strip.trace(window, stations, within, candidate_style(fit, family)))
    return marks


def _key(fit: ArchFit, left: Box) -> list[Primitive]:
    """Key of the line patterns in one row along the foot."""
    marks: list[Primitive] = []
    x = left.left
    for candidate in reversed(drawn_candidates(fit)):
        name = FAMILY_NAMES[candidate.family]
        words = f"{name} (chosen)" if candidate.family is fit.chosen else name
        entry = KeyEntry(candidate_style(fit, candidate.family), words, closed=False)
        marks.extend(key([entry], x, left.bottom + 7.5, title=""))
        x += key_width_mm([entry]) + 6.0
    return marks


def _side(fit: ArchFit, side: Box) -> list[Primitive]:
    """Verdict, table of candidates, figures of the chosen one, and how it is struck."""
    marks: list[Primitive] = []
    top = side.top

    def column(sentences: list[str], title: str) -> None:
        nonlocal top
        height = notes_height_mm(sentences, side.width, title=title) + 0.5
        marks.extend(notes(sentences, Box(side.left, top - height, side.width, height), title=title))
        top -= height + 4.0

    def table(schedule: Schedule) -> None:
        nonlocal top
        marks.extend(schedule_primitives(schedule, side.left, top))
        top -= schedule_height_mm(schedule) + 5.0

    moved = [] if fit.movement is None else [fit.movement.because]
    column([fit.verdict.because, *moved], _headline(fit))
    table(_candidate_table(fit))
    table(_figure_table(fit.best))
    column(list(setting_out(fit.best.shape).sentences()), "How it is struck")
    if fit.notes:
        column(list(fit.notes), "What the fit cannot know")
    return marks


def _headline(fit: ArchFit) -> str:
    if fit.verdict.family is None:
        return "Verdict: none of these families"
    name = FAMILY_NAMES[fit.verdict.family]
    return f"Verdict: {name}" if fit.verdict.clear else f"Verdict: cannot tell; likeliest {name}"


def _candidate_table(fit: ArchFit) -> Schedule:
    columns = (
        Column("family", Anchor.LEFT),
        Column("probability\n%"),
        Column("half-span"),
        Column("rise"),
        Column("radii", Anchor.LEFT, wrap_mm=34.0),
        Column("rms"),
    )
    ordered = sorted(fit.candidates.values(), key=lambda c: -fit.verdict.probability.get(c.family, 0.0))
    return Schedule(columns, tuple(_candidate_row(fit, c) for c in ordered), "Candidates, mm")


def _candidate_row(fit: ArchFit, candidate: Candidate) -> tuple[str, ...]:
    name = FAMILY_NAMES[candidate.family]
    probability = figure(100 * fit.verdict.probability.get(candidate.family, 0.0), 1)
    if not candidate.converged:
        return (name, probability, "", "", candidate.because or "did not converge", "")
    shape = candidate.shape
    return (
        name,
        probability,
        figure(shape.half_span_mm, 1),
        figure(shape.rise_mm, 1),
        ", ".join(figure(r, 0) for r in shape.radii_mm),
        figure(candidate.rms_mm, 2),
    )


_FIGURES = (
    ("half_span_mm", "half-span", 1.0),
    ("rise_mm", "rise", 1.0),
    ("length_mm", "length along the intrados", 1.0),
    ("radius_1_mm", "radius at the springing", 1.0),
    ("radius_2_mm", "next radius", 1.0),
    ("radius_3_mm", "radius at the crown", 1.0),
    ("sector_1_rad", "first sector, degrees", math.degrees(1.0)),
    ("tilt_rad", "tilt, degrees", math.degrees(1.0)),
)


def _figure_table(candidate: Candidate) -> Schedule:
    columns = (
        Column("figure", Anchor.LEFT),
        Column("value"),
        Column("standard\nuncertainty"),
        Column("95 % interval"),
    )
    rows = tuple(
        _figure_row(words, candidate.figures[name], factor)
        for name, words, factor in _FIGURES
        if name in candidate.figures and candidate.figures[name].sigma > 0
    )
    return Schedule(columns, rows, "Figures of the chosen curve, mm")


def _figure_row(words: str, estimate: Estimate, factor: float) -> tuple[str, ...]:
    value, sigma = estimate.value * factor, estimate.sigma * factor
    decimals = 2 if factor != 1.0 else 1
    interval = f"{figure(value - 1.96 * sigma, decimals)} to {figure(value + 1.96 * sigma, decimals)}"
    return (words, figure(value, decimals), figure(sigma, 2), interval)
