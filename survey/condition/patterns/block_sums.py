"""Sums over square blocks on the diagonal of a matrix that is the inverse of a tridiagonal one, or nearly so.

The inverse of a tridiagonal matrix is full, but made of few numbers: what stands between i and j is what
stands on the diagonal at i, times one ratio for every step from i to j. The sum over a block from a to b is
then told by running sums, without the matrix being written out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints


@dataclass(frozen=True, slots=True, eq=False)
class ChainInverse:
    """A symmetric matrix M (n, n) made of four rows of numbers (n,).

    ``M_ii = diagonal_i``, and ``M_ij = left_i ratio_{i+1} ... ratio_j right_j`` for i < j. No ratio is
    negative or, but for rounding, above 1.
    """

    diagonal: Floats
    left: Floats
    right: Floats
    ratio: Floats


@dataclass(frozen=True, slots=True, eq=False)
class BlockSums:
    """Running sums (n + 1,) of a matrix, and the columns followed that are to be taken off it.

    Attributes
    ----------
    until, since : (n + 1,) float
        Sum over the block from 0 to a, less ``F_aa`` and with it.
    before, behind : (n + 1,) float
        ``G_a``, what all before a sends to a - 1, and ``H_a``, what all from a on takes from a - 1: the sum
        over rows before a and columns from a to b is ``G_a (H_a - R_ab H_b)``, R_ab the ratios from a to b.
    log_ratio : (n + 1,) float
        Running sum of their logs.
    followed : (n + 1, n + 1) float
        Sums F_ab from 0 to a and from 0 to b of a matrix of low rank.
    """

    until: Floats
    since: Floats
    before: Floats
    behind: Floats
    log_ratio: Floats
    followed: Floats

    def __call__(self, first: Ints, behind: Ints) -> Floats:
        """Sums (m,) over blocks from first to behind the last index, (m,) each."""
        # Taken from flat arrays, which is several times as fast as by two indices.
        kept = np.exp(self.log_ratio.take(behind) - self.log_ratio.take(first))
        across = self.before.take(first) * (self.behind.take(first) - kept * self.behind.take(behind))
        across -= self.followed.take(first * len(self.until) + behind)
        return np.asarray(self.until.take(behind) - self.since.take(first) - 2.0 * across, dtype=float)


def block_sums(matrix: ChainInverse, columns: Floats, inner: Floats, *, every: int = 1) -> BlockSums:
    """Sums over blocks of ``M - C B C'``: M as given, C columns (n, k), B inner (k, k).

    Blocks begin and end at multiples of ``every``, and are counted in these.
    """
    n = len(matrix.diagonal)
    ratio, none = matrix.ratio, np.zeros(n - 1)
    before, behind, total, log_ratio = np.zeros((4, n + 1))
    # G_{a+1} = left_a + ratio_a G_a and H_a = ratio_a (right_a + H_{a+1}), as bidiagonal systems.
    before[1:] = lapack.dgtsv(-ratio[1:], np.ones(n), none, matrix.left)[3]
    behind[:-1] = lapack.dgtsv(none, np.ones(n), -ratio[:-1], ratio * matrix.right)[3]
    total[1:] = (matrix.diagonal + 2.0 * before[:-1] * ratio * matrix.right).cumsum()
    log_ratio[1:] = np.log(np.maximum(ratio, np.finfo(float).tiny)).cumsum()
    running = np.zeros((n + 1, columns.shape[1]))
    columns.cumsum(axis=0, out=running[1:])
    running = running[::every]
    followed = (running @ inner) @ running.T
    corner, total = np.diag(followed), total[::every]
    return BlockSums(
        total - corner, total + corner, before[::every], behind[::every], log_ratio[::every], followed
    )
