"""Bricks as polygons on a circle, where everything has a closed form."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Polygon

from survey.curves import curve_of, elliptical, semicircular
from survey.rebuild.layout.layout import Beds, place_ring

R, D = 1000.0, 215.0
LINE = curve_of(semicircular(R))
START = 8.0 + 73.0 * np.arange(42)
END = START + 65.0


def test_whole_bricks_are_rectangles_square_on_their_chord() -> None:
    placed = place_ring(LINE, START, END, depth_mm=D, beds=Beds.whole(42))
    for corners in placed.corners_mm:
        a, b, c, d = corners
        assert np.linalg.norm(b - a) == pytest.approx(2 * R * np.sin(65.0 / (2 * R)))
        assert np.linalg.norm(c - b) == pytest.approx(D)
        assert (b - a) @ (d - a) == pytest.approx(0.0, abs=1e-6)
        assert c - d == pytest.approx(b - a, abs=1e-9)
        assert Polygon(corners).exterior.is_ccw
    assert placed.width_extrados_mm == pytest.approx(np.full(42, 2 * R * np.sin(65.0 / (2 * R))))


def test_centre_lines_are_normals_of_a_circle() -> None:
    placed = place_ring(LINE, START, END, depth_mm=D, beds=Beds.whole(42))
    middle = 0.5 * (START + END)
    assert placed.axis == pytest.approx(LINE.normal(middle), abs=1e-12)
    turned = middle / R
    assert placed.bed_angle_rad == pytest.approx(np.minimum(turned, np.pi - turned), abs=1e-12)


def test_cut_bricks_have_parallel_joints() -> None:
    placed = place_ring(LINE, START, END, depth_mm=D, beds=Beds.cut(42))
    right, left = placed.corners_mm[:-1], placed.corners_mm[1:]
    side, other = right[:, 2] - right[:, 1], left[:, 3] - left[:, 0]
    cross = side[:, 0] * other[:, 1] - side[:, 1] * other[:, 0]
    assert cross == pytest.approx(np.zeros(41), abs=1e-6)
    front = np.linalg.norm(left[:, 0] - right[:, 1], axis=1)
    assert placed.joint_extrados_mm[1:-1] == pytest.approx(front, abs=1e-6)
    # the springers are cut as all others: their outer joint opens by the half joint's angle, 8 / 2 / R x D
    assert placed.joint_extrados_mm[0] == pytest.approx(8.0 + 4.0 / R * D, abs=0.01)
    assert np.ptp(placed.width_extrados_mm[:-1]) < 1e-6  # the last stands beside what is left over
    outer = placed.corners_mm[:, 2] - placed.corners_mm[:, 3]
    inner = placed.corners_mm[:, 1] - placed.corners_mm[:, 0]
    assert outer[:, 0] * inner[:, 1] - outer[:, 1] * inner[:, 0] == pytest.approx(np.zeros(42), abs=1e-6)


def test_back_joints_against_the_skewback_of_a_semicircle() -> None:
    """The skewback is level: the first brick's back corner stands above it by plain trigonometry."""
    placed = place_ring(LINE, START, END, depth_mm=D, beds=Beds.whole(42))
    angle = (START[0] + 32.5) / R
    half = R * np.sin(65.0 / (2 * R))
    axis = np.array([-np.cos(angle), np.sin(angle)])
    along = np.array([np.sin(angle), np.cos(angle)])
    corner = (R * np.cos(65.0 / (2 * R)) + D) * axis - half * along
    expected = np.linalg.norm(corner - [-(R + D), 0.0])
    assert placed.joint_extrados_mm[0] == pytest.approx(expected)
    assert placed.skewback_mm[1] == pytest.approx([R + D, 0.0], abs=1e-9)


def test_joints_before_each_brick() -> None:
    placed = place_ring(LINE, START, END, depth_mm=D, beds=Beds.whole(42))
    assert placed.joint_intrados_mm == pytest.approx(np.full(42, 8.0))


def test_crossing_bricks_show_a_negative_joint() -> None:
    """Bricks that overlap on the soffit cross at the back as well, for a depth small against the overlap."""
    end = END.copy()
    end[5] = START[6] + 6.0
    placed = place_ring(LINE, START, end, depth_mm=20.0, beds=Beds.whole(42))
    assert placed.joint_extrados_mm[6] < 0.0
    assert (np.delete(placed.joint_extrados_mm, 6) > 0.0).all()


def test_corners_of_standing_bricks_are_kept_and_give_their_centre_line() -> None:
    line = curve_of(elliptical(2400.0, 800.0))
    start, end = np.array([500.0, 570.0]), np.array([560.0, 630.0])
    standing = np.full((2, 4, 2), np.nan)
    standing[0] = [[-3.0, 1.0], [47.0, -1.0], [45.0, 238.0], [-1.0, 242.0]]
    placed = place_ring(line, start, end, depth_mm=240.0, beds=Beds.whole(2), standing_mm=standing)
    assert np.array_equal(placed.corners_mm[0], standing[0])
    assert placed.axis[0] == pytest.approx([0.0, 1.0])
    assert placed.depth_mm == pytest.approx([240.0, 240.0])
    free = place_ring(line, start, end, depth_mm=240.0, beds=Beds.whole(2))
    assert placed.corners_mm[1] == pytest.approx(free.corners_mm[1])
