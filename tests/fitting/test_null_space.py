"""Data sets whose exact optimum is known beforehand, for every family, metric and constraint.

At foot points of a known curve residuals are laid off that are orthogonal, in the metric of the scatter, to
every derivative of the distances and further observations: the known curve is then exactly stationary
(null-space data; Cox and Forbes, "Strategies for testing assessment software", NPL report DITC 211/92, title
seen, construction computed independently).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fitting.builds import EXAMPLES, FAMILY_EXAMPLES, record_of, whole_arch

from survey.fitting.choosing.fitted import fit_standing
from survey.fitting.families.standing import Standing
from survey.fitting.mechanism.hinge_search import sighted
from survey.fitting.sightings import sightings_of
from survey.fitting.solving.noise import Scatter, Whitener, nodes_of, whitener
from survey.record.model import Known, KnownDimensions

RMS_MM = 4.0


def null_space_set(
    name: str, *, tilt: bool, weighted: bool, scatter: Scatter, known: KnownDimensions
) -> tuple[Standing, Whitener, np.ndarray]:
    """A family standing before points of which it is exactly the best fit at the parameters returned."""
    soffit, ends = whole_arch(name, n=20)
    seen = sightings_of(record_of(soffit, ends, known=known))
    if weighted:
        sigma = 0.6 + 0.9 * np.abs(np.sin(np.arange(len(seen))))
        seen = replace(seen, sigma_mm=sigma, end_sigma_mm=np.where(seen.end == 0, np.inf, sigma))
    standing = Standing(seen, EXAMPLES[name][0], tilt)
    parameters = np.array([*-seen.centre_mm, *EXAMPLES[name][1], *([0.0] if tilt else [])])
    nodes = nodes_of(standing.stations(parameters), seen.course)
    weight = 0.4 + 0.6 * np.abs(np.cos(np.arange(len(seen)))) if weighted else np.ones(len(seen))
    metric = whitener(nodes, seen.sigma_mm, weight, scatter)
    # An end point laid off along the curve is seen from another foot: slopes and places settle in turns.
    before = standing
    for _ in range(12):
        wanted = without_pull(before, metric, parameters)
        points = laid_off(standing, parameters, wanted)
        before = replace(standing, sightings=replace(seen, xy_mm=points))
    return before, metric, parameters


def without_pull(standing: Standing, metric: Whitener, parameters: np.ndarray) -> np.ndarray:
    """Distances of all points, then end points' distances along the curve over sigma, that pull nowhere."""
    look = standing.look(parameters)
    n_ends = np.count_nonzero(standing.sightings.end)
    pulls = np.vstack([metric.apply(look.slopes), look.row_slopes[:n_ends]])
    residual = np.sin(3 * np.arange(len(pulls)) ** 2 + 1.0)
    basis = np.linalg.qr(pulls)[0]
    for _ in range(2):
        residual = residual - basis @ (basis.T @ residual)
    return RMS_MM * residual / np.sqrt(np.mean(residual**2))


def laid_off(standing: Standing, parameters: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Points (n, 2) at the wanted distances from their foot points; end points also along their tangents."""
    seen = standing.sightings
    normal = sighted(standing, parameters).normal
    at = np.flatnonzero(seen.end)
    tangent = np.stack([-normal[at, 1], normal[at, 0]], axis=1) * seen.end[at, None]
    n = len(seen)
    points = seen.xy_mm + wanted[:n, None] * normal
    points[at] += (wanted[n:] * seen.end_sigma_mm[at])[:, None] * tangent
    # Along the tangent the curve falls away: square to it the end points are set anew until they are right.
    for _ in range(20):
        moved = replace(standing, sightings=replace(seen, xy_mm=points))
        points[at] += (wanted[at] - moved.look(parameters).distance[at])[:, None] * normal[at]
    return points


FREE = KnownDimensions()
HELD = KnownDimensions(springing_y=Known(0.0, 0.01))
SPAN_AND_RISE = {
    name: KnownDimensions(
        span=Known(2 * EXAMPLES[name][1][0], 0.5),
        rise=Known(EXAMPLES[name][1][min(1, len(EXAMPLES[name][1]) - 1)], 0.5),
    )
    for name in FAMILY_EXAMPLES
}
NEARLY_WHITE = Scatter(0.01, 10.0)
ALIKE = Scatter(2.0, 250.0)


@pytest.mark.parametrize("constraint", ["free", "tilt", "springing held", "span and rise known"])
@pytest.mark.parametrize("scatter", [NEARLY_WHITE, ALIKE], ids=["white", "alike along the courses"])
@pytest.mark.parametrize("weighted", [False, True], ids=["even", "weighted"])
@pytest.mark.parametrize("name", FAMILY_EXAMPLES)
def test_the_optimum_is_found_to_a_millionth_of_a_millimetre(
    name: str, weighted: bool, scatter: Scatter, constraint: str
) -> None:
    known = {"springing held": HELD, "span and rise known": SPAN_AND_RISE[name]}.get(constraint, FREE)
    standing, metric, true = null_space_set(
        name, tilt=constraint == "tilt", weighted=weighted, scatter=scatter, known=known
    )
    look = standing.look(true)
    pull = look.slopes.T @ metric.apply(look.distance[:, None])[:, 0] + look.row_slopes.T @ look.rows
    squares = look.slopes.T @ metric.apply(look.slopes) + look.row_slopes.T @ look.row_slopes
    scale = np.sqrt(np.diag(squares))
    assert np.abs(pull / scale).max() < 1e-8  # the data are what they claim to be

    off = {"axis_x_mm": 9.0, "springing_y_mm": -7.0, "half_span_mm": 12.0, "rise_mm": 6.0, "radius_1_mm": 3.0}
    start = true + np.array([off.get(name, 0.01) for name in standing.names])
    solution = fit_standing(standing, metric, start)
    assert solution.converged, solution.because
    tolerance = np.where([name.endswith("_mm") for name in standing.names], 1e-6, 1e-9)
    assert np.all(np.abs(solution.parameters - true) < tolerance)
