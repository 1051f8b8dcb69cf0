"""Joints, counts and tooth courses of brick arches against figures from outside this project.

Sources are named at each test. "Computed independently" marks a figure worked out apart from this code from
the handbook's own definition; "text seen" a figure read in the source; "value from memory" one that was not
looked up.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from rebuild.factory import fit, record, ring

from survey.curves import curve_of, segmental, semicircular
from survey.errors import PlanError
from survey.rebuild import RebuildPlan, plan_rebuild
from survey.rebuild.rhythm.rings import extrados_joint_mm, least_radius_mm, sawtooth_pitch_mm, tooth_depth_mm
from survey.record.model import JointLimits

FOOT_MM, INCH_MM = 304.8, 25.4
ROUNDED = 5e-4  # the figures are given to three places


def plan_segment(n: int) -> RebuildPlan:
    """Span 2400, rise 400, bricks 50 thick and 240 deep, n of them between the skewbacks."""
    shape = segmental(2400.0, 400.0)
    rec = record((ring(1, n),), joints=JointLimits(3.0, 20.0, 30.0))
    return plan_rebuild(rec, fit(shape, rec))


@pytest.mark.parametrize(
    ("n", "front", "back"), [(43, 9.636, 16.656), (44, 8.311, 15.175), (45, 7.044, 13.758)]
)
def test_n_bricks_have_n_plus_1_joints(n: int, front: float, back: float) -> None:
    """n bricks between skewbacks have n + 1 joints: arc = n b + (n + 1) j. Computed independently.

    The back joint is the mean one, told along the arc of the extrados; the plan tells straight distances
    between square bricks, and those at the skewbacks lean against a plane.
    """
    plan = plan_segment(n)
    assert plan.joints_mm(1) == pytest.approx(np.full(n + 1, front), abs=ROUNDED)
    turned = curve_of(plan.shape).turning_rad
    outer_arc = 2240.0 * turned
    assert (outer_arc - n * 50.0) / (n + 1) == pytest.approx(back, abs=ROUNDED)
    inner_joints = [b.joint_after_extrados_mm for b in plan.rings[0].bricks[:-1]]
    # a joint between square bricks spans the angle of one pitch: chords of 240 mm sides, not of the outer arc
    pitch_rad = (50.0 + front) / 2000.0
    expected = 2.0 * (2000.0 * math.cos(0.0125) + 240.0) * math.sin(pitch_rad / 2.0) - 50.0 * math.cos(
        pitch_rad / 2.0
    )
    assert inner_joints == pytest.approx(np.full(n - 1, expected), abs=0.01)
    assert inner_joints == pytest.approx(
        np.full(n - 1, extrados_joint_mm(2000.0, 240.0, 50.0, front)), abs=0.05
    )


def test_running_marks_close_on_the_arc() -> None:
    """Left edges k (50 + 7.0436) + 7.0436: they close on the arc. Computed independently."""
    plan = plan_segment(45)
    last = plan.rings[0].bricks[44]
    assert last.station_start_mm == pytest.approx(2516.961, abs=ROUNDED)
    assert last.station_start_mm + 50.0 + last.joint_after_intrados_mm == pytest.approx(2574.004, abs=ROUNDED)


@pytest.mark.parametrize(("depth_in", "feet"), [(4.0, 3.33), (8.0, 6.67), (12.0, 10.0), (16.0, 13.3)])
def test_smallest_radius_for_uncut_bricks(depth_in: float, feet: float) -> None:
    """Brick 2 1/4 in, joints 1/4 in inside and 1/2 in outside.

    Brick Institute of America, Technical Note 31 (1995), table 1: the row for 8 in, 6.7 ft, text seen,
    quoted by masonryconstruction.com; the other rows values from memory, computed independently.
    """
    radius = least_radius_mm(depth_in * INCH_MM, 2.25 * INCH_MM, 0.25 * INCH_MM, 0.5 * INCH_MM)
    assert radius / FOOT_MM == pytest.approx(feet, abs=0.05)


@pytest.mark.parametrize(("radius_ft", "back", "passes"), [(3.0, 22.70, False), (4.0, 18.52, True)])
def test_rings_are_needed_below_three_to_four_feet(radius_ft: float, back: float, passes: bool) -> None:
    """Bricks 65 x 215 with 6 mm joints: the back joint passes 3/4 in between a radius of 3 and 4 ft.

    Rule: *Notes on Building Construction*, "Brick Arches" (text seen in a web copy); joints computed
    independently.
    """
    joint = extrados_joint_mm(round(radius_ft * FOOT_MM), 215.0, 65.0, 6.0)
    assert joint == pytest.approx(back, abs=0.01)
    assert (joint <= JointLimits().extrados_max_mm) is passes


@pytest.mark.parametrize(("depth", "back"), [(215.0, 36.53), (102.5, 20.56)])
def test_tight_curves_open_even_half_brick_rings(depth: float, back: float) -> None:
    """Radius 500, bricks 65, joints 6. Computed independently."""
    assert extrados_joint_mm(500.0, depth, 65.0, 6.0) == pytest.approx(back, abs=0.01)


@pytest.mark.parametrize(
    ("n", "front", "back"), [(43, 8.060, 15.549), (41, 11.624, 19.478), (42, 9.800, 17.467)]
)
def test_pitch_counts_of_a_semicircle(n: int, front: float, back: float) -> None:
    """Semicircle of 1000, n pitches of a brick of 65 and a joint, ring 102.5 deep. Computed independently."""
    length = curve_of(semicircular(1000.0)).length_mm
    joint = length / n - 65.0
    assert joint == pytest.approx(front, abs=ROUNDED)
    assert extrados_joint_mm(1000.0, 102.5, 65.0, joint) == pytest.approx(back, abs=ROUNDED)


@pytest.mark.parametrize(("width", "pitch", "tooth"), [(102.5, 159.099, 72.478), (65.0, 106.066, 45.962)])
def test_sawtooth_pitch_and_tooth(width: float, pitch: float, tooth: float) -> None:
    """Bricks at 45 degrees, joint 10, every (w + j) sqrt 2; tooth w / sqrt 2. Computed independently."""
    turn = math.radians(45.0)
    assert sawtooth_pitch_mm(width, 10.0, turn) == pytest.approx(pitch, abs=ROUNDED)
    assert tooth_depth_mm(width, turn) == pytest.approx(tooth, abs=ROUNDED)


@pytest.mark.parametrize(("n", "joint"), [(24, 9.960), (23, 14.850)])
def test_teeth_of_a_semicircle(n: int, joint: float) -> None:
    """Semicircle of 1215, bricks 102.5 at 45 degrees: 23.992 pitches at joint 10. Computed independently."""
    length = curve_of(semicircular(1215.0)).length_mm
    turn = math.radians(45.0)
    assert length / sawtooth_pitch_mm(102.5, 10.0, turn) == pytest.approx(23.992, abs=ROUNDED)
    assert length / n * math.cos(turn) - 102.5 == pytest.approx(joint, abs=ROUNDED)
    assert sawtooth_pitch_mm(102.5, joint, turn) * n == pytest.approx(length, abs=0.02)


def test_a_back_joint_no_wider_than_the_front_one_needs_cut_bricks() -> None:
    with pytest.raises(PlanError, match=r"back joint of 6\.0 mm is not wider"):
        least_radius_mm(215.0, 65.0, 6.0, 6.0)


@pytest.mark.parametrize("turn", [math.pi / 2, -math.pi / 2, 2.0, math.nan])
def test_a_square_turn_leaves_no_brick(turn: float) -> None:
    with pytest.raises(PlanError, match="leaves no brick along the arch"):
        sawtooth_pitch_mm(102.5, 10.0, turn)
