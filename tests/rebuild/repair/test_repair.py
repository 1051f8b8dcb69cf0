"""Repairs: what a ring is repaired to when little of it was surveyed, and gaps that cannot close."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rebuild.factory import edge_survey, fit, joined, lay, lines_of, note, notes_from, record, ring

from survey.curves import curve_of, segmental, semicircular
from survey.errors import PlanError
from survey.rebuild import BrickKind, Scope, plan_rebuild
from survey.record.model import Condition, Edge, Feature, JointLimits, LaidMark, SurveyPoints

SHAPE = segmental(2400.0, 400.0)
LINE = curve_of(SHAPE)
N = 43
LAID = lay(LINE.length_mm, np.full(N, 50.0), np.ones(N + 1))


def there_without(*gone: int) -> np.ndarray:
    return ~np.isin(np.arange(1, N + 1), gone)


def springing(side: Edge, off_mm: float) -> SurveyPoints:
    """One point on a springing, well read, off the curve along its normal."""
    at = 0.0 if side is Edge.LEFT else LINE.length_mm
    xy = LINE.point([at]) + off_mm * LINE.normal([at])
    one = edge_survey(LINE, LAID, sigma_mm=0.05).take([0])
    feature, edge = np.empty(1, object), np.empty(1, object)
    feature[:], edge[:] = [Feature.SPRINGING], [side]
    return replace(one, name=(f"S{side}",), xy_mm=xy, feature=feature, edge=edge, course=np.array([-1]))


def test_a_gap_at_a_springing_starts_where_the_springing_stands() -> None:
    gone = (1, 2, 3)
    points = joined(
        edge_survey(LINE, LAID, there=there_without(*gone), sigma_mm=0.5),
        springing(Edge.LEFT, 4.0),
        springing(Edge.RIGHT, 0.0),
    )
    rec = record((ring(1, N),), points=points, courses=notes_from(LAID, missing=gone))
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    inner = plan.rings[0].inner
    assert LINE.locate(inner.point([0.0])).distance_mm == pytest.approx([4.0], abs=0.05)
    assert LINE.locate(inner.point([inner.length_mm])).distance_mm == pytest.approx([0.0], abs=0.3)


def test_a_springing_nobody_surveyed_is_where_the_fit_has_it() -> None:
    points = edge_survey(LINE, LAID, there=there_without(1, 2, 3), off_mm=np.full(N, 3.0), sigma_mm=0.5)
    rec = record((ring(1, N),), points=points, courses=notes_from(LAID, missing=(1, 2, 3)))
    inner = plan_rebuild(rec, fit(SHAPE, rec)).rings[0].inner
    assert abs(LINE.locate(inner.point([0.0])).distance_mm[0]) < 3.0


def test_an_outer_ring_nobody_surveyed_lies_parallel_to_the_ring_inside() -> None:
    rings = (ring(1, N), ring(2, 48, collar_mm=10.0))
    outer = lay(lines_of(SHAPE, rings)[1].length_mm, np.full(48, 50.0), np.ones(49))
    bend = 6.0 * np.sin(np.linspace(0.0, np.pi, N))
    points = edge_survey(LINE, LAID, there=there_without(20, 21), off_mm=bend, sigma_mm=0.3)
    courses = notes_from(LAID, missing=(20, 21)) + notes_from(outer, ring=2, missing=(10, 11))
    plan = plan_rebuild(rec := record(rings, points=points, courses=courses), fit(SHAPE, rec))
    line = lines_of(SHAPE, rings)[1]
    for brick in plan.rings[1].bricks[9:11]:
        assert brick.source == "new"
        middle = LINE.locate(brick.corners_mm[:2].mean(axis=0)[None])
        expected = 250.0 + 6.0 * np.sin(np.pi * middle.station_mm / LINE.length_mm)
        assert middle.distance_mm == pytest.approx(expected, abs=0.5)
    assert line.length_mm != plan.rings[1].inner.length_mm
    assert plan.rings[1].bricks[0].kind is BrickKind.IN_SITU
    assert plan.joints_mm(2)[9:12] == pytest.approx(outer.joints_mm[9:12], abs=0.6)
    for warning in (w for w in plan.warnings if "line up" in w):  # what stands is not judged
        courses = [
            int(c) for c in warning.partition("after course")[2].partition(";")[0].strip("s ").split(",")
        ]
        assert set(courses) <= {9, 10, 11}


def test_a_repair_without_any_survey_stands_on_the_fitted_curve() -> None:
    rec = record((ring(1, N),), courses=notes_from(LAID, missing=(20, 21)))
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert [b.course for b in plan.bricks if b.source == "new"] == [20, 21]
    assert plan.rings[0].inner.length_mm == pytest.approx(LINE.length_mm, abs=1e-6)
    assert plan.joints_mm(1) == pytest.approx(LAID.joints_mm, abs=1e-3)


def test_bricks_noted_not_to_be_reused_are_replaced_where_they_stand() -> None:
    notes = tuple(
        replace(n, condition=Condition.SPALLED, reuse=False, width_mm=44.0) if n.course == 30 else n
        for n in notes_from(LAID, missing=(20, 21))
    )
    rec = record((ring(1, N),), points=edge_survey(LINE, LAID, there=there_without(20, 21)), courses=notes)
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert [b.course for b in plan.bricks if b.source == "new"] == [20, 21, 30]
    assert plan.bricks[29].width_intrados_mm == pytest.approx(44.0)  # an odd width goes back as it was read


def test_middles_of_courses_place_what_stands() -> None:
    """Middles only, as of the teeth of a turned ring: each brick is drawn about its own middle."""
    shift = np.where(np.arange(N) == 30, 2.0, 0.0)
    moved = replace(LAID, left_mm=LAID.left_mm + shift, right_mm=LAID.right_mm + shift)
    taken = edge_survey(LINE, moved, there=there_without(20, 21), sigma_mm=0.2)
    left = taken.take(np.asarray(taken.edge == Edge.LEFT))
    middle = 0.5 * (moved.left_mm + moved.right_mm)[there_without(20, 21)]
    edge = np.empty(len(left), object)
    edge[:] = Edge.MID
    points = replace(left, xy_mm=LINE.point(middle) + 1.5 * LINE.normal(middle), edge=edge)
    rec = record(
        (ring(1, N),),
        points=points,
        courses=(note(20, condition=Condition.MISSING), note(21, condition=Condition.MISSING)),
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    for brick in plan.bricks:
        if brick.kind is BrickKind.IN_SITU:
            at = 0.5 * (brick.station_start_mm + brick.station_end_mm)
            stretch = plan.rings[0].inner.length_mm / LINE.length_mm
            assert at == pytest.approx(
                stretch * 0.5 * (moved.left_mm + moved.right_mm)[brick.course - 1], abs=0.8
            )
    new = plan.bricks[19].corners_mm[:2]
    assert LINE.locate(new).distance_mm == pytest.approx([1.5, 1.5], abs=0.2)


def test_a_gap_that_cannot_close_names_its_courses() -> None:
    limits = JointLimits(12.0, 30.0, 60.0)
    rec = record(
        (ring(1, N),),
        points=edge_survey(LINE, LAID, there=there_without(20, 21, 22)),
        courses=notes_from(LAID, missing=(20, 21, 22)),
        joints=limits,
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    (text,) = plan.refusals
    assert text.startswith("Ring 1, courses 20 to 22: 3 bricks of together 150.0 mm")
    assert "2 bricks (joints of" in text
    assert np.ptp(plan.joints_mm(1)[19:23]) < 1e-9


def test_a_mark_in_one_gap_leaves_the_other_as_planned() -> None:
    gone = (10, 11, 12, 30, 31, 32)
    rec = record(
        (ring(1, N),),
        points=edge_survey(LINE, LAID, there=there_without(*gone)),
        courses=notes_from(LAID, missing=gone),
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    mark = LaidMark(1, 10, Edge.RIGHT, plan.bricks[9].station_end_mm + 1.0, 2)
    again = plan_rebuild(replace(rec, laid=(mark,)), fit(SHAPE, rec))
    assert [b.course for b in again.bricks if b.laid] == [10]
    assert again.joints_mm(1)[29:33] == pytest.approx(plan.joints_mm(1)[29:33])
    assert again.joints_mm(1)[10:13] == pytest.approx(plan.joints_mm(1)[10:13] - 1.0 / 3)


@pytest.mark.parametrize("off_mm", [-125.0, -145.0])
def test_bricks_far_inside_a_small_radius_are_refused_in_one_sentence(off_mm: float) -> None:
    """With less than a fifth of the radius left, a soffit is near to folding up."""
    shape = semicircular(150.0)
    line = curve_of(shape)
    laid = lay(line.length_mm, np.full(7, 50.0), np.ones(8))
    there = np.array([True, True, False, True, True, True, True])
    points = edge_survey(line, laid, there=there, off_mm=np.full(7, off_mm), sigma_mm=0.5)
    rec = record((ring(1, 7, depth_mm=115.0),), points=points, courses=notes_from(laid, missing=(3,)))
    with pytest.raises(PlanError) as refused:
        plan_rebuild(rec, fit(shape, rec))
    assert str(refused.value).startswith(
        "ring 1: where its standing bricks were surveyed they leave the fitted curve further than its least "
        "radius of 150 mm lets a soffit follow; measure them again, "
    )
    assert "inside a radius of 150 mm" in str(refused.value.__cause__)


def test_bricks_a_little_inside_a_small_radius_are_followed() -> None:
    shape = semicircular(150.0)
    line = curve_of(shape)
    laid = lay(line.length_mm, np.full(7, 50.0), np.ones(8))
    there = np.array([True, True, False, True, True, True, True])
    points = edge_survey(line, laid, there=there, off_mm=np.full(7, -20.0), sigma_mm=0.5)
    rec = record((ring(1, 7, depth_mm=115.0),), points=points, courses=notes_from(laid, missing=(3,)))
    assert plan_rebuild(rec, fit(shape, rec)).scope is Scope.REPAIR
