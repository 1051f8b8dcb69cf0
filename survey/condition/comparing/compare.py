"""The same arch surveyed twice: what moved between the surveys, beyond both uncertainties."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.comparing.same_arch import (
    Common,
    asked,
    check_datums,
    check_same_arch,
    doubts_of_courses,
)
from survey.condition.comparing.tie import SurveyTie, Tie, tie_surveys
from survey.condition.words import capital, course_list
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.collars import with_found_collars
from survey.fitting.counting.count import course_numbers
from survey.fitting.counting.edge_readings import UNLABELLED, EdgeReadings, average_edges
from survey.fitting.counting.numbering import number_points
from survey.fitting.result import ArchFit, Estimate
from survey.record.model import Edge, Feature, Record

ANY_CHANCE = 0.05
"""Chance that noise alone makes any course of a ring seem to have moved."""
SURE_SIGMAS = 2.6
"""Spread, settlement and crown are told beyond this: noise alone does that once in a hundred times."""
CROWN_SHARE = 0.1
"""The crown's movement is the median over the courses within this share of the arch on either side of it."""
FEWEST_AT_CROWN = 3
"""With fewer courses about the crown its movement is not told: one of them may be a loose brick."""
APART_SIGMAS = 5.0
"""Edges of one course that moved this much differently: one of the four readings is wrong."""


@dataclass(frozen=True, slots=True)
class CourseMovement:
    """How one course moved from the first survey to the second, in the first one's arch frame.

    ``outwards_mm`` is along the normal (negative: into the opening), ``along_mm`` along the soffit towards
    the right springing. ``moved`` where that is beyond both uncertainties; ``misread`` where its edges cannot
    all be right.
    """

    ring: int
    course: int
    station_mm: float
    outwards_mm: Estimate
    along_mm: Estimate
    moved: bool
    misread: bool


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """What moved between two surveys.

    Attributes
    ----------
    tie : SurveyTie
        How the second survey was brought onto the first.
    courses : tuple of CourseMovement
        Courses read in both.
    spread_mm, settlement_mm, crown_drop_mm : Estimate
        Springings further apart, right one lower than the left, crown lower than the tied points would have
        it (the datum points; else the mean level of the springings); NaN where not measured in both.
    sentences : tuple of str
    doubts : tuple of str
        Why this may not be one arch; what moved is told after them.
    """

    record_a: str
    record_b: str
    tie: SurveyTie
    courses: tuple[CourseMovement, ...]
    spread_mm: Estimate
    settlement_mm: Estimate
    crown_drop_mm: Estimate
    sentences: tuple[str, ...]
    doubts: tuple[str, ...] = ()


def compare_records(record_a: Record, fit_a: ArchFit, record_b: Record, fit_b: ArchFit) -> Comparison:
    """Bring the second survey onto the first and say what moved.

    The surveys are tied by datum points of the same name, or, where fewer than two are common, by the
    springings; then a movement of the springings together cannot be seen.

    Parameters
    ----------
    record_a, record_b : Record
        The earlier and the later survey of the same arch.
    fit_a, fit_b : ArchFit

    Raises
    ------
    FitError
        The surveys have neither two datum points nor both springings in common, or cannot be of one arch.
    """
    doubts = check_same_arch(record_a, fit_a, record_b, fit_b)
    tie = tie_surveys(record_a, fit_a, record_b, fit_b)
    check_datums(tie, fit_a.best.shape.span_mm)
    record_a, record_b = with_found_collars(record_a, fit_a), with_found_collars(record_b, fit_b)
    curve = curve_of(fit_a.best.shape)
    a, b = _read(record_a, fit_a), _read(record_b, fit_b)
    courses = _course_movements(curve, a, b, tie)
    doubts += doubts_of_courses(_common(a, b, courses))
    spread, settlement = _springing_movement(record_a, fit_a, record_b, fit_b, tie)
    crown = _crown_drop(curve, courses, tie)
    return Comparison(
        record_a=record_a.name,
        record_b=record_b.name,
        tie=tie,
        courses=courses,
        spread_mm=spread,
        settlement_mm=settlement,
        crown_drop_mm=crown,
        sentences=(*asked(doubts), *_sentences(tie, courses, spread, settlement, crown)),
        doubts=doubts,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Edges of one survey by ring, course, surface and edge: key (n,), place (n, 2) and sigma (n,)."""

    key: np.ndarray
    xy: Floats
    sigma: Floats


def _read(record: Record, fit: ArchFit) -> _Places:
    curve = curve_of(fit.best.shape)
    readings = average_edges(record, number_points(record, curve, fit.origin_mm).places)
    number = _counted_numbers(readings, fit)
    known = np.isfinite(readings.station_mm)
    known[:, :, UNLABELLED] = False
    row, surface, edge = np.nonzero(known)
    kept = number[row] >= 1
    row, surface, edge = row[kept], surface[kept], edge[kept]
    ring = readings.ring[row]
    xy = fit.to_arch(readings.xy_mm[row, surface, edge])
    key = ((ring * 10_000 + number[row]) * 2 + surface) * 4 + edge
    return _Places(key, xy, readings.sigma_mm[row, surface, edge])


def _counted_numbers(readings: EdgeReadings, fit: ArchFit) -> np.ndarray:
    number = np.zeros(len(readings.course), dtype=np.int64)
    for count in fit.courses:
        rows = readings.rows(count.ring)
        known = course_numbers(count, readings.course[rows].tolist())
        number[rows] = [known[int(c)] for c in readings.course[rows]]
    return number


def _common(a: _Places, b: _Places, courses: tuple[CourseMovement, ...]) -> Common:
    """What the courses of ring 1 read in both surveys tell of their being the same."""
    n_a, n_b = (len(np.unique(places.key[places.key // 8 < 20_000] // 8)) for places in (a, b))
    first = [c for c in courses if c.ring == 1]
    slid = np.array([c.along_mm.value for c in first if not c.misread])
    step = np.diff([c.station_mm for c in first]) / np.diff([c.course for c in first])
    pitch = float(np.median(step)) if len(step) else float("nan")
    pitches = float(np.median(slid)) / pitch if len(slid) else float("nan")
    return Common(n_a, n_b, len(first), sum(c.misread for c in first), pitches)


def _course_movements(curve: Curve, a: _Places, b: _Places, tie: SurveyTie) -> tuple[CourseMovement, ...]:
    _, in_a, in_b = np.intersect1d(a.key, b.key, return_indices=True)
    if len(in_a) == 0:
        return ()
    xy = a.xy[in_a]
    step = tie.carry(b.xy[in_b]) - xy
    variance = a.sigma[in_a] ** 2 + b.sigma[in_b] ** 2
    station = curve.locate(xy).station_mm
    normal, tangent = curve.normal(station), curve.tangent(station)
    moved = np.stack([np.einsum("ij,ij->i", step, axis) for axis in (normal, tangent)], axis=1)
    courses, row = np.unique(a.key[in_a] // 8, return_inverse=True)
    weight = 1.0 / variance
    total = np.bincount(row, weight)
    mean = np.stack([np.bincount(row, weight * moved[:, k]) / total for k in (0, 1)], axis=1)
    middle = np.bincount(row, weight * station) / total
    apart = np.abs(moved - mean[row]).max(axis=1) / np.sqrt(variance)
    misread = np.bincount(row, apart > APART_SIGMAS) > 0
    at, out, along = curve.point(middle), curve.normal(middle), curve.tangent(middle)
    sigma = np.sqrt(np.stack([1 / total + tie.variance(at, axis) for axis in (out, along)], axis=1))
    limit = -2.0 * np.log(ANY_CHANCE / len(courses))
    beyond = ((mean / sigma) ** 2).sum(axis=1) > limit
    return tuple(
        CourseMovement(
            int(courses[i] // 10_000),
            int(courses[i] % 10_000),
            float(middle[i]),
            Estimate(float(mean[i, 0]), float(sigma[i, 0])),
            Estimate(float(mean[i, 1]), float(sigma[i, 1])),
            bool(beyond[i] and not misread[i]),
            bool(misread[i]),
        )
        for i in range(len(courses))
    )


def _springing_movement(
    record_a: Record, fit_a: ArchFit, record_b: Record, fit_b: ArchFit, tie: SurveyTie
) -> tuple[Estimate, Estimate]:
    """How much further apart the springings stand, and how much the right one sank against the left."""
    spots = [_springings(record_a, fit_a), _springings(record_b, fit_b)]
    if any(s is None for s in spots):
        nothing = Estimate(float("nan"), float("nan"))
        return nothing, nothing
    (xy_a, var_a), (xy_b, var_b) = (s for s in spots if s is not None)
    step = tie.carry(xy_b) - xy_a
    change = step[1] - step[0]
    variance = float(var_a.sum() + var_b.sum())
    span = float(np.hypot(*(xy_a[1] - xy_a[0])))
    level = np.inf if tie.by is Tie.SPRINGINGS else np.sqrt(variance + (span * tie.turn_rad.sigma) ** 2)
    return Estimate(float(change[0]), float(np.sqrt(variance))), Estimate(float(-change[1]), float(level))


def _springings(record: Record, fit: ArchFit) -> tuple[Floats, Floats] | None:
    """Left and right springing (2, 2) in the arch frame and the variance (2,) of a coordinate."""
    xy, variance = np.empty((2, 2)), np.empty(2)
    for k, side in enumerate((Edge.LEFT, Edge.RIGHT)):
        on = record.points.on(Feature.SPRINGING) & np.asarray(record.points.edge == side, dtype=bool)
        if not on.any():
            return None
        weight = record.points.sigma_mm[on] ** -2.0
        xy[k] = weight @ fit.to_arch(record.points.xy_mm[on]) / weight.sum()
        variance[k] = 1.0 / weight.sum()
    return xy, variance


def _crown_drop(curve: Curve, courses: tuple[CourseMovement, ...], tie: SurveyTie) -> Estimate:
    """How far the courses about the crown came down: their median, so that a single loose one does not count.

    Notes
    -----
    The median of normal values scatters by ``sqrt(pi / 2)`` times as much as their mean.
    """
    half, reach = curve.length_mm / 2, CROWN_SHARE * curve.length_mm
    near = [c for c in courses if c.ring == 1 and abs(c.station_mm - half) <= reach and not c.misread]
    if len(near) < FEWEST_AT_CROWN:
        return Estimate(float("nan"), float("nan"))
    normal = curve.normal([c.station_mm for c in near])
    tangent = curve.tangent([c.station_mm for c in near])
    outwards = np.array([c.outwards_mm.value for c in near])
    along = np.array([c.along_mm.value for c in near])
    own = np.array([c.outwards_mm.sigma for c in near]) ** 2
    common = float(tie.variance(curve.point([half]), np.array([[0.0, 1.0]]))[0])
    independent = 0.5 * np.pi * float(np.maximum(own - common, 0.0).sum()) / len(near) ** 2
    rise = normal[:, 1] * outwards + tangent[:, 1] * along
    return Estimate(float(-np.median(rise)), float(np.sqrt(common + independent)))


def _sentences(
    tie: SurveyTie,
    courses: tuple[CourseMovement, ...],
    spread: Estimate,
    settlement: Estimate,
    crown: Estimate,
) -> tuple[str, ...]:
    said = [tie.because]
    if _is_sure(spread):
        way = "further apart" if spread.value > 0 else "closer together"
        said.append(f"The springings stand {_much(spread)} {way} than before.")
    if _is_sure(settlement):
        which = "right" if settlement.value > 0 else "left"
        said.append(f"The {which} springing has sunk {_much(settlement)} against the other.")
    if _is_sure(crown):
        way = "dropped" if crown.value > 0 else "risen"
        said.append(f"The crown has {way} {_much(crown)} {_crown_reference(tie)}.")
    said.extend(_run_sentences(courses))
    if len(said) == 1:
        said.append("Nothing moved beyond the uncertainty of the two surveys.")
    said.extend(_misread_sentences(courses))
    return tuple(said)


def _misread_sentences(courses: tuple[CourseMovement, ...]) -> list[str]:
    """One sentence a ring, courses in a row told by the first and the last."""
    said = []
    for ring in sorted({c.ring for c in courses}):
        number = [c.course for c in courses if c.ring == ring and c.misread]
        if not number:
            continue
        said.append(
            f"The edges of {course_list(number)} of ring {ring} moved too differently to be right: "
            "measure again."
        )
    return said


def _crown_reference(tie: SurveyTie) -> str:
    """What the movement of the crown is measured from."""
    if tie.by is Tie.DATUM:
        return "against the datum points"
    return "against the mean level of the springings"


def _is_sure(size: Estimate) -> bool:
    return bool(np.isfinite(size.sigma) and abs(size.value) > SURE_SIGMAS * size.sigma)


def _much(size: Estimate) -> str:
    return f"{abs(size.value):.1f} mm (± {2 * size.sigma:.1f})"


def _goes_on(last: CourseMovement, course: CourseMovement) -> bool:
    same_way = (last.outwards_mm.value > 0) == (course.outwards_mm.value > 0)
    return last.ring == course.ring and course.course - last.course <= 2 and same_way


def _run_sentences(courses: tuple[CourseMovement, ...]) -> list[str]:
    """One sentence a run of courses that moved the same way; a single still course does not end a run.

    Only courses that moved are listed in it.
    """
    runs: list[list[CourseMovement]] = []
    for course in (c for c in courses if c.moved):
        last = runs[-1][-1] if runs else None
        if last is not None and _goes_on(last, course):
            runs[-1].append(course)
        else:
            runs.append([course])
    said = []
    for run in runs:
        most = max(run, key=lambda c: abs(c.outwards_mm.value))
        where = capital(course_list([c.course for c in run]))
        way = "outwards" if most.outwards_mm.value > 0 else "into the opening"
        upto = "" if len(run) == 1 else "up to "
        along = max(run, key=lambda c: abs(c.along_mm.value)).along_mm
        said.append(
            f"{where} of ring {run[0].ring} moved {upto}{_much(most.outwards_mm)} {way}"
            + (f" and {upto}{_much(along)} along the soffit." if _is_sure(along) else ".")
        )
    return said
