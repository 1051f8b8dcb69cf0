"""What holds for every plan, whatever the family, the rings and the damage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rebuild.factory import Laid, edge_survey, fit, joined, lay, lines_of, notes_from, record, ring
from shapely.geometry import Polygon
from shapely.strtree import STRtree

from survey.curves import (
    ArchShape,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred,
)
from survey.curves.protocol import Curve
from survey.rebuild import Brick, BrickKind, RebuildOptions, RebuildPlan, Scope, plan_rebuild
from survey.record.model import JointLimits, Record, Ring, SurveyPoints
from survey.record.model import Laid as Bond

SLOW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def shapes(draw: st.DrawFn) -> ArchShape:
    half = draw(st.floats(500.0, 2500.0))
    family = draw(st.sampled_from(["semi", "segment", "ellipse", "three", "five"]))
    if family == "semi":
        return semicircular(half)
    if family == "segment":
        return segmental(2 * half, half * draw(st.floats(0.25, 0.9)))
    if family == "ellipse":
        return elliptical(2 * half, half * draw(st.floats(0.5, 0.9)))
    if family == "three":
        rise = draw(st.floats(0.55, 0.85))
        return three_centred(2 * half, half * rise, half * rise * draw(st.floats(0.6, 0.85)))
    rise = draw(st.floats(0.62, 0.72))
    return five_centred(2 * half, half * rise, half * rise * 0.77)


@st.composite
def arches(draw: st.DrawFn) -> tuple[ArchShape, tuple[Ring, ...], tuple[Laid, ...]]:
    """A shape, one to three rings on it, and the bricks and joints of each as built."""
    shape = draw(shapes())
    bare = tuple(
        ring(
            number,
            courses=None,
            depth_mm=draw(st.sampled_from([80.0, 120.0, 160.0])),
            collar_mm=10.0,
            cut=draw(st.sampled_from(["uncut", "cut", "mixed"])),
        )
        for number in range(1, draw(st.integers(1, 3)) + 1)
    )
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    rings, laid = [], []
    for one, line in zip(bare, lines_of(shape, bare), strict=True):
        turned = one.ring == 2 and draw(st.booleans())
        width = draw(st.floats(40.0, 70.0))
        section = width / np.cos(np.pi / 4) if turned else width
        n = max(5, round(line.length_mm / (section + 12.0)))
        along = np.abs(np.linspace(-1, 1, n + 1))
        joints = 1.0 + draw(st.floats(-0.4, 0.4)) * along + draw(st.floats(0.0, 0.2)) * (np.arange(n + 1) % 2)
        room = line.length_mm - n * section
        widths = np.full(n, section if room > 4.0 * (n + 1) else (line.length_mm - 9.0 * (n + 1)) / n)
        widths = widths + rng.normal(0.0, draw(st.sampled_from([0.0, 1.0])), n)
        rings.append(
            replace(
                one,
                courses=n,
                brick_width_mm=float(widths.mean()) * (np.cos(np.pi / 4) if turned else 1.0),
                laid=Bond.SAWTOOTH if turned else Bond.RADIAL,
                turn_rad=np.pi / 4 if turned else 0.0,
            )
        )
        laid.append(lay(line.length_mm, widths, joints))
    return shape, tuple(rings), tuple(laid)


def planned(shape: ArchShape, rec: Record, options: RebuildOptions | None = None) -> RebuildPlan:
    return plan_rebuild(rec, fit(shape, rec), options)


def check_plan(plan: RebuildPlan) -> None:
    """The invariants that hold whether or not anything stands."""
    for one in plan.rings:
        joints = plan.joints_mm(one.ring)
        widths = np.array([b.width_intrados_mm for b in one.bricks])
        assert [b.course for b in one.bricks] == list(range(1, one.count + 1))
        assert widths.sum() + joints.sum() == pytest.approx(one.inner.length_mm, abs=1e-7)
        assert abs(one.closure_mm) < 0.01
        for brick in one.bricks:
            if brick.kind is not BrickKind.IN_SITU:
                off = one.inner.locate(brick.corners_mm[:2])
                assert np.abs(off.distance_mm).max() < 0.05
                assert off.station_mm == pytest.approx(
                    [brick.station_start_mm, brick.station_end_mm], abs=1e-6
                )
        new = np.array([b.kind is not BrickKind.IN_SITU for b in one.bricks])
        beside_new = np.concatenate([new, [False]]) | np.concatenate([[False], new])
        inside = (joints >= one.joint_min_mm - 1e-9) & (joints <= one.joint_max_mm + 1e-9)
        assert plan.refusals or inside[beside_new].all()
        check_joints_are_distances(one, joints)


def check_joints_are_distances(one: object, joints: np.ndarray) -> None:
    """Joint columns are what a rule laid across the joint between two polygons would read."""
    for a, b in zip(one.bricks[:-1], one.bricks[1:], strict=True):
        front = np.linalg.norm(b.corners_mm[0] - a.corners_mm[1])
        back = np.linalg.norm(b.corners_mm[3] - a.corners_mm[2])
        # the front joint is told along the curve, the rule lies straight: j^3 k^2 / 24 apart
        off = one.inner.locate(np.stack([a.corners_mm[1], b.corners_mm[0]])).distance_mm
        if np.abs(off).max() < 0.05:  # else a brick stands out of the soffit, and a rule would lie aslant
            assert front == pytest.approx(abs(a.joint_after_intrados_mm), abs=0.02)
        assert back == pytest.approx(abs(a.joint_after_extrados_mm), abs=1e-9)
    assert joints.size == one.count + 1


def check_no_overlap(plan: RebuildPlan) -> None:
    """No two polygons share area, within a ring or across rings."""
    polygons = [Polygon(b.corners_mm) for b in plan.bricks]
    assert all(p.is_valid and p.area > 0.0 for p in polygons)
    tree = STRtree(polygons)
    for i, polygon in enumerate(polygons):
        for j in tree.query(polygon):
            if j > i:
                assert polygon.intersection(polygons[j]).area < 1e-6, (
                    i,
                    j,
                    polygon.intersection(polygons[j]).area,
                    plan.bricks[i],
                    plan.bricks[j],
                )


@SLOW
@given(arches())
def test_a_whole_rebuild_keeps_count_curve_and_limits(arch: tuple) -> None:
    shape, rings, laid = arch
    notes = tuple(n for r, one in zip(rings, laid, strict=True) for n in notes_from(one, ring=r.ring))
    plan = planned(shape, record(rings, courses=notes))
    assert plan.scope is Scope.WHOLE
    assert [r.count for r in plan.rings] == [r.courses for r in rings]
    check_plan(plan)
    check_no_overlap(plan)
    if not plan.refusals:
        for r, one in zip(rings, laid, strict=True):
            limits = plan.rings[r.ring - 1]
            in_limits = (one.joints_mm >= limits.joint_min_mm) & (one.joints_mm <= limits.joint_max_mm)
            if in_limits.all():  # a rhythm that closes within its limits is put back as it was
                assert plan.joints_mm(r.ring) == pytest.approx(one.joints_mm, abs=1e-6)


@SLOW
@given(arches(), st.data())
def test_a_repair_moves_nothing_that_stands(arch: tuple, data: st.DataObject) -> None:
    shape, rings, laid = arch
    noise = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    lines = lines_of(shape, rings)
    surveys, notes, theres = [], [], []
    bend_mm = data.draw(
        st.floats(-8.0, 8.0)
    )  # all rings went the same way, or they would stand in one another
    for r, one, line in zip(rings, laid, lines, strict=True):
        n = r.courses
        there = np.ones(n, bool)
        for _ in range(data.draw(st.integers(0, 2))):
            first = data.draw(st.integers(0, n - 1))
            there[first : first + data.draw(st.integers(1, max(1, n // 6)))] = False
        if there.all():
            there[n // 2] = False
        bend = bend_mm * np.sin(np.linspace(0.0, 5.0, n))
        surveys.append(
            edge_survey(line, one, ring=r.ring, there=there, off_mm=bend, sigma_mm=0.5, noise=noise)
        )
        notes += notes_from(one, ring=r.ring, missing=tuple(np.flatnonzero(~there) + 1))
        theres.append(there)
    points = joined(*surveys)
    plan = planned(shape, record(rings, points=points, courses=tuple(notes)))
    assert plan.scope is Scope.REPAIR
    check_plan(plan)
    check_standing(plan, points, theres)
    check_no_lip(plan)
    check_no_overlap(plan)


def check_standing(plan: RebuildPlan, points: SurveyPoints, theres: list[np.ndarray]) -> None:
    """Standing bricks are drawn on the soffit, within what their survey leaves open."""
    at = {
        (int(r), int(c), str(e)): p
        for r, c, e, p in zip(points.ring, points.course, points.edge, points.xy_mm, strict=True)
    }
    for brick in plan.bricks:
        stands = theres[brick.ring - 1][brick.course - 1]
        assert (brick.kind is BrickKind.IN_SITU) == stands
        assert stands or brick.source == "new"
        if stands:
            away = brick.corners_mm[:2] - [at[brick.ring, brick.course, side] for side in ("left", "right")]
            assert np.linalg.norm(away, axis=1).max() == pytest.approx(brick.survey_residual_mm)
            assert brick.survey_residual_mm < 5.0 * points.sigma_mm[0]
            check_columns(brick, plan.rings[brick.ring - 1].inner)


def check_columns(brick: Brick, inner: Curve) -> None:
    """Stations, width, depth and bed angle are those of the polygon."""
    face, back = brick.corners_mm[:2], brick.corners_mm[2:]
    off = inner.locate(face)
    assert off.station_mm == pytest.approx([brick.station_start_mm, brick.station_end_mm], abs=0.01)
    crown = inner.point(off.station_mm.mean() - brick.from_crown_mm)
    assert crown[0] == pytest.approx(0.0, abs=1e-6)  # every shape here stands about x = 0
    if np.abs(off.distance_mm).max() < 0.05:  # else it stands out of the soffit
        chord = np.linalg.norm(face[1] - face[0])
        assert 0.99 * brick.width_intrados_mm < chord < brick.width_intrados_mm + 1e-9  # the curve is longer
    assert np.linalg.norm(back[1] - back[0]) == pytest.approx(brick.width_extrados_mm, abs=1e-9)
    line = back.mean(axis=0) - face.mean(axis=0)
    assert np.linalg.norm(line) == pytest.approx(brick.depth_mm, abs=0.01)
    assert np.arctan2(line[1], abs(line[0])) == pytest.approx(brick.bed_angle_rad, abs=1e-6)


def check_no_lip(plan: RebuildPlan) -> None:
    """Where new work meets a standing corner the soffit passes through that corner."""
    for one in plan.rings:
        for a, b in zip(one.bricks[:-1], one.bricks[1:], strict=True):
            if (a.kind is BrickKind.IN_SITU) != (b.kind is BrickKind.IN_SITU):
                corner = a.corners_mm[1] if a.kind is BrickKind.IN_SITU else b.corners_mm[0]
                assert abs(one.inner.locate(corner[None]).distance_mm[0]) < 1e-6


@SLOW
@given(arches())
def test_a_symmetric_arch_gets_a_symmetric_plan(arch: tuple) -> None:
    shape, rings, laid = arch
    even = [
        lay(
            one.length_mm,
            0.5 * (one.widths_mm + one.widths_mm[::-1]),
            0.5 * (one.joints_mm + one.joints_mm[::-1]),
        )
        for one in laid
    ]
    notes = tuple(n for r, one in zip(rings[:1], even, strict=False) for n in notes_from(one, ring=r.ring))
    plan = planned(shape, record(rings, courses=notes))
    for one in plan.rings:
        corners = np.stack([b.corners_mm for b in one.bricks])
        mirrored = corners[::-1, [1, 0, 3, 2]] * [-1.0, 1.0]
        assert corners == pytest.approx(mirrored, abs=1e-6)
        kinds = [b.kind for b in one.bricks]
        assert kinds == kinds[::-1]
        angles = np.array([b.bed_angle_rad for b in one.bricks])
        assert angles == pytest.approx(angles[::-1], abs=1e-9)


@pytest.mark.parametrize("least", [11.0, 14.0])
def test_a_ring_that_cannot_close_says_so_and_is_laid_out_evenly(least: float) -> None:
    shape = segmental(2400.0, 400.0)
    rings = (ring(1, 43),)
    plan = planned(shape, record(rings, joints=JointLimits(least, 18.0, 60.0)))
    assert len(plan.refusals) == 1
    assert "43 bricks" in plan.refusals[0]
    assert np.ptp(plan.joints_mm(1)) < 1e-9
    assert plan.joints_mm(1).sum() + 43 * 50.0 == pytest.approx(plan.rings[0].inner.length_mm)
