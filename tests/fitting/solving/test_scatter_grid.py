"""The grid of scatters against the metric of each one, and against dense matrices where it is hardest."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logsumexp

from survey.fitting.solving import scatter_grid as module
from survey.fitting.solving.noise import nodes_of
from survey.fitting.solving.scatter_grid import ScatterGrid, scatter_grid
from survey.record.model import UNKNOWN


def grid_of(n: int = 30, sigma_mm: float = 1.0) -> ScatterGrid:
    rng = np.random.default_rng(4)
    course = np.arange(n) // 2 + 1
    course[rng.random(n) < 0.2] = UNKNOWN
    nodes = nodes_of(np.sort(rng.uniform(0, 1500, n)), course)
    return scatter_grid(nodes, sigma_mm * rng.uniform(0.5, 2.0, n), rng.uniform(0.3, 1.0, n), 60.0)


def test_the_grid_is_a_distribution_and_can_be_thinned() -> None:
    grid = grid_of()
    assert logsumexp(grid.log_prior) == pytest.approx(0.0, abs=1e-12)
    assert len(grid) == len(set(grid.scatters)) == len(grid.log_prior)
    few = grid.take(np.array([3, 1]))
    assert few.scatters == (grid.scatters[3], grid.scatters[1])
    columns = np.random.default_rng(2).normal(size=(30, 2))
    assert few.grams(columns, np.eye(2)) == pytest.approx(grid.grams(columns, np.eye(2))[[3, 1]], rel=1e-12)


@pytest.mark.parametrize("at_once", [1, 200, 1 << 18], ids=["one by one", "a few", "all"])
def test_products_and_determinants_are_those_of_every_scatter(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "AT_ONCE", at_once)
    grid = grid_of()
    columns = np.random.default_rng(2).normal(size=(30, 3))
    rows = np.array([[1.0, 2.0, -0.5]])
    grams, determinants = grid.grams(columns, rows), grid.log_determinants(1)
    for i, scatter in enumerate(grid.scatters):
        metric, factor = grid.whitener(i), scatter.sigma_factor
        expected = columns.T @ metric.apply(columns) + rows.T @ rows / factor**2
        assert grams[i] == pytest.approx(expected, abs=1e-10)
        assert determinants[i] == pytest.approx(metric.log_determinant + 2 * np.log(factor), abs=1e-9)


@pytest.mark.parametrize("sigma_mm", [1e-9, 1e-4])
def test_points_measured_all_but_exactly_leave_the_irregularity_alone(sigma_mm: float) -> None:
    # With two points a course and next to no measuring error the courses' means are known: m' K^-1 m.
    n = 20
    nodes = nodes_of(np.repeat(np.arange(n) * 60.0, 2), np.repeat(np.arange(1, n + 1), 2))
    grid = scatter_grid(nodes, np.full(2 * n, sigma_mm), np.ones(2 * n), 60.0)
    course = np.random.default_rng(5).normal(size=n)
    columns = np.repeat(course, 2)[:, None]
    station = np.arange(n) * 60.0
    for i, scatter in enumerate(grid.scatters):
        chain = scatter.irregularity_mm**2 * np.exp(
            -np.abs(station[:, None] - station) / scatter.correlation_mm
        )
        expected = course @ np.linalg.solve(chain, course)
        assert grid.grams(columns, np.empty((0, 1)))[i, 0, 0] == pytest.approx(expected, rel=1e-5)
        if sigma_mm > 1e-6:
            # Written out point by point, what cancels within a course is left to rounding.
            alone = columns[:, 0] @ grid.whitener(i).apply(columns)[:, 0]
            assert alone == pytest.approx(expected, rel=1e-5)


def test_a_single_course_has_no_chain() -> None:
    nodes = nodes_of(np.array([0.0, 50.0]), np.array([1, 1]))
    grid = scatter_grid(nodes, np.ones(2), np.ones(2), 60.0)
    full = np.linalg.inv(np.eye(2) + grid.scatters[0].irregularity_mm ** 2)
    assert grid.grams(np.eye(2), np.empty((0, 2)))[0] == pytest.approx(full, abs=1e-12)
