"""Gains of hinges in closed form, where the motion can be told and where rounding leaves it singular."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.simulated import ArchSpec, TrueMovement, simulate

from survey import curves
from survey.fitting import fit_arch
from survey.fitting.choosing import first_look, held_hinges, movement_fit, task
from survey.fitting.choosing.movement_fit import fit_moved
from survey.fitting.families.priors import LikelyMotion
from survey.fitting.mechanism.hinge_search import Gains, MotionProducts, motion_gains
from survey.fitting.solving.evidence import Average

SETTLES = LikelyMotion(np.array([12.0, 0.0]), np.array([8.0, 6.0]), 0.0)
SPREADS = LikelyMotion(np.array([12.0, 0.0]), np.array([8.0, 0.0]), 0.0)
N_NUMBERS, N_HINGES = 3, 5


def products_of(seed: int = 0) -> tuple[MotionProducts, Average, np.ndarray]:
    """Products and average of random columns of one scatter, and the whole normal matrices (h, c, c)."""
    rng = np.random.default_rng(seed)
    columns = rng.normal(size=(40, 1 + N_NUMBERS))
    columns[:, 0] *= 3.0
    moved = rng.normal(size=(40, N_HINGES, 2))
    gram = columns.T @ columns
    covariance = np.linalg.inv(gram[1:, 1:])
    shift = -covariance @ gram[0, 1:]
    whole = np.stack(
        [np.hstack([columns, moved[:, h]]).T @ np.hstack([columns, moved[:, h]]) for h in range(N_HINGES)]
    )
    products = MotionProducts(
        np.einsum("nc,nhm->chm", columns, moved)[None], np.einsum("nha,nhb->hab", moved, moved)[None]
    )
    return products, Average(np.zeros(1), shift[None], covariance[None]), whole


@pytest.mark.parametrize("likely", [SETTLES, SPREADS], ids=["settles", "spreads"])
def test_gains_are_those_of_the_whole_system_solved_at_once(likely: LikelyMotion) -> None:
    products, still, whole = products_of()
    gains = motion_gains(products, still, likely)
    free = np.flatnonzero(likely.sigma_mm > 0)
    index = np.concatenate([np.arange(1, 1 + N_NUMBERS), 1 + N_NUMBERS + free])
    power = np.diag(likely.sigma_mm[free] ** -2.0)
    for h in range(N_HINGES):
        matrix, vector = whole[h][np.ix_(index, index)], -whole[h][0, index]
        matrix[N_NUMBERS:, N_NUMBERS:] += power
        vector[N_NUMBERS:] += power @ likely.mean_mm[free]
        solved = np.linalg.solve(matrix, vector)
        assert gains.motion[0, h, free] == pytest.approx(solved[N_NUMBERS:])
        inverse = np.linalg.inv(matrix)[N_NUMBERS:, N_NUMBERS:]
        assert gains.covariance[0, h][np.ix_(free, free)] == pytest.approx(inverse)
        # Completing squares: what the motions add to the exponent, and the shrinking of their volume.
        still_matrix = whole[h][1 : 1 + N_NUMBERS, 1 : 1 + N_NUMBERS]
        still_vector = -whole[h][0, 1 : 1 + N_NUMBERS]
        gain = vector @ solved - still_vector @ np.linalg.solve(still_matrix, still_vector)
        gain -= likely.mean_mm[free] @ power @ likely.mean_mm[free]
        gain += np.linalg.slogdet(still_matrix)[1] + np.linalg.slogdet(power)[1]
        gain -= np.linalg.slogdet(matrix)[1]
        assert gains.log_gain[0, h] == pytest.approx(gain / 2)


@pytest.mark.parametrize("likely", [SETTLES, SPREADS], ids=["settles", "spreads"])
def test_hinges_whose_motion_is_lost_in_rounding_weigh_nothing(likely: LikelyMotion) -> None:
    products, still, _ = products_of()
    before = motion_gains(products, still, likely)
    # Only the prior speaks of the motion about hinge 2, and rounding has taken that away too.
    own, cross = products.own.copy(), products.cross.copy()
    own[0, 2] = -np.diag(np.where(likely.sigma_mm > 0, np.maximum(likely.sigma_mm, 1.0) ** -2.0, 0.0))
    cross[0, :, 2] = 0.0
    gains = motion_gains(MotionProducts(cross, own), still, likely)
    assert gains.log_gain[0, 2] == -np.inf
    assert np.all(gains.motion[0, 2] == 0.0)
    assert np.all(gains.covariance[0, 2] == 0.0)
    others = [0, 1, 3, 4]
    assert np.all(np.isfinite(gains.log_gain[0, others]))
    for now, was in zip(gains, before, strict=True):
        assert now[0, others] == pytest.approx(was[0, others])


def test_an_arch_of_which_no_motion_can_be_told_stands_still(monkeypatch: pytest.MonkeyPatch) -> None:
    spec = ArchSpec(curves.semicircular(1200.0), n_courses=60, gross_ratio=0.0)
    record = simulate(spec, 3).record
    tried = []

    def lost(*args: object) -> Gains:
        gains = motion_gains(*args)  # type: ignore[arg-type]
        return gains._replace(log_gain=np.full_like(gains.log_gain, -np.inf))

    def watched(*args: object) -> object:
        found = fit_moved(*args)  # type: ignore[arg-type]
        tried.append(found)
        return found

    real = first_look.look_for_hinges
    monkeypatch.setattr(task, "fit_moved", watched)
    monkeypatch.setattr(task, "look_for_hinges", lambda *a: replace(real(*a), log_evidence=0.0))
    monkeypatch.setattr(held_hinges, "motion_gains", lost)
    # The first look is left as it is, so that moved arches are tried.
    monkeypatch.setattr(first_look, "_crowns", lambda *_: np.array([0.5]))
    fit = fit_arch(record)
    assert tried
    assert tried == [None] * len(tried)
    assert fit.movement is None


def test_joints_about_which_nothing_can_be_told_leave_the_hinges_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    shape = curves.elliptical(2400.0, 800.0)
    record = simulate(
        ArchSpec(shape, n_courses=60, movement=TrueMovement(24.0, 0.0, 0.45, 0.18, 0.0)), 3
    ).record
    found = fit_arch(record).movement
    nothing = movement_fit._those_that_matter
    monkeypatch.setattr(
        movement_fit, "_those_that_matter", lambda *a: nothing(*a).take(np.empty(0, dtype=int))
    )
    alike = fit_arch(record).movement
    assert found is not None
    assert alike is not None
    assert alike.spread_mm.value == pytest.approx(found.spread_mm.value, abs=2 * found.spread_mm.sigma)
