"""Robust losses: how much a point far from the curve may pull at it.

Huber's loss grows like a square up to a threshold and like a straight line beyond it; Tukey's biweight is
flat beyond its threshold, so that a gross error has no pull at all. Both are written so that they equal the
plain square for small residuals: a sum of losses over clean points is the sum of squares. A point's weight
is w = psi(r) / r with psi half the loss's derivative.

References
----------
Huber, P. J., "Robust Estimation of a Location Parameter", Annals of Mathematical Statistics 35 (1964) 73-101.
Beaton, A. E. and Tukey, J. W., "The Fitting of Power Series, Meaning Polynomials, Illustrated on
Band-Spectroscopic Data", Technometrics 16 (1974) 147-185. Both from memory, not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.errors import FitError

HUBER_TUNING = 1.345
"""Threshold in standard deviations that keeps 95 % efficiency on normal errors (Huber; from memory)."""
TUKEY_TUNING = 4.685
"""The same for Tukey's biweight (from memory)."""
MAD_TO_SIGMA = 1.4826022185056018
"""1 / normal quantile of 3/4: from a median absolute deviation to a standard deviation."""


class Loss(StrEnum):
    """What a fit minimises over the points."""

    SQUARES = "squares"
    HUBER = "huber"
    TUKEY = "tukey"


class Weighed(NamedTuple):
    """Weights (n,) of residuals and the summed loss; the loss of a small residual is its square."""

    weights: Floats
    cost: float


@dataclass(frozen=True, slots=True)
class ScaledLoss:
    """A loss with its threshold in the residuals' own unit.

    Examples
    --------
    >>> import numpy as np
    >>> weights, cost = ScaledLoss(Loss.HUBER, 2.0).weigh(np.array([1.0, -4.0]))
    >>> weights.tolist(), cost   # 1**2 + (2*2*4 - 2**2)
    ([1.0, 0.5], 13.0)
    """

    loss: Loss
    threshold: float

    def __post_init__(self) -> None:
        if not self.threshold > 0.0:
            raise FitError(f"a loss threshold of {self.threshold} was given; it must be above 0")

    def weigh(self, residuals: Floats) -> Weighed:
        """Weights of residuals (n,) and their summed loss."""
        if self.loss is Loss.SQUARES:
            return Weighed(np.ones_like(residuals), float(residuals @ residuals))
        c = self.threshold
        if self.loss is Loss.HUBER:
            size = np.abs(residuals)
            weights = c / np.maximum(size, c)
            # w r^2 (2 - w) is r^2 inside the threshold and 2c|r| - c^2 outside.
            return Weighed(weights, float(np.sum(weights * residuals**2 * (2.0 - weights))))
        left = 1.0 - _share(residuals, c) ** 2
        return Weighed(left**2, float(c * c / 3.0 * np.sum(1.0 - left**3)))

    def slope_ratio(self, residuals: Floats) -> Floats:
        """Derivative of psi at residuals (n,): how a point's pull changes as it moves; 1 for squares."""
        if self.loss is Loss.SQUARES:
            return np.ones_like(residuals)
        c = self.threshold
        if self.loss is Loss.HUBER:
            return np.where(np.abs(residuals) <= c, 1.0, 0.0)
        u2 = _share(residuals, c) ** 2
        return np.asarray((1.0 - u2) * (1.0 - 5.0 * u2))


def _share(residuals: Floats, threshold: float) -> Floats:
    """Sizes as shares of the threshold, 1 beyond it; however small it is, nothing overflows."""
    return np.asarray(np.minimum(np.abs(residuals), threshold) / threshold)


def tuned(loss: Loss, scale: float) -> ScaledLoss:
    """The loss with its customary threshold for residuals of standard deviation ``scale``."""
    if loss is Loss.SQUARES:
        return ScaledLoss(loss, np.inf)
    return ScaledLoss(loss, scale * (HUBER_TUNING if loss is Loss.HUBER else TUKEY_TUNING))


def mad_scale(residuals: Floats, n_parameters: int = 0) -> float:
    """Standard deviation of residuals (n,) from their median size, whatever up to half of them are.

    A fit of k parameters pulls the residuals in; the median is taken over all but the k smallest, the usual
    correction for that.

    Examples
    --------
    >>> round(mad_scale(np.array([-1.0, 1.0, 1.0, -1.0, 900.0])), 4)
    1.4826
    """
    size = np.sort(np.abs(np.asarray(residuals, dtype=float)))
    kept = size[n_parameters:]
    if kept.size == 0:
        raise FitError(f"{size.size} residuals cannot give a scale beside {n_parameters} fitted parameters")
    return float(MAD_TO_SIGMA * np.median(kept))
