"""Fewest shared pieces, against exhaustive search."""

from __future__ import annotations

from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.errors import PlanError
from survey.rebuild import grouping
from survey.rebuild.grouping import EXACT_POINTS, group_widths

WIDTHS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=1, max_size=9)


def fewest(points: np.ndarray, side: float) -> int:
    """Fewest groups by trying, for the first piece left, every set of others it could share with."""
    n = len(points)

    def fits(members: tuple[int, ...]) -> bool:
        return bool(np.all(np.ptp(points[list(members)], axis=0) <= side + 1e-9))

    @cache
    def solve(left: frozenset[int]) -> int:
        if not left:
            return 0
        first, *others = sorted(left)
        best = n
        for mask in range(1 << len(others)):
            members = (first, *(o for k, o in enumerate(others) if mask >> k & 1))
            if fits(members):
                best = min(best, 1 + solve(left - set(members)))
        return best

    return solve(frozenset(range(n)))


@settings(max_examples=150, deadline=None)
@given(widths=WIDTHS, tolerance=st.sampled_from([0.0, 0.5, 1.0, 1.5, 2.0, 3.0]))
def test_no_grouping_is_smaller(widths: list[tuple[int, int]], tolerance: float):
    points = np.array(widths, dtype=float)
    found = group_widths(points, tolerance)
    assert found.n_groups == fewest(points, 2 * tolerance)
    assert found.at_least == found.n_groups


@settings(max_examples=100, deadline=None)
@given(
    widths=st.lists(st.tuples(st.floats(40, 60), st.floats(50, 70)), min_size=1, max_size=60),
    tolerance=st.floats(0.0, 3.0),
)
def test_members_share_one_piece(widths: list[tuple[float, float]], tolerance: float):
    points = np.array(widths)
    found = group_widths(points, tolerance)
    assert set(found.labels) == set(range(found.n_groups))
    for k in range(found.n_groups):
        assert np.ptp(points[found.labels == k], axis=0).max() <= 2 * tolerance + 5e-6
    assert found.at_least <= found.n_groups
    least = [points[found.labels == k, 0].min() for k in range(found.n_groups)]
    assert least == sorted(least)


def test_a_line_of_widths_is_cut_into_the_longest_runs():
    """Points 0.3 apart, four to a group of 1.0: 25 pieces need 7, and the bound says none can do with 6."""
    width = 50.0 + 0.3 * np.arange(25)
    found = group_widths(np.column_stack([width, 1.24 * width]), 0.62)
    # the outer faces lie 0.372 apart, so it is they that limit a group: 1.24 / 0.372 allows 4 in a row
    assert found.n_groups == found.at_least == 7


def test_falling_lines_are_chains_too():
    width = 50.0 + 0.4 * np.arange(9)
    found = group_widths(np.column_stack([width, 70.0 - 0.1 * width]), 0.4)
    assert found.labels.tolist() == [0, 0, 0, 1, 1, 1, 2, 2, 2]


def test_sweeps_are_improved_by_the_exact_program():
    """Among random scatters there are some where every sweep needs a group more than the optimum."""
    improved = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        points = np.unique(rng.normal([50, 62], [1.0, 0.6], (EXACT_POINTS, 2)), axis=0)
        swept = min(
            int(grouping._sweep(points, 1.0, flip, turn).max()) + 1
            for flip in (False, True)
            for turn in (1.0, -1.0)
        )
        found = group_widths(points, 0.5)
        assert found.n_groups <= swept
        improved += found.n_groups < swept
    assert improved > 0


def test_a_large_scatter_says_how_many_fewer_could_do():
    rng = np.random.default_rng(5)
    found = group_widths(rng.normal([50, 62], [0.8, 0.8], (160, 2)), 0.5)
    assert 0 < found.at_least < found.n_groups


def test_rounding_does_not_part_mirror_images():
    left = np.column_stack([np.linspace(49, 51, 11), np.linspace(60, 63, 11)])
    noise = np.random.default_rng(1).normal(0, 1e-11, left.shape)
    found = group_widths(np.concatenate([left, left + noise]), 0.25)
    np.testing.assert_array_equal(found.labels[:11], found.labels[11:])


def test_nothing_to_group():
    found = group_widths(np.zeros((0, 2)), 0.5)
    assert (found.labels.size, found.n_groups, found.at_least) == (0, 0, 0)


@pytest.mark.parametrize("tolerance", [-0.1, float("nan")])
def test_a_tolerance_that_is_none_is_refused(tolerance: float):
    with pytest.raises(PlanError, match="templet tolerance"):
        group_widths([[50.0, 60.0]], tolerance)


def test_a_program_that_finds_no_optimum_is_not_passed_over(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(
        "scipy.optimize.milp", lambda *_, **__: SimpleNamespace(success=False, message="node limit reached")
    )
    points = np.random.default_rng(0).normal([50, 62], [1.0, 0.6], (EXACT_POINTS, 2))
    with pytest.raises(PlanError, match="found no optimum: node limit reached; widen the tolerance"):
        grouping._exact(points, 1.0, np.arange(EXACT_POINTS))
