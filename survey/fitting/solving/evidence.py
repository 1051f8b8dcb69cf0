"""How likely the surveyed points are under a hypothesis, all its free numbers averaged over.

About its best fit a curve answers linearly to its numbers, d(p + x) = d + J x. With scatter covariance Sigma
and Gaussian priors on the numbers (rows r + S x of unit spread) the average over all x is closed:

    log E = log density - 1/2 (d'd + r'r - b' A^-1 b + log det Sigma + log det A) + k/2 log 2 pi,
    A = J'Sigma^-1 J + S'S,   b = J'Sigma^-1 d + S'r,   d'd in the metric of Sigma,

(Laplace's approximation, exact for a linear curve). What the scatter is (irregularity, correlation length,
factor on the sigmas) is not known either: the average runs over a grid of scatters weighted by their prior
(:mod:`~survey.fitting.solving.scatter_grid`).
Place and half-span have flat priors shared by all families, so their constants drop out of every comparison.

References
----------
MacKay, D. J. C., *Information Theory, Inference, and Learning Algorithms* (2003), chapters 27 and 28; Kass,
R. E. and Raftery, A. E., "Bayes factors", J. Am. Stat. Assoc. 90 (1995) 773-795. Both from memory, not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.special import log_ndtr

from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.fitting.solving.engine import undetermined

LEFT_OPEN = 1e-12
"""A number whose variance would fall to less than this part if all others were known is not determined."""


class Prior(NamedTuple):
    """Gaussian prior rows (r,) with slopes (r, k), and the log of the prior's density factors."""

    rows: Floats
    slopes: Floats
    log_density: float


class Average(NamedTuple):
    """A hypothesis averaged over its numbers, at each of g scatters.

    ``log_evidence`` (g,) without the scatters' prior; ``shift`` (g, k) to the best numbers under the prior,
    and their ``covariance`` (g, k, k).
    """

    log_evidence: Floats
    shift: Floats
    covariance: Floats


def average(grams: Floats, log_determinants: Floats, prior: Prior, names: Sequence[str] = ()) -> Average:
    """Average a hypothesis with products (g, 1 + k, 1 + k) over its numbers.

    Raises
    ------
    FitError
        The points and the prior together leave one of the numbers open; names (k,) say which.
    """
    k = grams.shape[1] - 1
    matrix = grams[:, 1:, 1:] + prior.slopes.T @ prior.slopes
    vector = grams[:, 0, 1:] + prior.slopes.T @ prior.rows
    inverse = _inverse(matrix, names)
    shift = -np.einsum("gij,gj->gi", inverse, vector)
    left = grams[:, 0, 0] + prior.rows @ prior.rows + np.einsum("gi,gi->g", vector, shift)
    sign, log_det = np.linalg.slogdet(inverse)
    log_evidence = prior.log_density - 0.5 * (left + log_determinants - log_det) + 0.5 * k * np.log(2 * np.pi)
    return Average(np.where(sign > 0, log_evidence, -np.inf), shift, inverse)


def _inverse(matrix: Floats, names: Sequence[str]) -> Floats:
    """Inverse (g, k, k) of normal matrices, brought to unit diagonals first."""
    diagonal = np.diagonal(matrix, axis1=1, axis2=2)
    scale = np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
    scales = scale[:, :, None] * scale[:, None, :]
    scaled = matrix / scales
    try:
        inverse = np.linalg.inv(scaled)
    except np.linalg.LinAlgError:
        inverse = np.full_like(scaled, np.inf)
    # 1 / (1 - R^2) of each number against all others: 1 or more, else it is the rounding of a singular one.
    alone = np.diagonal(inverse, axis1=1, axis2=2)
    if not np.all((alone > 0.0) & (alone <= 1.0 / LEFT_OPEN)):
        with np.errstate(invalid="ignore"):
            worst = int(np.argmin(np.linalg.slogdet(scaled).logabsdet))
        raise FitError(undetermined(scaled[worst], names))
    return np.asarray(inverse / scales)


def log_share_below(limit: float, mean: Floats, spread: Floats, prior: tuple[float, float]) -> Floats:
    """Log of how much likelier a number is below its limit after the points than before (g,).

    Corrects a Gaussian average over a number that cannot exceed a limit.
    """
    before = log_ndtr((limit - prior[0]) / prior[1])
    return np.asarray(log_ndtr((limit - mean) / spread) - before)
