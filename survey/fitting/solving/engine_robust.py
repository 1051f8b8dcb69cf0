"""Robust fits with the same engine: a loss of the residuals over their own scale.

For a fixed scale the engine minimises the summed loss itself, with the weights psi(r)/r of the residuals at
every step (iterative reweighting, one pass a step) and its convergence proof holding for that cost. Between
searches the scale is found anew from the median absolute residual until it stands still.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Floats
from survey.fitting.solving.engine import EngineOptions, Model, OutsideDomainError, Solution, minimise
from survey.fitting.solving.robust import Loss, ScaledLoss, mad_scale, tuned

SCALE_TOLERANCE = 1e-6
"""The scale stands still when it changes by less than this part of itself; weights then move by no more."""
MAX_ROUNDS = 60


@dataclass(frozen=True, slots=True, eq=False)
class RobustSolution:
    """A robust fit: the engine's solution, and what it made of the points.

    Attributes
    ----------
    solution : Solution
    loss : ScaledLoss
        The loss with the threshold it ended with.
    residuals, weights : (n,) float
        Of the points where the search ended; weights are 1 for plain points, 0 for points without any pull.
    scale : float
        Standard deviation of good residuals, in the residuals' unit.
    n_rounds : int
        Searches until the scale stood still.
    converged : bool
        The search converged and the scale stood still.
    because : str
    """

    solution: Solution
    loss: ScaledLoss
    residuals: Floats
    weights: Floats
    scale: float
    n_rounds: int
    converged: bool
    because: str

    def covariance(self) -> Floats:
        """Covariance (k, k) of the parameters after Huber.

        Notes
        -----
        c^2 [sum psi^2 / (n - k)] / mean(psi')^2 inv(J'J), with psi = w r, c = 1 + (k/n) var(psi') /
        mean(psi')^2 for few points, and J'WJ / mean(w) for J'J.

        References
        ----------
        Huber, P. J., "Robust Statistics" (1981), section 7.6; from memory.
        """
        n, k = self.residuals.size, self.solution.parameters.size
        pull = self.weights * self.residuals
        slope = self.loss.slope_ratio(self.residuals)
        mean_slope = float(np.mean(slope))
        few = 1.0 + k / n * float(np.var(slope)) / mean_slope**2
        variance = few**2 * float(pull @ pull) / (n - k) / mean_slope**2
        return self.solution.covariance(variance * float(np.mean(self.weights)))


def minimise_robustly(
    model: Model,
    start: ArrayLike,
    loss: Loss,
    *,
    scale: float | None = None,
    smallest_scale: float = 0.0,
    options: EngineOptions | None = None,
) -> RobustSolution:
    """Minimise a robust loss of the residuals.

    Parameters
    ----------
    model : Model
    start : (k,) float
        For Tukey, which may have several optima, the search starts from Huber's optimum.
    loss : Loss
    scale : float, optional
        Standard deviation of good residuals, if known (1 for residuals divided by their sigma); otherwise
        estimated from the median absolute residual and refined.
    smallest_scale : float
        The estimate is kept from falling below this (the measuring accuracy): a median of zero on more than
        half exact points would otherwise set every other point aside.
    options : EngineOptions, optional
    """
    if loss is Loss.TUKEY:
        huber = minimise_robustly(
            model, start, Loss.HUBER, scale=scale, smallest_scale=smallest_scale, options=options
        )
        if not huber.converged:
            return huber
        start = huber.solution.parameters
    first = np.array(start, dtype=float)
    if loss is Loss.SQUARES:
        return _finish(model, minimise(model, first, options=options), tuned(loss, 1.0), scale, 1)
    if scale is not None:
        fixed = tuned(loss, scale)
        return _finish(model, minimise(model, first, options=options, loss=fixed), fixed, scale, 1)
    return _settle(model, first, loss, smallest_scale, options)


def _settle(
    model: Model, first: Floats, loss: Loss, smallest_scale: float, options: EngineOptions | None
) -> RobustSolution:
    """Alternate between the fit and its scale."""
    residuals = _residuals(model, first)
    if np.isnan(residuals).all():  # no curve to take a scale from: the engine says why
        return _finish(model, minimise(model, first, options=options), tuned(loss, 1.0), np.nan, 1)
    estimate = max(mad_scale(residuals, first.size), smallest_scale)
    for n_rounds in range(1, MAX_ROUNDS + 1):
        current = tuned(loss, max(estimate, np.finfo(float).tiny))
        solution = minimise(model, first, options=options, loss=current)
        if not solution.converged:
            return _finish(model, solution, current, estimate, n_rounds)
        first = solution.parameters
        before, estimate = estimate, max(mad_scale(model.residuals(first), first.size), smallest_scale)
        if abs(estimate - before) <= SCALE_TOLERANCE * before:
            return _finish(model, solution, current, before, n_rounds)
    return _finish(
        model, solution, current, before, n_rounds, f"the scale did not settle in {MAX_ROUNDS} rounds"
    )


def _residuals(model: Model, parameters: Floats) -> Floats:
    """Residuals of the points; NaN where the parameters have no curve."""
    try:
        return model.residuals(parameters)
    except OutsideDomainError:
        return np.full(model.n_observations, np.nan)


def _finish(
    model: Model, solution: Solution, loss: ScaledLoss, scale: float | None, n_rounds: int, trouble: str = ""
) -> RobustSolution:
    residuals = _residuals(model, solution.reached)
    known = mad_scale(residuals, solution.reached.size) if scale is None else scale
    converged = solution.converged and not trouble
    return RobustSolution(
        solution,
        loss,
        residuals,
        loss.weigh(residuals).weights,
        known,
        n_rounds,
        converged,
        trouble or solution.because,
    )
