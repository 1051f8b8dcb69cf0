"""What a free fit's answer is worth: squares, weights, covariance."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import lapack

from survey.curves.protocol import Floats
from survey.fitting.engine import SINGULAR_PIVOT
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
    is variance inv(T' N T), N being the search's normal matrix.
    """
    k = slopes.shape[1]
    variance = _variance(found, n_used, scale, k)
    held, size = found.model.held, found.model.held_value / conic.item(found.model.held)
    turned = (slopes - conic[:, None] * (slopes[held] / conic[held])) * size
    free = turned[[term for term in range(k + 1) if term != held]]
    matrix = free.T @ found.solution.matrix @ free
    scales = np.sqrt(matrix.diagonal())
    with np.errstate(divide="ignore", invalid="ignore"):  # a parameter without any effect ends in info
        factor, info = lapack.dpotrf(matrix / (scales[:, None] * scales), lower=1, clean=1)
    if info != 0 or not factor.diagonal().min() ** 2 > SINGULAR_PIVOT:
        return np.full((k, k), inf)
    root = outwards @ (lapack.dtrtri(factor, lower=1)[0] / scales).T
    return np.asarray(variance * (root @ root.T))


def _variance(found: Found[CoefficientModel], n_used: int, scale: float | None, k: int) -> float:
    """Variance of the residuals, in the frame's unit."""
    if found.robust is not None:  # after Huber, which is the plain covariance times a number
        return float(found.robust.covariance()[0, 0] / found.solution.covariance()[0, 0])
    if scale is not None:
        return scale**2
    return found.solution.cost / (n_used - k) if n_used > k else nan
