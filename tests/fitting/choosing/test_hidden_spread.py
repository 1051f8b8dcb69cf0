"""A still half-span widened by the chance of a spread."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.simulated import ArchSpec, TrueMovement, simulate

from survey import curves
from survey.curves import Family
from survey.fitting import FitOptions, fit_arch
from survey.fitting.choosing.candidates import FinalFit, final_fit
from survey.fitting.choosing.hidden_spread import with_hidden_spread
from survey.fitting.choosing.hypotheses import weigh_hypotheses
from survey.fitting.choosing.movement import moments_of
from survey.fitting.choosing.movement_fit import MovedFit
from survey.fitting.mechanism.hinge_choices import Depths
from survey.fitting.sightings import sightings_of

SPEC = ArchSpec(curves.elliptical(2400.0, 800.0), n_courses=60, gross_ratio=0.0)
SMALL = TrueMovement(9.0, 0.0, 0.48)


@pytest.fixture(scope="module")
def both() -> tuple[FinalFit, MovedFit]:
    seen = sightings_of(simulate(replace(SPEC, movement=SMALL), 3).record)
    weighed = weigh_hypotheses(seen, None, Depths(240.0, 240.0), FitOptions())
    return final_fit(weighed.stills[Family.ELLIPTICAL], weighed.ground), weighed.moved[Family.ELLIPTICAL]


@pytest.mark.parametrize("probability", [0.0, 0.1, 0.4, 1.0])
def test_the_variance_is_that_of_a_draw_from_both(
    both: tuple[FinalFit, MovedFit], probability: float
) -> None:
    final, moved = both
    mean, covariance = moments_of(moved)
    rng = np.random.default_rng(1)
    n = 400_000
    has_moved = rng.random(n) < probability
    still_sigma, moved_sigma = np.sqrt(final.covariance[2, 2]), np.sqrt(covariance[2, 2])
    drawn = np.where(
        has_moved,
        rng.normal(mean[2], moved_sigma, n),
        rng.normal(final.parameters[2], still_sigma, n),
    )
    found = with_hidden_spread(final, moved, probability)
    about = np.mean((drawn - final.parameters[2]) ** 2)
    assert found.covariance[2, 2] == pytest.approx(about, rel=0.02)


def test_only_the_half_span_changes(both: tuple[FinalFit, MovedFit]) -> None:
    final, moved = both
    found = with_hidden_spread(final, moved, 0.3)
    changed = found.covariance != final.covariance
    assert np.argwhere(changed).tolist() == [[2, 2]]
    assert np.all(np.linalg.eigvalsh(found.covariance) > 0)
    assert found.parameters is final.parameters


def test_a_half_span_known_better_of_the_moved_arch_leaves_a_covariance(
    both: tuple[FinalFit, MovedFit],
) -> None:
    final, moved = both
    correlated = np.full_like(final.covariance, 0.99) + 0.01 * np.eye(len(final.covariance))
    wide = replace(final, covariance=1e4 * correlated)
    found = with_hidden_spread(wide, moved, 0.9)
    assert found.covariance[2, 2] < wide.covariance[2, 2]
    assert np.all(np.linalg.eigvalsh(found.covariance) > 0)


def test_an_arch_whose_spread_is_not_told_owns_to_a_wider_half_span() -> None:
    """About the limit of what shows the half-span is within twice its sigma of the original's."""
    off = []
    for seed in range(12):
        fit = fit_arch(simulate(replace(SPEC, movement=SMALL), seed).record)
        plain = fit_arch(simulate(replace(SPEC, movement=SMALL), seed).record, FitOptions(movement=False))
        if fit.movement is None and fit.verdict.family is Family.ELLIPTICAL:
            half = fit.candidates[Family.ELLIPTICAL].figures["half_span_mm"]
            alone = plain.candidates[Family.ELLIPTICAL].figures["half_span_mm"]
            assert half.sigma >= alone.sigma
            off.append([abs(half.value - 1200.0) / half.sigma, abs(alone.value - 1200.0) / alone.sigma])
    assert len(off) >= 5
    with_it, without = np.median(off, axis=0)
    assert with_it < 0.8 * without
