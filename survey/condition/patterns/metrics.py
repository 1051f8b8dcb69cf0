"""How courses scatter, under several scatters at once: alike nearby beside the readings, or independently."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np

from survey.condition.patterns.block_sums import ChainInverse
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints
from survey.fitting.solving.noise import Chain, Nodes, chain_of
from survey.fitting.solving.tridiagonal import factorised, pivots_from_behind, solved


class Metrics(Protocol):
    """Inverse covariances S^-1 of n courses under g scatters."""

    @property
    def log_determinant(self) -> Floats:
        """Of the covariances (g,), but for what is the same under all of them."""
        ...

    def apply(self, rows: Floats) -> Floats:
        """Inverse covariances times rows (c, n), as (c, g, n)."""
        ...

    def take(self, which: Ints) -> Self:
        """Some of them."""
        ...

    def chain_inverse(self, number: int) -> ChainInverse:
        """One of them."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class AlikeNearby:
    """Courses whose irregularity is alike to their neighbours', beside the readings' own variance.

    With W the readings' weights and K the covariance of the irregularity, whose inverse is tridiagonal,
    ``S = W^-1 + K`` and ``S^-1 = W T^-1 K^-1 = W - W T^-1 W`` with ``T = K^-1 + W``
    (:mod:`~survey.fitting.solving.noise`); the former where anything might cancel.

    Attributes
    ----------
    weight : (n,) float
    chain : Chain of g
        K^-1.
    pivot, below : (g, n) float
        L D L' factors of T, one row a scatter, as if all were one matrix.
    log_determinant : (g,) float
    """

    weight: Floats
    chain: Chain
    pivot: Floats
    below: Floats
    log_determinant: Floats

    def apply(self, rows: Floats) -> Floats:
        """S^-1 times rows (c, n), as (c, g, n)."""
        shape = (len(rows), *self.pivot.shape)
        pushed = self.chain.times(np.broadcast_to(rows[:, None], shape))
        smooth = solved(self.pivot, self.below, pushed.reshape(len(rows), -1).T)
        return np.asarray(smooth.T.reshape(shape) * self.weight)

    def take(self, which: Ints) -> AlikeNearby:
        """Some of the scatters."""
        return AlikeNearby(
            self.weight,
            Chain(*(part[which] for part in self.chain)),
            self.pivot[which],
            self.below[which],
            self.log_determinant[which],
        )

    def chain_inverse(self, number: int) -> ChainInverse:
        """S^-1 of one scatter, from the pivots from both ends."""
        main, off, _ = (part[number] for part in self.chain)
        pivot, beside = self.pivot[number], off[:-1]
        backward = pivots_from_behind(main + self.weight, off)
        rest = main.copy()
        rest[1:] -= beside**2 / pivot[:-1]
        rest[:-1] -= beside**2 / backward[1:]
        share = self.weight / (rest + self.weight)
        ratio = np.append(0.0, -beside / backward[1:])
        return ChainInverse(share * rest, -share, self.weight, ratio)


def alike_nearby(station_mm: Floats, sigma: Floats, irregularity_mm: Floats, alike_mm: Floats) -> AlikeNearby:
    """Courses at stations (n,), read to sigma (n,), under irregularities (g,) alike over lengths (g,).

    Neighbours are those next in number, also where misread edges put one before the other.
    """
    n = len(station_mm)
    each = np.arange(n)
    chain = chain_of(Nodes(each, each, each, np.abs(np.diff(station_mm))), irregularity_mm, alike_mm)
    weight = sigma**-2.0
    pivot, below = factorised(chain.main + weight, chain.off)
    log = np.log(pivot).sum(axis=1) + chain.log_determinant - np.log(weight).sum()
    return AlikeNearby(weight, chain, pivot, below, log)


@dataclass(frozen=True, slots=True, eq=False)
class Independent:
    """Courses that scatter independently, by variances (g,)."""

    variance: Floats
    n_courses: int

    @property
    def log_determinant(self) -> Floats:
        """Of the covariances."""
        return np.asarray(self.n_courses * np.log(self.variance))

    def apply(self, rows: Floats) -> Floats:
        """Rows (c, n) over the variances, as (c, g, n)."""
        return np.asarray(rows[:, None] / self.variance[:, None])

    def take(self, which: Ints) -> Independent:
        """Some of the variances."""
        return Independent(self.variance[which], self.n_courses)

    def chain_inverse(self, number: int) -> ChainInverse:
        """The inverse of one variance, on the diagonal."""
        none = np.zeros(self.n_courses)
        return ChainInverse(none + 1.0 / self.variance[number], none, none, none)
