"""Misread edges told from runs of other bricks."""

from __future__ import annotations

import numpy as np
import pytest
from condition.patterns.chains import N, chain_of, edges_of

from survey.condition.patterns.edge_chain import UNREAD_MM2
from survey.condition.patterns.misread_edges import own_scatter, without_misread


def left_out(edges: np.ndarray) -> tuple[list[int], list[int]]:
    chain = without_misread(chain_of(edges))
    return (
        np.flatnonzero(chain.edge_mm2 == UNREAD_MM2).tolist(),
        np.flatnonzero(chain.own_mm2 == UNREAD_MM2).tolist(),
    )


@pytest.mark.parametrize("seed", range(4))
def test_misread_edges_are_left_out_and_nothing_else(seed: int) -> None:
    edges = edges_of(seed)
    assert left_out(edges) == ([], [])
    edges[[25, 64, 65]] += [14.0, -30.0, 22.0]
    assert left_out(edges) == ([25, 64, 65], [])


@pytest.mark.parametrize("seed", range(4))
def test_a_joint_opened_wide_is_no_misread_edge(seed: int) -> None:
    edges = edges_of(seed)
    edges[62:] += 20.0
    assert left_out(edges) == ([], [61])


@pytest.mark.parametrize("seed", range(4))
def test_bricks_of_another_lot_are_not_misread(seed: int) -> None:
    edges = edges_of(seed, sigma_mm=0.6)
    edges[40:60:2] -= 2.0
    edges[41:61:2] += 2.0
    assert left_out(edges) == ([], [])


def test_own_scatter_is_not_swollen_by_a_run() -> None:
    widths, joints = [], []
    for seed in range(40):
        edges = edges_of(seed, width_mm=1.5, joint_mm=2.0)
        edges[40:60:2] -= 2.5
        edges[41:61:2] += 2.5
        width, joint = own_scatter(chain_of(edges))
        widths.append(width)
        joints.append(joint)
    assert np.mean(widths) == pytest.approx(1.5, abs=0.3)
    assert np.mean(joints) == pytest.approx(2.0, abs=0.3)
    assert len(edges) == 2 * N
