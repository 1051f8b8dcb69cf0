"""Algebraic starts for free fits: cheap, closed, biased, and used for nothing but to start from.

Taubin's fit minimises sum Q^2 / sum |grad Q|^2 over the coefficients, an eigenvalue problem of the sums of
the terms' products. On short noisy arcs its conic may be a hyperbola; then the ellipse of Halir and Flusser
is taken, which always exists and is far too small there.

References
----------
Taubin, G., "Estimation of planar curves, surfaces and nonplanar space curves defined by implicit
equations", IEEE Trans. Pattern Analysis and Machine Intelligence 13 (1991) 1115-1138. Halir, R. and
Flusser, J., "Numerically stable direct least squares fitting of ellipses", Proc. WSCG (1998) 125-132. Both
from memory, not seen.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from scipy.linalg import blas, lapack

from survey.curves.protocol import Floats
from survey.fitting.free.points import FreePoints

CIRCLE_ABOUT_POINTS = np.array([1.0, 0.0, 1.0, 0.0, 0.0, -1.0])
"""Conic of the circle about the points' centre through their mean distance: always there, never near."""


def _moments(points: FreePoints, n_terms: int) -> Floats:
    """Mean products of the terms (x^2, x y, y^2, x, y, 1) or (x^2 + y^2, x, y, 1) in the frame."""
    terms = np.ones((n_terms, len(points.xy_mm)))
    x, y = np.dot(points.to_frame, points.xy_mm.T - points.origin_mm[:, None], terms[-3:-1])
    np.multiply(x, x, terms[0])
    if n_terms == 4:
        terms[0] += y * y
    else:
        np.multiply(x, y, terms[1])
        np.multiply(y, y, terms[2])
    if points.root_weights is not None:
        terms *= points.root_weights
    sums = blas.dgemm(1.0, terms.T, terms.T, trans_a=1)
    return np.asarray(sums / sums.item(-1))


def _taubin(sums: Floats, slopes: Floats) -> Floats:
    """Coefficients of least mean square over mean square slope; the constant is eliminated."""
    means = sums[:-1, -1]
    _, vectors, info = lapack.dsygv(sums[:-1, :-1] - means[:, None] * means, slopes)
    if info != 0:
        return np.full(sums.shape[0], np.nan)
    coefficients = np.empty(sums.shape[0])
    first = coefficients[:-1] = vectors[:, 0]
    coefficients[-1] = -first.dot(means)
    return coefficients / sqrt(first.dot(first))


def circle_start(points: FreePoints) -> Floats:
    """Taubin's circle: coefficients of x^2 + y^2, x, y, 1."""
    sums = _moments(points, 4)
    z, x, y, _ = sums[-1].tolist()
    return _taubin(sums, np.array([[4.0 * z, 2.0 * x, 2.0 * y], [2.0 * x, 1.0, 0.0], [2.0 * y, 0.0, 1.0]]))


def ellipse_start(sums: Floats) -> Floats:
    """Taubin's conic from mean products of terms: coefficients of x^2, x y, y^2, x, y, 1; any conic."""
    xx, xy, yy, x, y, _ = sums[-1].tolist()
    slopes = np.array(
        [
            [4.0 * xx, 2.0 * xy, 0.0, 2.0 * x, 0.0],
            [2.0 * xy, xx + yy, 2.0 * xy, y, x],
            [0.0, 2.0 * xy, 4.0 * yy, 0.0, 2.0 * y],
            [2.0 * x, y, 0.0, 1.0, 0.0],
            [0.0, x, 2.0 * y, 0.0, 1.0],
        ]
    )
    return _taubin(sums, slopes)


def certain_ellipse_start(sums: Floats) -> Floats:
    """Halir and Flusser's ellipse from mean products of terms; NaN where the points do not determine it."""
    quadratic, mixed, linear = sums[:3, :3], sums[:3, 3:], sums[3:, 3:]
    to_linear = -np.linalg.solve(linear, mixed.T)
    reduced = quadratic + mixed @ to_linear
    values, vectors = np.linalg.eig(np.stack([reduced[2] / 2.0, -reduced[1], reduced[0] / 2.0]))
    vectors = vectors.real
    condition = 4.0 * vectors[0] * vectors[2] - vectors[1] ** 2
    fit = np.where((condition > 0.0) & (values.imag == 0.0), np.abs(values), np.inf)
    best = int(np.argmin(fit))
    if not np.isfinite(fit[best]):
        return np.full(6, np.nan)
    first = vectors[:, best]
    return np.append(first, to_linear @ first)


def ellipse_moments(points: FreePoints) -> Floats:
    """Mean products (6, 6) of the terms of a conic over the points."""
    return _moments(points, 6)
