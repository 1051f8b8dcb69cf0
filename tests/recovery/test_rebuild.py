"""Plans of simulated arches: a slice of what ``tests/recovery/rebuilding.py`` runs in full."""

from __future__ import annotations

import numpy as np
import pytest
from recovery.rebuilding import Trial, rms, trial
from recovery.simulated import Rhythm


def check_joints(trials: list[Trial]) -> None:
    """Planned joints follow the true ones; over gaps they are as near as the masonry's scatter lets them."""
    assert all(t.count_right for t in trials)
    assert np.median([t.correlation for t in trials]) >= 0.95
    errors = [e for t in trials for e in t.gap_error_mm]
    assert not errors or rms(errors) <= 1.5


@pytest.mark.parametrize("gap", [False, True])
def test_a_few_rhythms_come_back(gap: bool) -> None:
    """A tightening rhythm correlates through its gaps too, an even one only where it was read."""
    rhythms, seeds = ([Rhythm.TIGHTENING], (0, 1)) if gap else (list(Rhythm), (0,))
    check_joints([trial(rhythm, seed, gap=gap, ruled=True) for rhythm in rhythms for seed in seeds])


@pytest.mark.parametrize("rhythm", list(Rhythm))
def test_a_few_gaps_are_filled_as_they_were(rhythm: Rhythm) -> None:
    errors = list(trial(rhythm, 7, gap=True, ruled=True).gap_error_mm)
    assert errors
    assert rms(errors) <= 1.5


@pytest.mark.parametrize(("seed", "moved"), [(0, False), (2, False), (0, True)])
def test_standing_bricks_are_drawn_nearer_to_the_truth_than_surveyed(seed: int, moved: bool) -> None:
    against = trial(Rhythm.EVEN, seed, gap=True, ruled=True, moved=moved).repair
    assert against is not None
    assert against.corner_mm < 0.7 * against.surveyed_mm
    assert against.correlation > 0.95 > 0.6 > against.surveyed_correlation
    assert against.soffit_mm < 1.5


@pytest.mark.parametrize("rhythm", list(Rhythm))
def test_a_plan_over_a_gap_is_as_good_as_it_can_be(rhythm: Rhythm) -> None:
    """How a lost joint departed from the pattern nobody can know: the correlation has a bound."""
    done = trial(rhythm, 2, gap=True, ruled=True)
    assert done.correlation > done.best_correlation - 0.02


@pytest.mark.parametrize("rhythm", [Rhythm.EVEN, Rhythm.ALTERNATING])
def test_a_few_uncounted_gaps_are_counted(rhythm: Rhythm) -> None:
    assert trial(rhythm, 2000, gap=True, ruled=True, counted=False).count_right


@pytest.mark.slow
def test_many_rhythms_come_back() -> None:
    for gap in (False, True):
        done = [trial(rhythm, seed, gap=gap, ruled=True) for rhythm in Rhythm for seed in range(15)]
        assert np.mean([t.count_right for t in done]) >= 0.95
        if not gap:
            assert np.median([t.correlation for t in done]) >= 0.95
        assert not gap or rms([e for t in done for e in t.gap_error_mm]) <= 1.5
