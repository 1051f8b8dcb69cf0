"""Whole plans: every option, and a plan followed by hand."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from rebuild.factory import edge_survey, fit, lay, lines_of, note, notes_from, record, ring

from survey.curves import Family, curve_of, elliptical, segmental, semicircular, three_centred
from survey.errors import GeometryError, PlanError
from survey.fitting.result import CourseCount, GapCount
from survey.rebuild import BrickKind, CurveChoice, RebuildOptions, RebuildPlan, Scope, plan_rebuild
from survey.rebuild.cautions import CAUTIONS
from survey.record.model import Condition, Edge, JointLimits, Laid, LaidMark

SHAPE = segmental(2400.0, 400.0)
LINE = curve_of(SHAPE)
RADIUS, HALF_ANGLE, CENTRE_Y = 2000.0, math.asin(0.6), -1600.0


def tightening(n: int = 43) -> np.ndarray:
    return 1.0 + 0.4 * np.abs(np.linspace(-1.0, 1.0, n + 1))


def test_ten_courses_by_calculator() -> None:
    """The plan's table followed with circle trigonometry alone: running sums, sines, cosines, Pythagoras."""
    laid = lay(LINE.length_mm, np.full(43, 50.0), tightening())
    rec = record((ring(1, 43),), courses=notes_from(laid))
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    joints = [round(j, 2) for j in plan.joints_mm(1)]  # as printed
    run = 0.0
    for k, brick in enumerate(plan.bricks[:10]):
        run += joints[k]
        left, right = run / RADIUS - HALF_ANGLE, (run + 50.0) / RADIUS - HALF_ANGLE
        middle = 0.5 * (left + right)
        a = (RADIUS * math.sin(left), CENTRE_Y + RADIUS * math.cos(left))
        b = (RADIUS * math.sin(right), CENTRE_Y + RADIUS * math.cos(right))
        out = (math.sin(middle), math.cos(middle))
        c = (b[0] + 240.0 * out[0], b[1] + 240.0 * out[1])
        d = (a[0] + 240.0 * out[0], a[1] + 240.0 * out[1])
        rounding = 0.005 * (k + 1) + 1e-6  # every printed joint is off by half a hundredth at most
        assert brick.station_start_mm == pytest.approx(run, abs=rounding)
        assert brick.corners_mm == pytest.approx(np.array([a, b, c, d]), abs=1.2 * rounding)
        assert math.degrees(brick.bed_angle_rad) == pytest.approx(90.0 + math.degrees(middle), abs=0.01)
        assert brick.from_crown_mm == pytest.approx(run + 25.0 - RADIUS * HALF_ANGLE, abs=rounding)
        assert brick.width_extrados_mm == pytest.approx(math.dist(a, b), abs=1e-6)
        run += 50.0
    first, second = plan.bricks[:2]
    pitch = (
        (second.station_start_mm + second.station_end_mm - first.station_start_mm - first.station_end_mm)
        / 2
        / RADIUS
    )
    apothem = RADIUS * math.cos(25.0 / RADIUS) + 240.0
    half = RADIUS * math.sin(25.0 / RADIUS)
    back = 2.0 * (apothem * math.sin(pitch / 2) - half * math.cos(pitch / 2))
    assert first.joint_after_extrados_mm == pytest.approx(back, abs=1e-6)


def plan_of(rec_options: RebuildOptions | None = None, **given: object) -> RebuildPlan:
    rec = record((ring(1, 43),), **given)
    return plan_rebuild(rec, fit(SHAPE, rec, others=(elliptical(2400.0, 401.0),)), rec_options)


def test_an_odd_plain_ring_has_a_key_and_an_even_one_none() -> None:
    kinds = [b.kind for b in plan_of().bricks]
    assert kinds.count(BrickKind.KEY) == 1
    assert kinds[21] is BrickKind.KEY
    even = record((ring(1, 44),))
    assert all(b.kind is BrickKind.BRICK for b in plan_rebuild(even, fit(SHAPE, even)).bricks)


def test_cautions_are_all_there() -> None:
    assert plan_of().cautions == CAUTIONS
    assert len(CAUTIONS) == 7


def test_nothing_recorded_course_by_course_is_planned_new() -> None:
    plan = plan_of()
    assert {b.source for b in plan.bricks} == {"new"}
    assert all(b.inferred for b in plan.bricks)
    assert not any(plan.rings[0].recorded_joints)


def test_a_recorded_rhythm_comes_back_to_the_hundredth() -> None:
    laid = lay(LINE.length_mm, np.full(43, 50.0), tightening())
    plan = plan_of(courses=notes_from(laid))
    assert plan.joints_mm(1) == pytest.approx(laid.joints_mm, abs=1e-6)
    assert {b.source for b in plan.bricks} == {"original"}
    assert all(plan.rings[0].recorded_joints)
    assert not any(b.inferred for b in plan.bricks)


def test_options_reach_the_plan() -> None:
    plan = plan_of(RebuildOptions(scope=Scope.WHOLE, curve=Family.ELLIPTICAL, counts=((1, 41),)))
    assert (plan.choice, plan.shape.family, plan.rings[0].count) == ("elliptical", Family.ELLIPTICAL, 41)
    assert any("41 courses by choice" in w for w in plan.warnings)
    loose = plan_of(RebuildOptions(templet_tolerance_mm=3.0), courses=_odd_widths())
    tight = plan_of(RebuildOptions(templet_tolerance_mm=0.1), courses=_odd_widths())
    assert len(loose.templets) <= len(tight.templets)


def _odd_widths() -> tuple:
    rng = np.random.default_rng(0)
    return tuple(
        note(c, width_mm=float(w), condition=Condition.CRACKED)
        for c, w in enumerate(rng.normal(50.0, 2.0, 43), start=1)
    )


def test_a_moved_repair_refuses_another_curve() -> None:
    missing = (note(20, condition=Condition.MISSING),)
    with pytest.raises(PlanError, match="leaves standing bricks where they are"):
        plan_of(RebuildOptions(curve=CurveChoice.PRESENT), courses=missing)


def test_a_record_without_rings_is_refused() -> None:
    rec = record(())
    with pytest.raises(PlanError, match="the record has no ring"):
        plan_rebuild(rec, fit(SHAPE, rec))


def test_rings_that_cannot_be_drawn_are_refused_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever a curve far below refuses is said in the words of arch.toml."""

    def refuse(*_: object) -> None:
        raise GeometryError("station 16912.078 mm lies beyond the curve")

    monkeypatch.setattr("survey.rebuild.planner.take_quantities", refuse)
    rec = record((ring(1, 43), ring(2, 50, depth_mm=3000.0)))
    told = (
        "the rings cannot be drawn on this curve: ring 1 is 240 mm deep and ring 2 is 3000 mm deep, and the "
        "curve goes down to a radius of 2000 mm; check depth, collar_joint and the unit in arch.toml"
    )
    with pytest.raises(PlanError, match=f"^{re.escape(told)}$"):
        plan_rebuild(rec, fit(SHAPE, rec))


def test_rings_lie_one_outside_the_other_with_their_mortar() -> None:
    rings = (
        ring(2, 40, depth_mm=102.5, collar_mm=8.0),
        ring(1, 40, depth_mm=100.0, collar_mm=5.0),
        ring(3, 40, depth_mm=215.0, collar_mm=12.0),
    )
    shape = elliptical(2600.0, 900.0)
    rec = record(rings)
    plan = plan_rebuild(rec, fit(shape, rec))
    assert [r.ring for r in plan.rings] == [1, 2, 3]
    assert [r.depth_gauge_mm for r in plan.rings] == [100.0, 210.5, 437.5]
    for one, inner in zip(plan.rings, (0.0, 108.0, 222.5), strict=True):
        middle = one.inner.point(0.3 * one.inner.length_mm)
        assert curve_of(shape).locate(middle[None]).distance_mm == pytest.approx([inner], abs=1e-6)
        outer = one.outer.point(0.3 * one.outer.length_mm)
        assert curve_of(shape).locate(outer[None]).distance_mm == pytest.approx(
            [one.depth_gauge_mm], abs=1e-6
        )


def test_a_turned_ring_takes_its_section_along_the_arch() -> None:
    turn = math.radians(45.0)
    one = ring(1, 24, depth_mm=102.5, brick_width_mm=102.5, laid=Laid.SAWTOOTH, turn_rad=turn)
    shape = semicircular(1215.0)
    rec = record((one,), joints=JointLimits(4.0, 15.0, 60.0))
    plan = plan_rebuild(rec, fit(shape, rec))
    turned = plan.rings[0]
    assert turned.sawtooth
    assert {b.kind for b in turned.bricks} == {BrickKind.SAWTOOTH}
    assert turned.bricks[0].width_intrados_mm == pytest.approx(102.5 * math.sqrt(2.0))
    assert turned.face_projection_mm == pytest.approx(72.478, abs=5e-4)
    across = plan.joints_mm(1) * math.cos(turn)
    assert across == pytest.approx(np.full(25, (math.pi * 1215.0 * math.cos(turn) - 24 * 102.5) / 25))
    assert (turned.joint_min_mm, turned.joint_max_mm) == pytest.approx(
        (4.0 / math.cos(turn), 15.0 / math.cos(turn))
    )


def test_wide_back_joints_are_told_with_the_radius_that_would_do() -> None:
    shape = semicircular(914.0)
    length = curve_of(shape).length_mm
    one = ring(1, round((length - 6.0) / 71.0), depth_mm=215.0, brick_width_mm=65.0)
    rec = record((one,), joints=JointLimits())
    plan = plan_rebuild(rec, fit(shape, rec))
    warning = next(w for w in plan.warnings if "open at the back beyond 19.1 mm" in w)
    joint = float(np.median(plan.joints_mm(1)))
    assert f"radius of at least {215.0 * (65.0 + joint) / (19.05 - joint):.0f} mm" in warning
    assert "goes down to 914 mm" in warning
    cut = record((replace(one, cut="cut"),), joints=JointLimits())
    assert not any("open at the back" in w for w in plan_rebuild(cut, fit(shape, cut)).warnings)


def test_a_mixed_ring_cuts_only_where_whole_bricks_would_gape() -> None:
    shape = three_centred(2400.0, 700.0, 420.0)
    one = ring(1, 49, depth_mm=120.0, cut="mixed")
    rec = record((one,), joints=JointLimits(3.0, 20.0, 18.0))
    plan = plan_rebuild(rec, fit(shape, rec))
    backs = np.array(
        [plan.rings[0].springing_joint_extrados_mm, *(b.joint_after_extrados_mm for b in plan.bricks)]
    )
    assert backs.max() <= 18.0 + 1e-6
    tapered = np.array([b.width_extrados_mm > b.width_intrados_mm + 0.5 for b in plan.bricks])
    assert tapered[:5].all()
    assert tapered[-5:].all()
    assert not tapered[20:29].any()


def test_a_gap_that_holds_another_number_than_noted_renumbers_what_follows() -> None:
    laid = lay(LINE.length_mm, np.full(43, 50.0), np.ones(44))
    there = np.ones(43, bool)
    there[10:14] = False
    points = edge_survey(LINE, laid, there=there)
    points = replace(
        points, course=np.where(points.course > 14, points.course - 1, points.course)
    )  # 4 noted as 3
    rec = record((ring(1, None),), points=points)
    gap = GapCount(10, 14, float(laid.right_mm[9]), float(laid.left_mm[14]), 4, {4: 0.97, 3: 0.03})
    arch_fit = replace(fit(SHAPE, rec), courses=(CourseCount(1, 43, False, {43: 1.0}, (gap,)),))
    plan = plan_rebuild(rec, arch_fit)
    assert plan.scope is Scope.REPAIR
    assert [b.course for b in plan.bricks if b.source == "new"] == [11, 12, 13, 14]
    assert plan.joints_mm(1) == pytest.approx(laid.joints_mm, abs=1e-6)


@pytest.mark.parametrize(
    "gone", [(1, 2, 3), (41, 42, 43), (20, 21, 22, 23), (8, 9, 10, 33, 34, 35, 36), (5,)]
)
def test_gaps_of_every_kind_are_filled_as_they_were(gone: tuple[int, ...]) -> None:
    """At a springing, over the crown, one in each half, a single brick: on an arch surveyed without error."""
    laid = lay(LINE.length_mm, np.full(43, 50.0), tightening())
    there = ~np.isin(np.arange(1, 44), gone)
    bend = 5.0 * np.sin(np.linspace(0.0, np.pi, 43))
    rec = record(
        (ring(1, 43),),
        points=edge_survey(LINE, laid, there=there, off_mm=bend, sigma_mm=0.2),
        courses=notes_from(laid, missing=gone),
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert [b.course for b in plan.bricks if b.source == "new"] == list(gone)
    (inner,) = lines_of(SHAPE, rec.rings)
    for brick in plan.bricks:
        if brick.source == "new":
            off = inner.locate(brick.corners_mm[:2]).distance_mm
            assert off == pytest.approx(np.full(2, bend[brick.course - 1]), abs=0.6)
    stretched = plan.rings[0].inner.length_mm - LINE.length_mm
    assert plan.joints_mm(1) == pytest.approx(laid.joints_mm, abs=0.3 + abs(stretched) / 44)


def test_a_refused_plan_has_no_laying_order() -> None:
    rec = record((ring(1, 43),), joints=JointLimits(11.0, 18.0, 60.0))
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert plan.refusals
    assert plan.laying == ()
    assert plan_rebuild(record((ring(1, 43),)), fit(SHAPE, rec)).laying


def test_nothing_is_bought_for_a_refused_plan() -> None:
    rec = record((ring(1, 43),), joints=JointLimits(11.0, 18.0, 60.0))
    refused, sound = plan_rebuild(rec, fit(SHAPE, rec)), plan_of()
    assert refused.refusals
    assert {q.order for q in refused.quantities} == {0.0}
    assert not any(n.startswith(("To buy", "Mark every new brick")) for n in refused.notes)
    assert next(q for q in sound.quantities if q.item.startswith("new bricks")).order == 45.0  # 3 % of 43
    assert any(n.startswith("To buy or cut for ring 1: 43 of") for n in sound.notes)


def test_what_is_laid_is_not_bought_again() -> None:
    sound = plan_of()
    marks = tuple(
        LaidMark(1, c, Edge.RIGHT, sound.bricks[c - 1].station_end_mm, c + 1) for c in (1, 2, 3, 42, 43)
    )
    begun = plan_of(laid=marks)
    amounts = {q.item: q.amount for q in begun.quantities}
    assert amounts["bricks laid already"] == 5.0
    assert next(n for item, n in amounts.items() if item.startswith("new bricks")) == 38.0
    assert [n for n in begun.notes if n.startswith("To buy")] == [
        "To buy or cut for ring 1: 38 of 50.0 mm, courses 4 to 41."
    ]
    sure = plan_of(laid=marks[:1], joints=JointLimits(11.0, 18.0, 60.0))
    assert sure.refusals
    assert not any(n.startswith("To buy") for n in sure.notes)


def test_a_curve_wide_enough_for_whole_bricks_is_not_called_too_tight() -> None:
    """One joint three times as wide as the others is at fault, not the radius of 1000 mm.

    Whole bricks need d (b + ji) / (je - ji) = 102.5 x (65 + 11) / (30 - 11) = 410 mm at the most.
    """
    shape = semicircular(1000.0)
    length = curve_of(shape).length_mm
    n = 42
    joints = np.full(n + 1, 8.0)
    joints[20] = 30.0
    laid = lay(length, np.full(n, 65.0), joints)
    one = ring(1, n, depth_mm=102.5, brick_width_mm=65.0)
    rec = record((one,), courses=notes_from(laid), joints=JointLimits(3.0, 40.0, 30.0))
    (warning,) = (w for w in plan_rebuild(rec, fit(shape, rec)).warnings if "at the back" in w)
    assert warning.startswith("Ring 1: 1 joint opens at the back beyond 30.0 mm, the widest to ")
    assert "after course 20. The curve is not too tight for whole bricks" in warning
    assert "radius" not in warning
