"""Short arcs: a slice of what ``tests/recovery/partial_arcs.py`` runs in full."""

import numpy as np
import pytest
from fitting.free.arcs import noisy_arc
from recovery.partial_arcs import ARCS_DEG, TRUTH, Outcome, circle_fits, sigma_ratios, trials

from survey.fitting.free.ellipse import fit_ellipse_orthogonal

FEW_SEEDS = 8


def check_ellipses(arc_deg: float, n_seeds: int) -> None:
    """No silent failure, no optimum missed, and a reason for the rest."""
    judged = trials(arc_deg, n_seeds)
    assert {trial.outcome for trial in judged} <= {Outcome.CONVERGED, Outcome.REPORTED}
    for trial in judged:
        if trial.outcome is Outcome.REPORTED:
            assert "no finite ellipse fits" in trial.fit.because
            assert np.isnan(trial.fit.parameters).all()
    if arc_deg >= 90.0:
        assert all(trial.outcome is Outcome.CONVERGED for trial in judged)


@pytest.mark.parametrize("arc_deg", ARCS_DEG)
def test_a_few_short_arcs(arc_deg):
    check_ellipses(arc_deg, FEW_SEEDS)


@pytest.mark.slow
@pytest.mark.parametrize("arc_deg", ARCS_DEG)
def test_a_hundred_short_arcs(arc_deg):
    check_ellipses(arc_deg, 100)


@pytest.mark.parametrize("arc_deg", [180.0, 120.0, 90.0])
def test_standard_errors_meet_the_spread_of_a_hundred_arcs(arc_deg):
    """Within 20 %; a spread of 100 trials is itself known to 7 %."""
    fits = [fit_ellipse_orthogonal(noisy_arc(100, arc_deg, seed)) for seed in range(100)]
    np.testing.assert_allclose(sigma_ratios(fits, TRUTH), 1.0, atol=0.2)


@pytest.mark.parametrize("arc_deg", ARCS_DEG)
def test_circles_converge_with_errors_that_hold(arc_deg):
    fits = circle_fits(arc_deg, 200)
    assert all(fit.converged for fit in fits)
    np.testing.assert_allclose(sigma_ratios(fits, np.array([0.0, 0.0, 2000.0])), 1.0, atol=0.2)
