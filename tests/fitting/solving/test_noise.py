"""The scatter's inverse against the dense matrices it stands for."""

from __future__ import annotations

import numpy as np
import pytest

from survey.fitting.solving.noise import Nodes, Scatter, nodes_of, whitener
from survey.record.model import UNKNOWN


def scattered(n: int = 50, seed: int = 0) -> tuple[Nodes, np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    station = np.sort(rng.uniform(0, 3000, n))
    course = np.arange(n) // 2 + 1
    course[rng.random(n) < 0.2] = UNKNOWN
    shuffled = rng.permutation(n)
    nodes = nodes_of(station[shuffled], course[shuffled])
    middle = np.concatenate([[0.0], np.cumsum(nodes.step_mm)])
    return nodes, middle, rng.uniform(0.5, 2.0, n), rng.uniform(0.3, 1.0, n)


def dense(
    nodes: Nodes, middle: np.ndarray, sigma: np.ndarray, weight: np.ndarray, scatter: Scatter
) -> np.ndarray:
    chain = scatter.irregularity_mm**2 * np.exp(-np.abs(middle[:, None] - middle) / scatter.correlation_mm)
    share = np.eye(len(nodes))[nodes.node]
    return np.diag((scatter.sigma_factor * sigma) ** 2 / weight) + share @ chain @ share.T


SCATTERS = [Scatter(1.7, 150.0, 1.2), Scatter(0.2, 20.0), Scatter(5.0, 900.0, 1.7)]


@pytest.mark.parametrize("scatter", SCATTERS)
def test_whitening_is_the_dense_inverse(scatter: Scatter) -> None:
    nodes, middle, sigma, weight = scattered()
    metric = whitener(nodes, sigma, weight, scatter)
    full = dense(nodes, middle, sigma, weight, scatter)
    columns = np.random.default_rng(1).normal(size=(len(sigma), 3))
    assert metric.apply(columns) == pytest.approx(np.linalg.solve(full, columns), abs=1e-10)
    log_determinant = np.linalg.slogdet(full)[1] + np.sum(np.log(weight))
    assert metric.log_determinant == pytest.approx(log_determinant, abs=1e-9)


@pytest.mark.parametrize("scatter", SCATTERS)
def test_left_out_points_are_predicted_by_the_others(scatter: Scatter) -> None:
    nodes, middle, sigma, weight = scattered(n=20)
    metric = whitener(nodes, sigma, weight, scatter)
    full = dense(nodes, middle, sigma, weight, scatter)
    distance = np.random.default_rng(2).normal(size=20)
    left = metric.left_out(distance)
    for i in range(20):
        others = np.arange(20) != i
        gain = np.linalg.solve(full[np.ix_(others, others)], full[others, i])
        assert left.difference[i] == pytest.approx(distance[i] - gain @ distance[others], abs=1e-9)
        assert left.variance[i] == pytest.approx(full[i, i] - gain @ full[others, i], abs=1e-9)


def test_the_irregularity_expected_is_the_kriging_mean() -> None:
    nodes, middle, sigma, weight = scattered(n=30)
    scatter = SCATTERS[0]
    metric = whitener(nodes, sigma, weight, scatter)
    full = dense(nodes, middle, sigma, weight, scatter)
    signal = full - np.diag((scatter.sigma_factor * sigma) ** 2 / weight)
    distance = np.random.default_rng(3).normal(size=30)
    assert metric.irregularity(distance) == pytest.approx(signal @ np.linalg.solve(full, distance), abs=1e-9)


def test_points_of_a_course_share_a_node_and_others_have_their_own() -> None:
    nodes = nodes_of(np.array([10.0, 60.0, 80.0, 130.0, 200.0]), np.array([1, 1, 2, 2, UNKNOWN]))
    assert nodes.node.tolist() == [0, 0, 1, 1, 2]
    assert nodes.step_mm.tolist() == [70.0, 95.0]


def test_a_single_node_is_a_shared_error() -> None:
    nodes = nodes_of(np.array([0.0, 50.0]), np.array([1, 1]))
    metric = whitener(nodes, np.ones(2), np.ones(2), Scatter(2.0, 100.0))
    full = np.eye(2) + 4.0
    assert metric.apply(np.eye(2)) == pytest.approx(np.linalg.inv(full), abs=1e-12)
