"""Rings of brick laid by plain geometry, so that the works can be tested apart from the layout."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.curves.shape import ArchShape
from survey.rebuild.plan import Brick, BrickKind, RingPlan
from survey.record.model import Centring, FaceFrame, Laid, Mortar, Record, Ring, SurveyPoints


def ring_of(
    shape: ArchShape,
    widths: ArrayLike,
    *,
    ring: int = 1,
    depth: float = 240.0,
    inner_mm: float = 0.0,
    joints: ArrayLike | None = None,
    cut: bool = False,
    turn_rad: float = 0.0,
    in_situ: tuple[int, ...] = (),
    sources: Mapping[int, str] | None = None,
) -> RingPlan:
    """Lay bricks of given widths (along the curve) with even joints, or with the joints given.

    ``cut`` tapers the bricks so that joints are parallel; otherwise bricks are rectangles. A turned ring's
    widths and joints are those of the section parallel to the face.
    """
    inner = curve_of(shape).offset(inner_mm) if inner_mm else curve_of(shape)
    w = np.asarray(widths, dtype=float)
    n = len(w)
    j = (
        np.full(n + 1, (inner.length_mm - w.sum()) / (n + 1))
        if joints is None
        else np.asarray(joints, dtype=float)
    )
    start = np.cumsum(np.concatenate([[0.0], w[:-1]])) + np.cumsum(j[:-1])
    end = start + w
    corners = _corners(inner, start, end, j, depth, cut=cut)
    back = _back_joints(inner, corners, depth)
    crown = inner.length_mm / 2.0
    middle = (start + end) / 2.0
    normal = inner.normal(middle)
    bricks = tuple(
        Brick(
            ring=ring,
            course=k + 1,
            kind=_kind(k + 1, n, in_situ, turn_rad),
            source="original" if k + 1 in in_situ else (sources or {}).get(k + 1, "new"),
            width_intrados_mm=float(w[k]),
            width_extrados_mm=float(math.dist(corners[k, 2], corners[k, 3])),
            depth_mm=depth,
            joint_after_intrados_mm=float(j[k + 1]),
            joint_after_extrados_mm=float(back[k + 1]),
            station_start_mm=float(start[k]),
            station_end_mm=float(end[k]),
            from_crown_mm=float(middle[k] - crown),
            bed_angle_rad=float(math.atan2(normal[k, 1], abs(normal[k, 0]))),
            templet="",
            corners_mm=corners[k],
        )
        for k in range(n)
    )
    return RingPlan(
        ring=ring,
        count=n,
        counted=True,
        inner=inner,
        outer=inner.offset(depth),
        depth_mm=depth,
        sawtooth=turn_rad != 0.0,
        turn_rad=turn_rad,
        bricks=bricks,
        springing_joint_intrados_mm=float(j[0]),
        springing_joint_extrados_mm=float(back[0]),
        joint_min_mm=min(3.2, float(j.min())),
        joint_max_mm=max(19.05, float(j.max())),
        closure_mm=float(w.sum() + j.sum() - inner.length_mm),
        original_widths_mm=w,
        original_joints_mm=j,
        recorded_joints=(True,) * (n + 1),
        depth_gauge_mm=inner_mm + depth,
    )


def _kind(course: int, n: int, in_situ: tuple[int, ...], turn_rad: float) -> BrickKind:
    if course in in_situ:
        return BrickKind.IN_SITU
    if turn_rad:
        return BrickKind.SAWTOOTH
    return BrickKind.KEY if 2 * course == n + 1 else BrickKind.BRICK


def _corners(inner: Curve, start: Floats, end: Floats, j: Floats, depth: float, *, cut: bool) -> Floats:
    left, right = inner.point(start), inner.point(end)
    chord = right - left
    axis = np.column_stack([-chord[:, 1], chord[:, 0]]) / np.hypot(*chord.T)[:, None]
    outer = []
    for corner, normal in (
        (right, inner.normal(end + j[1:] / 2.0)),
        (left, inner.normal(start - j[:-1] / 2.0)),
    ):
        side = normal if cut else axis
        outer.append(corner + side * (depth / np.sum(side * axis, axis=1))[:, None])
    return np.stack([left, right, *outer], axis=1)


def _back_joints(inner: Curve, corners: Floats, depth: float) -> Floats:
    ends = [inner.point(s) + depth * inner.normal(s) for s in (0.0, inner.length_mm)]
    right = np.vstack([ends[0], corners[:, 2]])
    left = np.vstack([corners[:, 3], ends[1]])
    return np.hypot(*(left - right).T)


def record_of(
    *rings: Ring, centring: Centring | None = None, mortar: Mortar | None = None, name: str = "Mill race arch"
) -> Record:
    """A record that holds what the works read of it: rings, centring and mortar."""
    nothing = np.zeros(0)
    points = SurveyPoints(
        (),
        np.zeros((0, 2)),
        nothing,
        nothing,
        np.zeros(0, dtype=object),
        np.zeros(0, dtype=np.int64),
        np.zeros(0, dtype=np.int64),
        np.zeros(0, dtype=object),
        np.zeros(0, dtype=np.int64),
    )
    return Record(
        folder=Path("mill-race"),
        name=name,
        place="",
        recorded_on="",
        recorded_by="",
        note="",
        unit="mm",
        point_sigma_mm=2.0,
        has_depth=False,
        frame=FaceFrame(np.zeros(3), np.eye(3)[0], np.eye(3)[1], np.eye(3)[2]),
        points=points,
        rings=rings,
        centring=centring or Centring(),
        mortar=mortar or Mortar(),
    )


def ring_record(ring: int = 1, *, depth: float = 240.0, width: float = 50.0, **more: object) -> Ring:
    """A ring as recorded in arch.toml."""
    return Ring(ring, None, depth, width, more.pop("laid", Laid.RADIAL), **more)  # type: ignore[arg-type]
