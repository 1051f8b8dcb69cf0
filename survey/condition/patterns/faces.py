"""A twisted face, and springings that stand at unequal levels."""

from __future__ import annotations

import numpy as np

from survey.condition.courses.middles import scatter_of
from survey.condition.courses.ring_table import RingTable
from survey.condition.patterns.noise_model import course_noise, fit_template
from survey.condition.patterns.sag import NAMED_ABOVE
from survey.condition.result import Pattern
from survey.fitting.result import ArchFit, Estimate
from survey.fitting.solving.noise import Scatter
from survey.record.model import Edge, Feature, Record, Tolerances

FEWEST_COURSES = 12
LEVELLED_MM = 4.0
"""How well springings were levelled when built: standard deviation of their difference (judgement)."""
UNLEVEL_MM = 25.0
"""Size of an unequal springing that is worth naming, as a standard deviation (judgement)."""


def twisted_face(table: RingTable, tolerances: Tolerances, fit: ArchFit) -> tuple[Pattern, ...]:
    """One haunch forward below and back above, the other the reverse, beside any lean of the whole face."""
    known = np.isfinite(table.face_mm)
    if np.count_nonzero(known) < FEWEST_COURSES:
        return ()
    station, face = table.station_mm[known], table.face_mm[known]
    x, y = table.foot_mm[known].T
    half = fit.best.shape.half_span_mm
    across, up = (x - x.mean()) / half, (y - y.mean()) / half
    twist = across * up
    plane = np.column_stack([np.ones(len(x)), across, up])
    both = np.column_stack([twist, face])
    freed, left = (both - plane @ np.linalg.lstsq(plane, both, rcond=None)[0]).T
    spread = scatter_of(left)
    if abs(float(freed @ left)) < 2.0 * max(spread, 0.5) * float(np.sqrt(freed @ freed)):
        return ()
    guess = Scatter(max(spread, 0.5), fit.correlation_length_mm)
    noise = course_noise(station, face, table.face_sigma_mm[known], plane, guess)
    found = fit_template(noise, freed[:, None])
    swing = float(found.coefficient[0]) * float(np.ptp(freed))
    if found.evidence < NAMED_ABOVE or abs(swing) <= tolerances.face_mm:
        return ()
    sigma = float(np.sqrt(found.covariance[0, 0])) * float(np.ptp(freed))
    course = table.course[known]
    side = "left" if found.coefficient[0] < 0 else "right"
    sentence = (
        f"The face of ring {table.ring.ring} is twisted: beside any lean of the wall, its {side} shoulder "
        f"stands forward of the other, by up to {abs(swing):.0f} mm (± {2 * sigma:.0f}) from course to "
        "course."
    )
    return (
        Pattern(
            "twisted face",
            sentence,
            table.ring.ring,
            int(course[0]),
            int(course[-1]),
            Estimate(swing, sigma),
            found.evidence,
        ),
    )


def springing_levels(record: Record, fit: ArchFit) -> tuple[Pattern, ...]:
    """Left and right springing points at different levels, beyond the readings and what a mason levels to.

    Notes
    -----
    The evidence is the log of the ratio of two normal densities of the difference: with and without a further
    standard deviation of ``UNLEVEL_MM``.
    """
    points = record.points
    heights: list[Estimate] = []
    for side in (Edge.LEFT, Edge.RIGHT):
        on = points.on(Feature.SPRINGING) & np.asarray(points.edge == side, dtype=bool)
        if not on.any():
            return ()
        weight = points.sigma_mm[on] ** -2.0
        level = float(weight @ fit.to_arch(points.xy_mm[on])[:, 1] / weight.sum())
        heights.append(Estimate(level, float(weight.sum() ** -0.5)))
    left, right = heights
    lower = right.value - left.value
    sigma = float(np.hypot(left.sigma, right.sigma))
    still = sigma**2 + LEVELLED_MM**2
    moved = still + UNLEVEL_MM**2
    evidence = 0.5 * (np.log(still / moved) + lower**2 * (1 / still - 1 / moved))
    if evidence < NAMED_ABOVE:
        return ()
    sunk = "right" if lower < 0 else "left"
    sentence = (
        f"The {sunk} springing stands {abs(lower):.0f} mm (± {2 * sigma:.0f}) lower than the other: built "
        "so, or that side has sunk; look for cracks in the wall over it and let an engineer look at the "
        "ground below."
    )
    first, last = 1, max((c.count for c in fit.courses), default=1)
    return (Pattern("unequal springings", sentence, 1, first, last, Estimate(lower, sigma), float(evidence)),)
