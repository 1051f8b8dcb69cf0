"""Condition of simulated arches: a slice of what ``tests/recovery/condition_trials.py`` runs in full."""

from __future__ import annotations

import numpy as np
import pytest
from recovery.condition_trials import (
    Flaw,
    Numbers,
    count_is_right,
    coverage,
    flaw_is_named,
    map_trial,
    still_arch,
    true_curve,
)

FEW_ARCHES = 12


def test_stated_intervals_hold_the_true_deviations() -> None:
    trials = [map_trial(seed, family_known=True) for seed in range(FEW_ARCHES)]
    # Some 1200 courses, alike within an arch as far as its curve is off: 95 % is known to about 2 %.
    assert 0.89 <= coverage(trials) <= 0.99
    assert sum(bool(t.patterns) for t in trials) <= 1


@pytest.mark.parametrize("numbers", Numbers)
def test_courses_are_counted_across_gaps(numbers: Numbers) -> None:
    arches = [still_arch(seed) for seed in range(60)]
    right = [count_is_right(arch, *true_curve(arch), numbers) for arch in arches]
    assert np.mean(right) >= 0.95


@pytest.mark.parametrize("flaw", [Flaw.DROPPED, Flaw.PATCH])
def test_flaws_are_named_in_most_arches(flaw: Flaw) -> None:
    assert np.mean([flaw_is_named(seed, flaw) for seed in range(6)]) >= 0.5


@pytest.mark.slow
def test_intervals_counts_and_patterns_over_three_hundred_arches() -> None:
    trials = [map_trial(seed, family_known=True) for seed in range(300)]
    assert 0.93 <= coverage(trials) <= 0.97
    assert np.mean([bool(t.patterns) for t in trials]) < 0.03
    arches = [still_arch(seed) for seed in range(300)]
    for numbers in Numbers:
        assert np.mean([count_is_right(arch, *true_curve(arch), numbers) for arch in arches]) >= 0.95
