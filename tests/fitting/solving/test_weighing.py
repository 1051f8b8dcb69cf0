"""Gross errors are found and good points left alone, whatever smooth curve the arch follows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from survey.fitting.solving.noise import Scatter, nodes_of
from survey.fitting.solving.weighing import (
    GROSS_SHARE,
    GROSS_SIZE_MM,
    bends_along,
    probability_good,
    weigh_points,
)


def test_probability_is_bayes_rule_of_two_normals() -> None:
    difference, variance = np.array([0.0, 3.0, 9.0, -40.0]), np.array([1.0, 4.0, 2.0, 6.0])
    good = (1 - GROSS_SHARE) * stats.norm(0, np.sqrt(variance)).pdf(difference)
    gross = GROSS_SHARE * stats.norm(0, np.sqrt(variance + GROSS_SIZE_MM**2)).pdf(difference)
    assert probability_good(difference, variance) == pytest.approx(
        np.maximum(good / (good + gross), 1e-6), rel=1e-9
    )


@pytest.mark.parametrize("bent", [False, True])
def test_gross_errors_lose_their_weight_and_no_others(bent: bool) -> None:
    rng = np.random.default_rng(4)
    n = 120
    station = np.repeat(np.arange(60) * 60.0, 2) + np.tile([5.0, 50.0], 60)
    nodes = nodes_of(station, np.repeat(np.arange(1, 61), 2))
    distance = np.repeat(rng.normal(0, 1.0, 60), 2) + rng.normal(0, 1.2, n)
    if bent:
        distance += 25.0 * np.sin(2.7 * np.pi * station / station[-1])
    gross = np.array([3, 40, 41, 99])
    distance[gross] += np.array([22.0, -35.0, 18.0, 400.0])
    bends = bends_along(station / station[-1], 1500.0) if bent else None
    weight = weigh_points(nodes, np.full(n, 1.2), distance, Scatter(1.2, 100.0), bends)
    assert weight[gross].max() < 0.02
    assert np.delete(weight, gross).min() > 0.5


def test_finer_bends_are_smaller() -> None:
    bends = bends_along(np.linspace(0, 1, 50), 1000.0)
    assert bends.columns[:, 0].tolist() == [1.0] * 50
    assert np.all(np.diff(bends.spread_mm[2:]) < 0)
