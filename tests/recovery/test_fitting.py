"""A slice of the recovery run of the fits; the full run is ``python -m recovery.run`` (see RESULTS.md)."""

from __future__ import annotations

import numpy as np
from recovery.measures import Recovered, coverage
from recovery.run import run, run_side_by_side, tell

N_ARCHES = 60
SEED = 99


def test_a_slice_of_the_recovery_run() -> None:
    """Bounds that a fit within the full run's goals misses less than once in a thousand such slices."""
    found = list(run(N_ARCHES, SEED))
    still = [r for r in found if r.kind == "still"]
    spread = [r for r in found if r.kind.startswith("spread")]
    other = [r for r in found if r.family is None]
    assert (len(still), len(spread), len(other)) == (24, 24, 12)
    assert sum(r.right for r in still) >= 20
    assert not any(r.clear and not r.right for r in still)
    assert sum(r.right for r in spread) >= 17
    assert sum(r.clear and not r.right for r in spread) <= 3
    assert sum(r.claims_movement for r in still) <= 4
    assert sum(r.claims_movement for r in spread) >= 12
    assert sum(r.none for r in other) >= 9
    pairs = [pair for r in found for pair in r.figures.values()]
    assert len(pairs) > 100
    assert coverage(pairs) > 0.85
    moved = [r for r in spread if r.claims_movement]
    assert np.median(np.abs([r.crown_courses for r in moved])) < 2.0
    assert "| still: right family | 24 |" in tell(found, SEED)


def test_arches_fitted_side_by_side_are_the_same() -> None:
    one_by_one = list(run(4, SEED))
    side_by_side = run_side_by_side(4, SEED, 2)
    for one, other in zip(one_by_one, side_by_side, strict=True):
        assert other.said is one.said
        assert other.figures == one.figures


def test_coverage_counts_errors_within_their_interval() -> None:
    assert coverage([(1.9, 1.0), (-1.9, 1.0), (2.1, 1.0), (-39.0, 20.0)]) == 0.75


def test_an_answer_of_none_is_never_right() -> None:
    wrong = next(r for r in run(15, SEED) if r.family is None)
    assert isinstance(wrong, Recovered)
    assert not wrong.right
