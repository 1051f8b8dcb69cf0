"""All scatters worth considering, and sums over the points in every one of their metrics at once.

Scatters differ only in the chain of the courses' irregularity and in one factor f on the points' sigmas. With
the points' weights W and the courses' N at f = 1, columns X split into their courses' means m and what is
left of them (:mod:`~survey.fitting.solving.noise`),

    X' Sigma^-1 Y = f^-2 [ (X - B m)' W (Y - B m) + m' N T^-1 K^-1 m ],   T = K^-1 + f^-2 N,

so that the points are passed over once, and one tridiagonal solution serves many scatters laid end to end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.solving.noise import Chain, Nodes, Scatter, Whitener, chain_of, whitener
from survey.fitting.solving.tridiagonal import factorised, solved

IRREGULARITIES_MM = (0.15, 0.5, 0.85, 1.3, 1.9, 2.8, 4.0, 6.0)
CORRELATION_COURSES = (0.7, 1.5, 3.0, 6.0)
SIGMA_FACTORS = (1.0, 1.3, 1.7)
LOG_IRREGULARITY = (np.log(1.4), 0.7)
LOG_CORRELATION = (np.log(2.2), 0.8)
SIGMA_FACTOR_SHARES = (0.8, 0.15, 0.05)
AT_ONCE = 1 << 18
"""Numbers solved for together: enough to forget the cost of a call, few enough for the cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Split:
    """Columns (n, c) as their courses' means, the rows of ``mean`` (c, m), and the rest ``left`` (n, c)."""

    mean: Floats
    left: Floats


@dataclass(frozen=True, slots=True, eq=False)
class ScatterGrid:
    """Scatters to average over, factorised for one set of points.

    Attributes
    ----------
    nodes : Nodes
    sigma_mm, trust : (n,) float
        Sigmas and robust weights of the points.
    weight, total : (n,), (m,) float
        Weights of the points, and of the nodes, at the points' own sigmas.
    scatters : tuple of Scatter, length g
    log_prior : (g,) float
    factor : (g,) float
        What the sums at the points' own sigmas are multiplied by: sigma_factor^-2.
    chain : Chain of g
    pivot, below : (g, m) float
        Factors of T, one row a scatter, as if all were one matrix.
    log_determinant : (g,) float
        log det Sigma.
    """

    nodes: Nodes
    sigma_mm: Floats
    trust: Floats
    weight: Floats
    total: Floats
    scatters: tuple[Scatter, ...]
    log_prior: Floats
    factor: Floats
    chain: Chain
    pivot: Floats
    below: Floats
    log_determinant: Floats

    def __len__(self) -> int:
        """Number of scatters."""
        return len(self.scatters)

    def take(self, which: np.ndarray) -> ScatterGrid:
        """Only some of the scatters."""
        return ScatterGrid(
            self.nodes,
            self.sigma_mm,
            self.trust,
            self.weight,
            self.total,
            tuple(self.scatters[i] for i in which),
            self.log_prior[which],
            self.factor[which],
            Chain(*(part[which] for part in self.chain)),
            self.pivot[which],
            self.below[which],
            self.log_determinant[which],
        )

    def whitener(self, number: int) -> Whitener:
        """The metric of one of the scatters."""
        return whitener(self.nodes, self.sigma_mm, self.trust, self.scatters[number])

    def split(self, columns: Floats) -> Split:
        """Columns (n, c) as their courses' means and the rest."""
        mean = self.nodes.gather(columns * self.weight[:, None]) / self.total[:, None]
        return Split(np.ascontiguousarray(mean.T), columns - mean[self.nodes.node])

    def smoothed(self, mean: Floats, which: slice) -> Floats:
        """T^-1 K^-1 m (c, b, m) of courses' means (c, m), for b of the scatters."""
        chain = Chain(*(part[which] for part in self.chain))
        pushed = chain.times(np.broadcast_to(mean[:, None], (len(mean), *chain.main.shape)))
        smooth = solved(self.pivot[which], self.below[which], pushed.reshape(len(mean), -1).T)
        return smooth.T.reshape(pushed.shape)

    def grams(self, columns: Floats, rows: Floats) -> Floats:
        """Products (g, c, c) of columns (n, c) in every scatter's metric, with rows (m, c) added."""
        split = self.split(columns)
        c, m = split.mean.shape
        within = split.left.T @ (split.left * self.weight[:, None]) + rows.T @ rows
        weighted = (split.mean * self.total).T
        sums = np.empty((len(self), c, c))
        step = max(AT_ONCE // (c * m), 1)
        for first in range(0, len(self), step):
            block = slice(first, first + step)
            smooth = self.smoothed(split.mean, block)
            sums[block] = (smooth.reshape(-1, m) @ weighted).reshape(c, -1, c).transpose(1, 0, 2)
        # Symmetric but for rounding, which the one-sided product leaves in.
        between = (sums + sums.transpose(0, 2, 1)) / 2
        return np.asarray(self.factor[:, None, None] * (within + between))

    def log_determinants(self, n_rows: int) -> Floats:
        """log det Sigma (g,) of points and further observations."""
        return np.asarray(self.log_determinant - n_rows * np.log(self.factor))


def scatter_grid(nodes: Nodes, sigma_mm: Floats, weight: Floats, pitch_mm: float) -> ScatterGrid:
    """All scatters worth considering for points with sigmas (n,) and robust weights (n,)."""
    places = np.meshgrid(IRREGULARITIES_MM, CORRELATION_COURSES, SIGMA_FACTORS, indexing="ij")
    sd, courses, sigma_factor = (place.ravel() for place in places)
    share = np.tile(SIGMA_FACTOR_SHARES, len(sd) // len(SIGMA_FACTOR_SHARES))
    log_prior = (
        np.log(share)
        - 0.5 * ((np.log(sd) - LOG_IRREGULARITY[0]) / LOG_IRREGULARITY[1]) ** 2
        - 0.5 * ((np.log(courses) - LOG_CORRELATION[0]) / LOG_CORRELATION[1]) ** 2
    )
    scatters = zip(sd.tolist(), (courses * pitch_mm).tolist(), sigma_factor.tolist(), strict=True)
    chain = chain_of(nodes, sd, courses * pitch_mm)
    factor = sigma_factor**-2.0
    of_points = weight / sigma_mm**2
    total = nodes.gather(of_points[:, None])[:, 0]
    main = chain.main + factor[:, None] * total
    pivot, below = factorised(main, chain.off)
    log_points = np.sum(np.log(factor[:, None] / sigma_mm**2), axis=1)
    return ScatterGrid(
        nodes,
        sigma_mm,
        weight,
        of_points,
        total,
        tuple(Scatter(*scatter) for scatter in scatters),
        log_prior - np.logaddexp.reduce(log_prior),
        factor,
        chain,
        pivot,
        below,
        np.sum(np.log(pivot), axis=1) + chain.log_determinant - log_points,
    )
