"""What a free fit's answer is worth: squares, weights, covariance."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import lapack

from survey.curves.protocol import Floats
from survey.fitting.free.points import FreePoints
from survey.fitting.free.search import CoefficientModel, Found

OPEN_PARAMETERS = "the gradient vanishes, but the points leave a parameter open: no bound for its uncertainty"


@dataclass(frozen=True, slots=True, eq=False)
class FitQuality:
    """How well a free fit meets its points, and how its search went.

    Attributes
    ----------
    ss_mm2 : float
        Sum of squared orthogonal distances of the points used, each counted once whatever its weight, mm^2.
    rms_mm : float
        Their root mean square, mm.
    cost : float
        What was minimised: sum w d^2 (mm^2, or a number where ``sigma_mm`` was given for each point), or the
        summed robust loss in the same unit.
    n_used : int
        Points with a weight above zero.
    weights : (n,) float or None
        Robust weights, 1 for plain points and 0 for those set aside; None without a robust loss.
    n_evaluations : int
        Passes over the points.
    gradient_measure : float
        Movement still to come over the rms residual, the proof of convergence.
    """

    ss_mm2: float
    rms_mm: float
    cost: float
    n_used: int
    weights: Floats | None
    n_evaluations: int
    gradient_measure: float


def known_scale(points: FreePoints, sigma_mm: ArrayLike | None) -> float | None:
    """Standard deviation of the model's residuals, in its unit, where the measuring accuracy is given."""
    if sigma_mm is None:
        return None
    return (float(sigma_mm) if np.ndim(sigma_mm) == 0 else 1.0) / points.scale_mm  # type: ignore[arg-type]


def quality_of(found: Found[CoefficientModel], points: FreePoints) -> FitQuality:
    """The quality of a search's end, converged or not."""
    solution, scale = found.solution, points.scale_mm
    n = points.xy_mm.shape[0]
    root = points.root_weights
    used = n if root is None else int(np.count_nonzero(root))
    cost = solution.cost * scale**2
    ss = cost if root is None and found.robust is None else nan
    if not found.converged:
        cost = ss = nan
    elif ss != ss:
        distances = found.model.distances(solution.parameters) * scale
        ss = float(np.sum((distances if root is None else distances[root > 0.0]) ** 2))
    return FitQuality(
        ss,
        sqrt(ss / used),
        cost,
        used,
        None if found.robust is None else found.robust.weights,
        solution.n_evaluations,
        solution.gradient_measure,
    )


def parameter_covariance(
    found: Found[CoefficientModel],
    n_used: int,
    scale: float | None,
    *,
    conic: Floats,
    slopes: Floats,
    outwards: Floats,
) -> Floats:
    """Covariance (k, k) of a curve's own parameters.

    Parameters
    ----------
    found : Found
    n_used : int
        Points with a weight above zero.
    scale : float or None
        Standard deviation of the residuals where it is known.
    conic : (k + 1,) float
        The curve's coefficients, in any size.
    slopes : (k + 1, k) float
        Their derivatives for the parameters in the frame.
    outwards : (k, k) float
        Matrix from the parameters in the frame to those that are given.

    Returns
    -------
    (k, k) float
        NaN if neither the scale is known nor a point is left over to find it from; infinite if the points
        leave a parameter open (:data:`OPEN_PARAMETERS`).

    Notes
    -----
    Coefficients with the held one at its value are q = conic h / conic_held; with T = dq/dp the covariance
    is inv(T) C inv(T)'. C is found first, for it is well determined however flat the curve is.
    """
    k = slopes.shape[1]
    if found.robust is not None:
        of_coefficients = found.robust.covariance()
    elif scale is not None:
        of_coefficients = found.solution.covariance(scale**2)
    elif n_used > k:
        of_coefficients = found.solution.covariance(found.solution.cost / (n_used - k))
    else:
        return np.full((k, k), nan)
    held = found.model.held
    turned = (slopes - conic[:, None] * (slopes[held] / conic[held])) * (found.model.held_value / conic[held])
    free = np.concatenate((turned[:held], turned[held + 1 :]))
    size = np.sqrt(np.add.reduce(free * free, axis=0))
    if not size.min() > 0.0:
        return np.full((k, k), inf)
    back, singular = lapack.dgesv(free / size, np.eye(k))[2:]
    if singular:
        return np.full((k, k), inf)
    own = outwards @ (back / size[:, None])
    return np.asarray(own @ of_coefficients @ own.T)
