"""Templets: shapes by closed form, the fewest of them, and the joint errors recomputed from corners."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rebuild.works_factory import ring_of

from survey.curves import (
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred_sixty,
)
from survey.errors import PlanError
from survey.rebuild.plan import RingPlan, Templet
from survey.rebuild.templets import (
    assign_templets,
    flat_widths_mm,
    group_templets,
    joint_errors,
    templet_name,
)


@pytest.mark.parametrize(("shape", "radius"), [(semicircular(1000), 1000.0), (segmental(2400, 400), 2000.0)])
def test_one_templet_cuts_a_circular_ring(shape, radius):
    """Piece between joint middles that point to the centre: b = a + 2 d tan(phi), phi = half the pitch
    angle."""
    ring = ring_of(shape, np.full(39, 52.0), depth=240.0, cut=True)
    (templet,) = group_templets((ring,), 0.5)
    phi = (52.0 + ring.springing_joint_intrados_mm) / (2 * radius)
    a = 2 * radius * math.sin(52.0 / (2 * radius))
    assert templet.name == "A"
    assert templet.count == 39
    assert templet.cut
    assert templet.fewest
    assert templet.width_intrados_mm == pytest.approx(a, abs=1e-9)
    assert templet.width_extrados_mm == pytest.approx(a + 2 * 240.0 * math.tan(phi), abs=1e-9)
    assert templet.bevel_rad == pytest.approx(phi, abs=1e-12)
    assert templet.joint_error_mm == pytest.approx(0.0, abs=1e-9)
    assert templet.soffit_step_mm == pytest.approx(0.0, abs=1e-9)


def test_a_basket_handle_has_a_templet_an_arc_and_one_at_each_junction():
    for shape, n_arcs in ((three_centred_sixty(2000, 600), 2), (five_centred(3000, 900, 600), 3)):
        n = int(curve_of(shape).length_mm / 60)
        ring = ring_of(shape, np.full(n, 50.0), cut=True)
        templets = group_templets((ring,), 0.5)
        across = [
            b.course
            for b in ring.bricks
            if any(
                b.station_start_mm - 5 < at < b.station_end_mm + 5
                for at in np.cumsum(np.multiply(ring.inner.radii_mm, ring.inner.sweeps_rad))[:-1]
            )
        ]
        in_an_arc = [t for t in templets if not set(across) & {c for _, c in t.courses}]
        assert len(in_an_arc) == n_arcs
        assert all(t.count == 2 for t in templets if t not in in_an_arc)
        assert sum(t.count for t in templets) == n


def test_a_piece_across_a_junction_is_skewed_by_the_jump_of_curvature():
    """Bevels differ by w (k2 - k1) / 4 to first order where half the piece lies on either arc."""
    shape = three_centred_sixty(2000, 600)
    junction = shape.radii_mm[0] * shape.sector_angles_rad[0]
    length, w, j = curve_of(shape).length_mm, 50.0, 8.0
    start = junction - w / 2
    ring = ring_of(shape, [w], joints=[start, length - start - w], cut=True)
    across = replace(ring, bricks=(_squared(ring, j),))
    (templet,) = group_templets((across,), 0.5)
    jump = 1 / shape.radii_mm[0] - 1 / shape.radii_mm[1]
    assert templet.soffit_step_mm == pytest.approx((w * jump / 8 + j * jump / 4) * w / 2, rel=0.02)


def _squared(ring: RingPlan, j: float):
    """The only brick of a ring with sides along the normals half a joint outside its edges."""
    (brick,) = ring.bricks
    left, right = brick.corners_mm[:2]
    chord = (right - left) / np.hypot(*(right - left))
    axis = np.array([-chord[1], chord[0]])
    sides = ring.inner.normal([brick.station_start_mm - j / 2, brick.station_end_mm + j / 2])
    outer = [
        at + side * brick.depth_mm / (side @ axis) for at, side in zip((left, right), sides, strict=True)
    ]
    return replace(brick, corners_mm=np.array([left, right, outer[1], outer[0]]))


def test_whole_bricks_make_a_templet_a_recurring_size():
    widths = np.array([50.0, 65.0, 50.0] * 13)
    ring = ring_of(semicircular(1000), widths, depth=215.0)
    templets = group_templets((ring,), 0.5)
    assert [(t.name, t.count, t.cut) for t in templets] == [("A", 26, False), ("B", 13, False)]
    assert templets[0].bevel_rad == pytest.approx(0.0, abs=1e-12)
    assert templets[0].width_extrados_mm == pytest.approx(templets[0].width_intrados_mm, abs=1e-9)


def test_two_sizes_of_whole_bricks_are_never_merged():
    """Both within the tolerance of a middle size, but a mason buys sizes."""
    ring = ring_of(semicircular(1000), np.array([65.0, 64.5] * 19 + [65.0]), depth=215.0)
    templets = group_templets((ring,), 0.5)
    assert [(t.count, round(t.width_intrados_mm, 1)) for t in templets] == [(20, 65.0), (19, 64.5)]
    assert [t.joint_error_mm for t in templets] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_a_parallel_piece_of_no_recurring_size_must_be_sawn():
    widths = np.full(39, 65.0)
    widths[19] = 58.0
    ring = replace(ring_of(semicircular(1000), widths, depth=215.0), original_widths_mm=np.full(39, 65.0))
    whole, sawn = group_templets((ring,), 0.5)
    assert (whole.cut, sawn.cut) == (False, True)
    assert sawn.courses == ((1, 20),)


def test_bricks_that_have_their_shape_need_no_templet():
    sources = {3: "original", 5: "S7"}
    ring = ring_of(semicircular(1000), np.full(39, 65.0), in_situ=(1, 2, 39), sources=sources, cut=True)
    templets = group_templets((ring,), 0.5)
    served = {course for t in templets for _, course in t.courses}
    assert served == set(range(1, 40)) - {1, 2, 3, 5, 39}
    (named,) = assign_templets((ring,), templets)
    assert {b.course for b in named.bricks if not b.templet} == {1, 2, 3, 5, 39}


def test_turned_bricks_are_measured_square_across():
    """A brick 102.5 wide turned 45 degrees takes 144.96 along the arch; on the bench it is 102.5 wide."""
    turn = math.pi / 4
    section = 2 * 1215 * np.arcsin(102.5 * math.sqrt(2) / (2 * 1215))
    ring = ring_of(semicircular(1215), np.full(23, section), depth=103.0, turn_rad=turn)
    (templet,) = group_templets((ring,), 0.5)
    assert templet.width_intrados_mm == pytest.approx(102.5, abs=1e-9)
    assert not templet.cut


def test_same_piece_in_two_rings_is_one_templet_and_other_depths_are_others():
    shape = segmental(20000, 100)
    rings = [
        ring_of(shape, np.full(300, 60.0), ring=number, depth=depth, inner_mm=inner)
        for number, depth, inner in ((1, 102.5, 0.0), (2, 102.5, 112.5), (3, 215.0, 225.0))
    ]
    templets = group_templets(rings, 0.5)
    assert [(t.name, t.count, t.depth_mm) for t in templets] == [("A", 600, 102.5), ("B", 300, 215.0)]


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    tolerance=st.sampled_from([0.2, 0.5, 1.0]),
    cut=st.booleans(),
    shape=st.sampled_from([elliptical(2400, 700), semicircular(1100), three_centred_sixty(2200, 700)]),
)
def test_no_joint_is_off_by_more_than_the_tolerance(seed, tolerance, cut, shape):
    rng = np.random.default_rng(seed)
    n = int(curve_of(shape).length_mm / 62)
    ring = ring_of(shape, rng.choice([48.0, 50.0, 52.5], n) + rng.normal(0, 0.5, n), cut=cut)
    templets = group_templets((ring,), tolerance)
    worst = _joint_departures(ring, templets)
    assert max(worst) <= tolerance + 5e-6
    errors = joint_errors((ring,), templets)
    assert [t.joint_error_mm for t in templets] == pytest.approx(errors)
    assert max(errors) == pytest.approx(max(worst), abs=1e-9)
    assert sum(t.count for t in templets) == n


def _joint_departures(ring: RingPlan, templets: tuple[Templet, ...]) -> list[float]:
    """Every joint's departure, by growing or shrinking each piece about its own middle, face by face."""
    departures = []
    of = {c: t for t in templets for _, c in t.courses}
    flat = flat_widths_mm(ring)
    grow = (
        np.array([[of[b.course].width_intrados_mm, of[b.course].width_extrados_mm] for b in ring.bricks])
        - flat
    )
    for face in (0, 1):
        edge_moves = np.column_stack([-grow[:, face] / 2, grow[:, face] / 2])
        left = np.concatenate([[0.0], edge_moves[:, 1]])
        right = np.concatenate([edge_moves[:, 0], [0.0]])
        departures += list(np.abs(right - left))
    return departures


def test_a_mirror_symmetric_ring_has_mirror_symmetric_templets():
    ring = ring_of(elliptical(2400, 700), np.full(45, 52.0), cut=True)
    (named,) = assign_templets((ring,), group_templets((ring,), 0.5))
    names = [b.templet for b in named.bricks]
    assert names == names[::-1]
    assert len(set(names)) > 5


def test_a_wider_tolerance_never_needs_more_templets():
    ring = ring_of(elliptical(2400, 700), np.full(45, 52.0), cut=True)
    counts = [len(group_templets((ring,), t)) for t in (0.0, 0.1, 0.25, 0.5, 1.0, 2.0, 50.0)]
    assert counts == sorted(counts, reverse=True)
    assert counts[-1] == 1


def test_letters_run_on_without_the_two_that_read_as_figures():
    names = [templet_name(k) for k in range(24 + 24 * 24)]
    assert len(set(names)) == len(names)
    assert not any("I" in name or "O" in name for name in names)
    assert names[:3] + names[24:26] == ["A", "B", "C", "AA", "AB"]


def _templet(name: str, *courses: tuple[int, int]) -> Templet:
    return Templet(name, len(courses), 50.0, 60.0, 240.0, courses, 0.02, 0.0, True)


@pytest.mark.parametrize(
    ("templets", "message"),
    [
        ((_templet("A", (1, 40)),), "course 40 of ring 1, which the plan does not have"),
        ((_templet("A", (2, 1)),), "course 1 of ring 2"),
        ((_templet("A", (1, 3)), _templet("B", (1, 3))), "has templets A and B"),
    ],
)
def test_templets_of_other_rings_are_refused(templets, message):
    ring = ring_of(semicircular(1000), np.full(39, 65.0), depth=215.0)
    with pytest.raises(PlanError, match=message):
        assign_templets((ring,), templets)


def test_a_negative_tolerance_is_refused():
    with pytest.raises(PlanError, match="templet tolerance"):
        group_templets((ring_of(semicircular(1000), np.full(39, 65.0)),), -1.0)


def test_rings_without_bricks_have_no_templets():
    empty = replace(ring_of(semicircular(1000), np.full(3, 65.0)), bricks=())
    assert group_templets((empty,), 0.5) == ()
    assert joint_errors((empty,), (_templet("A", (1, 1)),)) == (0.0,)
