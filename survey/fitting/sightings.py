"""What a fit sees of a record: the intrados of ring 1, the springing points and the dimensions held as known.

Coordinates are taken from the middle of these points, so that a record on a large grid loses nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.record.model import UNKNOWN, Edge, Feature, KnownDimensions, Record, SurveyPoints
from survey.record.shortfall import shortfall_of, soffit_of

MOST_POINTS = 2000
"""More points of one soffit tell nothing new: they stand closer than its irregularity changes."""
LEAST_SIGMA_MM = 0.01
"""No brick has an edge that could be known better, and smaller sigmas leave all else to rounding."""
UNSEEN_END_SIGMA_MM = 15.0
"""How well the outermost surveyed edges stand for springing points that were not surveyed: a joint or so."""


class BackEdges(NamedTuple):
    """Edges of the courses at the back of ring 1, told as in the sightings: (b, 2), (b,), (b,), (b,)."""

    xy_mm: Floats
    sigma_mm: Floats
    course: NDArray[np.int64]
    edge: NDArray[np.int64]


NO_BACK = BackEdges(np.empty((0, 2)), np.empty(0), np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64))


@dataclass(frozen=True, slots=True, eq=False)
class Sightings:
    """Points of one intrados in their own centred frame; parallel arrays of length n, springing points last.

    Attributes
    ----------
    index : (n,) int
        Counts into ``record.points``.
    xy_mm : (n, 2) float
        Face coordinates less ``centre_mm``.
    sigma_mm : (n,) float
    course : (n,) int
        ``UNKNOWN`` where not recorded, and for springing points.
    edge : (n,) int
        -1 on the left edge of its course, 1 on the right one, 0 where not known.
    end : (n,) int
        -1 for a left springing point, 1 for a right one, 0 for a point of the intrados.
    end_sigma_mm : (n,) float
        How well an end point fixes where the curve ends, along the curve; its own sigma if it was surveyed as
        a springing point. Infinite for the others.
    centre_mm : (2,) float
        Face coordinates of the frame's origin.
    last_course : int or None
        Number of the course at the right springing, if the courses were counted.
    end_shift_mm : (n,) float
        How far up the curve an end point is taken to stand from where it was measured.
    back : BackEdges
        They tell no curve, but which joints a movement opened there.
    noted_joint_mm : mapping of int to float
        Joints on the soffit measured by themselves, by the course they follow.
    """

    index: NDArray[np.int64]
    xy_mm: Floats
    sigma_mm: Floats
    course: NDArray[np.int64]
    edge: NDArray[np.int64]
    end: NDArray[np.int64]
    end_sigma_mm: Floats
    centre_mm: Floats
    known: KnownDimensions
    notes: tuple[str, ...]
    last_course: int | None
    end_shift_mm: Floats
    back: BackEdges = NO_BACK
    noted_joint_mm: Mapping[int, float] = field(default_factory=dict)

    def __len__(self) -> int:
        """Number of points."""
        return len(self.index)

    def trusting_ends(self, weight: Floats) -> Sightings:
        """The same with end points trusted along the curve by weights (n,): gross ones count for nothing."""
        return replace(self, end_sigma_mm=self.end_sigma_mm / np.sqrt(weight))

    def with_end(self, which: NDArray[np.bool_], shift_mm: float, sigma_mm: float) -> Sightings:
        """The same with end points (n,) taken to stand further up the curve by a shift, within a sigma."""
        return replace(
            self,
            end_sigma_mm=np.where(which, sigma_mm, self.end_sigma_mm),
            end_shift_mm=np.where(which, shift_mm, self.end_shift_mm),
        )


def sightings_of(record: Record) -> Sightings:
    """Gather what the fit uses of a record.

    Raises
    ------
    FitError
        Points that show no curve: too few, not finite, all in one spot, all on a line.
    """
    points = record.points
    soffit = soffit_of(points)
    first_ring = (points.ring == 1) | (points.ring == UNKNOWN)
    springing = np.flatnonzero(points.on(Feature.SPRINGING) & first_ring)
    back = _back_edges(points)
    _refuse_bad_numbers(points, np.concatenate([soffit, springing, back]))
    lacking = shortfall_of(points.xy_mm[soffit], points.sigma_mm[soffit])
    if lacking is not None:
        raise FitError(str(lacking))
    notes: list[str] = []
    if len(soffit) > MOST_POINTS:
        notes.append(f"Of {len(soffit)} intrados points {MOST_POINTS}, spread evenly, were used.")
        # Beyond that only the irregularity limits a fit, and points stand closer than it changes.
        soffit = soffit[np.linspace(0, len(soffit) - 1, MOST_POINTS).round().astype(np.int64)]
    used = np.concatenate([soffit, springing])
    centre = points.xy_mm[soffit].mean(axis=0)
    xy = points.xy_mm[used] - centre
    n = len(soffit)
    edge = np.array([_SIDES.get(points.edge[i], 0) for i in used])
    end = np.zeros(len(used), dtype=np.int64)
    end[n:] = np.where(edge[n:] != 0, edge[n:], np.where(xy[n:, 0] < 0, -1, 1))
    edge[n:] = 0
    course = points.course[used].copy()
    course[n:] = UNKNOWN
    sigma = np.maximum(points.sigma_mm[used], LEAST_SIGMA_MM)
    if np.any(sigma > points.sigma_mm[used]):
        notes.append(
            f"Points said to be known better than {LEAST_SIGMA_MM} mm are taken to be known as well as that."
        )
    end_sigma = np.where(end == 0, np.inf, sigma)
    notes.extend(_ends_told(xy, end, end_sigma))
    notes.extend(_missing_half(xy[:n]))
    last = next((ring.courses for ring in record.rings if ring.ring == 1), None)
    unmoved = np.zeros(len(used))
    of_back = BackEdges(
        points.xy_mm[back] - centre,
        points.sigma_mm[back],
        points.course[back],
        np.array([_SIDES[points.edge[i]] for i in back], dtype=np.int64),
    )
    noted = {n.course: n.joint_mm for n in record.courses if n.ring == 1 and n.joint_mm is not None}
    return Sightings(
        used,
        xy,
        sigma,
        course,
        edge,
        end,
        end_sigma,
        centre,
        record.known,
        tuple(notes),
        last,
        unmoved,
        of_back,
        noted,
    )


_SIDES = {Edge.LEFT: -1, Edge.RIGHT: 1}


def _back_edges(points: SurveyPoints) -> NDArray[np.int64]:
    """Counts (b,) of the points on edges of numbered courses at the back of ring 1."""
    sided = np.isin(np.asarray(points.edge, dtype=object), list(_SIDES))
    return np.flatnonzero(
        points.on(Feature.EXTRADOS) & (points.ring == 1) & (points.course != UNKNOWN) & sided
    )


def _ends_told(xy: Floats, end: NDArray[np.int64], end_sigma: Floats) -> list[str]:
    """Let the lowest edges stand for springing points nobody surveyed (in place), and say so."""
    if not np.any(end):
        sides = _unseen_ends(xy)
        end[list(sides.values())] = list(sides)
        end_sigma[list(sides.values())] = UNSEEN_END_SIGMA_MM
        return [
            "No springing point was surveyed: the arch is taken to end at its lowest surveyed edges, "
            f"within about {UNSEEN_END_SIGMA_MM:.0f} mm."
        ]
    if not (np.any(end == -1) and np.any(end == 1)):
        name = "left" if np.any(end == 1) else "right"
        return [f"The {name} springing point was not surveyed: both are taken to be level."]
    return []


def _unseen_ends(soffit: Floats) -> dict[int, int]:
    """The lowest point at each side stands for its springing; only one of them where a half is missing."""
    fifth = max(1, len(soffit) // 5)
    order = np.argsort(soffit[:, 0])
    lowest = {
        side: int(part[np.argmin(soffit[part, 1])])
        for side, part in ((-1, order[:fifth]), (1, order[-fifth:]))
    }
    height = np.ptp(soffit[:, 1])
    level = {side: soffit[i, 1] for side, i in lowest.items()}
    return {side: i for side, i in lowest.items() if level[side] - min(level.values()) < 0.25 * height}


def _refuse_bad_numbers(points: SurveyPoints, used: NDArray[np.int64]) -> None:
    xy, sigma = points.xy_mm[used], points.sigma_mm[used]
    bad = used[~(np.isfinite(xy).all(axis=1) & np.isfinite(sigma) & (sigma > 0))]
    if len(bad):
        names = ", ".join(points.name[i] for i in bad[:5])
        raise FitError(
            f"points {names} have coordinates that are no numbers, or a sigma that is not above 0; mend them "
            "or leave them out"
        )


def _missing_half(soffit: Floats) -> list[str]:
    """A sentence when the points stop near the crown: one side has no flank."""
    order = np.argsort(soffit[:, 0])
    top = soffit[:, 1].max()
    drop = [
        top - soffit[part, 1].min()
        for part in (order[: len(order) // 4 + 1], order[-(len(order) // 4) - 1 :])
    ]
    if min(drop) < 0.1 * max(drop):
        side = "left" if drop[0] < drop[1] else "right"
        return [f"The {side} half was not surveyed: it is taken as the mirror of the other."]
    return []
