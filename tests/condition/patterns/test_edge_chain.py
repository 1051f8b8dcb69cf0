"""The chain of edges: what is read, and its likelihood against the Gaussian written out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from condition.factory import LaidRing, record_of
from condition.patterns.chains import SHAPE, N, chain_of, edges_of, table_of, written_out

from survey.condition.patterns.edge_chain import UNREAD_MM2, edge_chain, weighed_chain
from survey.condition.patterns.rhythm import other_rhythms


def test_likelihood_and_precision_are_those_of_the_gaussian_of_the_edges() -> None:
    """Against the covariance made from the edges: each reading is shared by the two steps that meet there."""
    chain = chain_of(edges_of(0), sigma_mm=1.3)
    n, k = chain.usual.shape
    own = np.where(np.arange(n) % 2 == 0, 0.9**2, 1.6**2) + chain.own_mm2
    differences = np.diff(np.eye(n + 1), axis=0)
    covariance = np.diag(own) + differences @ np.diag(chain.edge_mm2) @ differences.T
    assert chain.edge_mm2 == pytest.approx(np.full(2 * N, 1.3**2))
    inverse = np.linalg.inv(covariance)
    inner = chain.usual.T @ inverse @ chain.usual + np.diag(chain.stiffness)
    precision = inverse - inverse @ chain.usual @ np.linalg.solve(inner, chain.usual.T @ inverse)
    weighed = weighed_chain(chain, 0.9, 1.6)
    assert written_out(weighed.without_usual()) == pytest.approx(inverse, abs=1e-10)
    diagonal, beside = weighed.near_diagonal()
    assert diagonal == pytest.approx(np.diag(precision), rel=1e-9)
    assert beside == pytest.approx(np.diag(precision, 1), rel=1e-8, abs=1e-12)
    assert weighed.pull == pytest.approx(precision @ chain.step_mm, abs=1e-8)
    expected = -0.5 * (
        np.linalg.slogdet(covariance)[1]
        + np.linalg.slogdet(inner)[1]
        + chain.step_mm @ precision @ chain.step_mm
    )
    assert weighed.log_likelihood == pytest.approx(expected, rel=1e-10)
    assert len(weighed.usual_coefficients(chain.step_mm)) == k


def test_an_edge_left_out_tells_nothing() -> None:
    """The same likelihood gain from a template wherever that edge was read."""
    edges = edges_of(1)
    template = np.zeros(2 * N - 1)
    template[40:48:2] = 1.0
    found = []
    for shift in (0.0, 35.0):
        moved = edges.copy()
        moved[30] += shift
        weighed = weighed_chain(chain_of(moved).without(np.array([30]), np.array([], dtype=int)), 1.0, 1.0)
        found.append(template @ weighed.pull)
    assert found[0] == pytest.approx(found[1], rel=1e-3)


def test_courses_not_read_at_both_edges_and_joints_beside_missing_ones_count_for_nothing() -> None:
    record = record_of(SHAPE, [LaidRing(N, surveyed=[*range(1, 21), *range(25, N + 1)])])
    chain = edge_chain(table_of(record))
    assert chain.whole.tolist() == [*range(20), *range(24, N)]
    assert np.flatnonzero(chain.edge_mm2 == UNREAD_MM2).tolist() == list(range(40, 48))
    assert np.flatnonzero(chain.own_mm2 == UNREAD_MM2).tolist() == [39, 41, 43, 45, 47]
    assert np.flatnonzero(~chain.is_read).tolist() == list(range(39, 48))


def test_a_sound_ring_is_made_of_what_is_usual() -> None:
    chain = edge_chain(table_of(record_of(SHAPE, [LaidRing(N)])))
    left = chain.step_mm - chain.usual @ np.linalg.lstsq(chain.usual, chain.step_mm, rcond=None)[0]
    assert np.abs(left).max() < 1e-6
    alternating = replace(chain, step_mm=chain.step_mm + np.where(np.arange(2 * N - 1) % 4 == 0, 3.0, 0.0))
    left = (
        alternating.step_mm - chain.usual @ np.linalg.lstsq(chain.usual, alternating.step_mm, rcond=None)[0]
    )
    assert np.abs(left).max() < 1e-6


def test_bricks_read_as_nothing_wide_may_still_drift() -> None:
    """As where all readings are rounded to a step wider than the bricks."""
    chain = edge_chain(table_of(record_of(SHAPE, [LaidRing(N, width_mm=0.0)])))
    assert np.isfinite(chain.stiffness).all()
    assert other_rhythms(chain) == ()
