"""Where standing bricks are, along and across the soffit, by everything that was measured of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.curves.displaced import DisplacedCurve
from survey.curves.protocol import Floats
from survey.rebuild.layout.draft import open_spans
from survey.rebuild.refusals import courses_named
from survey.rebuild.repair.beds import standing_corners
from survey.rebuild.repair.found_ring import FoundRing
from survey.rebuild.rhythm.readings import Readings, notes_of, read_rhythm
from survey.rebuild.rhythm.ring_edges import EdgePrior, settle_edges
from survey.record.model import Condition, Record

SIGNIFICANT = 3.0
"""A brick out of the soffit by more than so many standard uncertainties of its readings is displaced."""
DOUBTFUL = 4.0
"""Readings further apart than so many standard uncertainties are to be taken again: chance alone sends one of
sixteen thousand so far."""
MISFIT = 4.0
"""A gap whose room departs further from what the rhythm would fill it with was filled otherwise."""
LEAST_WIDTH_SCATTER_MM, LEAST_JOINT_SCATTER_MM = 1.0, 1.5
"""No standing brick is drawn towards the rhythm as if this were known more closely: a scatter that had to be
told apart from the errors of surveyed edges may come out at anything (by trial on simulated arches)."""


@dataclass(frozen=True, slots=True, eq=False)
class Across:
    """Surveyed points (N, 3) of the soffit against a base: left edge, right edge, middle; NaN unread."""

    base_station_mm: Floats
    deviation_mm: Floats
    sigma_mm: Floats

    def only(self, courses: NDArray[np.bool_]) -> Across:
        """The same without the points of all but some courses (N,)."""
        return replace(
            self,
            base_station_mm=np.where(courses[:, None], self.base_station_mm, np.nan),
            deviation_mm=np.where(courses[:, None], self.deviation_mm, np.nan),
        )

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Mask (N, 3) of what was surveyed."""
        return ~np.isnan(self.deviation_mm)

    @property
    def _weight(self) -> Floats:
        return np.where(self.seen, np.where(self.seen, self.sigma_mm, 1.0) ** -2.0, 0.0)

    @property
    def course_sigma_mm(self) -> Floats:
        """Standard uncertainty (N,) of each course's mean; NaN where nothing was surveyed."""
        total = self._weight.sum(axis=1)
        return np.asarray(np.where(total > 0.0, total, np.nan) ** -0.5)

    def mean(self, values: Floats) -> Floats:
        """Means (N,) of values (N, 3) over the points of each course, weighed; NaN where there is none."""
        summed = (self._weight * np.where(self.seen, values, 0.0)).sum(axis=1)
        return np.asarray(summed * self.course_sigma_mm**2)

    def displaced(self, offset_mm: Floats) -> Floats:
        """How far (N, 3) each edge stands out of a soffit of given offsets (N, 3) from the base.

        Zero unless the readings prove it: a course is displaced as a whole when all its points lie on the one
        side and their mean is out by more than ``SIGNIFICANT``; it is turned when its edges differ by more
        than ``DOUBTFUL``.
        """
        out = self.deviation_mm - offset_mm
        mean = self.mean(out)[:, None]
        beyond = np.where(self.seen, np.sign(mean) * out > 0.5 * SIGNIFICANT * self.sigma_mm, True)
        whole = beyond.all(axis=1) & (np.abs(mean[:, 0]) > SIGNIFICANT * self.course_sigma_mm)
        return np.where(self.turned[:, None], out, np.where(whole[:, None], mean, 0.0))

    @property
    def turned(self) -> NDArray[np.bool_]:
        """Mask (N,) of courses whose two edges were surveyed too far apart across the soffit to be chance."""
        apart = np.abs(self.deviation_mm[:, 1] - self.deviation_mm[:, 0])
        return np.asarray(apart > DOUBTFUL * np.hypot(self.sigma_mm[:, 0], self.sigma_mm[:, 1]))


@dataclass(frozen=True, slots=True, eq=False)
class StandingBricks:
    """Places of the standing bricks of one ring; NaN for courses to be filled.

    Attributes
    ----------
    fixed_mm : (N, 2) float
        Stations of the feet of their edges on the soffit.
    corners_mm : (N, 4, 2) float
        Intrados left and right, extrados right and left.
    residual_mm : (N,) float
        Greatest distance of a surveyed corner of the soffit from its settled place; NaN where none was.
    doubts : tuple of str
        Readings that contradict one another.
    """

    fixed_mm: Floats
    corners_mm: Floats
    residual_mm: Floats
    doubts: tuple[str, ...]


def settle_standing(
    record: Record, found: FoundRing, curve: DisplacedCurve, across: Across, *, flush: NDArray[np.bool_]
) -> StandingBricks:
    """Places of standing bricks from surveyed points, widths and joints by rule, and the smooth soffit.

    Parameters
    ----------
    curve : DisplacedCurve
        The soffit of the repair.
    across : Across
        Surveyed points against the base of that curve.
    flush : (N,) bool
        Courses the soffit was made flush with: they stand on it.

    Notes
    -----
    Along the soffit all edges are settled by one least-squares problem (``settle_edges``). Across it a brick
    lies on the smooth soffit unless its points prove otherwise (``Across.displaced``).
    """
    readings = _readings(record, found, curve, across)
    contradicted = _contradicted(readings)
    trusted = contradicted.left_out_of(readings)
    edges = settle_edges(trusted, _prior(record, found, trusted))
    settled = edges.edge_mm.reshape(-1, 2)
    stands = found.stands
    corners = standing_corners(record, found, curve, settled, _out_of(curve, across, flush))
    corners[~stands] = np.nan
    away = np.linalg.norm(found.edges.corners_mm[:, :2] - corners[:, :2], axis=2)
    residual = np.where(np.isnan(away).all(axis=1), np.nan, np.nan_to_num(away).max(axis=1))
    # the settled edge was drawn along by its own reading: it is nearer to that than chance would have it
    chance = readings.edge_sigma_mm * np.sqrt(np.maximum(1.0 - edges.leverage, 0.0))
    along = (np.abs(readings.edge_mm - edges.edge_mm) > DOUBTFUL * chance).reshape(-1, 2)
    far = stands & (along.any(axis=1) | across.turned) & ~contradicted.of_course
    return StandingBricks(
        np.where(stands[:, None], settled, np.nan),
        corners,
        residual,
        (*contradicted.told(found, readings), *_far_told(found, far, residual)),
    )


def _out_of(curve: DisplacedCurve, across: Across, flush: NDArray[np.bool_]) -> Floats:
    """How far (N, 2) the edges of each course stand out of the soffit, an unread one as the other."""
    offset = np.full(across.seen.shape, np.nan)
    offset[across.seen] = curve.displacement(across.base_station_mm[across.seen])
    on_it = flush | ~across.seen.any(axis=1)
    out = np.where(on_it[:, None], 0.0, across.displaced(offset))[:, :2]
    return np.where(np.isnan(out), np.nan_to_num(out[:, ::-1]), out)


def _readings(record: Record, found: FoundRing, curve: DisplacedCurve, across: Across) -> Readings:
    """Everything read of the ring, with the surveyed points as stations on the soffit of the repair."""
    by_rule = read_rhythm(
        record,
        found.lines.ring,
        found.edges,
        length_mm=curve.length_mm,
        numbers=found.count.numbers,
        not_original=frozenset({Condition.MISSING}),
    )
    station = np.full(across.seen.shape, np.nan)
    station[across.seen] = curve.station_over(across.base_station_mm[across.seen])
    return replace(
        by_rule,
        edge_mm=station[:, :2].ravel(),
        edge_sigma_mm=across.sigma_mm[:, :2].ravel(),
        middle_mm=station[:, 2],
        middle_sigma_mm=across.sigma_mm[:, 2],
        end_sigma_mm=record.point_sigma_mm,
    )


def _prior(record: Record, found: FoundRing, readings: Readings) -> EdgePrior:
    """The rhythm, which says nothing of replaced courses nor of a gap that it does not fit."""
    prior = found.rhythm.prior
    prior = replace(
        prior,
        width_scatter_mm=np.maximum(prior.width_scatter_mm, LEAST_WIDTH_SCATTER_MM),
        joint_scatter_mm=np.maximum(prior.joint_scatter_mm, LEAST_JOINT_SCATTER_MM),
    )
    loose = np.zeros(found.stands.size, dtype=bool)
    for note in notes_of(record, found.lines.ring.ring):
        course = found.count.numbers.plan_course(note.course)
        if note.condition is Condition.REPLACED and 1 <= course <= loose.size:
            loose[course - 1] = True
    edge = readings.edge_mm.reshape(-1, 2)
    for a, b in open_spans(found.stands):
        room = edge[b + 1, 0] - edge[a - 1, 1] if a > 0 and b + 1 < loose.size else np.nan
        bricks, joints = slice(a, b + 1), slice(a, b + 2)
        told = prior.width_mm[bricks].sum() + prior.joint_mm[joints].sum()
        scatter = np.concatenate([prior.width_scatter_mm[bricks], prior.joint_scatter_mm[joints]])
        if np.abs(room - told) > MISFIT * np.hypot(np.linalg.norm(scatter), 2.0 * record.point_sigma_mm):
            loose[bricks] = True  # another number of bricks, or other bricks: what stands is not to give way
    return prior.loosened(loose)


@dataclass(frozen=True, slots=True, eq=False)
class _Contradicted:
    """Widths (N,) and joints between courses (N - 1,) whose rule and surveyed edges cannot both be right."""

    widths: NDArray[np.bool_]
    joints: NDArray[np.bool_]

    @property
    def of_course(self) -> NDArray[np.bool_]:
        """Mask (N,) of the courses concerned."""
        beside = np.concatenate([[False], self.joints, [False]])
        return np.asarray(self.widths | beside[:-1] | beside[1:])

    def left_out_of(self, readings: Readings) -> Readings:
        """The readings without what the rule said there."""
        joint = readings.joint_mm.copy()
        joint[1:-1][self.joints] = np.nan
        return replace(readings, width_mm=np.where(self.widths, np.nan, readings.width_mm), joint_mm=joint)

    def told(self, found: FoundRing, readings: Readings) -> tuple[str, ...]:
        """Sentences naming them."""
        ring, edge = found.lines.ring.ring, readings.edge_mm.reshape(-1, 2)
        told = [
            f"Ring {ring}, course {i + 1}: the width by rule ({readings.width_mm[i]:.0f} mm along the arch) "
            f"and the surveyed edges ({edge[i, 1] - edge[i, 0]:.0f} mm apart) disagree; measure both again."
            for i in np.flatnonzero(self.widths & found.stands)
        ]
        told += [
            f"Ring {ring}: the joint after course {i + 1} by rule ({readings.joint_mm[i + 1]:.0f} mm along "
            f"the arch) and the surveyed edges ({edge[i + 1, 0] - edge[i, 1]:.0f} mm apart) disagree; "
            "measure both again."
            for i in np.flatnonzero(self.joints & found.stands[1:] & found.stands[:-1])
        ]
        return tuple(told)


def _contradicted(readings: Readings) -> _Contradicted:
    """Compare what was read by rule with the surveyed edges on both sides of it."""
    edge, sigma = readings.edge_mm, readings.edge_sigma_mm
    off = np.abs(np.diff(edge) - np.ravel(np.column_stack([readings.width_mm, readings.joint_mm[1:]]))[:-1])
    far = off > DOUBTFUL * np.sqrt(readings.rule_sigma_mm**2 + sigma[:-1] ** 2 + sigma[1:] ** 2)
    return _Contradicted(far[0::2], far[1::2])


def _far_told(found: FoundRing, far: NDArray[np.bool_], residual_mm: Floats) -> tuple[str, ...]:
    if not far.any():
        return ()
    courses = (np.flatnonzero(far) + 1).tolist()
    return (
        f"Ring {found.lines.ring.ring}: corners were surveyed up to {residual_mm[far].max():.0f} mm from "
        f"where everything read of the ring puts them; measure {courses_named(courses)} again.",
    )
