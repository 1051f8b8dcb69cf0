"""Losses, their weights and the scale of residuals."""

import numpy as np
import pytest
from scipy.stats import norm

from survey.errors import FitError
from survey.fitting.solving.robust import (
    HUBER_TUNING,
    MAD_TO_SIGMA,
    TUKEY_TUNING,
    Loss,
    ScaledLoss,
    mad_scale,
    tuned,
)

RESIDUALS = np.linspace(-9.0, 9.0, 181)


@pytest.mark.parametrize("loss", list(Loss))
def test_weights_and_slopes_are_the_derivatives_of_the_loss(loss):
    """psi = w r is half the loss's derivative, and the slope ratio is psi's derivative."""
    scaled = tuned(loss, 1.0)
    away = RESIDUALS[np.abs(np.abs(RESIDUALS) - scaled.threshold) > 1e-3]  # off the corner

    def cost(r):
        return np.array([scaled.weigh(np.array([one])).cost for one in r])

    def psi(r):
        return scaled.weigh(r).weights * r

    np.testing.assert_allclose(psi(away), (cost(away + 1e-5) - cost(away - 1e-5)) / 4e-5, atol=1e-6)
    np.testing.assert_allclose(
        scaled.slope_ratio(away), (psi(away + 1e-5) - psi(away - 1e-5)) / 2e-5, atol=1e-6
    )


@pytest.mark.parametrize("loss", list(Loss))
def test_small_residuals_count_as_squares(loss):
    small = np.array([1e-4, -2e-4])
    assert tuned(loss, 1.0).weigh(small).cost == pytest.approx(5e-8, rel=1e-7)


def test_tukeys_loss_is_flat_beyond_its_threshold():
    scaled = tuned(Loss.TUKEY, 2.0)
    assert scaled.weigh(np.array([1e9])).cost == pytest.approx(scaled.threshold**2 / 3.0)


def test_tukeys_loss_of_points_without_noise_does_not_overflow():
    scaled = ScaledLoss(Loss.TUKEY, 1e-180)
    weighed = scaled.weigh(np.array([0.0, 40.0]))
    assert weighed.weights.tolist() == [1.0, 0.0]
    assert scaled.slope_ratio(np.array([0.0, 40.0])).tolist() == [1.0, 0.0]


@pytest.mark.parametrize(("loss", "tuning"), [(Loss.HUBER, HUBER_TUNING), (Loss.TUKEY, TUKEY_TUNING)])
def test_the_tuning_keeps_95_percent_efficiency_on_normal_errors(loss, tuning):
    """Efficiency E[psi']^2 / E[psi^2] by numerical integration over the normal density."""
    r = np.linspace(-8.0, 8.0, 400_001)
    scaled = ScaledLoss(loss, tuning)
    density = norm.pdf(r) * (r[1] - r[0])
    psi = scaled.weigh(r).weights * r
    efficiency = np.sum(scaled.slope_ratio(r) * density) ** 2 / np.sum(psi**2 * density)
    assert efficiency == pytest.approx(0.95, abs=1e-3)


def test_mad_to_sigma_is_the_normal_quantile():
    assert pytest.approx(1.0 / norm.ppf(0.75), rel=1e-14) == MAD_TO_SIGMA


def test_mad_scale_of_normal_residuals_with_gross_errors():
    residuals = np.random.default_rng(1).normal(0.0, 3.0, 4001)
    assert mad_scale(residuals) == pytest.approx(3.0, rel=0.03)
    residuals[:400] = 1e9
    assert mad_scale(residuals) == pytest.approx(3.0, rel=0.2)


@pytest.mark.parametrize("threshold", [0.0, -1.0, np.nan])
def test_thresholds_that_cannot_be(threshold):
    with pytest.raises(FitError, match=r"a loss threshold of .* was given; it must be above 0"):
        ScaledLoss(Loss.HUBER, threshold)


def test_no_residuals_no_scale():
    with pytest.raises(FitError, match="3 residuals cannot give a scale beside 3 fitted parameters"):
        mad_scale(np.ones(3), 3)
