"""A run of courses laid further apart or closer together than the rest, seen from middle to middle.

An edge read too far along makes one joint narrower and a brick wider, so the middles of bricks are read
better than joints; and a middle read too far along makes one step longer and the next as much shorter, so
over a run of steps only its two ends count. That is what finds small changes over many courses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from survey.condition.courses.middles import middle_of, scatter_of
from survey.condition.courses.ring_table import RingTable
from survey.condition.patterns.noise_model import (
    LEAST_IRREGULARITY_MM,
    CourseNoise,
    independent_columns,
    weighings_of,
)
from survey.condition.patterns.run_search import likeliest_run, share_in
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import INNER, LEFT, RIGHT, Ints
from survey.fitting.result import Estimate

NAMED_ABOVE = 3.0
"""Evidence needed; of 550 simulated arches laid to one rhythm 3 reached it."""
UNEVEN_SHARES = (0.1, 0.25, 0.5, 1.0)
"""Variances tried of the steps themselves, as shares of what is seen; the rest is the readings'."""
DRAWN_IN_SPREADS = 3.0
"""Steps further out than this many times their scatter are drawn in to it."""
USUAL_STEP_MM = 3.0
LEAST_SCATTER_MM = 0.5
FEWEST_STEPS = 12


@dataclass(frozen=True, slots=True)
class RunApart:
    """Courses that stand apart in width, joint or pitch: first and last, by how much, and the evidence."""

    first: int
    last: int
    size: Estimate
    evidence: float


@dataclass(frozen=True, slots=True, eq=False)
class StepMetric:
    """Inverse covariance of steps between middles: uneven by themselves, neighbours sharing a reading.

    The covariance is tridiagonal: each step's own variance and those of its two middles on the diagonal, and
    less the variance of the middle they share beside it.
    """

    pivot: Floats
    below: Floats
    log_determinant: float

    def apply(self, columns: Floats) -> Floats:
        """Inverse covariance times columns (n, k)."""
        return np.asarray(lapack.dpttrs(self.pivot, self.below, columns)[0], dtype=float)


def step_metric(step: Ints, middle_variance_mm2: float, uneven_mm2: float) -> StepMetric:
    """For steps (n,) from one course to the next, by index of the course before; some may be missing."""
    beside = np.where(np.diff(step) == 1, -middle_variance_mm2, 0.0)
    pivot, below, _ = lapack.dpttrf(np.full(len(step), uneven_mm2 + 2.0 * middle_variance_mm2), beside)
    return StepMetric(pivot, below, float(np.log(pivot).sum()))


def pitch_run(table: RingTable, *, shortest: int, longest_share: float) -> RunApart | None:
    """The evident run of courses laid to another pitch, or None.

    Courses of which both edges of the soffit were read and are right are used. A run whose bricks are wider
    or narrower by as much is none: it is another lot laid with the same joints.
    """
    read = np.isfinite(table.edge_deviation_mm[:, INNER, LEFT] + table.edge_deviation_mm[:, INNER, RIGHT])
    step = np.flatnonzero(read[:-1] & read[1:])
    if len(step) < FEWEST_STEPS:
        return None
    middle = (table.start_along_mm + table.end_along_mm) / 2
    pitch = np.diff(middle)[step]
    usual = middle_of(pitch)
    reach = DRAWN_IN_SPREADS * max(scatter_of(pitch, usual), LEAST_SCATTER_MM)
    drawn_in = np.clip(pitch, usual - reach, usual + reach)
    noise = _step_noise(table.station_mm[step], drawn_in, step, middle_of(table.reading_variance_mm2[read]))
    run = likeliest_run(
        noise,
        shortest=shortest,
        longest=int(len(step) * longest_share),
        usual_step=USUAL_STEP_MM,
        named_above=NAMED_ABOVE,
    )
    if run is None or share_in(drawn_in, run) < 0.5:
        return None
    if share_in(table.width_mm[step], run) > 0.5:
        return None
    course = table.course[step]
    return RunApart(int(course[run.first]), int(course[run.last]), run.step, run.evidence)


def _step_noise(station: Floats, pitch: Floats, step: Ints, middle_variance_mm2: float) -> CourseNoise:
    """Steps beside a mean, a trend and a change from springings to crown, as a mason works them in."""
    at = 2 * (station - station.min()) / float(np.ptp(station)) - 1
    basis = independent_columns(np.column_stack([np.ones(len(at)), at, np.abs(at)]))
    left = pitch - basis @ (basis.T @ pitch)
    seen = float(left @ left) / (len(pitch) - basis.shape[1])
    metrics = [
        step_metric(step, middle_variance_mm2, max(share * seen, LEAST_IRREGULARITY_MM**2))
        for share in UNEVEN_SHARES
    ]
    return CourseNoise(station, pitch, basis, weighings_of(metrics, pitch, basis), np.ones(len(pitch)))
