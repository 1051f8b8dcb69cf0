"""A smooth sag without hinges: the soffit leaves its curve gently, built so or by a centre that gave way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.ring_table import RingTable
from survey.condition.patterns.noise_model import CourseNoise, fit_template, worth_fitting
from survey.condition.result import Pattern
from survey.curves.protocol import Floats
from survey.fitting.result import Estimate, Verdict
from survey.record.model import Tolerances

NAMED_ABOVE = 4.0
"""Evidence a pattern needs to be named: odds of fifty to one."""
SAG_ABOVE = 2.5
"""Evidence a sag needs: less, since it must be deeper than the tolerance as well. Of 900 simulated arches
without any none was named."""
NO_KINK = " There is no kink, so no hinge: it was built so, or its centre gave way while building."
OTHER_CURVE = " It may also have been set out to another curve than the one fitted."


def smooth_waves(station_mm: Floats) -> Floats:
    """Templates (n, 3) of one wave and two over the arch: even about the crown, and leaning to one side."""
    turn = 2 * np.pi * (station_mm - station_mm.min()) / float(np.ptp(station_mm))
    return np.column_stack([np.cos(turn), np.cos(2 * turn), np.sin(turn)])


def freed_waves(nuisance: Floats, waves: Floats) -> Floats:
    """Waves (n, 3) less what orthonormal columns (n, k) span: the shape that no curve of the family has."""
    return np.asarray(waves - nuisance @ (nuisance.T @ waves), dtype=float)


@dataclass(frozen=True, slots=True, eq=False)
class Sag:
    """A smooth departure (n,) of known courses from their curve, its uncertainty (n,), and its evidence."""

    smooth_mm: Floats
    sigma_mm: Floats
    evidence: float

    @property
    def depth_mm(self) -> float:
        """How far it hangs below the curve at its deepest."""
        return -float(self.smooth_mm.min())


def sag_of(waves: Floats, coefficient: Floats, covariance: Floats, evidence: float) -> Sag:
    """The sag made of freed waves (n, 3)."""
    spread = np.sqrt(np.einsum("ij,jk,ik->i", waves, covariance, waves))
    return Sag(waves @ coefficient, spread, evidence)


def smooth_sag(
    table: RingTable, known: np.ndarray, noise: CourseNoise, tolerances: Tolerances, verdict: Verdict
) -> tuple[Pattern, ...]:
    """The sag of one ring if it is evident and deeper than the tolerance, else nothing.

    The waves are freed of what the fitted curve itself can follow, so that only a shape that no curve of the
    family has is called a sag.
    """
    waves = smooth_waves(noise.station_mm)
    push = waves.T @ noise.best.pull
    inner = waves.T @ noise.best.project(waves)
    if not worth_fitting(noise, 0.5 * float(push @ np.linalg.solve(inner, push)), 3, SAG_ABOVE):
        return ()
    fit = fit_template(noise, waves)
    sag = sag_of(freed_waves(noise.nuisance, waves), fit.coefficient, fit.covariance, fit.evidence)
    if fit.evidence < SAG_ABOVE or sag.depth_mm <= tolerances.intrados_mm:
        return ()
    unclear = not verdict.clear or verdict.family is None
    return (sag_pattern(table, known, sag, NO_KINK + (OTHER_CURVE if unclear else "")),)


def sag_pattern(table: RingTable, known: np.ndarray, sag: Sag, meaning: str) -> Pattern:
    """A sag of the known courses of one ring (mask) in words, and what it means."""
    course = table.course[known]
    low, high = int(np.argmin(sag.smooth_mm)), int(np.argmax(sag.smooth_mm))
    inside = np.flatnonzero(sag.smooth_mm < -sag.depth_mm / 2)
    # The run around the deepest course, not a second trough elsewhere.
    parts = np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1)
    part = next(p for p in parts if p[0] <= low <= p[-1])
    first, last = int(course[part[0]]), int(course[part[-1]])
    size = Estimate(-sag.depth_mm, float(sag.sigma_mm[low]))
    where = f"At course {first}" if first == last else f"From course {first} to {last}"
    sentence = (
        f"{where} of ring {table.ring.ring} the soffit hangs smoothly below its curve, deepest at course "
        f"{int(course[low])} by {sag.depth_mm:.0f} mm (± {2 * size.sigma:.0f}), and stands "
        f"{sag.smooth_mm[high]:.0f} mm outside it near course {int(course[high])}.{meaning}"
    )
    return Pattern("smooth sag", sentence, table.ring.ring, first, last, size, sag.evidence)
