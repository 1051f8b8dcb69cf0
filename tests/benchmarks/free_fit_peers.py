"""Free fits as other libraries do them: points (n, 2) to centre, axes, angle (5,), or centre, radius (3,)."""

from __future__ import annotations

import numpy as np
from odrpack import odr_fit
from scipy.optimize import least_squares
from skimage.measure import CircleModel, EllipseModel


def floor(points: np.ndarray, _ready: dict[int, tuple[np.ndarray, ...]] = {}) -> np.ndarray:  # noqa: B006
    """One np.hypot over the points and one 5 x 5 product; columns and Jacobian are ready beforehand."""
    n = points.shape[0]
    if n not in _ready:
        _ready[n] = (*np.ascontiguousarray(points.T), np.random.default_rng(0).normal(size=(n, 5)))
    x, y, jacobian = _ready[n]
    np.hypot(x, y)
    return jacobian.T @ jacobian


def _box(points: np.ndarray) -> np.ndarray:
    """Centre, half-width and height of the bounding box: half an ellipse's five parameters."""
    low, high = points.min(axis=0), points.max(axis=0)
    return np.array([0.5 * (low[0] + high[0]), low[1], 0.5 * (high[0] - low[0]), high[1] - low[1], 0.0])


def _feet(points: np.ndarray, p: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """cos and sin of the feet's eccentric angles and signed distances, by Newton on the secular equation."""
    c, s, a, b = np.cos(p[4]), np.sin(p[4]), p[2], p[3]
    x, y = points[:, 0] - p[0], points[:, 1] - p[1]
    u, v = c * x + s * y, c * y - s * x
    au, bv, t = a * u, b * v, np.zeros(points.shape[0])
    lowest = np.maximum(np.abs(au) - a * a, np.abs(bv) - b * b)
    for _ in range(5):
        alpha, beta = 1.0 / (t + a * a), 1.0 / (t + b * b)
        pp, qq = (au * alpha) ** 2, (bv * beta) ** 2
        step = (pp + qq - 1.0) / (2.0 * (pp * alpha + qq * beta))
        t = np.maximum(t + step, lowest)
        if np.abs(step).max() < 1e-10 * b * b:
            break
    cos, sin = au / (t + a * a), bv / (t + b * b)
    return cos, sin, t * np.hypot(cos / a, sin / b)


def _ellipse_jacobian(points: np.ndarray, p: np.ndarray) -> np.ndarray:
    cos, sin, _ = _feet(points, p)
    a, b, c, s = p[2], p[3], np.cos(p[4]), np.sin(p[4])
    h = np.hypot(cos / a, sin / b)
    nu, nv = cos / (a * h), sin / (b * h)
    return np.stack(
        [s * nv - c * nu, -s * nu - c * nv, -nu * cos, -nv * sin, -(a * a - b * b) * cos * sin / (a * b * h)],
        axis=1,
    )


def _ellipse_least_squares(points: np.ndarray, method: str) -> np.ndarray:
    return least_squares(
        lambda p: _feet(points, p)[2], _box(points), method=method, x_scale=[1.0, 1.0, 1.0, 1.0, 1e-3]
    ).x


def _ellipse_least_squares_helped(points: np.ndarray) -> np.ndarray:
    return least_squares(
        lambda p: _feet(points, p)[2],
        ellipse_model(points),
        lambda p: _ellipse_jacobian(points, p),
        method="lm",
        x_scale=[1.0, 1.0, 1.0, 1.0, 1e-3],
    ).x


def ellipse_model(points: np.ndarray) -> np.ndarray:
    """scikit-image's direct ellipse."""
    model = EllipseModel.from_estimate(points)
    return np.array([*model.center, *model.axis_lengths, model.theta])


def _ellipse_odr(points: np.ndarray) -> np.ndarray:
    start = _box(points)

    def implicit(xy: np.ndarray, beta: np.ndarray) -> np.ndarray:
        c, s = np.cos(beta[4]), np.sin(beta[4])
        x, y = xy[0] - beta[0], xy[1] - beta[1]
        return start[3] * (((c * x + s * y) / beta[2]) ** 2 + ((c * y - s * x) / beta[3]) ** 2 - 1.0)

    return odr_fit(
        implicit, points.T.copy(), np.zeros(points.shape[0]), start, task="implicit-ODR", maxit=500
    ).beta


def _circle_least_squares(points: np.ndarray) -> np.ndarray:
    def residuals(p: np.ndarray) -> np.ndarray:
        return np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2]

    return least_squares(residuals, _box(points)[:3], method="lm").x


def _circle_least_squares_helped(points: np.ndarray) -> np.ndarray:
    def residuals(p: np.ndarray) -> np.ndarray:
        return np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2]

    def jacobian(p: np.ndarray) -> np.ndarray:
        x, y = points[:, 0] - p[0], points[:, 1] - p[1]
        r = np.hypot(x, y)
        return np.stack([-x / r, -y / r, -np.ones_like(r)], axis=1)

    return least_squares(residuals, circle_model(points), jacobian, method="lm").x


def circle_model(points: np.ndarray) -> np.ndarray:
    """scikit-image's algebraic circle."""
    model = CircleModel.from_estimate(points)
    return np.array([*model.center, model.radius])


def _circle_odr(points: np.ndarray) -> np.ndarray:
    def implicit(xy: np.ndarray, beta: np.ndarray) -> np.ndarray:
        return np.hypot(xy[0] - beta[0], xy[1] - beta[1]) - beta[2]

    return odr_fit(
        implicit, points.T.copy(), np.zeros(points.shape[0]), _box(points)[:3], task="implicit-ODR", maxit=500
    ).beta


HELPED = "least_squares, lm, our Jacobian"
ELLIPSE_PEERS = {
    "EllipseModel": ellipse_model,
    "least_squares, trf": lambda points: _ellipse_least_squares(points, "trf"),
    "least_squares, lm": lambda points: _ellipse_least_squares(points, "lm"),
    HELPED: _ellipse_least_squares_helped,
    "odrpack": _ellipse_odr,
}
CIRCLE_PEERS = {
    "CircleModel": circle_model,
    "least_squares, lm": _circle_least_squares,
    HELPED: _circle_least_squares_helped,
    "odrpack": _circle_odr,
}
