"""Joints along the soffit, and how much wider each is than its neighbours: a hinge at the back opens one.

Where two pieces turn against each other about a hinge that lies a depth behind the soffit, the joint at that
hinge opens on the soffit by depth times the turn. The widths of all other joints say how much a joint varies
anyway, so one joint's excess over its neighbours is an observation of that turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.fitting.mechanism.pieces import quarter_turned
from survey.fitting.sightings import Sightings
from survey.fitting.solving.robust import MAD_TO_SIGMA
from survey.record.model import UNKNOWN

NEIGHBOURS = 6
"""Joints on each side that a joint is compared with."""
LEAST_SPREAD_MM = 1.0
FEWEST_JOINTS = 8
MOST_SPREADS = 4.0
"""An excess counts for no more than this many standard deviations: a wide joint alone proves no hinge."""


@dataclass(frozen=True, slots=True, eq=False)
class Sighted:
    """Sightings against an original: positions (n, 2), normals (n, 2), shares (n,) of its length."""

    xy: Floats
    normal: Floats
    share: Floats


@dataclass(frozen=True, slots=True, eq=False)
class JointGaps:
    """Places where pieces may part, from left to right; arrays of length j.

    Attributes
    ----------
    share : (j,) float
        Middle of each place as a share of the intrados.
    excess_mm : (j,) float
        Width of the joint less its neighbours' usual one; 0 where it was not measured.
    power : (j,) float
        One over the excess' variance; 0 where it was not measured.
    """

    share: Floats
    excess_mm: Floats
    power: Floats

    def at(self, share: Floats) -> tuple[Floats, Floats]:
        """Excess and power (h,) of the joints at shares (h,); no power where there is no joint near."""
        if len(self.share) < 2:
            return np.zeros_like(share), np.zeros_like(share)
        after = np.clip(np.searchsorted(self.share, share), 1, len(self.share) - 1)
        near = np.where(share - self.share[after - 1] < self.share[after] - share, after - 1, after)
        pitch = float(np.median(np.diff(self.share)))
        there = np.abs(self.share[near] - share) < 0.6 * pitch
        return self.excess_mm[near], np.where(there, self.power[near], 0.0)


def joint_gaps(sightings: Sightings, seen: Sighted, weight: Floats) -> JointGaps:
    """Joints between the surveyed courses, of points with robust weights (n,)."""
    share = seen.share
    known = sightings.course != UNKNOWN
    if not known.any():
        return JointGaps(np.empty(0), np.empty(0), np.empty(0))
    course, group = np.unique(sightings.course[known], return_inverse=True)
    middle = np.bincount(group, weights=share[known]) / np.bincount(group)
    order = np.argsort(middle)
    course, middle = course[order], middle[order]
    sides = {side: _edge_points(sightings, course, side, weight) for side in (-1, 1)}
    next_to = np.diff(course) == 1
    along = -quarter_turned(seen.normal)

    def apart(left: NDArray[np.int64], right: NDArray[np.int64]) -> Floats:
        """Distance along the curve (c - 1,) from a point of each course to one of the next, or NaN."""
        width = np.full(len(course) - 1, np.nan)
        pair = next_to & (left[:-1] >= 0) & (right[1:] >= 0)
        a, b = left[:-1][pair], right[1:][pair]
        width[pair] = np.sum((sightings.xy_mm[b] - sightings.xy_mm[a]) * (along[a] + along[b]) / 2, axis=1)
        return width

    joint = apart(sides[1], sides[-1])
    # From middle to middle the edges' errors halve but the bricks' sizes come in: the steadier tells more.
    pitch = (apart(sides[-1], sides[-1]) + apart(sides[1], sides[1])) / 2
    excess, power = max(
        (_against_neighbours(w) for w in (joint, pitch)), key=lambda found: float(found[1].max(initial=0.0))
    )
    return JointGaps((middle[:-1] + middle[1:]) / 2, excess, power)


def _edge_points(
    sightings: Sightings, course: NDArray[np.int64], side: int, weight: Floats
) -> NDArray[np.int64]:
    """One trusted point (c,) on a side of each course (in any order), -1 where there is none."""
    good = np.flatnonzero((sightings.edge == side) & (weight > 0.5) & (sightings.course != UNKNOWN))
    sorter = np.argsort(course)
    place = sorter[np.searchsorted(course, sightings.course[good], sorter=sorter)]
    found = np.full(len(course), -1)
    found[place] = good
    return found


def _against_neighbours(width: Floats) -> tuple[Floats, Floats]:
    """Excess (j,) over the median of the neighbours, and one over its variance."""
    excess, power = np.zeros(len(width)), np.zeros(len(width))
    measured = np.isfinite(width)
    if np.count_nonzero(measured) < FEWEST_JOINTS:
        return excess, power
    around = np.delete(
        sliding_window_view(np.pad(width, NEIGHBOURS, constant_values=np.nan), 2 * NEIGHBOURS + 1),
        NEIGHBOURS,
        axis=1,
    )
    among = measured & (np.count_nonzero(np.isfinite(around), axis=1) >= NEIGHBOURS // 2)
    excess[among] = width[among] - np.nanmedian(around[among], axis=1)
    power[among] = 1.0
    size = np.abs(excess[power > 0])
    spread = max(LEAST_SPREAD_MM, MAD_TO_SIGMA * float(np.median(size))) if len(size) else LEAST_SPREAD_MM
    far = np.maximum(np.abs(excess) / spread / MOST_SPREADS, 1.0)
    return excess, power / (spread * far) ** 2
