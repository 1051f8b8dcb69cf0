"""Independent answers to free fits: other formulations in other libraries, slow and simple."""

import numpy as np
from odrpack import odr_fit
from scipy.optimize import least_squares


def least_squares_with_feet(points: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Centre, semi-axes, angle and SS (6,) from 2n residuals with the n foot points as unknowns."""
    x, y = points.T

    def residuals(unknowns):
        cx, cy, a, b, angle = unknowns[:5]
        u, v = a * np.cos(unknowns[5:]), b * np.sin(unknowns[5:])
        c, s = np.cos(angle), np.sin(angle)
        return np.concatenate([cx + c * u - s * v - x, cy + s * u + c * v - y])

    c, s = np.cos(start[4]), np.sin(start[4])
    u, v = np.array([[c, s], [-s, c]]) @ (points - start[:2]).T
    first = np.concatenate([start, np.arctan2(v / start[3], u / start[2])])
    found = least_squares(residuals, first, x_scale="jac", ftol=1e-15, xtol=1e-15, gtol=1e-12, max_nfev=400)
    return np.append(found.x[:5], 2.0 * found.cost)


def implicit_odr(points: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Centre, semi-axes, angle (5,) by orthogonal distance regression of the implicit equation."""

    def implicit(xy, beta):
        c, s = np.cos(beta[4]), np.sin(beta[4])
        u = c * (xy[0] - beta[0]) + s * (xy[1] - beta[1])
        v = c * (xy[1] - beta[1]) - s * (xy[0] - beta[0])
        return start[3] * ((u / beta[2]) ** 2 + (v / beta[3]) ** 2 - 1.0)

    n = points.shape[0]
    found = odr_fit(
        implicit,
        points.T.copy(),
        np.zeros(n),
        start,
        task="implicit-ODR",
        maxit=1000,
        partol=1e-14,
        sstol=1e-14,
    )
    return np.asarray(found.beta)


def robust_ellipse_cost(points: np.ndarray, start: np.ndarray, scale: float) -> np.ndarray:
    """Centre, semi-axes, angle (5,) of least Huber loss of the distances found by search."""

    def residuals(p):
        return nearest_distances(points, *p)

    return least_squares(
        residuals, start, x_scale="jac", loss="huber", f_scale=scale, xtol=1e-14, ftol=1e-14
    ).x


def nearest_distances(
    points: np.ndarray, cx: float, cy: float, a: float, b: float, angle: float
) -> np.ndarray:
    """Signed distances (n,) to an ellipse by search over the eccentric angle, then Newton's iteration."""
    c, s = np.cos(angle), np.sin(angle)
    u, v = np.array([[c, s], [-s, c]]) @ (points - [cx, cy]).T
    around = np.linspace(-np.pi, np.pi, 721)
    away = np.hypot(u[:, None] - a * np.cos(around), v[:, None] - b * np.sin(around))
    t = around[np.argmin(away, axis=1)]
    for _ in range(50):
        ct, st = np.cos(t), np.sin(t)
        slope = (u - a * ct) * a * st - (v - b * st) * b * ct
        bend = a * u * ct + b * v * st - (a * a - b * b) * (ct * ct - st * st)
        t = t - np.where(np.abs(bend) > 0.0, slope / bend, 0.0)
    side = np.sign((u / a) ** 2 + (v / b) ** 2 - 1.0)
    return side * np.hypot(u - a * np.cos(t), v - b * np.sin(t))
