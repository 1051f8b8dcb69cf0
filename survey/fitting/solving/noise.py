"""How surveyed points scatter about a perfect curve: measuring errors and the arch's own irregularity.

A point's distance from the curve is the sum of a measuring error, independent from point to point, and the
irregularity of the course it was taken on, which is alike for all points of a course and fades along the arch
(an Ornstein-Uhlenbeck process: correlation ``exp(-ds / length)`` between stations ds apart). Such a process
is a Markov chain, so the inverse of its covariance over the courses is tridiagonal and everything below is
linear in the number of points:

    Sigma = W^-1 + B K B',   Sigma^-1 x = W (x - B m) + W B T^-1 K^-1 m,   T = K^-1 + N  (tridiagonal),
    log det Sigma = log det T - log det K^-1 - log det W,

W the diagonal of the points' weights over their variance, B which point lies on which course, N = B'WB the
courses' weights, m = N^-1 B'W x the courses' means, K the covariance of the courses' irregularity (the matrix
inversion and determinant lemmas, written so that nothing large cancels however small the points' sigmas are).

References
----------
Rue, H. and Held, L., *Gaussian Markov Random Fields* (2005), section 1.1 (the tridiagonal precision of a
first-order process); Rasmussen, C. E. and Williams, C. K. I., *Gaussian Processes for Machine Learning*
(2006), appendix B.2.1 and equations A.9, A.10. Both from memory, not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.fitting.solving.tridiagonal import factorised, inverse_diagonal, solved
from survey.record.model import UNKNOWN


class Scatter(NamedTuple):
    """Standard deviation of the irregularity, its correlation length, and a factor on the sigmas."""

    irregularity_mm: float
    correlation_mm: float
    sigma_factor: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Where the irregularity lives: one node a course, in order along the arch.

    Attributes
    ----------
    order : (n,) int
        Points sorted by node.
    first : (m,) int
        Where each node's points begin in that order.
    node : (n,) int
        Node of every point.
    step_mm : (m - 1,) float
        Distance along the curve between neighbouring nodes.
    """

    order: NDArray[np.int64]
    first: NDArray[np.int64]
    node: NDArray[np.int64]
    step_mm: Floats

    def __len__(self) -> int:
        """Number of nodes."""
        return len(self.first)

    def gather(self, columns: Floats) -> Floats:
        """Sums (m, c) over each node of columns (n, c)."""
        return np.asarray(np.add.reduceat(columns[self.order], self.first, axis=0))


def nodes_of(station_mm: Floats, course: NDArray[np.int64]) -> Nodes:
    """Nodes of points at stations (n,) with course numbers (n,): points of one course share one.

    A point without a course number is a node of its own.
    """
    n = len(station_mm)
    known = course != UNKNOWN
    key = np.where(known, course, course.max(initial=0) + 1 + np.arange(n))
    _, group = np.unique(key, return_inverse=True)
    count = np.bincount(group)
    middle = np.bincount(group, weights=station_mm) / count
    by_place = np.argsort(middle, kind="stable")
    rank = np.empty(len(by_place), dtype=np.int64)
    rank[by_place] = np.arange(len(by_place))
    node = rank[group]
    order = np.argsort(node, kind="stable")
    first = np.concatenate([[0], np.cumsum(count[by_place])[:-1]])
    return Nodes(order, first, node, np.diff(middle[by_place]))


@dataclass(frozen=True, slots=True, eq=False)
class Whitener:
    """The inverse of the covariance of all points under one scatter, factorised.

    Attributes
    ----------
    nodes : Nodes
    weight : (n,) float
        Robust weight over variance of each point's measuring error.
    total : (m,) float
        Weights of the nodes.
    chain : Chain
        K^-1.
    pivot, below : (m,) float
        L D L' factors of T; the last below is nothing.
    diagonal : (m,) float
        Diagonal of T^-1.
    log_determinant : float
        log det Sigma, with measuring variances by their full weights.
    """

    nodes: Nodes
    weight: Floats
    total: Floats
    chain: Chain
    pivot: Floats
    below: Floats
    diagonal: Floats
    log_determinant: float

    def apply(self, columns: Floats) -> Floats:
        """Sigma^-1 times columns (n, c)."""
        mean = self.nodes.gather(columns * self.weight[:, None]) / self.total[:, None]
        inner = solved(self.pivot, self.below, self.chain.times(mean.T).T)
        # Where points are all but exact, inner is next to nothing beside the means: they are not to be mixed.
        left = columns - mean[self.nodes.node]
        return np.asarray(self.weight[:, None] * (left + inner[self.nodes.node]))

    def irregularity(self, residuals: Floats) -> Floats:
        """Expected irregularity (n,) at every point, given residuals (n,) from the curve."""
        gathered = self.nodes.gather((self.weight * residuals)[:, None])
        return np.asarray(solved(self.pivot, self.below, gathered)[self.nodes.node, 0])

    def left_out(self, residuals: Floats) -> LeftOut:
        """How each residual (n,) compares with what all the others tell of it."""
        precision = self.weight - self.weight**2 * self.diagonal[self.nodes.node]
        pull = self.apply(residuals[:, None])[:, 0]
        safe = np.maximum(precision, np.finfo(float).tiny)
        return LeftOut(pull / safe, 1.0 / safe)


class LeftOut(NamedTuple):
    """Residuals (n,) less their prediction from all other points, and the variances (n,) of these."""

    difference: Floats
    variance: Floats


class Chain(NamedTuple):
    """The inverse K^-1 of the covariance of the courses' irregularity, of one scatter or of many.

    ``main`` (..., m) is its diagonal, ``off`` (..., m) stands beside it: the last entry stands for nothing
    and is 0, so that chains can be laid end to end. ``log_determinant`` (...) is that of K.
    """

    main: Floats
    off: Floats
    log_determinant: Floats

    def times(self, values: Floats) -> Floats:
        """K^-1 times values (..., m)."""
        product = self.main * values
        product[..., :-1] += self.off[..., :-1] * values[..., 1:]
        product[..., 1:] += self.off[..., :-1] * values[..., :-1]
        return np.asarray(product)


def chain_of(nodes: Nodes, irregularity_mm: Floats, correlation_mm: Floats) -> Chain:
    """The chain of nodes under irregularities (...) alike over correlation lengths (...)."""
    keep = np.exp(-nodes.step_mm / correlation_mm[..., None])
    # A step of nothing (two nodes at one place) would make the chain singular; a micron keeps it regular.
    keep = np.minimum(keep, 1.0 - 1e-9)
    gain = keep / (1.0 - keep**2)
    power = irregularity_mm[..., None] ** 2
    main = np.ones((*keep.shape[:-1], len(nodes)))
    main[..., :-1] += keep * gain
    main[..., 1:] += keep * gain
    off = np.zeros_like(main)
    off[..., :-1] = -gain / power
    log_determinant = len(nodes) * np.log(power[..., 0]) + np.sum(np.log1p(-(keep**2)), axis=-1)
    return Chain(main / power, off, log_determinant)


def whitener(nodes: Nodes, sigma_mm: Floats, weight: Floats, scatter: Scatter) -> Whitener:
    """Factorise the covariance of points with sigmas (n,) and robust weights (n,) under a scatter."""
    chain = chain_of(nodes, np.asarray(scatter.irregularity_mm), np.asarray(scatter.correlation_mm))
    point = weight / (scatter.sigma_factor * sigma_mm) ** 2
    total = np.add.reduceat(point[nodes.order], nodes.first)
    main = chain.main + total
    pivot, below = factorised(main, chain.off)
    log_points = -2.0 * float(np.sum(np.log(scatter.sigma_factor * sigma_mm)))
    log_determinant = float(np.sum(np.log(pivot)) + chain.log_determinant) - log_points
    diagonal = inverse_diagonal(main, chain.off, pivot)
    return Whitener(nodes, point, total, chain, pivot, below, diagonal, log_determinant)
