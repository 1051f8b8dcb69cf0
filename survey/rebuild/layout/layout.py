"""Bricks as polygons: from stations along a ring's inner curve to corners, joints and bed angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Curve, Floats


@dataclass(frozen=True, slots=True, eq=False)
class Beds:
    """How the sides of the bricks of one ring run.

    Attributes
    ----------
    parallel : (n,) bool
        True for a cut brick: its sides run along the middle of the joints beside it, so that a joint between
        two cut bricks is as wide outside as inside. False for a whole brick: a rectangle square on its flat
        face.
    """

    parallel: NDArray[np.bool_]

    @classmethod
    def whole(cls, n_bricks: int) -> Beds:
        """Whole bricks with wedge joints throughout."""
        return cls(np.zeros(n_bricks, dtype=bool))

    @classmethod
    def cut(cls, n_bricks: int) -> Beds:
        """Cut bricks with parallel joints throughout."""
        return cls(np.ones(n_bricks, dtype=bool))


@dataclass(frozen=True, slots=True, eq=False)
class PlacedRing:
    """Polygons of one ring, from the left springing to the right one.

    Attributes
    ----------
    start_mm, end_mm : (n,) float
        Stations of the left and right intrados corners on the ring's inner curve.
    corners_mm : (n, 4, 2) float
        Intrados left, intrados right, extrados right, extrados left.
    axis : (n, 2) float
        Unit directions of the centre lines, outwards.
    skewback_mm : (2, 2) float
        Outer ends of the left and the right skewback.
    joint_extrados_mm : (n + 1,) float
        Straight distances between the outer corners of neighbours, and to the skewbacks; negative where they
        cross.
    """

    start_mm: Floats
    end_mm: Floats
    corners_mm: Floats
    axis: Floats
    skewback_mm: Floats
    joint_extrados_mm: Floats

    @property
    def joint_intrados_mm(self) -> Floats:
        """Joints (n,) along the inner curve before each brick: all but the one at the right springing."""
        return np.asarray(self.start_mm - np.concatenate([[0.0], self.end_mm[:-1]]))

    @property
    def width_extrados_mm(self) -> Floats:
        """Straight widths (n,) of the outer faces."""
        return np.asarray(np.linalg.norm(self.corners_mm[:, 2] - self.corners_mm[:, 3], axis=1))

    @property
    def depth_mm(self) -> Floats:
        """Straight distances (n,) from the middle of the face to the middle of the back."""
        line = 0.5 * (self.corners_mm[:, 2:].sum(axis=1) - self.corners_mm[:, :2].sum(axis=1))
        return np.asarray(np.linalg.norm(line, axis=1))

    @property
    def bed_angle_rad(self) -> Floats:
        """Angles (n,) of the centre lines above the horizontal, seen from their own springing side."""
        return np.asarray(np.arctan2(self.axis[:, 1], np.abs(self.axis[:, 0])))


def place_ring(
    inner: Curve,
    start_mm: Floats,
    end_mm: Floats,
    *,
    depth_mm: float,
    beds: Beds,
    standing_mm: Floats | None = None,
) -> PlacedRing:
    """Bricks standing on a curve between given stations.

    Parameters
    ----------
    inner : Curve
        The ring's inner curve.
    start_mm, end_mm : (n,) float, mm
        Stations of the left and right intrados corners.
    depth_mm : float
        Depth of the ring along the brick's axis.
    beds : Beds
    standing_mm : (n, 4, 2) float, mm, optional
        Corners of standing bricks, which are kept to the last digit; NaN for the others.

    Returns
    -------
    PlacedRing

    Notes
    -----
    Both intrados corners lie on the curve and the flat face is the chord between them; the brick's axis is
    square on that chord, which on a circle is the normal at the middle of the face. The side of a cut brick
    along a direction d reaches the outer face after depth / (d . axis), so the outer face is parallel to the
    inner one. A standing brick's axis runs from the middle of its face to the middle of its back.
    """
    length_mm = inner.length_mm
    n, springings = len(start_mm), np.array([0.0, length_mm])
    left, right, feet = np.split(inner.point(np.concatenate([start_mm, end_mm, springings])), [n, 2 * n])
    axis = _axis(left, right)
    middles = 0.5 * (np.concatenate([[0.0], end_mm]) + np.concatenate([start_mm, [length_mm]]))
    joint_axis, feet_axis = np.split(inner.normal(np.concatenate([middles, springings])), [n + 1])
    cut = beds.parallel[:, None]
    left_side = np.where(cut, joint_axis[:-1], axis)
    right_side = np.where(cut, joint_axis[1:], axis)
    outer_left = left + left_side * (depth_mm / np.sum(left_side * axis, axis=1))[:, None]
    outer_right = right + right_side * (depth_mm / np.sum(right_side * axis, axis=1))[:, None]
    corners = np.stack([left, right, outer_right, outer_left], axis=1)
    if standing_mm is not None:
        stands = ~np.isnan(standing_mm).any(axis=(1, 2))
        corners[stands] = standing_mm[stands]
        axis[stands] = _centre_lines(corners[stands])
    skewback = feet + depth_mm * feet_axis
    joints = _outer_joints(corners, skewback, joint_axis)
    return PlacedRing(start_mm, end_mm, corners, axis, skewback, joints)


def _axis(left: Floats, right: Floats) -> Floats:
    """Unit directions (n, 2) square on the chords, outwards."""
    chord = right - left
    square = np.stack([-chord[:, 1], chord[:, 0]], axis=1)
    return np.asarray(square / np.linalg.norm(square, axis=1, keepdims=True))


def _centre_lines(corners: Floats) -> Floats:
    """Unit directions (n, 2) from the middles of the faces to the middles of the backs."""
    line = corners[:, 2:].sum(axis=1) - corners[:, :2].sum(axis=1)
    return np.asarray(line / np.linalg.norm(line, axis=1, keepdims=True))


def _outer_joints(corners: Floats, skewback: Floats, joint_axis: Floats) -> Floats:
    """Distances (n + 1,) between outer corners, signed along the ring."""
    before = np.concatenate([skewback[:1], corners[:, 2]])
    after = np.concatenate([corners[:, 3], skewback[1:]])
    gap = after - before
    along = gap[:, 0] * joint_axis[:, 1] - gap[:, 1] * joint_axis[:, 0]
    return np.asarray(np.copysign(np.linalg.norm(gap, axis=1), along))
