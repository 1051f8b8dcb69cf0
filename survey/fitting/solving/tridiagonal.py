"""Symmetric positive tridiagonal matrices: factors, solutions and what is needed of the inverse.

A matrix is its diagonal ``main`` and what stands beside it, ``off``, of the same length: the last entry of
``off`` stands for nothing and is 0, so that many matrices can be laid end to end as one. With L D L' factors
from the front, pivots p, and from behind, pivots q, the inverse has the diagonal 1 / (p + q - main): each
entry is what is left of it when all before and all behind are eliminated.

References
----------
Meurant, G., "A review on the inverse of symmetric tridiagonal and block tridiagonal matrices", *SIAM J.
Matrix Anal. Appl.* 13 (1992) 707-728; from memory, not seen.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import lapack

from survey.curves.protocol import Floats


def factorised(main: Floats, off: Floats) -> tuple[Floats, Floats]:
    """Pivots and what stands below them, (..., m) each, of tridiagonal matrices (..., m) laid end to end."""
    if main.size == 1:
        return main, np.zeros_like(main)
    pivot, below, _ = lapack.dpttrf(main.ravel(), off.ravel()[:-1])
    return pivot.reshape(main.shape), np.append(below, 0.0).reshape(main.shape)


def solved(pivot: Floats, below: Floats, columns: Floats) -> Floats:
    """Solutions (k, c) for columns (k, c), the factors (..., m) being those of one matrix of size k."""
    # The solver wants one entry below the diagonal even where there is none.
    ends = pivot.ravel(), below.ravel()[: max(pivot.size - 1, 1)]
    return np.asarray(lapack.dpttrs(*ends, columns)[0])


def pivots_from_behind(main: Floats, off: Floats) -> Floats:
    """Pivots (m,) of one matrix eliminated from its last row."""
    return factorised(main[::-1], np.append(off[-2::-1], 0.0))[0][::-1]


def inverse_diagonal(main: Floats, off: Floats, pivot: Floats) -> Floats:
    """Diagonal (m,) of the inverse of one matrix with pivots (m,) from the front.

    Examples
    --------
    >>> main, off = np.array([2.0, 2.0]), np.array([-1.0, 0.0])
    >>> inverse_diagonal(main, off, factorised(main, off)[0]).round(12).tolist()
    [0.666666666667, 0.666666666667]
    """
    return np.asarray(1.0 / (pivot + pivots_from_behind(main, off) - main))
