"""How likely the surveyed points are under a hypothesis, all its free numbers averaged over.

About its best fit a curve answers linearly to its numbers, d(p + x) = d + J x. With scatter covariance Sigma
and Gaussian priors on the numbers (rows r + S x of unit spread) the average over all x is closed:

    log E = log density - 1/2 (d'd + r'r - b' A^-1 b + log det Sigma + log det A) + k/2 log 2 pi,
    A = J'Sigma^-1 J + S'S,   b = J'Sigma^-1 d + S'r,   d'd in the metric of Sigma,

(Laplace's approximation, exact for a linear curve). What the scatter is (irregularity, correlation length,
factor on the sigmas) is not known either: the average runs over a grid of scatters weighted by their prior.
Place and half-span have flat priors shared by all families, so their constants drop out of every comparison.

References
----------
MacKay, D. J. C., *Information Theory, Inference, and Learning Algorithms* (2003), chapters 27 and 28; Kass,
R. E. and Raftery, A. E., "Bayes factors", J. Am. Stat. Assoc. 90 (1995) 773-795. Both from memory, not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import log_ndtr, logsumexp

from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.fitting.solving.engine import undetermined
from survey.fitting.solving.noise import Nodes, Scatter, Whitener, whitener

IRREGULARITIES_MM = (0.15, 0.5, 0.85, 1.3, 1.9, 2.8, 4.0, 6.0)
CORRELATION_COURSES = (0.7, 1.5, 3.0, 6.0)
SIGMA_FACTORS = (1.0, 1.3, 1.7)
LOG_IRREGULARITY = (np.log(1.4), 0.7)
LOG_CORRELATION = (np.log(2.2), 0.8)
SIGMA_FACTOR_SHARES = (0.8, 0.15, 0.05)
LEFT_OPEN = 1e-12
"""A number whose variance would fall to less than this part if all others were known is not determined."""


@dataclass(frozen=True, slots=True, eq=False)
class ScatterGrid:
    """Scatters to average over, with their whiteners for one set of points.

    Attributes
    ----------
    scatters : tuple of Scatter, length g
    whiteners : tuple of Whitener, length g
    log_prior : (g,) float
    """

    scatters: tuple[Scatter, ...]
    whiteners: tuple[Whitener, ...]
    log_prior: Floats

    def take(self, which: np.ndarray) -> ScatterGrid:
        """Only some of the scatters."""
        return ScatterGrid(
            tuple(self.scatters[i] for i in which),
            tuple(self.whiteners[i] for i in which),
            self.log_prior[which],
        )

    def nearest(self, log_weight: Floats) -> int:
        """The likeliest scatter for log weights (g,)."""
        return int(np.argmax(log_weight))

    def grams(self, columns: Floats, rows: Floats) -> Floats:
        """Products (g, c, c) of columns (n, c) in every scatter's metric, with rows (m, c) added."""
        extra = rows.T @ rows
        return np.stack(
            [
                columns.T @ w.apply(columns) + extra / s.sigma_factor**2
                for s, w in zip(self.scatters, self.whiteners, strict=True)
            ]
        )

    def log_determinants(self, n_rows: int) -> Floats:
        """log det Sigma (g,) of points and further observations."""
        return np.array(
            [
                w.log_determinant + 2 * n_rows * np.log(s.sigma_factor)
                for s, w in zip(self.scatters, self.whiteners, strict=True)
            ]
        )


def scatter_grid(nodes: Nodes, sigma_mm: Floats, weight: Floats, pitch_mm: float) -> ScatterGrid:
    """All scatters worth considering for points with sigmas (n,) and robust weights (n,)."""
    scatters, prior = [], []
    for sd in IRREGULARITIES_MM:
        for courses in CORRELATION_COURSES:
            for factor, share in zip(SIGMA_FACTORS, SIGMA_FACTOR_SHARES, strict=True):
                scatters.append(Scatter(sd, courses * pitch_mm, factor))
                prior.append(
                    np.log(share)
                    - 0.5 * ((np.log(sd) - LOG_IRREGULARITY[0]) / LOG_IRREGULARITY[1]) ** 2
                    - 0.5 * ((np.log(courses) - LOG_CORRELATION[0]) / LOG_CORRELATION[1]) ** 2
                )
    log_prior = np.array(prior)
    whiteners = tuple(whitener(nodes, sigma_mm, weight, s) for s in scatters)
    return ScatterGrid(tuple(scatters), whiteners, log_prior - logsumexp(log_prior))


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
