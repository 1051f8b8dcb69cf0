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
    total : (n + 1,) float
        Sum over the block from 0 to a.
    before, behind : (n + 1,) float
        ``G_a``, what all before a sends to a - 1, and ``H_a``, what all from a on takes from a - 1: the sum
        over rows before a and columns from a to b is ``G_a (H_a - R_ab H_b)``, R_ab the ratios from a to b.
    log_ratio : (n + 1,) float
        Running sum of their logs.
    followed : (n + 1, n + 1) float
        Sums from 0 to a and from 0 to b of a matrix of low rank.
    """

    total: Floats
    before: Floats
    behind: Floats
    log_ratio: Floats
    followed: Floats

    def __call__(self, first: Ints, behind: Ints) -> Floats:
        """Sums (m,) over blocks from first to behind the last index, (m,) each."""
        kept = np.exp(self.log_ratio[behind] - self.log_ratio[first])
        across = self.before[first] * (self.behind[first] - kept * self.behind[behind])
        own = self.total[behind] - self.total[first] - 2.0 * across
        return np.asarray(own - between(self.followed, first, behind), dtype=float)


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
    return BlockSums(total[::every], before[::every], behind[::every], log_ratio[::every], followed)


def between(running: Floats, first: Ints, behind: Ints) -> Floats:
    """``c_bb - c_ab - c_ba + c_aa`` (m,) of a symmetric table of sums c up to a and b."""
    corner = np.diag(running)
    across = running[first, behind]
    return np.asarray(corner[behind] + corner[first] - 2.0 * across, dtype=float)
