"""Where a repair has its standing bricks: by survey, rule and rhythm together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rebuild.factory import Laid, edge_survey, fit, joined, lay, note, notes_from, record, ring

from survey.curves import curve_of, segmental
from survey.rebuild import Brick, BrickKind, RebuildPlan, plan_rebuild, replan
from survey.record.model import (
    Condition,
    CourseNote,
    Edge,
    Feature,
    JointLimits,
    LaidMark,
    Ring,
    SalvagedBrick,
    SurveyPoints,
)

SHAPE = segmental(2400.0, 400.0)
LINE = curve_of(SHAPE)
N = 43
GONE = (20, 21, 22)
THERE = ~np.isin(np.arange(1, N + 1), GONE)
RNG = np.random.default_rng(5)
LAID = lay(LINE.length_mm, RNG.normal(50.0, 0.8, N), np.exp(RNG.normal(0.0, 0.12, N + 1)))


def survey(seed: int = 0, *, laid: Laid = LAID, sigma_mm: float = 1.5, **given: object) -> SurveyPoints:
    noise = np.random.default_rng(seed)
    return edge_survey(LINE, laid, there=THERE, sigma_mm=sigma_mm, noise=noise, **given)


def repair(
    points: SurveyPoints,
    notes: tuple[CourseNote, ...] | None = None,
    one: Ring | None = None,
    **given: object,
) -> RebuildPlan:
    notes = notes_from(LAID, missing=GONE) if notes is None else notes
    one = ring(1, N) if one is None else one
    rec = record((one,), points=points, courses=notes, **given)
    return plan_rebuild(rec, fit(SHAPE, rec))


def standing(plan: RebuildPlan) -> list[Brick]:
    return [b for b in plan.bricks if b.kind is BrickKind.IN_SITU]


def changed(points: SurveyPoints, course: int, move: dict[Edge, np.ndarray]) -> SurveyPoints:
    """Some points of a course moved."""
    xy = points.xy_mm.copy()
    for edge, by in move.items():
        xy[np.asarray(points.edge == edge, dtype=bool) & (points.course == course)] += by
    return replace(points, xy_mm=xy)


def along_error(plan: RebuildPlan) -> np.ndarray:
    """Stations of standing edges less the true ones (k, 2)."""
    return np.array(
        [
            [b.station_start_mm - LAID.left_mm[b.course - 1], b.station_end_mm - LAID.right_mm[b.course - 1]]
            for b in standing(plan)
        ]
    )


@pytest.mark.parametrize("seed", range(4))
def test_rule_and_survey_together_place_bricks_better_than_the_survey(seed: int) -> None:
    plan = repair(survey(seed))
    error = along_error(plan)
    assert np.sqrt(np.mean(error**2)) < 0.6 * 1.5
    between = THERE[1:] & THERE[:-1]
    planned = plan.joints_mm(1)[1:-1][between]
    assert np.corrcoef(planned, LAID.joints_mm[1:-1][between])[0, 1] > 0.9
    assert max(b.survey_residual_mm for b in standing(plan)) < 4.5 * 1.5
    assert not any("again" in w for w in plan.warnings)


def test_a_brick_nobody_surveyed_stands_where_rule_and_neighbours_put_it() -> None:
    points = survey(1)
    plan = repair(points.take(points.course != 30))
    assert plan.bricks[29].kind is BrickKind.IN_SITU
    assert np.isnan(plan.bricks[29].survey_residual_mm)
    assert np.abs(along_error(plan)).max() < 2.0


def test_surveyed_edges_alone_place_what_was_not_ruled() -> None:
    gone = tuple(note(c, condition=Condition.MISSING) for c in GONE)
    error = along_error(repair(survey(2), gone))
    assert np.sqrt(np.mean(error**2)) < 0.95 * 1.5


@pytest.mark.parametrize(
    ("course", "fault", "told"),
    [
        (
            7,
            {"width_mm": 66.0},
            "Ring 1, course 7: the width by rule (66 mm along the arch) and the surveyed",
        ),
        (7, {"joint_mm": 21.0}, "Ring 1: the joint after course 7 by rule (21 mm along the arch) and the"),
    ],
)
def test_a_slip_of_the_rule_is_told_and_moves_nothing(
    course: int, fault: dict[str, float], told: str
) -> None:
    good = notes_from(LAID, missing=GONE)
    bad = tuple(replace(n, **fault) if n.course == course else n for n in good)
    plan = repair(survey(3), bad)
    (warning,) = [w for w in plan.warnings if "disagree" in w]
    assert warning.startswith(told)
    assert warning.endswith("measure both again.")
    assert np.abs(along_error(plan)).max() < 2.5


def test_an_edge_far_from_where_all_else_puts_it_is_told() -> None:
    """Too near to be thrown out as gross, too far for chance."""
    exact = edge_survey(LINE, LAID, there=THERE, sigma_mm=0.8)
    points = changed(exact, 9, {Edge.LEFT: 7.0 * LINE.tangent(LAID.left_mm[8])})
    bare = tuple(replace(n, width_mm=None) if n.course == 9 else n for n in notes_from(LAID, missing=GONE))
    plan = repair(points, tuple(replace(n, joint_mm=None) if n.course == 8 else n for n in bare))
    (warning,) = [w for w in plan.warnings if "corners were surveyed" in w]
    assert warning.endswith("from where everything read of the ring puts them; measure course 9 again.")


def test_a_displaced_brick_stands_where_it_is() -> None:
    """Course 9 has slipped 8 mm out of the soffit; its neighbours stay on it."""
    out = 8.0 * LINE.normal(0.5 * (LAID.left_mm[8] + LAID.right_mm[8]))
    plan = repair(changed(survey(4), 9, {Edge.LEFT: out, Edge.RIGHT: out}))
    inner = plan.rings[0].inner
    off = np.array([inner.locate(b.corners_mm[:2]).distance_mm for b in standing(plan)])
    course = np.array([b.course for b in standing(plan)])
    assert off[course == 9][0] == pytest.approx([8.0, 8.0], abs=2.5)
    assert np.abs(off[course != 9]).max() < 1e-6
    nine = plan.bricks[8]
    at = inner.locate(nine.corners_mm[:2]).station_mm
    assert at == pytest.approx([nine.station_start_mm, nine.station_end_mm], abs=1e-6)
    assert not any("measure" in w for w in plan.warnings)


def test_a_turned_brick_stands_as_surveyed_and_is_told() -> None:
    normal = LINE.normal(0.5 * (LAID.left_mm[8] + LAID.right_mm[8]))
    points = changed(survey(4, sigma_mm=0.5), 9, {Edge.LEFT: 5.0 * normal, Edge.RIGHT: -5.0 * normal})
    plan = repair(points)
    face = plan.bricks[8].corners_mm[:2]
    assert plan.rings[0].inner.locate(face).distance_mm == pytest.approx([5.0, -5.0], abs=1.5)
    assert any("measure course 9 again" in w for w in plan.warnings)


def test_a_replaced_brick_keeps_its_own_width_and_place() -> None:
    """An odd brick of 60 mm between joints of 5 mm: the rhythm does not draw it in."""
    odd = replace(LAID, left_mm=LAID.left_mm.copy(), right_mm=LAID.right_mm.copy())
    odd.left_mm[29] -= 5.0
    odd.right_mm[29] += 5.0
    notes = tuple(
        replace(n, condition=Condition.REPLACED, width_mm=None) if n.course == 30 else n
        for n in notes_from(odd, missing=GONE)
    )
    notes = tuple(replace(n, joint_mm=None) if n.course in (29, 30) else n for n in notes)
    plan = repair(survey(0, laid=odd, sigma_mm=0.5), notes)
    assert plan.bricks[29].width_intrados_mm == pytest.approx(odd.widths_mm[29], abs=1.5)


def test_a_gap_filled_otherwise_than_the_rhythm_draws_nothing_in() -> None:
    """Three courses were noted where only two had room: refused, but what stands stays where it stood."""
    wide = np.concatenate([LAID.widths_mm[:20], LAID.widths_mm[21:]])
    two = lay(LINE.length_mm, wide, np.delete(LAID.joints_mm, 20))
    notes = notes_from(two, missing=(20, 21))
    points = edge_survey(
        LINE, two, there=~np.isin(np.arange(1, N), (20, 21)), noise=np.random.default_rng(1), sigma_mm=0.5
    )
    later = np.where(points.course > 21, points.course + 1, points.course)
    renumbered = tuple(replace(n, course=n.course + 1) if n.course > 21 else n for n in notes)
    notes = (*renumbered, note(22, condition=Condition.MISSING))
    plan = repair(replace(points, course=later), notes, joints=JointLimits(5.0, 15.0, 60.0))
    assert plan.refusals
    assert plan.bricks[18].station_end_mm == pytest.approx(two.right_mm[18], abs=0.8)
    assert plan.bricks[22].station_start_mm == pytest.approx(two.left_mm[21], abs=0.8)


def backs(
    lean_rad: np.ndarray,
    depth_mm: float,
    noise: np.random.Generator | None,
    *,
    wider_mm: float = 0.0,
    along_mm: float = 0.0,
) -> SurveyPoints:
    """Outer corners of all standing courses whose centre lines lean against the normal."""
    inner = edge_survey(LINE, LAID, there=THERE, sigma_mm=0.5)
    middle = 0.5 * (LAID.left_mm + LAID.right_mm) + along_mm
    normal, tangent = LINE.normal(middle), LINE.tangent(middle)
    axis = np.cos(lean_rad)[:, None] * normal + np.sin(lean_rad)[:, None] * tangent
    across = np.stack([axis[:, 1], -axis[:, 0]], axis=1)
    half = 0.5 * (LAID.widths_mm + wider_mm)
    back = LINE.point(middle) + depth_mm * axis
    corners = np.stack([back - half[:, None] * across, back + half[:, None] * across], axis=1)
    xy = corners[THERE].reshape(-1, 2)
    feature = np.empty(len(xy), object)
    feature[:] = Feature.EXTRADOS
    xy = xy if noise is None else xy + noise.normal(0.0, 0.5, xy.shape)
    return replace(inner, name=tuple(f"E{n}" for n in inner.name), xy_mm=xy, feature=feature)


@pytest.mark.parametrize("slip_mm", [0.0, 40.0])
def test_backs_alone_place_what_nobody_surveyed_from_below(slip_mm: float) -> None:
    """Both corners of a back tell where the soffit is; corners that are no brick apart tell nothing."""
    outer = backs(np.zeros(N), 244.0, np.random.default_rng(1), along_mm=3.0)
    outer = changed(outer, 9, {Edge.LEFT: slip_mm * LINE.tangent(LAID.left_mm[8])})
    notes = notes_from(LAID, missing=GONE)
    plan = repair(outer, tuple(replace(n, joint_mm=None) if n.course in (0, N) else n for n in notes))
    found = LINE.locate(np.array([b.corners_mm[:2].mean(axis=0) for b in standing(plan)]))
    assert found.distance_mm.mean() == pytest.approx(4.0, abs=0.7)
    error = found.station_mm - 0.5 * (LAID.left_mm + LAID.right_mm)[THERE]
    assert error == pytest.approx(np.full(error.size, 3.0), abs=2.0)
    assert error.mean() == pytest.approx(3.0, abs=0.4)


def leans(plan: RebuildPlan) -> np.ndarray:
    """Angles of the drawn centre lines against the soffit's normal."""
    lines = np.array([b.corners_mm[2:].mean(axis=0) - b.corners_mm[:2].mean(axis=0) for b in standing(plan)])
    inner = plan.rings[0].inner
    middle = np.array([0.5 * (b.station_start_mm + b.station_end_mm) for b in standing(plan)])
    normal, tangent = inner.normal(middle), inner.tangent(middle)
    return np.arctan2(np.sum(lines * tangent, axis=1), np.sum(lines * normal, axis=1))


def test_a_bed_leans_as_surveyed_and_noise_does_not() -> None:
    lean = np.where(np.arange(N) == 8, 0.04, 0.0)
    points = joined(survey(0, sigma_mm=0.5), backs(lean, 240.0, np.random.default_rng(1)))
    plan = repair(points)
    drawn = leans(plan)
    course = np.array([b.course for b in standing(plan)])
    assert drawn[course == 9] == pytest.approx([0.04], abs=0.006)
    assert np.sqrt(np.mean(drawn[course != 9] ** 2)) < 0.003


def test_depths_by_rule_and_survey_are_drawn() -> None:
    noted = tuple(replace(n, depth_mm=232.0) if n.course == 5 else n for n in notes_from(LAID, missing=GONE))
    points = joined(survey(0, sigma_mm=0.5), backs(np.zeros(N), 236.0, None).take(np.arange(20, 80)))
    plan = repair(points, noted)
    assert plan.bricks[4].depth_mm == pytest.approx(240.0 + (232.0 - 240.0) * 4.0 / (4.0 + 0.25))
    assert plan.bricks[30].depth_mm == pytest.approx(236.0, abs=0.6)
    assert plan.bricks[20].depth_mm == 240.0  # a new brick


@pytest.mark.parametrize("cut", ["cut", "uncut"])
def test_backs_of_standing_bricks_widen_where_they_are_cut(cut: str) -> None:
    """A bed of a cut brick runs along the joint: the back is wider by depth times the angle of a pitch."""
    plan = repair(edge_survey(LINE, LAID, there=THERE), one=ring(1, N, cut=cut))
    brick = plan.bricks[9]
    pitch = 0.5 * (LAID.joints_mm[9] + LAID.joints_mm[10]) + LAID.widths_mm[9]
    wider = brick.width_extrados_mm - brick.width_intrados_mm
    assert wider == pytest.approx(240.0 * pitch / 2000.0 if cut == "cut" else 0.0, abs=0.2)


def test_a_back_surveyed_wider_is_drawn_wider() -> None:
    points = joined(survey(0, sigma_mm=0.5), backs(np.zeros(N), 240.0, None, wider_mm=6.0))
    brick = repair(points).bricks[9]
    assert brick.width_extrados_mm - brick.width_intrados_mm == pytest.approx(6.0, abs=1.0)


@pytest.mark.parametrize("gone", [(20, 21, 22, 23, 24), (1, 2, 42, 43), (10, 11, 33, 34)])
def test_a_symmetric_survey_gives_a_symmetric_repair(gone: tuple[int, ...]) -> None:
    rng = np.random.default_rng(2)
    widths, joints, off = (
        rng.normal(50.0, 0.8, N),
        np.exp(rng.normal(0.0, 0.1, N + 1)),
        rng.normal(0.0, 2.0, N),
    )
    even = lay(LINE.length_mm, widths + widths[::-1] - 50.0, joints + joints[::-1])
    there = ~np.isin(np.arange(1, N + 1), gone)
    points = edge_survey(LINE, even, there=there, off_mm=off + off[::-1], sigma_mm=1.0)
    plan = repair(points, notes_from(even, missing=gone))
    corners = np.stack([b.corners_mm for b in plan.bricks])
    assert corners == pytest.approx(corners[::-1, [1, 0, 3, 2]] * [-1.0, 1.0], abs=1e-6)
    assert plan.joints_mm(1) == pytest.approx(plan.joints_mm(1)[::-1], abs=1e-6)


def test_what_stands_is_the_same_in_every_plan() -> None:
    points, limits = survey(6), JointLimits(3.0, 24.0, 60.0)
    plan = repair(points, joints=limits)
    salvaged = repair(points, salvage=(SalvagedBrick("B1", 51.0, 240.0, 1, "", 2),), joints=limits)
    mark = LaidMark(1, 20, Edge.RIGHT, plan.bricks[19].station_end_mm + 1.0, 2)
    for other in (salvaged, replan(plan, [mark])):
        for a, b in zip(standing(plan), standing(other), strict=True):
            assert np.array_equal(a.corners_mm, b.corners_mm)
            assert (a.station_start_mm, a.station_end_mm) == (b.station_start_mm, b.station_end_mm)
            assert a.bed_angle_rad == b.bed_angle_rad
            assert a.from_crown_mm == pytest.approx(b.from_crown_mm, abs=1e-9)
