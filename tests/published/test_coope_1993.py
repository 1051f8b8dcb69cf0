"""Coope, I. D., "Circle fitting by linear and nonlinear least squares".

J. Optim. Theory Appl. 76 (1993) 381-388. Points: text seen in two public scripts; printed answer from memory;
further digits computed independently with 50 digits.
"""

import numpy as np
import pytest
from published.free_fit_sets import CIRCLE_8

from survey.fitting.free.circle import fit_circle_orthogonal


def test_circle_through_eight_points():
    fit = fit_circle_orthogonal(CIRCLE_8)
    assert fit.converged
    np.testing.assert_allclose(fit.parameters, [3.0432, 0.7457, 4.1059], atol=6e-5)
    np.testing.assert_allclose(
        fit.parameters, [3.043238251582542, 0.745678313458604, 4.105855837954331], rtol=1e-9
    )
    assert fit.ss_mm2 == pytest.approx(0.2959484379982988, rel=1e-9)
