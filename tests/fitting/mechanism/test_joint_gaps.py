"""Joints told from surveyed edges, and the one that stands open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from survey.fitting.mechanism.joint_gaps import JointGaps, Sighted, joint_gaps
from survey.fitting.sightings import Sightings
from survey.record.model import UNKNOWN, KnownDimensions

PITCH = 60.0


def straight(
    joints: np.ndarray, *, missing: tuple[int, ...] = (), numbered: bool = True
) -> tuple[Sightings, Sighted, np.ndarray]:
    """Courses of 50 mm bricks along a level soffit, with joints (j,) between them."""
    left = np.concatenate([[0.0], np.cumsum(50.0 + joints)])
    x = np.stack([left, left + 50.0], axis=1).ravel()
    n = len(x)
    course = np.repeat(np.arange(1, len(left) + 1), 2)
    keep = ~np.isin(course, missing)
    seen = Sightings(
        index=np.flatnonzero(keep),
        xy_mm=np.column_stack([x, np.zeros(n)])[keep],
        sigma_mm=np.ones(n)[keep],
        course=(course if numbered else np.full(n, UNKNOWN))[keep],
        edge=np.tile([-1, 1], n // 2)[keep],
        end=np.zeros(n, dtype=np.int64)[keep],
        end_sigma_mm=np.full(n, np.inf)[keep],
        centre_mm=np.zeros(2),
        known=KnownDimensions(),
        notes=(),
        last_course=None,
        end_shift_mm=np.zeros(int(keep.sum())),
    )
    middle = np.repeat(left + 25.0, 2)[keep]
    up = np.column_stack([np.zeros(len(middle)), np.ones(len(middle))])
    return seen, Sighted(seen.xy_mm, up, middle / x[-1]), np.ones(len(middle))


def test_an_open_joint_stands_out_by_what_it_opened() -> None:
    joints = 10.0 + np.random.default_rng(0).normal(0, 0.4, 40)
    joints[17] += 9.0
    gaps = joint_gaps(*straight(joints))
    assert int(np.argmax(gaps.excess_mm)) == 17
    assert gaps.excess_mm[17] == pytest.approx(9.0, abs=1.2)
    excess, power = gaps.at(gaps.share[[17, 3]] + 0.001)
    assert excess[0] == gaps.excess_mm[17]
    assert power[0] < power[1]  # so far out of line it counts for less


def test_what_a_joint_opened_is_told_by_least_squares_over_bricks_and_joints() -> None:
    # Dense: excesses of bricks and joints in order share the errors of their edges (sigma 1 mm each).
    rng = np.random.default_rng(3)
    joints = 10.0 + rng.normal(0, 1.5, 40)
    joints[22] += 5.0
    seen, sighted, weight = straight(joints)
    read = seen.xy_mm.copy()
    read[:, 0] += rng.normal(0, 1.0, len(read))
    gaps = joint_gaps(replace(seen, xy_mm=read), sighted, weight)
    widths = np.diff(read[:, 0])

    def excess_of(kind: np.ndarray) -> np.ndarray:
        around = [np.delete(kind, i)[max(i - 6, 0) : i + 6] for i in range(len(kind))]
        return kind - [np.median(a) for a in around]

    excess = np.empty(len(widths))
    excess[::2], excess[1::2] = excess_of(widths[::2]), excess_of(widths[1::2])
    varies = np.empty(len(widths))
    for kind in (0, 1):
        whole = (1.4826 * np.median(np.abs(excess[kind::2]))) ** 2
        varies[kind::2] = max(whole - 2.0, 0.25)
    covariance = np.diag(2.0 + varies) - np.eye(len(widths), k=1) - np.eye(len(widths), k=-1)
    inverse = np.linalg.inv(covariance)
    told = (inverse @ excess / np.diag(inverse))[1::2]
    assert gaps.excess_mm == pytest.approx(told, abs=1e-4)
    assert gaps.power == pytest.approx(np.diag(inverse)[1::2], rel=1e-4)


@pytest.mark.parametrize("side", [0, 1], ids=["left edge", "right edge"])
def test_an_edge_misread_along_the_soffit_opens_no_joint(side: int) -> None:
    joints = 10.0 + np.random.default_rng(0).normal(0, 0.8, 40)
    seen, sighted, weight = straight(joints)
    read = seen.xy_mm.copy()
    read[2 * 17 + side, 0] += 18.0
    gaps = joint_gaps(replace(seen, xy_mm=read), sighted, weight)
    beside = 16 + side
    assert gaps.power[beside] == 0.0
    others = np.delete(np.arange(40), beside)
    assert np.max(np.abs(gaps.excess_mm[others])) < 3.0


def test_a_joint_measured_with_a_rule_is_surer_than_its_surveyed_edges() -> None:
    rng = np.random.default_rng(8)
    joints = 10.0 + rng.normal(0, 0.5, 40)
    joints[25] += 4.0
    seen, sighted, weight = straight(joints)
    read = seen.xy_mm + rng.normal(0, 2.0, seen.xy_mm.shape)
    surveyed = joint_gaps(replace(seen, xy_mm=read), sighted, weight)
    noted = {k + 1: float(joint) for k, joint in enumerate(joints) if k != 30}
    ruled = joint_gaps(replace(seen, xy_mm=read, noted_joint_mm=noted), sighted, weight)
    assert ruled.excess_mm[25] == pytest.approx(4.0, abs=0.8)
    assert ruled.power[10] > 3 * surveyed.power[10]
    # One that was not measured so is told by its edges.
    assert ruled.excess_mm[30] == surveyed.excess_mm[30]
    assert ruled.power[30] == surveyed.power[30]


def test_a_few_joints_noted_tell_no_rhythm() -> None:
    seen, sighted, weight = straight(np.full(40, 10.0))
    few = joint_gaps(replace(seen, noted_joint_mm={3: 25.0, 4: 10.0}), sighted, weight)
    assert few.excess_mm == pytest.approx(joint_gaps(seen, sighted, weight).excess_mm)


def test_no_joint_is_told_across_a_gap_or_beyond_the_ring() -> None:
    gaps = joint_gaps(*straight(np.full(40, 10.0), missing=(20, 21, 22)))
    across = int(np.argmax(np.diff(gaps.share)))
    assert len(gaps.share) == 37
    assert np.count_nonzero(gaps.power == 0.0) == 1
    assert gaps.power[across] == 0.0 or gaps.power[across + 1] == 0.0
    assert gaps.at(np.array([1.6]))[1].tolist() == [0.0]


def test_a_gross_edge_tells_nothing() -> None:
    seen, sighted, weight = straight(np.full(40, 10.0))
    weight[2 * 12 + 1] = 0.0
    gaps = joint_gaps(seen, sighted, weight)
    assert gaps.power[12] == 0.0
    assert gaps.power[11] > 0.0


def test_without_numbers_or_with_few_courses_there_are_no_joints() -> None:
    assert len(joint_gaps(*straight(np.full(40, 10.0), numbered=False)).share) == 0
    few = joint_gaps(*straight(np.full(4, 10.0)))
    assert np.all(few.power == 0.0)
    one = joint_gaps(*straight(np.empty(0)))
    assert len(one.share) == 0
    assert one.at(np.array([0.5]))[1].tolist() == [0.0]


def test_a_handful_of_gaps_is_a_value() -> None:
    gaps = JointGaps(np.array([0.2, 0.4, 0.6]), np.array([1.0, 2.0, 3.0]), np.ones(3))
    assert gaps.at(np.array([0.41, 0.58]))[0].tolist() == [2.0, 3.0]
