"""Straight rows of bricks told from flat arches, and extents no arch has."""

from __future__ import annotations

import numpy as np
import pytest
from recovery.simulated import ArchSpec, simulate

from survey import curves
from survey.curves import curve_of
from survey.fitting import fit_arch
from survey.record.shortfall import GREATEST_EXTENT_MM, shortfall_of


def soffit(rise_mm: float, seed: int, sigma_mm: float = 1.0) -> np.ndarray:
    """Both edges of 15 bricks over 1000 mm, straight or on a circle, with independent errors."""
    x = np.linspace(-490.0, 490.0, 30)
    y = np.zeros(30)
    if rise_mm:
        radius = (500.0**2 + rise_mm**2) / (2 * rise_mm)
        y = np.sqrt(radius**2 - x**2) - radius + rise_mm
    return np.column_stack([x, y]) + np.random.default_rng(seed).normal(0.0, sigma_mm, (30, 2))


def test_a_lintel_is_refused_whatever_its_errors_and_its_slope() -> None:
    turn = np.array([[np.cos(0.2), -np.sin(0.2)], [np.sin(0.2), np.cos(0.2)]])
    told = [shortfall_of(soffit(0.0, seed) @ turn.T, np.ones(30)) for seed in range(200)]
    refused = [lacking for lacking in told if lacking is not None and "flat arch or lintel" in lacking.reason]
    assert len(refused) >= 199  # three standard uncertainties let one of 370 pass; the errors are doubled


def test_a_flat_arch_of_honest_rise_is_none() -> None:
    assert all(shortfall_of(soffit(50.0, seed), np.ones(30)) is None for seed in range(50))
    assert all(shortfall_of(soffit(10.0, seed), np.ones(30)) is None for seed in range(50))


def test_a_rise_is_doubted_by_the_uncertainty_given_even_where_the_points_lie_well() -> None:
    row = soffit(8.0, 1, sigma_mm=0.1)
    assert shortfall_of(row) is None
    assert shortfall_of(row, np.full(30, 10.0)) is not None


def test_a_flat_segment_of_one_in_twenty_is_fitted() -> None:
    spec = ArchSpec(
        curves.segmental(1000.0, 50.0), n_courses=15, point_sigma_mm=1.0, irregularity_mm=0.0, gross_ratio=0.0
    )
    fit = fit_arch(simulate(spec, 3).record)
    rise = fit.best.figures["rise_mm"]
    assert abs(rise.value - 50.0) < 4 * rise.sigma
    assert rise.sigma < 5.0


def test_the_greatest_extent_is_where_the_words_say() -> None:
    curve = curve_of(curves.semicircular(1.0))
    xy = curve.point(np.linspace(0.0, curve.length_mm, 2001))
    wide = GREATEST_EXTENT_MM / np.ptp(np.quantile(xy[:, 0], [0.05, 0.95]))
    assert shortfall_of(xy * wide * 0.999) is None
    lacking = shortfall_of(xy * wide * 1.01)
    assert lacking is not None
    assert "over 404 m" in lacking.reason


@pytest.mark.parametrize("place", [0.0, 1e6])
def test_one_far_point_is_not_the_extent(place: float) -> None:
    curve = curve_of(curves.semicircular(1000.0))
    xy = curve.point(np.linspace(0.0, curve.length_mm, 40)) + place
    xy[3] += 1e6
    assert shortfall_of(xy) is None
