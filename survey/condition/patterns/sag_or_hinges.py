"""Whether a soffit that looks moved hangs smoothly instead: rigid pieces leave kinks, a sag does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.middles import middle_of
from survey.condition.courses.ring_table import RingTable
from survey.condition.hinged import hinged_deviation, off_neighbours
from survey.condition.patterns.noise_model import LENGTH_FACTORS, LONGEST_ALIKE_COURSES, independent_columns
from survey.condition.patterns.sag import freed_waves, sag_of, sag_pattern, smooth_waves
from survey.condition.result import Pattern
from survey.curves.protocol import Floats
from survey.fitting.result import Movement
from survey.fitting.solving.noise import Nodes, Scatter, nodes_of, whitener
from survey.record.model import Tolerances

TOLD_ABOVE = 7.0
"""Evidence for a smooth sag against hinges from which it is told (none of 70
simulated arches that did move reached it)."""
IRREGULARITIES_MM = (0.5, 0.9, 1.6, 2.8, 4.5)
N_HINGED = 5
"""What hinged pieces choose beside their curve: spread, settlement and where three hinges are."""
WILD_MM = 8.0
"""A course further than this from the median of its neighbours has moved by itself."""
FEWEST_COURSES = 12
NO_CRACKS = (
    " A smooth line explains the readings better than pieces turned about hinges: it may have been built so, "
    "or its centre gave way while building. Look for cracks at the hinges before the movement is believed."
)


def sag_or_hinges(
    table: RingTable, slopes: Floats, movement: Movement, tolerances: Tolerances
) -> tuple[Pattern, ...]:
    """The smooth sag that explains ring 1 better than the hinged pieces do, if one does.

    Parameters
    ----------
    table : RingTable
        Of ring 1.
    slopes : (n, k) float
        How far the courses follow the fitted curve's parameters.
    movement : Movement
        As the fit found it.
    tolerances : Tolerances

    Notes
    -----
    Both are weighed by their likelihood under the same irregularities, the likeliest for each, less half the
    log of the number of courses for every number each of them chooses beside its curve (Schwarz's criterion).
    """
    hinged = hinged_deviation(table, movement)
    with np.errstate(invalid="ignore"):
        tame = np.abs(off_neighbours(hinged)) <= WILD_MM
    at = np.flatnonzero(tame)
    n = len(at)
    if n < FEWEST_COURSES:
        return ()
    station, deviation = table.station_mm[at], table.deviation_mm[at]
    nodes = nodes_of(station, np.arange(n))
    sigma = np.sqrt(table.reading_variance_mm2[at])
    follow = independent_columns(slopes[at])
    waves = smooth_waves(station)
    sagging = _likeliest(nodes, sigma, deviation, np.column_stack([follow, waves]))
    still = _likeliest(nodes, sigma, hinged[at], np.empty((n, 0)))
    evidence = sagging.log_likelihood - still.log_likelihood
    evidence += 0.5 * (N_HINGED - waves.shape[1]) * float(np.log(n))
    if evidence < TOLD_ABOVE:
        return ()
    free = freed_waves(follow, waves)
    k = follow.shape[1]
    sag = sag_of(free, sagging.coefficient[k:], sagging.covariance[k:, k:], evidence)
    if sag.depth_mm <= tolerances.intrados_mm:
        return ()
    return (sag_pattern(table, tame, sag, NO_CRACKS),)


@dataclass(frozen=True, slots=True, eq=False)
class _Explained:
    """How likely values are with columns, whose coefficients are the likeliest, and under what scatter."""

    log_likelihood: float
    coefficient: Floats
    covariance: Floats


def _likeliest(nodes: Nodes, sigma: Floats, values: Floats, columns: Floats) -> _Explained:
    """The likeliest explanation over all irregularities tried."""
    pitch = middle_of(nodes.step_mm)
    found: list[_Explained] = []
    for alike in LENGTH_FACTORS:
        for irregularity in IRREGULARITIES_MM:
            scatter = Scatter(irregularity, alike * LONGEST_ALIKE_COURSES * pitch)
            metric = whitener(nodes, sigma, np.ones(len(values)), scatter)
            weighed = metric.apply(np.column_stack([values, columns]))
            inverse = np.asarray(np.linalg.inv(columns.T @ weighed[:, 1:]), dtype=float)
            coefficient = inverse @ (columns.T @ weighed[:, 0])
            left = values @ weighed[:, 0] - coefficient @ (columns.T @ weighed[:, 0])
            log = -0.5 * (metric.log_determinant + float(left))
            found.append(_Explained(log, coefficient, inverse))
    return max(found, key=lambda e: e.log_likelihood)
