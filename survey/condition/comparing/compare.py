"""The same arch surveyed twice: what moved between the surveys, beyond both uncertainties."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.comparing.movement import CourseMovement, End, MovedPiece
from survey.condition.comparing.pieces import RigidPiece, Steps, part_ring
from survey.condition.comparing.same_arch import (
    Common,
    asked,
    check_datums,
    check_same_arch,
    doubts_of_courses,
)
from survey.condition.comparing.tie import SurveyTie, tie_surveys
from survey.condition.comparing.told import Sizes, is_moving, sentences
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
CROWN_SHARE = 0.1
"""The crown's movement is the median over the courses within this share of the arch on either side of it."""
FEWEST_AT_CROWN = 3
"""With fewer courses about the crown its movement is not told: one of them may be a loose brick."""
APART_SIGMAS = 5.0
"""Edges of one course that moved this much differently: one of the four readings is wrong."""


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
        it (the datum points; else the mean level of the springings); NaN where not measured in both. The
        settlement is NaN, its uncertainty infinite, where the tie cannot see it.
    sentences : tuple of str
    doubts : tuple of str
        Why this may not be one arch; what moved is told after them.
    pieces : tuple of MovedPiece
        Long pieces of a ring that went as one.
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
    pieces: tuple[MovedPiece, ...] = ()


def compare_records(record_a: Record, fit_a: ArchFit, record_b: Record, fit_b: ArchFit) -> Comparison:
    """Bring the second survey onto the first and say what moved.

    The surveys are tied by datum points of the same name, or, where fewer than two are common, by the
    springings; then a movement of the springings together cannot be seen, and a settlement of one only where
    y is plumb in both records.

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
    courses, pieces = _course_movements(curve, a, b, tie)
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
        sentences=(*asked(doubts), *sentences(tie, courses, pieces, Sizes(spread, settlement, crown))),
        doubts=doubts,
        pieces=pieces,
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


def _course_movements(
    curve: Curve, a: _Places, b: _Places, tie: SurveyTie
) -> tuple[tuple[CourseMovement, ...], tuple[MovedPiece, ...]]:
    """Every course read in both, and the long pieces they went in.

    Notes
    -----
    Half the chance of a movement told by noise goes to movement against the tied points, half to movement
    against the neighbours.
    """
    _, in_a, in_b = np.intersect1d(a.key, b.key, return_indices=True)
    if len(in_a) == 0:
        return (), ()
    xy = a.xy[in_a]
    step = tie.carry(b.xy[in_b]) - xy
    variance = a.sigma[in_a] ** 2 + b.sigma[in_b] ** 2
    station = curve.locate(xy).station_mm
    axes = np.stack([curve.normal(station), curve.tangent(station)], axis=1)
    moved = np.einsum("ij,ikj->ik", step, axes)
    courses, row = np.unique(a.key[in_a] // 8, return_inverse=True)
    weight = 1.0 / variance
    total = np.bincount(row, weight)
    mean = np.stack([np.bincount(row, weight * moved[:, k]) / total for k in (0, 1)], axis=1)
    middle = np.bincount(row, weight * station) / total
    misread = np.bincount(row, np.abs(moved - mean[row]).max(axis=1) / np.sqrt(variance) > APART_SIGMAS) > 0
    at = curve.point(middle)
    axes = np.stack([curve.normal(middle), curve.tangent(middle)], axis=1)
    sigma = np.sqrt(np.stack([1 / total + tie.variance(at, axes[:, k]) for k in (0, 1)], axis=1))
    limit = -2.0 * np.log(ANY_CHANCE / 2 / len(courses))
    beyond = ((mean / sigma) ** 2).sum(axis=1) > limit
    steps = Steps(courses, at, np.einsum("ik,ikj->ij", mean, axes), 1.0 / np.sqrt(total), ~misread)
    alone, alone_sigma, pieces = _by_pieces(steps, axes, tie)
    by_itself = ((alone / alone_sigma) ** 2).sum(axis=1) > limit
    return tuple(
        CourseMovement(
            ring=int(courses[i] // 10_000),
            course=int(courses[i] % 10_000),
            station_mm=float(middle[i]),
            outwards_mm=Estimate(float(mean[i, 0]), float(sigma[i, 0])),
            along_mm=Estimate(float(mean[i, 1]), float(sigma[i, 1])),
            moved=bool((beyond[i] or by_itself[i]) and not misread[i]),
            misread=bool(misread[i]),
            alone_outwards_mm=Estimate(float(alone[i, 0]), float(alone_sigma[i, 0])),
            alone_along_mm=Estimate(float(alone[i, 1]), float(alone_sigma[i, 1])),
            by_itself=bool(by_itself[i] and not misread[i]),
        )
        for i in range(len(courses))
    ), pieces


def _by_pieces(steps: Steps, axes: Floats, tie: SurveyTie) -> tuple[Floats, Floats, tuple[MovedPiece, ...]]:
    """How far every course went alone (n, 2), along its axes (n, 2, 2), its sigma, and what moved as one."""
    n = len(steps.course)
    alone, sigma = np.full((n, 2), np.nan), np.full((n, 2), np.nan)
    told: list[MovedPiece] = []
    for ring in np.unique(steps.course // 10_000):
        on = np.flatnonzero(steps.course // 10_000 == ring)
        own = Steps(
            steps.course[on] % 10_000,
            steps.xy_mm[on],
            steps.step_mm[on],
            steps.sigma_mm[on],
            steps.usable[on],
        )
        parting = part_ring(own)
        alone[on] = np.einsum("ij,ikj->ik", parting.apart_mm, axes[on])
        sigma[on] = np.sqrt(np.einsum("ij,ikj->ik", parting.variance_mm2, axes[on] ** 2))
        for piece in parting.pieces:
            found = _moved_piece(int(ring), own, piece, tie)
            if is_moving(found):
                told.append(found)
    return alone, sigma, tuple(told)


def _moved_piece(ring: int, steps: Steps, piece: RigidPiece, tie: SurveyTie) -> MovedPiece:
    n = len(steps.course)
    turn = float(np.hypot(piece.covariance[2, 2] ** 0.5, tie.turn_rad.sigma))
    width = float(np.ptp(steps.xy_mm[[piece.start, piece.end - 1], 0]))
    return MovedPiece(
        ring=ring,
        first_course=int(steps.course[piece.start]),
        last_course=int(steps.course[piece.end - 1]),
        share=(piece.end - piece.start) / n,
        middle_share=(piece.start + piece.end) / 2 / n,
        left_end=_end(steps.xy_mm[piece.start], piece, tie),
        right_end=_end(steps.xy_mm[piece.end - 1], piece, tie),
        turn_rad=Estimate(float(piece.motion[2]), turn),
        fall_mm=Estimate(-width * float(piece.motion[2]), width * turn),
    )


def _end(place: Floats, piece: RigidPiece, tie: SurveyTie) -> End:
    """How a place (2,) moved with its piece."""
    xy = np.stack([place, place])
    step = piece.step_at(xy)[0]
    sigma = np.sqrt(piece.variance_at(xy)[0] + tie.variance(xy, np.eye(2)))
    right, up = (Estimate(float(step[k]), float(sigma[k])) for k in (0, 1))
    return End(right, up)


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
    level = float(np.sqrt(variance + (span * tie.turn_rad.sigma) ** 2))
    settlement = Estimate(float(-change[1]), level) if tie.sees_settlement else Estimate(float("nan"), np.inf)
    return Estimate(float(change[0]), float(np.sqrt(variance))), settlement


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
