"""Points on arcs of known truth for free fits: noisy ones, and ones whose best fit is known exactly."""

import numpy as np


def arc_angles(n: int, arc_deg: float) -> np.ndarray:
    """Eccentric angles (n,) of an arc about the crown."""
    half = np.deg2rad(arc_deg / 2)
    return np.linspace(np.pi / 2 - half, np.pi / 2 + half, n)


def noisy_arc(
    n: int, arc_deg: float, seed: int, *, sigma_mm: float = 4.0, a_mm: float = 2000.0, b_mm: float = 900.0
) -> np.ndarray:
    """Points (n, 2) of an elliptical arc about the origin with noise in x and y."""
    angle = arc_angles(n, arc_deg)
    points = np.stack([a_mm * np.cos(angle), b_mm * np.sin(angle)], axis=1)
    return points + np.random.default_rng(seed).normal(0.0, sigma_mm, (n, 2))


def _null_space_distances(rows: np.ndarray, rms_mm: float) -> np.ndarray:
    """Distances (n,) without any component along the columns of the Jacobian: its parameters are optimal."""
    i = np.arange(rows.shape[0])
    distances = np.sin(3.0 * i**2 + 1.0)
    basis = np.linalg.qr(rows)[0]
    for _ in range(2):  # the second pass removes what rounding left
        distances = distances - basis @ (basis.T @ distances)
    return distances * rms_mm / np.sqrt(np.mean(distances**2))


def null_space_ellipse(n: int, arc_deg: float, *, rms_mm: float = 4.0) -> np.ndarray:
    """Points whose best ellipse is level, 2000 x 900 about the origin, with a sum of squares of n rms^2."""
    a, b, t = 2000.0, 900.0, arc_angles(n, arc_deg)
    k = np.hypot(np.cos(t) / a, np.sin(t) / b)
    normal = np.stack([np.cos(t) / (a * k), np.sin(t) / (b * k)])
    rows = np.stack(
        [*normal, normal[0] * np.cos(t), normal[1] * np.sin(t), np.cos(t) * np.sin(t) / k / a], axis=1
    )
    d = _null_space_distances(rows, rms_mm)
    return np.stack([a * np.cos(t), b * np.sin(t)], axis=1) + (d * normal).T


def null_space_circle(
    n: int, arc_deg: float, *, radius_mm: float = 2000.0, rms_mm: float = 4.0
) -> np.ndarray:
    """Points whose best circle is centred at the origin, with a sum of squares of n rms^2."""
    t = arc_angles(n, arc_deg)
    normal = np.stack([np.cos(t), np.sin(t)])
    d = _null_space_distances(np.stack([*normal, np.ones(n)], axis=1), rms_mm)
    return (normal * (radius_mm + d)).T
