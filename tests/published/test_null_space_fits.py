"""Point sets whose best fit is known exactly, by the null-space method.

Cox, M. G. and Forbes, A. B., "Strategies for testing form assessment software", NPL report DITC 211/92
(idea from memory): residuals orthogonal to the Jacobian at chosen parameters make those parameters the
optimum. That it is the global one for the two ellipses was computed independently (50 digits, 30 starts,
positive Hessian).
"""

import numpy as np
import pytest
from fitting.free.arcs import null_space_circle, null_space_ellipse

from survey.fitting.free.circle import fit_circle_orthogonal
from survey.fitting.free.ellipse import fit_ellipse_orthogonal

EXACT_MM = 1e-6


@pytest.mark.parametrize(("n", "arc_deg"), [(24, 180.0), (40, 120.0)])
@pytest.mark.parametrize("turn_rad", [0.0, 0.5, -1.1])
@pytest.mark.parametrize("shift_mm", [(0.0, 0.0), (12345.0, -678.0)])
def test_ellipse(n, arc_deg, turn_rad, shift_mm):
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    points = null_space_ellipse(n, arc_deg) @ np.array([[c, s], [-s, c]]) + shift_mm
    fit = fit_ellipse_orthogonal(points)
    assert fit.converged
    np.testing.assert_allclose(fit.parameters[:4], [*shift_mm, 2000.0, 900.0], rtol=0.0, atol=EXACT_MM)
    assert fit.angle_rad == pytest.approx(turn_rad, abs=EXACT_MM / 2000.0)
    assert fit.ss_mm2 == pytest.approx(16.0 * n, rel=1e-11)


@pytest.mark.parametrize("arc_deg", [360.0, 180.0, 120.0, 60.0, 20.0])
@pytest.mark.parametrize("radius_mm", [500.0, 2000.0, 90000.0])
def test_circle(arc_deg, radius_mm):
    """From the full circle to the bend of a nearly flat arch; exact to 1e-6 mm, or 2e-11 of a huge radius."""
    fit = fit_circle_orthogonal(null_space_circle(24, arc_deg, radius_mm=radius_mm))
    assert fit.converged
    tolerance = max(EXACT_MM, 2e-11 * radius_mm)
    np.testing.assert_allclose(fit.parameters, [0.0, 0.0, radius_mm], rtol=0.0, atol=tolerance)
    assert fit.ss_mm2 == pytest.approx(16.0 * 24, rel=1e-10)
