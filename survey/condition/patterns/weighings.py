"""A row of courses weighed under several scatters, what a pattern must not be made of projected out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from survey.condition.patterns.block_sums import BlockSums, block_sums
from survey.condition.patterns.metrics import Metrics
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints


@dataclass(frozen=True, slots=True, eq=False)
class Weighing:
    """One choice of irregularity and correlation: the courses' precision less what the curve can follow.

    Attributes
    ----------
    project : callable
        ``P @ columns`` for columns (n, k), with ``P = S^-1 - S^-1 A (A' S^-1 A)^-1 A' S^-1``: the inverse
        covariance with the nuisance columns A projected out.
    pull : (n,) float
        ``P @ values``.
    log_likelihood : float
        Of the values without any pattern, the nuisance integrated out.
    own_precision : (n,) float
        Diagonal of P.
    run_precision : BlockSums
        Sums of P over square blocks on its diagonal, from first to behind the last index, (m,) each.
    """

    project: Callable[[Floats], Floats]
    pull: Floats
    log_likelihood: float
    own_precision: Floats
    run_precision: BlockSums


@dataclass(frozen=True, slots=True, eq=False)
class Weighings:
    """Values of n courses under g scatters, the likeliest first.

    Attributes
    ----------
    metrics : Metrics
    weighed : (g, n, k) float
        ``S^-1 A``.
    inverse : (g, k, k) float
        ``(A' S^-1 A)^-1``.
    pull : (g, n) float
        P times the values.
    log_likelihood : (g,) float
        Of the values without any pattern, the nuisance integrated out.
    """

    metrics: Metrics
    weighed: Floats
    inverse: Floats
    pull: Floats
    log_likelihood: Floats

    def __len__(self) -> int:
        """Number of scatters."""
        return len(self.log_likelihood)

    def __getitem__(self, number: int) -> Weighing:
        """One of them."""
        if not -len(self) <= number < len(self):
            raise IndexError(number)
        matrix = self.metrics.chain_inverse(number)
        weighed, inverse = self.weighed[number], self.inverse[number]
        return Weighing(
            partial(_projected, self.take(np.array([number]))),
            self.pull[number],
            float(self.log_likelihood[number]),
            matrix.diagonal - ((weighed @ inverse) * weighed).sum(axis=1),
            block_sums(matrix, weighed, inverse),
        )

    def __iter__(self) -> Iterator[Weighing]:
        """One after the other, the likeliest first."""
        return (self[number] for number in range(len(self)))

    def take(self, which: Ints) -> Weighings:
        """Some of them."""
        return Weighings(
            self.metrics.take(which),
            self.weighed[which],
            self.inverse[which],
            self.pull[which],
            self.log_likelihood[which],
        )

    def grams(self, columns: Floats) -> Floats:
        """Products (g, m, k, k) of columns (n, m, k) among themselves under every P."""
        n, m, k = columns.shape
        flat = columns.reshape(n, m * k)
        applied = self.metrics.apply(flat.T).reshape(m, k, len(self), n)
        sums = applied.transpose(2, 0, 1, 3) @ columns.transpose(1, 0, 2)
        followed = (self.weighed.transpose(0, 2, 1) @ flat).reshape(len(self), -1, m, k).transpose(0, 2, 1, 3)
        return np.asarray(sums - followed.transpose(0, 1, 3, 2) @ (self.inverse[:, None] @ followed))


def _projected(weighings: Weighings, columns: Floats) -> Floats:
    """P of the first scatter times columns (n, c)."""
    weighed, inverse = weighings.weighed[0], weighings.inverse[0]
    applied = weighings.metrics.apply(columns.T)[:, 0].T
    return np.asarray(applied - weighed @ (inverse @ (weighed.T @ columns)), dtype=float)


def weighings_of(metrics: Metrics, values: Floats, basis: Floats) -> Weighings:
    """Values (n,) weighed by every metric, the likeliest first, orthonormal columns (n, k) projected out."""
    applied = metrics.apply(np.vstack([values, basis.T]))
    weighed = applied[1:].transpose(1, 2, 0)
    inner = basis.T @ weighed
    inverse: Floats = np.asarray(np.linalg.inv(inner), dtype=float)
    followed = inverse @ (applied[0] @ basis)[:, :, None]
    pull = applied[0] - (weighed @ followed)[:, :, 0]
    log = -0.5 * (metrics.log_determinant + np.linalg.slogdet(inner)[1] + pull @ values)
    found = Weighings(metrics, np.ascontiguousarray(weighed), inverse, pull, log)
    return found.take(np.argsort(-log, kind="stable"))
