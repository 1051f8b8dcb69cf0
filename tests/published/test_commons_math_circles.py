"""Apache Commons Math, GaussNewtonOptimizerTest: circle fitting, and a badly initialised circle.

Points, answers and covariances: text seen. Further digits computed independently with 50 digits.
"""

import numpy as np
import pytest
from published.free_fit_sets import CIRCLE_5, TWO_TURNS

from survey.fitting.free.circle import fit_circle_orthogonal


def test_circle_through_five_points():
    """Printed to 1e-10, and right to every digit."""
    fit = fit_circle_orthogonal(CIRCLE_5)
    assert fit.converged
    np.testing.assert_allclose(
        fit.parameters, [96.07590209601095, 48.135167894714, 69.96016175359975], atol=1e-10
    )
    assert fit.ss_mm2 == pytest.approx(3.126752705904914, rel=1e-9)


def test_covariance_of_the_centre_for_residuals_of_variance_one():
    """Printed 1.839, 0.731 and 0.786."""
    covariance = fit_circle_orthogonal(CIRCLE_5, sigma_mm=1.0).covariance
    np.testing.assert_allclose(
        [covariance[0, 0], covariance[0, 1], covariance[1, 1]], [1.839, 0.731, 0.786], atol=5e-4
    )
    np.testing.assert_allclose(
        [covariance[0, 0], covariance[0, 1], covariance[1, 1]],
        [1.83908129, 0.73143869, 0.78571064],
        rtol=2e-8,
    )


def test_two_noisy_turns_of_one_circle():
    """Printed centre and RMS are right to six digits only; the weights there are 2."""
    fit = fit_circle_orthogonal(TWO_TURNS)
    assert fit.converged
    np.testing.assert_allclose(fit.centre_mm, [-0.1517383071957963, 0.2074999736353867], atol=1e-6)
    assert np.sqrt(2.0) * fit.rms_mm == pytest.approx(0.04268731682389561, abs=1e-7)
    np.testing.assert_allclose(
        fit.parameters, [-0.1517384468227677, 0.2075002072612719, 0.2922350067290692], rtol=1e-9
    )
    assert fit.ss_mm2 == pytest.approx(0.07926600526342166, rel=1e-9)
