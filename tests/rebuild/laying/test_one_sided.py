"""A ring gone up on one side is told; one brought up evenly, or a haunch's gap, is not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest
from rebuild.factory import fit, record, ring

from survey.curves import segmental
from survey.rebuild import BrickKind, RingPlan, plan_rebuild
from survey.rebuild.laying.one_sided import one_sided_warnings
from survey.record.model import JointLimits

SHAPE = segmental(2400.0, 400.0)


def whole(count: int) -> RingPlan:
    rec = record((ring(1, count),), joints=JointLimits(4.0, 20.0, 60.0))
    return plan_rebuild(rec, fit(SHAPE, rec)).rings[0]


def with_bricks(one: RingPlan, *, laid: Iterable[int], standing: Iterable[int] = ()) -> RingPlan:
    up, stood = set(laid), set(standing)
    return replace(
        one,
        bricks=tuple(
            replace(b, laid=b.course in up, kind=BrickKind.IN_SITU if b.course in stood else b.kind)
            for b in one.bricks
        ),
    )


@pytest.mark.parametrize("count", [42, 43])
def test_one_side_ahead_is_told_with_the_side_to_bring_up(count: int) -> None:
    one = whole(count)
    (told,) = one_sided_warnings(with_bricks(one, laid=range(1, 16)))
    assert told.startswith("Ring 1: 15 courses are up on the left and 0 on the right")
    assert "bring up the right side before anything else" in told
    (told,) = one_sided_warnings(with_bricks(one, laid=[1, *range(count - 3, count + 1)]))
    assert "bring up the left side" in told


@pytest.mark.parametrize("count", [42, 43])
def test_sides_two_courses_apart_and_a_closed_ring_are_not(count: int) -> None:
    one = whole(count)
    assert one_sided_warnings(with_bricks(one, laid=[1, 2, 3, count])) == ()
    assert one_sided_warnings(with_bricks(one, laid=range(1, count + 1))) == ()


def test_a_gap_at_a_haunch_or_off_the_middle_has_no_other_side() -> None:
    one = whole(43)
    haunch = {*range(1, 6), *range(16, 44)}
    assert one_sided_warnings(with_bricks(one, laid=range(6, 12), standing=haunch)) == ()
    leaning = {*range(1, 11), *range(24, 44)}  # of the gap over the crown one course lies right of the middle
    assert one_sided_warnings(with_bricks(one, laid=[*range(11, 20), 23], standing=leaning)) == ()
