"""The fit sheet: candidates over the points, exaggerated residuals, the verdict, how the curve is struck."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves import ArchShape, Family, curve_of
from survey.curves.protocol import Floats
from survey.fitting.curve_uncertainty import curve_variance
from survey.fitting.result import ArchFit, Candidate
from survey.record.model import Record
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
from survey.sheets.fit.level import level_of
from survey.sheets.fit_words import COVERAGE, FAMILY_NAMES, chosen_words, fit_parts
from survey.sheets.kit import ink, strip
from survey.sheets.kit.arrangement import Arranged, further_columns, rule_beside, sheets_of, side_column
from survey.sheets.kit.columns import flow_parts
from survey.sheets.kit.course_labels import scaled
from survey.sheets.kit.exaggeration import exaggeration, readable_mm
from survey.sheets.kit.furniture import KeyEntry, key, key_width_mm, orientation_mark, scale_bar
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.lettering import shorten
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.page import Paper, choose_scale
from survey.sheets.kit.placing import mark_box, on_paper
from survey.sheets.kit.schedule import figure

NAME = "fit"
_LONGEST_MM = 14.0
"""Longest exaggerated residual on paper."""
_STRIPS_MM = 112.0
"""Height kept for the two strips with their titles, figures and key."""
_LEAST_RESIDUAL_MM = 1.0
_NAME_MM = 24.0
"""Widest name of a point beside its mark."""
_N_STATIONS = 361
_NAMES_MM = 6.0
"""Above the longest residual, for the names of points and the line of words over them."""
_STEP_MM = 1.2
"""Between the boxes on paper that keep names off a curve."""
_SIDES = ((1.0, Anchor.LEFT), (-1.0, Anchor.RIGHT))

_DASHES: dict[Family, tuple[Dash, float]] = {
    Family.SEMICIRCULAR: (Dash.DOTTED, ink.BOLD_MM),
    Family.SEGMENTAL: (Dash.DOUBLE_CHAIN, ink.MEDIUM_MM),
    Family.ELLIPTICAL: (Dash.CHAIN, ink.MEDIUM_MM),
    Family.THREE_CENTRED: (Dash.DASHED, ink.MEDIUM_MM),
    Family.FIVE_CENTRED: (Dash.SOLID, ink.FINE_MM),
}
DOT = Style(Layer.SURVEY, 0.1, ink.BLACK, fill=ink.BLACK)
RING = Style(Layer.SURVEY, 0.3, ink.ACCENT, fill=ink.WHITE)
"""A point set aside, or a mark drawn cut."""
BAND = Style(Layer.CURVE, 0.0, "", fill="#e2e2e2")


def difference_mm(chosen: ArchShape, other: ArchShape, station_mm: Floats) -> Floats:
    """How far another curve lies outside the chosen one (n,), along its normal to first order."""
    points = curve_of(chosen).point(station_mm)
    return -curve_of(other).locate(points).distance_mm


def curve_interval_mm(candidate: Candidate, station_mm: Floats) -> Floats:
    """Half width (n,) of the 95 % interval of the curve's own place; NaN where the fit cannot say."""
    variance = curve_variance(candidate, station_mm)
    return COVERAGE * np.sqrt(np.where(np.isfinite(variance) & (variance >= 0.0), variance, np.nan))


@dataclass(frozen=True, slots=True, eq=False)
class _Offsets:
    """What the sheet draws: the chosen curve's stations, its interval, and how far the others lie off."""

    station_mm: Floats
    interval_mm: Floats
    others: dict[Family, Floats]


def _offsets(fit: ArchFit) -> _Offsets:
    station = np.linspace(0.0, curve_of(fit.best.shape).length_mm, _N_STATIONS)
    others = {
        c.family: difference_mm(fit.best.shape, c.shape, station)
        for c in fit.candidates.values()
        if c.converged and c.family is not fit.chosen
    }
    return _Offsets(station, curve_interval_mm(fit.best, station), others)


def _drawn(offsets: _Offsets, scale: float) -> list[Family]:
    """Other candidates that stay beside the chosen curve on paper."""
    return [f for f, d in offsets.others.items() if np.abs(d).max() <= _LONGEST_MM * scale]


def fit_drawing(fit: ArchFit, scale: float, factor: float) -> Drawing:
    """Chosen curve, the candidates near it, and every residual drawn at a stated factor.

    Residuals longer than can be drawn are cut, ended with a ring and named with their figure.
    """
    families = [*_drawn(_offsets(fit), scale), fit.chosen]
    shapes = [fit.candidates[family].shape for family in families]
    marks: list[Primitive] = []
    for family, shape in zip(families, shapes, strict=True):
        marks.extend(curve_primitives(shape, candidate_style(fit, family)))
    strokes, names = _residuals(fit, scale, factor)
    around = [mark_box(m) for m in on_paper(_at_origin(strokes, scale)) if isinstance(m, Circle)]
    lines = [box for shape in shapes for box in _along(shape, scale)]
    ends = curve_of(fit.best.shape).point(np.array([0.0, curve_of(fit.best.shape).length_mm]))
    left, right = _pairs(ends)
    level = level_of(left, right, scale)
    told = place_labels(level.wanted, keep_out=[*around, *lines]).texts
    clear = place_labels(names, told, [*around, *lines])
    # Where a crowd leaves no place off the curves, a name over a curve is better than none.
    rest = [places for places in names if places[0].text in clear.left_out]
    crowded = place_labels(rest, clear.texts, around)
    return Drawing(
        NAME, (*level.marks, *marks, *strokes, *scaled((*told, *clear.texts, *crowded.texts), scale))
    )


def _along(shape: ArchShape, scale: float) -> list[Box]:
    """Small boxes on paper over a curve, one beside the other."""
    curve = curve_of(shape)
    station = np.arange(0.0, curve.length_mm, _STEP_MM * scale)
    return [Box(x, y, 0.0, 0.0).grown(_STEP_MM / 2) for x, y in _pairs(curve.point(station) / scale)]


def _pairs(xy: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in xy)


def _residuals(fit: ArchFit, scale: float, factor: float) -> tuple[list[Primitive], list[list[Text]]]:
    """A stroke along the normal to every point, exaggerated; and places on paper for the names of some."""
    points, curve = fit.points, curve_of(fit.best.shape)
    feet, normals = curve.point(points.station_mm), curve.normal(points.station_mm)
    longest = _LONGEST_MM * scale / factor
    cut = np.abs(points.deviation_mm) > longest
    drawn = factor * np.clip(points.deviation_mm, -longest, longest)
    tips = feet + drawn[:, None] * normals
    whisker = ink.pen(Layer.DEVIATION, ink.HAIR_MM, ink.GREY)
    marks: list[Primitive] = []
    wanted: list[list[Text]] = []
    for i, (foot, tip) in enumerate(zip(_pairs(feet), _pairs(tips), strict=True)):
        marked = bool(cut[i] or points.set_aside[i])
        marks.append(Line(foot, tip, whisker))
        marks.append(Circle(tip, 0.9 if marked else 0.6, RING if marked else DOT))
        if marked:
            towards = 1.0 if tip[0] >= foot[0] else -1.0
            wanted.append(_beside(points.name[i], float(points.deviation_mm[i]), tip, scale, towards))
    return marks, wanted


def _at_origin(marks: list[Primitive], scale: float) -> Placed:
    return Placed(Drawing(NAME, tuple(marks)), (0.0, 0.0), (0.0, 0.0), scale)


def _beside(
    name: str, deviation_mm: float, tip: tuple[float, float], scale: float, towards: float
) -> list[Text]:
    """Places on paper for a point's name and figure beside its mark, first on the side away from its foot."""
    words = f"{shorten(name, _NAME_MM, ink.SMALL_TEXT_MM)} {figure(deviation_mm)}"
    x, y = tip[0] / scale, tip[1] / scale
    style = ink.letters(Layer.SURVEY, ink.ACCENT)
    return [
        Text((x + side * 1.8, y + up), words, ink.SMALL_TEXT_MM, style, anchor)
        for up in (-0.9, 2.2, -4.0, 5.2, -7.0)
        for side, anchor in _SIDES[:: int(towards)]
    ]


def candidate_style(fit: ArchFit, family: Family) -> Style:
    """Line of a candidate: heavy and solid for the chosen one, a pattern of its own for every other."""
    if family is fit.chosen:
        return ink.pen(Layer.CURVE, ink.HEAVY_MM)
    dash, width = _DASHES[family]
    return ink.pen(Layer.CANDIDATE, width, ink.GREY, dash=dash)


def fit_sheets(record: Record, fit: ArchFit) -> tuple[Sheet, ...]:
    """The fit on one A3 sheet; words that do not fit beside it go on to further sheets."""
    area = Paper.A3_LANDSCAPE.area
    column = side_column(area)
    left = Box(area.left, area.bottom, column.left - 8.0 - area.left, area.height)
    placed, factor = _placed(fit, left)
    under = placed.origin_paper[1] - _drawn_height(fit) / placed.scale / 2 - _LONGEST_MM - 3.0
    strips = Box(left.left + 9.0, left.bottom + 19.0, left.width - 9.0, under - 16.0 - left.bottom - 19.0)
    offsets = _offsets(fit)
    marks: list[Primitive] = [
        *_caption(fit, placed.scale, factor, left, under),
        *_strips(fit, offsets, strips),
        *_key(fit, offsets, left, placed.scale),
        rule_beside(column),
    ]
    words = flow_parts(fit_parts(fit), (column,), further_columns(area))
    arrangement = Arranged(placed, left, left, words)
    return sheets_of(record, NAME, "Fit: the curve it was set out to", arrangement, marks)


def fit_sheet(record: Record, fit: ArchFit) -> Sheet:
    """The first of :func:`fit_sheets`, which carries the drawing."""
    return fit_sheets(record, fit)[0]


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
    air = _LONGEST_MM + 3.0
    most = Box(room.left, room.bottom, room.width - 2 * air, room.height - _STRIPS_MM - 2 * air)
    scale = choose_scale(width, height, most)
    largest = readable_mm(fit.points.deviation_mm[~fit.points.set_aside], _LEAST_RESIDUAL_MM)
    factor = exaggeration(largest, scale, longest_mm=_LONGEST_MM)
    middle_x, middle_y = (float(v) for v in (low + high) / 2)
    at = (room.middle[0], room.top - air - _NAMES_MM - height / scale / 2)
    return Placed(fit_drawing(fit, scale, factor), (middle_x, middle_y), at, scale), factor


def _caption(fit: ArchFit, scale: float, factor: int, room: Box, below: float) -> list[Primitive]:
    which = "" if fit.movement is None else "curves of the shape as it stands; "
    words = (
        f"{which}residuals drawn × {factor} along the normal; ring: set aside or drawn cut, with its figure "
        "in mm"
    )
    return [
        *scale_bar((room.left, below - 7.0), scale),
        *orientation_mark((room.right - 32.0, below - 6.0)),
        Text((room.left, room.top - ink.TEXT_MM), words, ink.SMALL_TEXT_MM, ink.letters()),
    ]


def _strips(fit: ArchFit, offsets: _Offsets, box: Box) -> list[Primitive]:
    """Residuals over the station, and below them the other candidates against the chosen curve."""
    length = float(offsets.station_mm[-1])
    height = (box.height - 14.0) / 2
    upper = Box(box.left, box.top - height, box.width, height)
    lower = Box(box.left, box.bottom, box.width, height)
    points, kept = fit.points, ~fit.points.set_aside
    deviation = np.where(kept, points.deviation_mm, np.nan)
    most = readable_mm(deviation, _LEAST_RESIDUAL_MM)
    ends = (min(0.0, float(points.station_mm.min())), max(length, float(points.station_mm.max())))
    window = strip.Strip(upper, ends, strip.symmetric_range([most], 2.0))
    title = "Residuals of the points, mm (positive: outwards); grey: the 95 % interval of the curve"
    marks = [
        *strip.envelope(window, offsets.station_mm, -offsets.interval_mm, offsets.interval_mm, BAND),
        *strip.ruled(window, title),
        *strip.dots(window, points.station_mm, window.within(deviation), DOT, 0.6),
        *strip.beyond(window, points.station_mm, points.deviation_mm, RING),
    ]
    aside = np.where(kept, np.nan, points.deviation_mm)
    marks.extend(strip.dots(window, points.station_mm, window.within(aside), RING, 0.9))
    return [*marks, *_differences(fit, offsets, strip.Strip(lower, ends, window.y_range))]


def _differences(fit: ArchFit, offsets: _Offsets, window: strip.Strip) -> list[Primitive]:
    """Each other candidate against the chosen curve, cut where it leaves the strip."""
    station, interval = offsets.station_mm, offsets.interval_mm
    window = strip.Strip(window.box, window.x_range, _difference_range(offsets))
    title = "The other candidates against the chosen curve, mm; grey: its 95 % interval"
    if not offsets.others:
        title = "There is no other candidate to compare; grey: the 95 % interval of the chosen curve, mm"
    marks = [
        *strip.envelope(window, station, -interval, interval, BAND),
        *strip.ruled(window, title),
        *strip.station_ticks(window),
    ]
    for family in _in_strip(offsets):
        within = window.within(offsets.others[family])
        marks.extend(strip.trace(window, station, within, candidate_style(fit, family)))
    return marks


def _difference_range(offsets: _Offsets) -> tuple[float, float]:
    """What the strip of differences shows: the nearest other candidate and some more."""
    nearest = min((float(np.abs(d).max()) for d in offsets.others.values()), default=0.0)
    widest = float(np.nanmax(offsets.interval_mm, initial=0.0))
    return strip.symmetric_range([2.5 * nearest, widest], 2.0)


def _in_strip(offsets: _Offsets) -> list[Family]:
    """Candidates that run inside the strip over at least half the arch."""
    high = _difference_range(offsets)[1]
    return [f for f, d in offsets.others.items() if np.mean(np.abs(d) <= high) >= 0.5]


def _key(fit: ArchFit, offsets: _Offsets, left: Box, scale: float) -> list[Primitive]:
    """Key of the line patterns in one row along the foot, and below it what is too far off to draw above."""
    drawn = set(_drawn(offsets, scale))
    marks: list[Primitive] = []
    x = left.left
    shown = drawn | set(_in_strip(offsets))
    for family in [fit.chosen, *(f for f in offsets.others if f in shown)]:
        words = FAMILY_NAMES[family] + (f" ({chosen_words(fit)})" if family is fit.chosen else "")
        entry = KeyEntry(candidate_style(fit, family), words, closed=False)
        marks.extend(key([entry], x, left.bottom + 14.5, title=""))
        x += key_width_mm([entry]) + 6.0
    far = [
        f"{FAMILY_NAMES[f]} (up to {figure(float(np.abs(d).max()))} mm)"
        for f, d in offsets.others.items()
        if f not in drawn
    ]
    if far:
        words = f"Too far off to draw over the points: {', '.join(far)}."
        words = shorten(words, left.width, ink.SMALL_TEXT_MM)
        marks.append(Text((left.left, left.bottom), words, ink.SMALL_TEXT_MM, ink.letters()))
    return [mark for mark in marks if not (isinstance(mark, Text) and not mark.text)]
