"""Evidence against brute integration, the correction for limits, and the grid of scatters."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from survey.errors import FitError
from survey.fitting.solving.evidence import Prior, average, log_share_below
from survey.fitting.solving.noise import Scatter, nodes_of, whitener


def test_the_average_is_the_integral_over_all_numbers() -> None:
    # Two numbers, one with a Gaussian prior, one flat; four correlated points of a straight model.
    rng = np.random.default_rng(0)
    jacobian, distance = rng.normal(size=(4, 2)), rng.normal(size=4)
    nodes = nodes_of(np.array([0.0, 40.0, 100.0, 160.0]), np.array([1, 1, 2, 2]))
    scatter = Scatter(1.3, 90.0)
    sigma = np.array([0.7, 1.1, 0.9, 1.3])
    metric = whitener(nodes, sigma, np.ones(4), scatter)
    columns = np.column_stack([distance, jacobian])
    gram = columns.T @ metric.apply(columns)
    mean, spread = 0.4, 0.8
    prior = Prior(
        np.array([-mean / spread]), np.array([[1 / spread, 0.0]]), -np.log(spread) - 0.5 * np.log(2 * np.pi)
    )
    found = average(gram[None], np.array([metric.log_determinant]), prior)

    full = np.linalg.inv(metric.apply(np.eye(4)))

    def density(y: float, x: float) -> float:
        residual = distance + jacobian @ np.array([x, y])
        likelihood = stats.multivariate_normal(np.zeros(4), full).pdf(residual)
        return float(likelihood * stats.norm(mean, spread).pdf(x))

    (x, y), cov = found.shift[0], found.covariance[0]
    wide = 9 * np.sqrt(np.diag(cov))
    value, _ = integrate.dblquad(density, x - wide[0], x + wide[0], y - wide[1], y + wide[1], epsabs=1e-14)
    assert found.log_evidence[0] - 2 * np.log(2 * np.pi) == pytest.approx(np.log(value), abs=1e-6)


def test_the_shift_and_covariance_are_those_of_regularised_least_squares() -> None:
    rng = np.random.default_rng(1)
    jacobian, distance = rng.normal(size=(9, 3)), rng.normal(size=9)
    rows, slopes = rng.normal(size=2), rng.normal(size=(2, 3))
    columns = np.column_stack([distance, jacobian])
    found = average((columns.T @ columns)[None], np.zeros(1), Prior(rows, slopes, 0.0))
    stacked = np.vstack([jacobian, slopes])
    best = np.linalg.lstsq(stacked, -np.concatenate([distance, rows]), rcond=None)[0]
    assert found.shift[0] == pytest.approx(best, abs=1e-12)
    assert found.covariance[0] == pytest.approx(np.linalg.inv(stacked.T @ stacked), abs=1e-12)


def test_a_limit_takes_what_lies_beyond_it() -> None:
    # Posterior and prior cut at 1 and renormalised: the ratio of the shares below it.
    share = log_share_below(1.0, np.array([0.9, 1.2]), np.array([0.1, 0.1]), (0.5, 0.25))
    expected = stats.norm([0.9, 1.2], 0.1).logcdf(1.0) - stats.norm(0.5, 0.25).logcdf(1.0)
    assert share == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("jacobian", "left_open"),
    [
        (np.column_stack([np.ones(5), np.zeros(5)]), "rise_mm"),
        (np.column_stack([np.ones(5), np.ones(5)]), ""),  # only the sum is known: either may be named
        (np.column_stack([np.ones(5), 1.0 + 1e-9 * np.arange(5)]), ""),
    ],
    ids=["without effect", "alike", "alike but for rounding"],
)
def test_a_number_left_open_is_named(jacobian: np.ndarray, left_open: str) -> None:
    columns = np.column_stack([np.arange(5.0), jacobian])
    nothing = Prior(np.empty(0), np.empty((0, 2)), 0.0)
    grams = np.stack([np.eye(3), columns.T @ columns])
    with pytest.raises(FitError, match=f"the observations do not determine {left_open}"):
        average(grams, np.zeros(2), nothing, ("half_span_mm", "rise_mm"))
    # The prior settles it.
    usual = Prior(np.zeros(1), np.array([[0.0, 1.0]]), 0.0)
    assert np.isfinite(average(grams, np.zeros(2), usual).covariance).all()


def test_sums_that_are_no_numbers_are_told() -> None:
    with pytest.raises(FitError, match="are not finite numbers"):
        average(np.full((1, 2, 2), np.nan), np.zeros(1), Prior(np.empty(0), np.empty((0, 1)), 0.0))
