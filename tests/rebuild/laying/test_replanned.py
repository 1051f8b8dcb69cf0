"""Replanning from marks measured while laying."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rebuild.factory import edge_survey, fit, lay, notes_from, record, ring

from survey.curves import curve_of, elliptical, segmental, semicircular
from survey.errors import PlanError
from survey.rebuild import BrickKind, RebuildPlan, RingPlan, plan_rebuild, replan
from survey.rebuild.laying.replanned import replan_rings, too_late_after
from survey.record.model import Condition, Edge, JointLimits, Laid, LaidMark, Record, SalvagedBrick

SHAPE = segmental(2400.0, 400.0)
N = 43


def mark(course: int, along: float, *, edge: Edge = Edge.RIGHT, of_ring: int = 1) -> LaidMark:
    return LaidMark(of_ring, course, edge, along, course + 1)


def base_record(*, laid: Laid = Laid.RADIAL) -> Record:
    one = ring(1, N) if laid is Laid.RADIAL else ring(1, N, laid=laid, turn_rad=0.3, brick_width_mm=48.0)
    return record((one,), joints=JointLimits(6.0, 14.0, 60.0))


def planned(rec: Record | None = None) -> RebuildPlan:
    rec = base_record() if rec is None else rec
    return plan_rebuild(rec, fit(SHAPE, rec))


def joints(one: RingPlan) -> np.ndarray:
    return np.array([one.springing_joint_intrados_mm, *(b.joint_after_intrados_mm for b in one.bricks)])


def laid_off(plan: RebuildPlan, courses: dict[int, float]) -> list[LaidMark]:
    """Right edges of courses, each off its planned place."""
    return [mark(c, plan.bricks[c - 1].station_end_mm + off) for c, off in courses.items()]


def test_what_is_laid_stays_and_the_error_is_spread_evenly() -> None:
    plan = planned()
    off = {c: 0.4 * c for c in range(1, 11)} | dict.fromkeys(range(34, 44), 0.0)
    done = replan_rings(plan.rings, laid_off(plan, off))
    one = done.rings[0]
    assert [b.course for b in one.bricks if b.laid] == [*range(1, 11), *range(34, 44)]
    for course, error in off.items():
        assert one.bricks[course - 1].station_end_mm == pytest.approx(
            plan.bricks[course - 1].station_end_mm + error
        )
        assert one.bricks[course - 1].width_intrados_mm == pytest.approx(50.0)
    still_open = joints(one)[10:34]
    assert still_open == pytest.approx(joints(plan.rings[0])[10:34] - 4.0 / 24)
    assert abs(one.closure_mm) < 1e-9
    assert not done.refusals
    assert "has left 4.0 mm less than planned" in done.notes[0]


def test_when_it_is_too_late_is_told() -> None:
    """Joints of 9.636 can go down to 6: 3.636 mm each. 24 open joints hold 87.3 mm; 60 mm need 17 of them.

    So seven bricks more may be laid to the old marks, and the eighth may not: from both ends,
    by turns, that is course 30.
    """
    plan = planned()
    off = {c: 6.0 * c for c in range(1, 11)} | dict.fromkeys(range(34, 44), 0.0)
    assert "too late from course 30 on" in replan_rings(plan.rings, laid_off(plan, off)).notes[0]
    order = [x for pair in zip(range(11, 23), range(33, 21, -1), strict=True) for x in pair]
    assert order[7] == 30


def test_an_error_that_leaves_no_room_is_refused_with_a_cure() -> None:
    plan = planned()
    off = {10: 95.0, 34: 0.0}
    done = replan_rings(plan.rings, laid_off(plan, off))
    assert len(done.refusals) == 1
    assert done.refusals[0].startswith(
        "The last brick will not fit. Ring 1, courses 11 to 33 still to be laid"
    )
    assert "22 bricks" in done.refusals[0]
    refused = replan(plan, laid_off(plan, off))
    assert refused.refusals
    assert refused.laying == ()


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_the_warning_is_true(data: st.DataObject) -> None:
    """Laying on to the old marks: up to the course told the rest can still take it up, with it no more."""
    n = data.draw(st.integers(2, 30))
    planned_mm = np.array(data.draw(st.lists(st.floats(6.0, 12.0), min_size=n + 1, max_size=n + 1)))
    k = np.arange(n)
    order = np.where(k % 2 == 0, k // 2, n - k // 2)
    error = (
        data.draw(st.floats(-1.0, 1.0))
        * 0.99
        * float(min((12.0 - planned_mm).sum(), (planned_mm - 6.0).sum()))
    )
    late = too_late_after(planned_mm, error, order, 6.0, 12.0)

    def fits(laid_to_plan: int) -> bool:
        rest = np.delete(planned_mm, order[:laid_to_plan])
        return bool(rest.size * 6.0 - 1e-6 <= rest.sum() + error <= rest.size * 12.0 + 1e-6)

    assert fits(late)
    if late < n:
        assert not fits(late + 1)


def test_unmarked_courses_below_a_mark_count_as_laid() -> None:
    plan = planned()
    done = replan_rings(plan.rings, laid_off(plan, {8: 2.0}))
    one = done.rings[0]
    assert [b.course for b in one.bricks if b.laid] == list(range(1, 9))
    assert joints(one)[:8] == pytest.approx(joints(plan.rings[0])[:8] + 2.0 / 8)
    assert joints(one)[8:] == pytest.approx(joints(plan.rings[0])[8:] - 2.0 / 36)


@pytest.mark.parametrize("edge", [Edge.LEFT, Edge.RIGHT, Edge.MID, Edge.UNKNOWN])
def test_any_edge_may_be_measured(edge: Edge) -> None:
    plan = planned()
    brick = plan.bricks[4]
    at = {
        Edge.LEFT: brick.station_start_mm,
        Edge.RIGHT: brick.station_end_mm,
    }.get(edge, 0.5 * (brick.station_start_mm + brick.station_end_mm))
    moved = replan_rings(plan.rings, [mark(5, at + 1.0, edge=edge)]).rings[0].bricks[4]
    assert moved.station_start_mm == pytest.approx(brick.station_start_mm + 1.0)
    assert moved.station_end_mm == pytest.approx(brick.station_end_mm + 1.0)


def test_both_edges_show_the_true_width_and_a_slip_is_told() -> None:
    plan = planned()
    brick = plan.bricks[4]
    both = [
        mark(5, brick.station_start_mm, edge=Edge.LEFT),
        mark(5, brick.station_end_mm + 4.0),
    ]
    done = replan_rings(plan.rings, both)
    assert done.rings[0].bricks[4].width_intrados_mm == pytest.approx(54.0)
    misread, one_sided = done.warnings
    assert misread == (
        "Ring 1, course 5: its marks are 54.0 mm apart, the brick is 50.0 mm wide; measure them again."
    )
    assert one_sided.startswith("Ring 1: 5 courses are up on the left and 0 on the right")


def test_a_turned_ring_is_laid_from_its_middle() -> None:
    plan = planned(base_record(laid=Laid.SAWTOOTH))
    done = replan_rings(plan.rings, laid_off(plan, {18: 0.0, 26: 3.0}))
    one = done.rings[0]
    assert [b.course for b in one.bricks if b.laid] == list(range(18, 27))
    assert joints(one)[:18] == pytest.approx(joints(plan.rings[0])[:18])
    assert joints(one)[26:] == pytest.approx(joints(plan.rings[0])[26:] - 3.0 / 18)
    assert len(done.notes) == 2
    assert "to plan" in done.notes[0]


def test_marks_of_an_outer_ring_are_measured_along_the_centring() -> None:
    shape = elliptical(2400.0, 800.0)
    rec = record((ring(1, 43), ring(2, 50, collar_mm=10.0)))
    plan = plan_rebuild(rec, fit(shape, rec))
    brick = plan.rings[1].bricks[5]
    foot = curve_of(shape).locate(plan.rings[1].inner.point([brick.station_end_mm])).station_mm[0]
    one = replan_rings(plan.rings, [mark(6, float(foot), of_ring=2)]).rings[1]
    assert one.bricks[5].station_end_mm == pytest.approx(brick.station_end_mm, abs=1e-6)
    assert joints(one) == pytest.approx(joints(plan.rings[1]), abs=1e-6)
    assert np.stack([b.corners_mm for b in one.bricks]) == pytest.approx(
        np.stack([b.corners_mm for b in plan.rings[1].bricks]), abs=1e-6
    )


def test_a_gap_is_replanned_between_what_stands() -> None:
    laid = lay(curve_of(SHAPE).length_mm, np.full(N, 50.0), np.ones(N + 1))
    there = np.ones(N, bool)
    there[9:19] = False
    rec = record(
        (ring(1, N),),
        points=edge_survey(curve_of(SHAPE), laid, there=there),
        courses=notes_from(laid, missing=tuple(range(10, 20))),
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    end = plan.bricks[10].station_end_mm
    again = plan_rebuild(replace(rec, laid=(mark(11, end + 2.0),)), fit(SHAPE, rec))
    assert [b.course for b in again.bricks if b.laid] == [10, 11]
    for before, after in zip(plan.bricks, again.bricks, strict=True):
        if before.kind is BrickKind.IN_SITU:
            assert np.array_equal(before.corners_mm, after.corners_mm)
    assert joints(again.rings[0])[11:20] == pytest.approx(joints(plan.rings[0])[11:20] - 2.0 / 9)
    with pytest.raises(PlanError, match=r"row 6: course 5 of ring 1 stands"):
        plan_rebuild(replace(rec, laid=(mark(5, 300.0),)), fit(SHAPE, rec))


def test_cut_bricks_stay_cut() -> None:
    rec = record((ring(1, N, cut="cut"),))
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    one = replan_rings(plan.rings, laid_off(plan, {5: 0.5})).rings[0]
    for brick in one.bricks:
        assert brick.width_extrados_mm > 54.0


def test_a_plan_from_a_record_with_marks_is_replanned() -> None:
    rec = base_record()
    plan = planned(rec)
    marks = tuple(laid_off(plan, {3: 1.0}))
    again = plan_rebuild(replace(rec, laid=marks), fit(SHAPE, rec))
    assert [b.course for b in again.bricks if b.laid] == [1, 2, 3]
    assert any("still to be laid" in n for n in again.notes)


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (mark(44, 100.0), "row 45: course 44 of ring 1, which is planned with 43 courses"),
        (mark(3, 100.0, of_ring=2), "row 4: ring 2 is not in the plan"),
    ],
)
def test_marks_that_name_nothing(bad: LaidMark, message: str) -> None:
    with pytest.raises(PlanError, match=message):
        replan_rings(planned().rings, [bad])


def test_the_whole_plan_follows_what_is_laid() -> None:
    plan = planned()
    marks = laid_off(plan, {1: 0.5, 2: 1.0, 3: 1.5})
    again = replan(plan, marks)
    assert [s.step for s in again.laying] == list(range(1, len(again.laying) + 1))
    assert {(s.ring, s.course) for s in again.laying} == {(1, c) for c in range(4, N + 1)}
    told = {(m.course, m.edge): m.along_left_mm for m in again.centring.marks if m.what == "mark"}
    for brick in again.bricks:
        assert told[brick.course, "left"] == pytest.approx(brick.station_start_mm, abs=1e-6)
        assert told[brick.course, "right"] == pytest.approx(brick.station_end_mm, abs=1e-6)
    assert again.notes[-1] == (
        "Laid already: ring 1, courses 1 to 3. Go on with ring 1, course 43, on the right."
    )
    assert again.templets == plan.templets
    assert again.quantities == plan.quantities


def test_a_turned_ring_is_finished_outwards_on_both_sides() -> None:
    """Errors of both sides are judged outwards: each brick leaves one joint less to open."""
    plan = planned(base_record(laid=Laid.SAWTOOTH))
    done = replan_rings(plan.rings, laid_off(plan, {9: 15.0, 35: -12.0}))
    left, right = done.notes
    give = plan.rings[0].joint_max_mm - joints(plan.rings[0])[0]
    assert left.startswith("Ring 1, courses 1 to 8 still to be laid: what is laid has left 15.0 mm more")
    assert left.endswith(f"too late from course {8 - int(9 - 15.0 / give)} on.")
    assert right.startswith("Ring 1, courses 36 to 43 still to be laid: what is laid has left 12.0 mm more")
    assert right.endswith(f"too late from course {36 + int(9 - 12.0 / give)} on.")


def test_an_error_that_must_be_taken_up_at_once() -> None:
    plan = planned()
    room = 24 * (joints(plan.rings[0])[20] - 6.0)  # all that 24 joints can give
    done = replan_rings(plan.rings, laid_off(plan, {10: room - 1.0, 34: 0.0}))
    assert done.notes[-1].endswith("Correct from the next course, 11: after it, it is too late.")


def test_a_laid_joint_outside_its_limits_is_told() -> None:
    """Planned joints of 9.6 mm between 6 and 14: a mark 6 mm on leaves 15.6 before it and 3.6 after it."""
    plan = planned()
    marks = laid_off(plan, dict.fromkeys(range(1, 6), 0.0) | {4: 6.0, 43: -10.0})
    told, _ = replan_rings(plan.rings, marks).warnings
    made = joints(plan.rings[0])[4]
    assert told.startswith("Ring 1: laid outside the limits of 6.0 to 14.0 mm: ")
    assert f"{made + 6.0:.1f} mm between courses 3 and 4 (the greatest is 14.0)" in told
    assert f"{made - 6.0:.1f} mm between courses 4 and 5 (the least is 6.0)" in told
    assert f"{made + 10.0:.1f} mm between course 43 and the right springing" in told
    assert told.count(" mm between ") == 3
    assert "while the mortar is fresh" in told


def test_the_joint_above_the_springer_is_judged_too() -> None:
    plan = planned()
    (told,) = replan_rings(plan.rings, laid_off(plan, {1: -5.0})).warnings
    assert "between the left springing and course 1 (the least is 6.0)" in told


def test_laid_joints_at_their_limits_are_not_told() -> None:
    plan = planned()
    give = 14.0 - joints(plan.rings[0])[0]
    assert not replan_rings(plan.rings, laid_off(plan, {1: give, 2: give})).warnings


def test_joints_laid_without_marks_are_judged_on_average() -> None:
    plan = planned()
    told, _ = replan_rings(plan.rings, laid_off(plan, {1: 0.0, 8: 7 * 5.0})).warnings
    made = joints(plan.rings[0])[4]
    assert f"{made + 5.0:.1f} mm on average from below course 2 to above course 7, laid without marks" in told
    told, _ = replan_rings(plan.rings, laid_off(plan, {1: 0.0, 8: -7 * 12.0})).warnings
    assert "the bricks would overlap: measure the marks again" in told


def test_a_turned_rings_laid_joints_are_told_across_the_joint() -> None:
    plan = planned(base_record(laid=Laid.SAWTOOTH))
    (told,) = replan_rings(plan.rings, laid_off(plan, {21: 0.0, 22: 8.0})).warnings
    made = (joints(plan.rings[0])[21] + 8.0) * np.cos(0.3)
    assert "limits of 6.0 to 14.0 mm" in told
    assert f"{made:.1f} mm between courses 21 and 22" in told


def test_too_late_is_told_in_the_order_of_laying() -> None:
    """Only the left side was begun: the right one is brought up first, so it is there that it gets late."""
    plan = planned()
    off = {c: 6.0 * c for c in range(1, 11)}
    note = replan_rings(plan.rings, laid_off(plan, off)).notes[0]
    give = joints(plan.rings[0])[20] - 6.0
    may = int(34 - 60.0 / give)  # of 34 open joints so many need not give
    steps = [*range(43, 33, -1)] + [x for p in zip(range(11, 23), range(33, 21, -1), strict=True) for x in p]
    assert f"too late from course {steps[may]} on" in note
    laid = replan(plan, laid_off(plan, off))
    assert [s.course for s in laid.laying][: may + 1] == steps[: may + 1]


def test_where_to_go_on_is_told_to_the_last_brick() -> None:
    plan = planned()
    off = {c: 0.0 for c in range(1, N + 1) if c != 22}
    assert replan(plan, laid_off(plan, off)).notes[-1].endswith("Go on with ring 1, course 22, the key.")
    assert replan(plan, laid_off(plan, off | {22: 0.0})).notes[-1] == "Laid already: ring 1, courses 1 to 43."
    assert not any("Laid already" in note for note in plan.notes)


def test_the_reason_for_the_order_of_gaps_follows_the_work() -> None:
    laid = lay(curve_of(SHAPE).length_mm, np.full(N, 50.0), np.ones(N + 1))
    missing = (5, 6, 30, 31)
    there = ~np.isin(np.arange(1, N + 1), missing)
    rec = record(
        (ring(1, N),),
        points=edge_survey(curve_of(SHAPE), laid, there=there),
        courses=notes_from(laid, missing=missing),
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert [s.course for s in plan.laying] == [5, 6, 31, 30]
    assert sum("Order of laying of ring 1: courses 5, 6, then courses 30, 31" in n for n in plan.notes) == 1
    ends = {c: plan.bricks[c - 1].station_end_mm for c in missing}
    again = plan_rebuild(replace(rec, laid=(mark(5, ends[5]), mark(6, ends[6]))), fit(SHAPE, rec))
    assert [s.course for s in again.laying] == [31, 30]
    assert not any("Order of laying" in n for n in again.notes)


def test_a_ring_that_did_not_close_is_refused_once_after_marks_too() -> None:
    rec = record((ring(1, N),), joints=JointLimits(11.0, 18.0, 60.0))
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    (before,) = plan.refusals
    again = replan(plan, laid_off(plan, {1: 0.0}))
    (after,) = again.refusals
    assert before.startswith("Ring 1: 43 bricks")
    assert after.startswith("The last brick will not fit. Ring 1, courses 2 to 43 still to be laid")
    assert again.rings[0].closing_refusals == (after,)
    mended = replan(plan_rebuild(base_record(), fit(SHAPE, base_record())), [])
    assert mended.refusals == ()


def test_one_course_still_to_be_laid_is_said_as_one() -> None:
    plan = planned()
    done = replan_rings(plan.rings, laid_off(plan, {c: 0.0 for c in range(1, N + 1) if c != 22}))
    assert done.notes[-1].startswith("Ring 1, course 22 still to be laid: ")


def test_a_refused_repair_gives_no_order_of_gaps() -> None:
    laid = lay(curve_of(SHAPE).length_mm, np.full(N, 50.0), np.ones(N + 1))
    missing = (5, 6, 30)
    there = ~np.isin(np.arange(1, N + 1), missing)
    rec = record(
        (ring(1, N),),
        points=edge_survey(curve_of(SHAPE), laid, there=there),
        courses=notes_from(laid, missing=missing),
        joints=JointLimits(11.0, 18.0, 60.0),
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert {r.split(":")[0] for r in plan.refusals} == {"Ring 1, courses 5, 6", "Ring 1, course 30"}
    assert not any("Order of laying" in n for n in plan.notes)


def test_even_joints_are_told_with_one_figure() -> None:
    plan = planned()
    (note,) = replan_rings(plan.rings, laid_off(plan, dict.fromkeys(range(1, 11), 0.0) | {10: 4.0})).notes
    even = joints(plan.rings[0])[20]
    assert f"the joints become {even - 4.0 / 34:.1f} mm (planned {even:.1f}) and the last brick fits." in note


def test_joints_open_at_the_back_are_told_of_what_is_still_to_be_laid() -> None:
    """Counted anew from the corners of the bricks: joints with a brick still to lay on one side at least."""
    shape, limit = semicircular(914.0), 19.0
    n = round(curve_of(shape).length_mm / 71.0)
    rec = record((ring(1, n, depth_mm=215.0, brick_width_mm=65.0),), joints=JointLimits(3.0, 19.0, limit))
    plan = plan_rebuild(rec, fit(shape, rec))
    assert sum("open at the back" in w for w in plan.warnings) == 1
    marks = [mark(c, plan.bricks[c - 1].station_end_mm) for c in range(1, 21)]
    for laid, done in ((0, plan), (20, replan(plan, marks))):
        back = [float(np.hypot(*(b.corners_mm[3] - a.corners_mm[2]))) for a, b in pairwise(done.bricks)]
        judged = [joint for a, joint in zip(done.bricks, back, strict=False) if a.course >= max(laid, 1)]
        (told,) = (w for w in done.warnings if "open at the back" in w)
        at_the_springings = 2 if laid == 0 else 1
        n_over = sum(joint > limit for joint in judged) + at_the_springings * _springing_gapes(done, limit)
        assert told.startswith(f"Ring 1: {n_over} joints open at the back beyond {limit:.1f} mm")
    all_laid = [mark(c, plan.bricks[c - 1].station_end_mm) for c in range(1, n + 1)]
    assert not any("open at the back" in w for w in replan(plan, all_laid).warnings)


def _springing_gapes(plan: RebuildPlan, limit_mm: float) -> bool:
    return plan.rings[0].springing_joint_extrados_mm > limit_mm


def test_saved_bricks_are_told_until_they_are_laid() -> None:
    laid = lay(curve_of(SHAPE).length_mm, np.full(N, 50.0), np.ones(N + 1))
    notes = tuple(
        replace(n, condition=Condition.CRACKED) if n.course in (10, 30) else n for n in notes_from(laid)
    )
    saved = tuple(SalvagedBrick(name, width, None, None, "", 2) for name, width in (("A", 53.0), ("B", 53.5)))
    rec = record((ring(1, N),), courses=notes, salvage=saved, joints=JointLimits(3.0, 20.0, 60.0))
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    at = {b.source: b.course for b in plan.bricks if b.source in ("A", "B")}
    assert set(at.values()) == {10, 30}
    assert [sum(words in n for n in plan.notes) for words in ("Saved brick A", "Saved brick B")] == [1, 1]
    n_warned = sum("the saved brick" in w for w in plan.warnings)
    assert n_warned == 2
    early, late = sorted(at, key=lambda name: at[name])
    marks = [mark(c, plan.bricks[c - 1].station_end_mm + 3.0) for c in range(1, 13)]
    done = replan(plan, marks)
    assert not any(f"Saved brick {early}" in n for n in done.notes)
    assert not any(f"the saved brick {early} " in w for w in done.warnings)
    (note,) = (n for n in done.notes if f"Saved brick {late}" in n)
    one, course = done.rings[0], at[late]
    below, above = joints(one)[course - 1 : course + 1]
    assert f"the joints beside it are {below:.1f} and {above:.1f} mm" in note
    (warning,) = (w for w in done.warnings if "the saved brick" in w)
    assert f"with it the joints beside it are {below:.1f} and {above:.1f} mm" in warning
    assert below != pytest.approx(joints(plan.rings[0])[course - 1], abs=0.05)
