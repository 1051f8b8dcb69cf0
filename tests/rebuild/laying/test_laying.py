"""The order of laying: balance, completeness, marks and bevels recomputed from the corners."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rebuild.works_factory import record_of, ring_of, ring_record

from survey.curves import curve_of, elliptical, segmental, semicircular
from survey.errors import PlanError
from survey.rebuild.centring.centring import plan_centring
from survey.rebuild.laying.laying import dry_lay, laying_notes, order_laying
from survey.rebuild.plan import BrickKind, LayingStep, RingPlan


def laid(shape, *rings: RingPlan) -> tuple[LayingStep, ...]:
    return order_laying(rings, plan_centring(shape, rings, record_of(ring_record())), shape)


@settings(max_examples=40, deadline=None)
@given(
    n=st.integers(3, 46),
    gaps=st.sets(st.integers(1, 46)),
    turned=st.booleans(),
    shape=st.sampled_from([semicircular(1000), segmental(2600, 500), elliptical(2400, 800)]),
)
def test_every_brick_that_is_not_standing_is_laid_once(n, gaps, turned, shape):
    standing = tuple(sorted(set(range(1, n + 1)) - gaps))
    ring = ring_of(shape, np.full(n, 50.0), in_situ=standing, turn_rad=math.pi / 4 if turned else 0.0)
    steps = laid(shape, ring)
    assert sorted(s.course for s in steps) == sorted(c for c in gaps if c <= n)
    assert [s.step for s in steps] == list(range(1, len(steps) + 1))


@pytest.mark.parametrize("n", [42, 43])
@pytest.mark.parametrize("shape", [semicircular(1000), elliptical(2000, 600)])
def test_a_plain_ring_goes_up_on_both_sides_alike(n, shape):
    steps = laid(shape, ring_of(shape, np.full(n, 50.0)))
    left = np.cumsum([s.side == "left" for s in steps[:-1]])
    right = np.cumsum([s.side == "right" for s in steps[:-1]])
    assert np.abs(left - right).max() <= 1
    assert [s.course for s in steps if s.side == "left"] == sorted(
        s.course for s in steps if s.side == "left"
    )
    assert steps[-1].side == "key"
    assert "try it dry" in steps[-1].check
    assert steps[-1].course == 22


def test_a_turned_ring_goes_outwards_from_the_middle():
    for n, first in ((23, ["middle", "left", "right"]), (24, ["left", "right", "left"])):
        steps = laid(
            semicircular(1215), ring_of(semicircular(1215), np.full(n, 140.0), depth=103.0, turn_rad=0.7)
        )
        assert [s.side for s in steps[:3]] == first
        out = [s.from_crown_mm for s in steps]
        assert out == sorted(out) or np.all(np.diff(out) > -1e-6)
        assert {s.bevel_rad for s in steps} == {0.7}
        assert "both ends alike" in steps[-1].check
        ends = [s.from_springing_mm for s in steps[-2:]]
        assert ends[0] == pytest.approx(ends[1], abs=1e-6)


def test_a_turned_brick_without_a_fellow_is_checked_by_itself():
    shape = semicircular(1215)
    standing = tuple(c for c in range(1, 24) if c not in (4, 5))
    steps = laid(shape, ring_of(shape, np.full(23, 140.0), depth=103.0, turn_rad=0.7, in_situ=standing))
    assert [s.course for s in steps] == [5, 4]
    assert all("second person: mark, turn and joint" in s.check for s in steps)


def test_rings_are_laid_from_the_opening_outwards():
    shape = semicircular(1000)
    rings = [
        ring_of(shape, np.full(46, 65.0), ring=2, depth=102.5, inner_mm=112.5),
        ring_of(shape, np.full(41, 65.0), ring=1, depth=102.5),
    ]
    steps = laid(shape, *rings)
    assert [s.ring for s in steps] == [1] * 41 + [2] * 46
    assert {s.depth_gauge_mm for s in steps if s.ring == 2} == {215.0}
    assert "smooth face down" in steps[0].check
    assert not any("smooth face down" in s.check for s in steps if s.ring == 2)


def test_running_marks_are_those_of_the_free_edge():
    shape = segmental(2400, 400)
    ring = ring_of(shape, np.full(43, 50.0))
    length = curve_of(shape).length_mm
    for step in laid(shape, ring):
        brick = ring.bricks[step.course - 1]
        expected = {
            "left": brick.station_end_mm,
            "right": length - brick.station_start_mm,
            "key": brick.station_start_mm,
        }[step.side]
        assert step.from_springing_mm == pytest.approx(expected, abs=1e-6)
        assert step.from_springing_mm + step.from_crown_mm == pytest.approx(length / 2, abs=1e-6)


def test_bevels_of_a_cut_ring_point_to_the_middle_of_the_joint_above():
    """With parallel joints the upper bed is the normal through the middle of the joint above it."""
    shape = segmental(2400, 400)
    ring = ring_of(shape, np.full(43, 50.0), cut=True)
    for step in laid(shape, ring)[:-1]:
        brick = ring.bricks[step.course - 1]
        from_left = (
            brick.station_end_mm + brick.joint_after_intrados_mm / 2
            if step.side == "left"
            else curve_of(shape).length_mm - brick.station_start_mm + brick.joint_after_intrados_mm / 2
        )
        assert step.bevel_rad == pytest.approx(math.pi / 2 - math.asin(0.6) + from_left / 2000, abs=1e-9)


def test_joints_below_and_above_are_on_the_springing_and_crown_side():
    shape = semicircular(1000)
    n = 39
    joints = np.linspace(20.0, 10.0, n + 1)
    widths = np.full(n, (curve_of(shape).length_mm - joints.sum()) / n)
    steps = laid(shape, ring_of(shape, widths, joints=joints))
    for step in steps:
        before, after = joints[step.course - 1], joints[step.course]
        expected = (after, before) if step.side == "right" else (before, after)
        assert (step.joint_below_mm, step.joint_above_mm) == pytest.approx(expected)


def test_a_second_person_checks_the_first_pair_every_fifth_the_last_and_the_key():
    shape = semicircular(1000)
    steps = laid(shape, ring_of(shape, np.full(43, 50.0)))
    stops = [s.step for s in steps if s.stop]
    assert stops == [2, 10, 20, 30, 40, 42, 43]
    assert all("second person" in s.check for s in steps if s.stop)
    assert "the gap for the key" in steps[41].check


def test_the_last_brick_under_a_standing_one_is_tried_dry():
    shape = semicircular(1000)
    standing = tuple(c for c in range(1, 44) if not (8 <= c <= 12 or 30 <= c <= 33))
    steps = laid(shape, ring_of(shape, np.full(43, 50.0), in_situ=standing))
    assert [s.course for s in steps if s.side == "left"] == [8, 9, 10, 11, 12]
    assert [s.course for s in steps if s.side == "right"] == [33, 32, 31, 30]
    closing = [s for s in steps if "closes a gap" in s.check]
    assert sorted(s.course for s in closing) == [12, 30]
    assert all(s.stop for s in closing)
    assert not any(s.side == "key" for s in steps)


def test_a_gap_over_the_crown_has_a_key():
    shape = semicircular(1000)
    standing = tuple(c for c in range(1, 44) if not 19 <= c <= 24)
    steps = laid(shape, ring_of(shape, np.full(43, 50.0), in_situ=standing))
    assert [s.course for s in steps] == [19, 24, 20, 23, 21, 22]
    assert steps[-1].side == "key"


def test_springers_are_set_to_their_skewback():
    steps = laid(segmental(2400, 400), ring_of(segmental(2400, 400), np.full(43, 50.0)))
    assert "springer: skewback rising 53.1° to the left, joint with the spacer" in steps[0].check
    assert "springer: skewback rising 53.1° to the right, joint with the spacer" in steps[1].check
    level = laid(semicircular(1000), ring_of(semicircular(1000), np.full(43, 50.0)))
    assert "level bed under it" in level[0].check
    assert "level bed under it" in level[1].check


def test_the_skewbacks_of_a_tilted_arch_differ_left_and_right():
    """A semicircle whose right springing stands 1 degree higher: the beds follow the springing line."""
    shape = replace(semicircular(1000), tilt_rad=math.radians(1.0))
    left, right, *_ = laid(shape, ring_of(shape, np.full(43, 50.0)))
    assert "skewback falling 1° to the left" in left.check
    assert "skewback rising 1° to the right" in right.check


def test_where_each_brick_comes_from_is_said():
    ring = ring_of(semicircular(1000), np.full(43, 50.0), sources={1: "original", 2: "S7"})
    ring = replace(ring, bricks=tuple(replace(b, templet="A" if b.course == 3 else "") for b in ring.bricks))
    said = {s.course: s.check for s in laid(semicircular(1000), ring)}
    assert said[1].startswith("the original of this place; ")
    assert said[2].startswith("saved brick S7; ")
    assert said[3].startswith("new, templet A; ")
    assert said[4].startswith("new; ")


def test_dry_laying_runs_from_the_crown_outwards_on_both_sides():
    for n in (42, 43):
        shape = elliptical(2000, 600)
        ring = ring_of(shape, np.full(n, 50.0))
        rows = dry_lay(ring)
        half = curve_of(shape).length_mm / 2
        assert len(rows) == n
        assert rows[0].side == ("middle" if n % 2 else "left")
        for side in ("left", "right"):
            own = [r for r in rows if r.side == side]
            for row, outer in pairwise(own):
                assert outer.near_mm == pytest.approx(row.far_mm + row.joint_mm, abs=1e-6)
            assert own[-1].far_mm + own[-1].joint_mm == pytest.approx(half, abs=1e-6)


def test_a_course_without_a_mark_is_refused():
    shape = semicircular(1000)
    ring = ring_of(shape, np.full(43, 50.0))
    other = ring_of(shape, np.full(20, 50.0))
    centring = plan_centring(shape, (other,), record_of(ring_record()))
    with pytest.raises(PlanError, match="course 43 of ring 1 has no mark on the centring"):
        order_laying((ring,), centring, shape)


def _gaps(n: int, *gaps: range) -> tuple[int, ...]:
    """Courses of a ring of n that stand between gaps."""
    return tuple(c for c in range(1, n + 1) if not any(c in gap for gap in gaps))


def test_one_gap_is_closed_before_the_next_is_begun():
    """A gap at the crown, one low on the right and one higher on the left: from the lowest up."""
    shape = semicircular(1000)
    ring = ring_of(shape, np.full(43, 50.0), in_situ=_gaps(43, range(10, 13), range(20, 25), range(38, 41)))
    steps = laid(shape, ring)
    assert [s.course for s in steps] == [40, 39, 38, 10, 11, 12, 20, 24, 21, 23, 22]
    assert [s.course for s in steps if "closes a gap" in s.check] == [38, 12]
    assert [s.course for s in steps if s.side == "key"] == [22]
    assert steps[0].check.startswith("gap 1 of 3, courses 38 to 40; ")
    assert steps[3].check.startswith("gap 2 of 3, courses 10 to 12; ")
    assert sum("gap " in s.check and " of 3" in s.check for s in steps) == 3
    (why,) = laying_notes([ring])
    assert "courses 38 to 40, then courses 10 to 12, then courses 20 to 24" in why
    assert "bedded again on both sides" in why


def test_a_ring_without_standing_bricks_needs_no_reason():
    assert laying_notes([ring_of(semicircular(1000), np.full(43, 50.0))]) == ()


def test_gaps_at_both_springings_go_up_together():
    """The ring bears on neither abutment until they are filled, so both sides are brought up alike."""
    shape = semicircular(1000)
    ring = ring_of(shape, np.full(43, 50.0), in_situ=_gaps(43, range(1, 4), range(15, 17), range(42, 44)))
    steps = laid(shape, ring)
    assert [s.course for s in steps] == [1, 43, 2, 42, 3, 15, 16]
    assert [s.course for s in steps if "closes a gap" in s.check] == [42, 3, 16]
    assert any("open at both springings" in note for note in laying_notes([ring]))


def test_gaps_of_a_turned_ring_are_closed_from_the_crown_outwards():
    shape = semicircular(1215)
    ring = ring_of(
        shape, np.full(23, 140.0), depth=103.0, turn_rad=0.7, in_situ=_gaps(23, range(3, 5), range(15, 18))
    )
    steps = laid(shape, ring)
    assert [s.course for s in steps] == [15, 16, 17, 4, 3]
    assert [s.course for s in steps if "closes a gap" in s.check] == [17, 3]
    assert "nearest to the crown" in laying_notes([ring])[0]


@settings(max_examples=60, deadline=None)
@given(
    n=st.integers(3, 46),
    open_=st.sets(st.integers(1, 46)),
    n_left=st.integers(0, 23),
    n_right=st.integers(0, 23),
    turned=st.booleans(),
)
def test_gap_by_gap_with_its_two_sides_level(n, open_, n_left, n_right, turned):
    """No gap is left before it is closed; within one, neither side runs more than a course ahead."""
    standing = tuple(sorted(set(range(1, n + 1)) - open_))
    shape = semicircular(1000)
    ring = ring_of(shape, np.full(n, 50.0), in_situ=standing, turn_rad=0.7 if turned else 0.0)
    if not turned:
        laid_already = {*range(1, min(n_left, n // 2) + 1), *range(n - min(n_right, n // 2) + 1, n + 1)}
        ring = replace(
            ring,
            bricks=tuple(
                replace(b, laid=b.course in laid_already and b.kind is not BrickKind.IN_SITU)
                for b in ring.bricks
            ),
        )
    steps = laid(shape, ring)
    done = {b.course for b in ring.bricks if b.laid or b.kind is BrickKind.IN_SITU}
    assert sorted(s.course for s in steps) == sorted(set(range(1, n + 1)) - done)
    gap_of, number = {}, 0
    for course in range(1, n + 1):
        number += course in standing
        if course not in standing:
            gap_of[course] = number
    if {1, n} <= set(gap_of) and not turned:
        gap_of |= {c: -1 for c, g in gap_of.items() if g in (gap_of[1], gap_of[n])}
    visits = [g for g, after in pairwise([*(gap_of[s.course] for s in steps), None]) if g != after]
    assert len(visits) == len(set(visits))
    if turned:
        return
    for before, step in pairwise(steps):
        if step.side == "key" or before.side == step.side or gap_of[before.course] != gap_of[step.course]:
            continue
        height = {"left": lambda c: c, "right": lambda c: n + 1 - c}
        # the other side is only gone to once it is no higher than this one
        assert height[step.side](step.course) <= height[before.side](before.course) + 1


def test_the_side_that_lags_is_brought_up_first():
    shape = semicircular(1000)
    ring = ring_of(shape, np.full(43, 50.0))
    ring = replace(ring, bricks=tuple(replace(b, laid=b.course <= 8) for b in ring.bricks))
    steps = laid(shape, ring)
    assert [s.course for s in steps[:11]] == [*range(43, 35, -1), 9, 35, 10]
    assert [s.step for s in steps] == list(range(1, 36))
    assert steps[-1].side == "key"
