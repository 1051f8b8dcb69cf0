"""Where hinges are looked for: every choice is possible, and the shares of all make a whole."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logsumexp

from survey.fitting.mechanism.hinge_choices import (
    CROWN_SHARES,
    HAUNCH_SHARES,
    Depths,
    HingeChoices,
    choices_at_joints,
    coarse_choices,
    finer_choices,
    first_choices,
)
from survey.fitting.mechanism.joint_gaps import JointGaps

JOINTS = JointGaps(np.linspace(0.01, 0.99, 61), np.zeros(61), np.zeros(61))


def within_reach(choices: HingeChoices) -> bool:
    low, high = CROWN_SHARES
    lower = np.concatenate([choices.left, 1 - choices.right])
    haunch = lower[lower > 0]
    return bool(
        np.all((choices.crown >= low - 1e-12) & (choices.crown <= high + 1e-12))
        and np.all((haunch >= HAUNCH_SHARES[0] - 1e-9) & (haunch <= HAUNCH_SHARES[1] + 1e-9))
    )


@pytest.mark.parametrize("flat", [False, True])
def test_first_choices_share_one_whole(flat: bool) -> None:
    choices = first_choices(flat=flat)
    assert logsumexp(choices.log_prior) == pytest.approx(0.0, abs=1e-9)
    assert within_reach(choices)
    assert np.all(choices.depth_mm == 0.0)
    assert flat == bool(np.all(choices.left == 0.0))


def test_coarse_choices_stand_at_joints_near_the_likely_crown() -> None:
    choices = coarse_choices(JOINTS, np.array([0.45]), flat=False, depths=Depths(240.0, 240.0))
    assert within_reach(choices)
    assert np.all(np.min(np.abs(choices.crown[:, None] - JOINTS.share), axis=1) < 1e-12)
    assert np.abs(choices.crown - 0.45).max() < 0.09
    assert set(choices.depth_mm) == {0.0, 240.0}
    # Nine joints of a pitch each out of the middle third, and everything else in full.
    pitch = 0.98 / 60
    assert np.exp(logsumexp(choices.log_prior)) == pytest.approx(
        9 * pitch / np.diff(CROWN_SHARES)[0], rel=1e-9
    )


def test_two_likely_crowns_are_both_looked_at() -> None:
    choices = coarse_choices(JOINTS, np.array([0.38, 0.62]), flat=True, depths=Depths(0.0, 0.0))
    assert choices.crown.min() < 0.4
    assert choices.crown.max() > 0.6
    assert set(choices.depth_mm) == {0.0}


def test_without_joints_places_stand_a_little_apart() -> None:
    nothing = JointGaps(np.empty(0), np.empty(0), np.empty(0))
    crown = np.unique(coarse_choices(nothing, np.array([0.5]), flat=True, depths=Depths(0.0, 0.0)).crown)
    assert np.diff(crown).max() <= 0.03 + 1e-12


def test_finer_choices_keep_what_is_likely() -> None:
    coarse = coarse_choices(JOINTS, np.array([0.5]), flat=False, depths=Depths(240.0, 240.0))
    log_weight = np.where((np.abs(coarse.left - 0.17) < 1e-9) & (coarse.right == 1.0), 0.0, -30.0)
    finer = finer_choices(coarse, log_weight)
    assert within_reach(finer)
    assert np.all(finer.right == 1.0)
    assert np.all(np.abs(finer.left - 0.17) < 0.075)
    assert len(np.unique(finer.left)) >= 4
    assert len(np.unique(finer.crown)) == len(np.unique(coarse.crown))


def test_choices_can_be_picked() -> None:
    choices = first_choices(flat=False)
    picked = choices.take(np.array([5, 2]))
    assert picked.crown.tolist() == choices.crown[[5, 2]].tolist()


def likely(left: float, crown: float, right: float) -> tuple[HingeChoices, HingeChoices]:
    """Coarse choices, and of the finer ones those that matter when hinges are known to a course or two."""

    def log_weight(choices: HingeChoices) -> np.ndarray:
        off = np.stack([choices.left - left, choices.crown - crown, choices.right - right])
        return np.asarray(-0.5 * np.sum((off / 0.015) ** 2, axis=0))

    coarse = coarse_choices(JOINTS, np.array([crown]), flat=False, depths=Depths(240.0, 240.0))
    finer = finer_choices(coarse, log_weight(coarse))
    weight = log_weight(finer)
    return coarse, finer.take(np.flatnonzero(weight > weight.max() - 5))


def test_likely_haunch_hinges_are_told_joint_by_joint() -> None:
    coarse, finer = likely(0.185, 0.45, 1.0)
    choices = choices_at_joints(coarse, finer, JOINTS, flat=False)
    haunch = np.unique(choices.left)
    known = np.append(JOINTS.share, HAUNCH_SHARES)
    assert np.all(np.min(np.abs(haunch[:, None] - known), axis=1) < 0.015)  # at joints, or between far ones
    assert np.min(np.abs(haunch - 0.185)) < 0.006
    assert np.all(choices.right == 1.0)
    assert set(choices.depth_mm) == {0.0, 240.0}
    # Nothing far from what the finer round left likely.
    assert np.max(np.min(np.abs(haunch[:, None] - np.unique(finer.left)), axis=1)) < 0.03
    # One haunch's share of the prior is that of its stretch of the arch.
    middle = len(haunch) // 2
    one = choices.left == haunch[middle]
    step = (haunch[middle + 1] - haunch[middle - 1]) / 2
    of_crowns = len(np.unique(choices.crown[one])) * 0.98 / 60 / np.diff(CROWN_SHARES)[0]
    expected = of_crowns * 0.5 * step / np.diff(HAUNCH_SHARES)[0] * 0.5
    assert np.exp(logsumexp(choices.log_prior[one])) == pytest.approx(expected, rel=1e-6)


def test_hinges_at_the_springings_stay_there() -> None:
    coarse, finer = likely(0.0, 0.45, 1.0)
    choices = choices_at_joints(coarse, finer, JOINTS, flat=False)
    assert np.all(choices.left == 0.0)
    assert np.all(choices.right == 1.0)
    assert np.sort(choices.log_prior) == pytest.approx(np.sort(finer.log_prior)[-len(choices.crown) :])


def test_haunches_and_springings_are_followed_side_by_side() -> None:
    coarse, finer = likely(0.17, 0.45, 1.0)
    springing = finer.take(np.arange(1))._replace(left=np.zeros(1))
    both = HingeChoices(*(np.concatenate(pair) for pair in zip(finer[:5], springing[:5], strict=True)))
    choices = choices_at_joints(coarse, both, JOINTS, flat=False)
    places = np.stack(choices[:4])
    assert np.unique(places, axis=1).shape == places.shape
    assert set(choices.left) > {0.0}
    alone = choices_at_joints(coarse, finer, JOINTS, flat=False)
    assert len(choices.left) == len(alone.left) + len(np.unique(both.crown)) * 2


def test_three_hinges_stand_apart() -> None:
    coarse, finer = likely(0.31, 0.32, 1.0)
    choices = choices_at_joints(coarse, finer, JOINTS, flat=False)
    assert np.min(choices.crown - choices.left) > 0.03


def test_hinges_at_one_joint_are_the_same_though_seen_from_elsewhere() -> None:
    _, finer = likely(0.17, 0.45, 1.0)
    assert finer.same_places(finer._replace(left=finer.left + 1e-4))
    assert not finer.same_places(finer._replace(left=finer.left + 0.01))
    assert not finer.same_places(finer._replace(depth_mm=240.0 - finer.depth_mm))


def test_joints_read_in_one_place_are_one_place() -> None:
    share = np.sort(np.append(JOINTS.share, [CROWN_SHARES[0], JOINTS.share[30], JOINTS.share[10]]))
    twice = JointGaps(share, np.zeros(64), np.zeros(64))
    choices = coarse_choices(twice, np.array([0.33, 0.5]), flat=False, depths=Depths(240.0, 240.0))
    assert np.isfinite(choices.log_prior).all()
    finer = choices.take(np.flatnonzero(choices.left > 0)[:1])._replace(left=JOINTS.share[10:11])
    assert np.isfinite(choices_at_joints(choices, finer, twice, flat=False).log_prior).all()
