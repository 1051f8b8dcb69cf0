"""How well an arc's radius can be known: equally spaced points, factors computed independently.

For unit normals (cos t, sin t) the covariance is sigma^2 inv(sum (cos, sin, 1)' (cos, sin, 1)).
"""

import numpy as np
import pytest

from survey.fitting.free.circle import fit_circle_orthogonal


@pytest.mark.parametrize(
    ("half_angle_deg", "factor", "sigma_radius_mm"),
    [(36.869897645844, 3.0913, 9.27), (90.0, 0.45383, 1.36), (20.0, 10.8205, 32.5)],
)
def test_radius_of_21_points_measured_to_3_mm(half_angle_deg, factor, sigma_radius_mm):
    angle = np.pi / 2 + np.deg2rad(np.linspace(-half_angle_deg, half_angle_deg, 21))
    points = 2000.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    found = fit_circle_orthogonal(points, sigma_mm=3.0).sigmas[2]
    assert found / 3.0 == pytest.approx(factor, rel=2e-5)
    assert found == pytest.approx(sigma_radius_mm, rel=2e-3)
