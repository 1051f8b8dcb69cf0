"""Fuller, W. A., "Measurement Error Models" (1987), example 3.2.2; ODRPACK User's Guide, page 49.

Points and answer: text seen in SciPy's test of its ODR. The guide's parameters are those of
b3 (x - b1)^2 + 2 b4 (x - b1) (y - b2) + b5 (y - b2)^2 = 1; its penalty method leaves them up to 7.5e-7 off
the optimum, which was computed independently with 50 digits.
"""

import dataclasses

import numpy as np
import pytest
from published.free_fit_sets import FULLER

from survey.fitting.free.ellipse import EllipseFit, fit_ellipse_orthogonal


def guide_parameters(fit: EllipseFit) -> np.ndarray:
    """b1 to b5 of the guide."""
    c, s = np.cos(fit.angle_rad), np.sin(fit.angle_rad)
    a2, b2 = fit.semi_major_mm**-2, fit.semi_minor_mm**-2
    return np.array([*fit.centre_mm, c * c * a2 + s * s * b2, c * s * (a2 - b2), s * s * a2 + c * c * b2])


def guide_sigmas(fit: EllipseFit) -> np.ndarray:
    """Standard errors of b1 to b5 by the derivatives of :func:`guide_parameters`, central differences."""
    columns = []
    names = ("semi_major_mm", "semi_minor_mm", "angle_rad")
    for name in names:
        step = 1e-5
        sides = [
            guide_parameters(dataclasses.replace(fit, **{name: getattr(fit, name) + sign * step}))
            for sign in (1.0, -1.0)
        ]
        columns.append((sides[0] - sides[1]) / (2.0 * step))
    slopes = np.zeros((5, 5))
    slopes[0, 0] = slopes[1, 1] = 1.0
    slopes[:, 2:] = np.stack(columns, axis=1)
    return np.sqrt(np.diag(slopes @ fit.covariance @ slopes.T))


def test_optimum():
    fit = fit_ellipse_orthogonal(FULLER)
    assert fit.converged
    optimum = [
        -0.9993801622760359,
        -2.931049289053433,
        3.864224165439412,
        3.156637717213235,
        -0.9035909282185983,
    ]
    np.testing.assert_allclose(fit.parameters, optimum, rtol=1e-9)
    assert fit.ss_mm2 == pytest.approx(0.08824708868838151, rel=1e-9)


def test_optimum_in_the_guides_form():
    found = guide_parameters(fit_ellipse_orthogonal(FULLER))
    np.testing.assert_allclose(
        found, [-0.99938092, -2.93104847, 0.087573050, 0.016229971, 0.079753798], atol=1e-6
    )
    np.testing.assert_allclose(
        found[2:], [0.08757306952646023, 0.01622995587779744, 0.07975382916553182], rtol=1e-9
    )


def test_standard_errors():
    fit = fit_ellipse_orthogonal(FULLER)
    found = guide_sigmas(fit)
    np.testing.assert_allclose(found, [0.111384, 0.109767, 0.004106, 0.002750, 0.003496], rtol=2e-4)
    np.testing.assert_allclose(found, [0.11138567, 0.10976889, 0.00410614, 0.00275008, 0.00349630], atol=6e-9)
    np.testing.assert_allclose(fit.sigmas[2:4], [0.16743722, 0.02948389], atol=6e-9)
