"""Gander, W., Golub, G. H. and Strebel, R., "Least-squares fitting of circles and ellipses".

BIT 34 (1994) 558-578. Points: text seen in a public script that credits the paper (the second ellipse's
from memory). The printed answers are from memory; all digits beyond the printed ones were computed
independently, by Newton's iteration with 50 digits on the full gradient, centre and foot points alike, from
20 to 60 random starts.
"""

import numpy as np
import pytest
from published.free_fit_sets import CIRCLE_6, ELLIPSE_8, ELLIPSE_SECOND

from survey.fitting.free.circle import fit_circle_orthogonal
from survey.fitting.free.ellipse import fit_ellipse_orthogonal

RELATIVE = 1e-9
"""The optimum is known to more digits; nine are what a double-precision search owes on eight points."""


def test_circle_through_six_points():
    fit = fit_circle_orthogonal(CIRCLE_6)
    assert fit.converged
    np.testing.assert_allclose(fit.parameters, [4.7398, 2.9835, 4.7142], atol=5e-5)
    assert np.sqrt(fit.ss_mm2) == pytest.approx(1.1080, abs=5e-5)
    np.testing.assert_allclose(
        fit.parameters, [4.739782410906074, 2.983532699292475, 4.71422603779211], rtol=RELATIVE
    )
    assert fit.ss_mm2 == pytest.approx(1.227599078183656, rel=RELATIVE)


def test_the_algebraic_circle_is_another_one():
    """Their circle of least algebraic residual, coefficients of norm one: 5.3794, 7.2532, 3.0370."""
    x, y = CIRCLE_6.T
    a, b, c, d = np.linalg.svd(np.stack([x * x + y * y, x, y, np.ones(6)], axis=1))[2][-1]
    centre = np.array([-b, -c]) / (2.0 * a)
    radius = np.sqrt(centre @ centre - d / a)
    np.testing.assert_allclose([*centre, radius], [5.3794, 7.2532, 3.0370], atol=5e-5)
    algebraic = np.sum((np.hypot(x - centre[0], y - centre[1]) - radius) ** 2)
    assert fit_circle_orthogonal(CIRCLE_6).ss_mm2 < 0.5 * algebraic


def test_ellipse_through_eight_points():
    fit = fit_ellipse_orthogonal(ELLIPSE_8)
    assert fit.converged
    np.testing.assert_allclose(fit.parameters, [2.6996, 3.8160, 6.5187, 3.0319, 0.3596], atol=5e-5)
    assert np.sqrt(fit.ss_mm2) == pytest.approx(1.1719, abs=5e-5)
    optimum = [2.6996121879412, 3.815956645939116, 6.518722302526588, 3.031886001736263, 0.3596242710415488]
    np.testing.assert_allclose(fit.parameters, optimum, rtol=RELATIVE)
    assert fit.ss_mm2 == pytest.approx(1.37330553977792, rel=RELATIVE)


def test_standard_errors_of_the_eight_point_ellipse():
    """Computed independently from the full matrix of the five parameters and eight foot points."""
    fit = fit_ellipse_orthogonal(ELLIPSE_8)
    np.testing.assert_allclose(
        fit.sigmas, [7.31738987, 3.62487827, 8.89337929, 0.99905972, 0.31707528], rtol=1e-8
    )


@pytest.mark.parametrize("order", [range(8), range(7, -1, -1), [3, 0, 6, 1, 7, 2, 5, 4]])
@pytest.mark.parametrize("turn_rad", [0.0, 0.7, 2.0, 4.0])
def test_the_second_stationary_point_is_not_returned(order, turn_rad):
    """A second one, SS 2.77055 (computed independently), traps one random start in twenty."""
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    fit = fit_ellipse_orthogonal(ELLIPSE_8[list(order)] @ np.array([[c, s], [-s, c]]))
    assert fit.ss_mm2 == pytest.approx(1.37330553977792, rel=RELATIVE)


def test_second_ellipse():
    """No printed answer was seen; computed independently."""
    fit = fit_ellipse_orthogonal(ELLIPSE_SECOND)
    assert fit.converged
    optimum = [
        -0.9042567260920734,
        0.2621744986720188,
        19.86762166930002,
        9.179240532240213,
        -0.003234870595583129,
    ]
    np.testing.assert_allclose(fit.parameters, optimum, rtol=RELATIVE)
    assert fit.ss_mm2 == pytest.approx(7.64894998384833, rel=RELATIVE)
