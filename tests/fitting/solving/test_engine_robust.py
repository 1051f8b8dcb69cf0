"""Robust fits against another library, and their uncertainty against repeated trials."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from survey.fitting.solving import engine_robust
from survey.fitting.solving.engine import EngineOptions, OutsideDomainError
from survey.fitting.solving.engine_models import residual_model
from survey.fitting.solving.engine_robust import minimise_robustly
from survey.fitting.solving.robust import HUBER_TUNING, Loss, mad_scale

X = np.linspace(-1.0, 1.0, 60)
ROWS = np.stack([np.ones(60), X, X**2], axis=1)
TRUTH = np.array([1.0, -2.0, 3.0])


def parabola(y):
    """A linear model, so that its exact answers are easy to come by."""
    return residual_model(lambda p: (ROWS @ p - y, ROWS), n_observations=60)


def noisy(seed, gross=6):
    """Noise of 0.1 with some gross errors of one sign."""
    rng = np.random.default_rng(seed)
    y = ROWS @ TRUTH + rng.normal(0.0, 0.1, 60)
    y[rng.choice(60, gross, replace=False)] += rng.uniform(2.0, 20.0, gross)
    return y


@pytest.mark.parametrize("seed", range(5))
def test_huber_meets_another_library(seed):
    y = noisy(seed)
    fit = minimise_robustly(parabola(y), np.zeros(3), Loss.HUBER, scale=0.1)
    other = least_squares(
        lambda p: ROWS @ p - y, np.zeros(3), loss="huber", f_scale=0.1 * HUBER_TUNING, xtol=1e-15, ftol=1e-15
    )
    assert fit.converged
    np.testing.assert_allclose(fit.solution.parameters, other.x, atol=1e-6)
    assert fit.solution.cost == pytest.approx(2.0 * other.cost, rel=1e-9)


@pytest.mark.parametrize("loss", [Loss.HUBER, Loss.TUKEY])
def test_estimated_scale_is_that_of_the_good_residuals(loss):
    """With a tenth of gross errors the median is the good ones' quantile of 5/9: 1.134 for 1."""
    for gross, expected in ((0, 0.1), (6, 0.1134)):
        scales = [minimise_robustly(parabola(noisy(i, gross)), np.zeros(3), loss).scale for i in range(60)]
        assert np.mean(scales) == pytest.approx(expected, rel=0.1)


@pytest.mark.parametrize("loss", [Loss.HUBER, Loss.TUKEY])
def test_the_scale_stands_still(loss):
    fit = minimise_robustly(parabola(noisy(3)), np.zeros(3), loss)
    assert fit.converged
    assert mad_scale(fit.residuals, 3) == pytest.approx(fit.scale, rel=2e-6)
    np.testing.assert_allclose(fit.weights, fit.loss.weigh(fit.residuals).weights)


def test_tukey_ignores_gross_errors_altogether():
    y = noisy(1)
    worse = np.where(np.abs(y - ROWS @ TRUTH) > 1.0, y + 1e6, y)
    a = minimise_robustly(parabola(y), np.zeros(3), Loss.TUKEY).solution.parameters
    b = minimise_robustly(parabola(worse), np.zeros(3), Loss.TUKEY).solution.parameters
    np.testing.assert_allclose(a, b, atol=1e-5)
    np.testing.assert_allclose(a, TRUTH, atol=0.15)


def test_squares_are_plain_least_squares():
    y = noisy(2)
    fit = minimise_robustly(parabola(y), np.zeros(3), Loss.SQUARES)
    np.testing.assert_allclose(fit.solution.parameters, np.linalg.lstsq(ROWS, y, rcond=None)[0], rtol=1e-10)
    assert (fit.weights == 1.0).all()
    np.testing.assert_allclose(
        fit.covariance(), np.linalg.inv(ROWS.T @ ROWS) * fit.solution.cost / 57, rtol=1e-9
    )


@pytest.mark.parametrize(("loss", "gross"), [(Loss.HUBER, 0), (Loss.TUKEY, 0), (Loss.TUKEY, 6)])
def test_standard_errors_meet_the_spread_of_repeated_trials(loss, gross):
    fits = [minimise_robustly(parabola(noisy(seed, gross)), np.zeros(3), loss) for seed in range(300)]
    spread = np.std([fit.solution.parameters for fit in fits], axis=0)
    stated = np.sqrt(np.mean([np.diag(fit.covariance()) for fit in fits], axis=0))
    np.testing.assert_allclose(stated, spread, rtol=0.15)


def test_exact_points_set_no_others_aside_below_the_smallest_scale():
    """Half the points exact: the median residual is zero, but the measuring accuracy is not."""
    y = ROWS @ TRUTH
    y[::3] += 0.05
    fit = minimise_robustly(parabola(y), np.zeros(3), Loss.HUBER, smallest_scale=0.1)
    assert fit.scale == 0.1
    assert (fit.weights == 1.0).all()


@pytest.mark.parametrize("loss", [Loss.HUBER, Loss.TUKEY])
def test_a_failed_search_says_so(loss):
    fit = minimise_robustly(
        parabola(noisy(1)),
        np.zeros(3),
        loss,
        options=EngineOptions(max_evaluations=1, relative_tolerance=0.0),
    )
    assert not fit.converged
    assert "no optimum within 1 evaluations" in fit.because
    assert np.isnan(fit.solution.parameters).all()


def test_a_scale_that_does_not_settle_is_a_failure(monkeypatch):
    monkeypatch.setattr(engine_robust, "MAX_ROUNDS", 2)
    fit = minimise_robustly(parabola(noisy(1)), np.zeros(3), Loss.HUBER)
    assert not fit.converged
    assert fit.because == "the scale did not settle in 2 rounds"


@pytest.mark.parametrize("scale", [None, 0.1])
@pytest.mark.parametrize("loss", list(Loss))
def test_a_start_outside_the_domain_is_a_failure(loss, scale):
    def nowhere(_):
        raise OutsideDomainError("the rise is not above zero")

    fit = minimise_robustly(residual_model(nowhere, n_observations=9), np.ones(2), loss, scale=scale)
    assert not fit.converged
    assert fit.because == "there is none to start from: the rise is not above zero"
