"""Whether a springing point stands where the courses beside it lead: a joint below their lowest edge.

A springing that sinks takes its courses with it, so the joint between them stays a joint; a misread springing
point leaves it too wide or too narrow. The joints of the lowest courses say how wide that one should be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.fitting.sightings import Sightings
from survey.fitting.solving.robust import MAD_TO_SIGMA
from survey.fitting.solving.weighing import GROSS_SIZE_MM
from survey.record.model import UNKNOWN

N_COURSES = 7
"""Courses above a springing whose joints say how wide its own should be."""
FEWEST = 3
"""Joints, and bricks, below which their usual width is not known."""
MISREAD_MM = 6.0
"""A lowest edge further than this from where the others put it is no measure of the joint below it."""
SPRINGING_BED_MM, SPRINGING_BED_SHARE = 2.0, 0.25
"""How much the bed on a springing differs from the joints above it, at least and as a share (judgement)."""
VOUCHED = 1.0
"""A springing point whose joint is off by less than this many uncertainties has its courses behind it."""
TOLD_FROM = 2.5
"""An excess is told from this many of its uncertainties."""
DISTRUSTED = 0.5
SLIP_SHARE, SLIP_MM = 0.01, 12.0
"""Share and size of joints measured wrongly though nothing shows it."""
MOST_PITCHES = 0.65
"""A gap wider than a joint by more of a pitch than this may hold an unrecorded course: it tells nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class EndJoints:
    """Joints below the lowest courses, one for each end point; arrays of length e.

    Attributes
    ----------
    side : (e,) int
        -1 for a left springing point, 1 for a right one.
    excess_mm : (e,) float
        How much further down the curve the springing point stands than a joint below its courses; 0 where
        that is not known.
    sigma_mm : (e,) float
        Standard uncertainty of that for a springing point read well; infinite where nothing is known.
    """

    side: NDArray[np.int64]
    excess_mm: Floats
    sigma_mm: Floats

    @property
    def strange(self) -> Floats:
        """Excess over its uncertainty (e,), without sign."""
        return np.abs(self.excess_mm) / self.sigma_mm

    def doubts(self, side: int) -> bool:
        """Whether the courses of a side do not vouch for its springing point: a joint off, or unknown."""
        here = self.side == side
        return not np.any(here) or bool(np.any(~self.known[here] | (self.strange[here] > VOUCHED)))

    @property
    def log_gross(self) -> Floats:
        """Log of how much likelier each excess is (e,) of a gross error than of a good springing point.

        A lower edge misread by less than its neighbours show keeps a good point from being judged outright.
        """
        sigma = np.where(self.known, self.sigma_mm, 1.0)
        good, slip, gross = (
            np.log(share) + _log_density(self.excess_mm, np.hypot(sigma, size))
            for share, size in ((1 - SLIP_SHARE, 0.0), (SLIP_SHARE, SLIP_MM), (1.0, GROSS_SIZE_MM))
        )
        return np.where(self.known, gross - np.logaddexp(good, slip), 0.0)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Where the courses tell anything (e,)."""
        return np.isfinite(self.sigma_mm)


def _log_density(value: Floats, sigma: Floats) -> Floats:
    """Log Gaussian density (e,) but for its constant."""
    return np.asarray(-0.5 * (value / sigma) ** 2 - np.log(sigma))


def end_joints(sightings: Sightings, station_mm: Floats) -> EndJoints:
    """Compare every springing point with the courses beside it, by stations (n,) along a near curve."""
    at = np.flatnonzero((sightings.end != 0) & (sightings.course == UNKNOWN))
    side = sightings.end[at]
    excess, sigma = np.zeros(len(at)), np.full(len(at), np.inf)
    for s in (-1, 1):
        edges = _lowest_edges(sightings, -s * station_mm, s)
        if edges is None:
            continue
        for k in np.flatnonzero(side == s):
            excess[k], sigma[k] = _excess(edges + s * station_mm[at[k]], sightings.sigma_mm[at[k]])
    return EndJoints(side, excess, sigma)


def _lowest_edges(sightings: Sightings, up_mm: Floats, side: int) -> Floats | None:
    """Lower and upper edges (c, 2) of the lowest courses of a side by heights (n,) along the curve.

    NaN where one was not surveyed; None where the lowest course of all was not.
    """
    known = (sightings.course != UNKNOWN) & (sightings.edge != 0)
    highest = int(sightings.course[known].max(initial=0))
    first = 1 if side < 0 else highest if sightings.last_course is None else sightings.last_course
    if not np.any(known & (sightings.course == first)):
        return None
    edges = np.full((N_COURSES, 2), np.nan)
    rank = side * (first - sightings.course)
    for i in np.flatnonzero(known & (rank >= 0) & (rank < N_COURSES)):
        edges[rank[i], 0 if sightings.edge[i] == side else 1] = up_mm[i]
    return edges


def _excess(edges: Floats, sigma_mm: float) -> tuple[float, float]:
    """Excess and its uncertainty of a springing point, from lower and upper edges (c, 2) above it."""
    steps = np.diff(edges.ravel())
    joint, joint_spread = _usual(steps[1::2])
    width, width_spread = _usual(steps[::2])
    lower, upper = edges[0, 0] - joint, np.array([edges[0, 1], edges[1, 0] - joint, edges[1, 1] - joint])
    upper -= joint + width * np.array([1.0, 1.0, 2.0])
    others = float(np.median(upper[np.isfinite(upper)])) if np.isfinite(upper).any() else np.nan
    # The lowest edge itself may be misread; then those above it speak, as truly as the bricks are alike.
    misread = not abs(lower - others) <= MISREAD_MM + 2.0 * width_spread
    excess = others if misread else lower
    if not abs(excess) <= MOST_PITCHES * (joint + width):
        return 0.0, np.inf
    spread = np.hypot(
        max(np.sqrt(2.0) * sigma_mm, joint_spread), max(SPRINGING_BED_MM, SPRINGING_BED_SHARE * joint)
    )
    return float(excess), float(np.hypot(spread, width_spread) if misread else spread)


def _usual(width: Floats) -> tuple[float, float]:
    """Median and spread of widths, NaN where too few are known."""
    known = width[np.isfinite(width)]
    if len(known) < FEWEST:
        return np.nan, np.nan
    middle = float(np.median(known))
    return middle, MAD_TO_SIGMA * float(np.median(np.abs(known - middle)))


def ends_told(sightings: Sightings, joints: EndJoints, trust: Floats) -> tuple[str, ...]:
    """What is doubtful about the springing points, given the trust in every point (n,), in sentences."""
    told = []
    for side, name in ((-1, "left"), (1, "right")):
        aside = bool(np.any(trust[sightings.end == side] < DISTRUSTED))
        at = np.flatnonzero((joints.side == side) & (joints.strange > TOLD_FROM))
        if len(at):
            excess = float(joints.excess_mm[at[0]])
            where = (
                f"{abs(excess):.0f} mm {'below' if excess > 0 else 'above'} where the courses beside it lead"
            )
            done = "it was set aside, and the arch taken to end where they lead" if aside else "it was kept"
            told.append(f"The {name} springing point stands {where}; {done}: measure it again.")
        elif aside:
            told.append(
                f"The {name} springing point lies far from every curve and was set aside: measure it again."
            )
    return tuple(told)
