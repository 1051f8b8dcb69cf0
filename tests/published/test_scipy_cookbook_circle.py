"""SciPy Cookbook, "Least squares circle", a short noisy arc; quoted in scikit-image issue 5186.

Points and both sums of squares: text seen in that issue. Further digits: computed independently, 50 digits.
"""

import numpy as np
import pytest
from published.free_fit_sets import SHORT_ARC
from skimage.measure import CircleModel

from survey.fitting.free.circle import fit_circle_orthogonal


def test_optimum_of_a_short_arc():
    fit = fit_circle_orthogonal(SHORT_ARC)
    assert fit.converged
    assert fit.ss_mm2 == pytest.approx(4.0425219, abs=5e-8)
    assert fit.ss_mm2 == pytest.approx(4.042521898318591, rel=1e-9)
    np.testing.assert_allclose(
        fit.parameters, [9.887566567477387, 3.68749730978412, 27.35044316813374], rtol=1e-9
    )


def test_the_algebraic_circle_is_a_quarter_smaller():
    """Kasa's circle, as scikit-image fits it: SS 5.1976653 (text seen), radius 20.85 instead of 27.35."""
    algebraic = CircleModel.from_estimate(SHORT_ARC)
    assert np.sum(algebraic.residuals(SHORT_ARC) ** 2) == pytest.approx(5.1976653, abs=5e-8)
    assert algebraic.radius == pytest.approx(20.850723091311508, rel=1e-9)
    fit = fit_circle_orthogonal(SHORT_ARC)
    assert fit.radius_mm > 1.3 * algebraic.radius
    assert fit.ss_mm2 < 0.78 * np.sum(algebraic.residuals(SHORT_ARC) ** 2)
