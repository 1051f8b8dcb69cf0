"""A smooth sag without hinges: the soffit leaves its curve gently, built so or by a centre that gave way."""

from __future__ import annotations

import numpy as np

from survey.condition.noise_model import CourseNoise, fit_template, worth_fitting
from survey.condition.result import Pattern
from survey.condition.ring_table import RingTable
from survey.curves.protocol import Floats
from survey.fitting.result import Estimate, Verdict
from survey.record.model import Tolerances

NAMED_ABOVE = 4.0
"""Evidence a pattern needs to be named: odds of fifty to one."""


def smooth_waves(station_mm: Floats) -> Floats:
    """Templates (n, 3) of one wave and two over the arch: even about the crown, and leaning to one side."""
    turn = 2 * np.pi * (station_mm - station_mm.min()) / float(np.ptp(station_mm))
    return np.column_stack([np.cos(turn), np.cos(2 * turn), np.sin(turn)])


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
    if not worth_fitting(noise, 0.5 * float(push @ np.linalg.solve(inner, push)), 3, NAMED_ABOVE):
        return ()
    fit = fit_template(noise, waves)
    if fit.evidence < NAMED_ABOVE:
        return ()
    smooth, spread = _freed(noise, waves, fit.coefficient, fit.covariance)
    low, high = int(np.argmin(smooth)), int(np.argmax(smooth))
    depth = float(smooth[low])
    if -depth <= tolerances.intrados_mm:
        return ()
    course = table.course[known]
    inside = np.flatnonzero(smooth < depth / 2)
    # The run around the deepest course, not a second trough elsewhere.
    gaps = np.flatnonzero(np.diff(inside) > 1)
    parts = np.split(inside, gaps + 1)
    part = next(p for p in parts if p[0] <= low <= p[-1])
    first, last = int(course[part[0]]), int(course[part[-1]])
    size = Estimate(depth, float(spread[low]))
    where = f"At course {first}" if first == last else f"From course {first} to {last}"
    sentence = (
        f"{where} of ring {table.ring.ring} the soffit hangs smoothly below its curve, "
        f"deepest at course {int(course[low])} by {-depth:.0f} mm (± {2 * size.sigma:.0f}), and stands "
        f"{smooth[high]:.0f} mm outside it near course {int(course[high])}. There is no kink, so no hinge: "
        "it was built so, or its centre gave way while building."
    )
    if not verdict.clear or verdict.family is None:
        sentence += " It may also have been set out to another curve than the one fitted."
    return (Pattern("smooth sag", sentence, table.ring.ring, first, last, size, fit.evidence),)


def _freed(
    noise: CourseNoise, waves: Floats, coefficient: Floats, covariance: Floats
) -> tuple[Floats, Floats]:
    """The fitted waves (n,) less what the curve can follow, and their standard uncertainty."""
    freed = waves - noise.nuisance @ (noise.nuisance.T @ waves)
    return freed @ coefficient, np.sqrt(np.einsum("ij,jk,ik->i", freed, covariance, freed))
