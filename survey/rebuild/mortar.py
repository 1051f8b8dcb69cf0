"""Mortar from the real polygons: what of a ring's face is neither brick nor standing or laid already."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from survey.curves import Curve, Floats
from survey.rebuild.plan import Brick, RingPlan


@dataclass(frozen=True, slots=True)
class Stretch:
    """A run of bricks still to be laid with the joints at both its ends, between stations of the ring's inner
    curve."""

    bricks: tuple[Brick, ...]
    start_mm: float
    end_mm: float
    before: Brick | None
    """Standing or laid brick on its left, None at the springing."""
    after: Brick | None


def stretches(ring: RingPlan) -> tuple[Stretch, ...]:
    """Runs of bricks still to be laid, left to right."""
    found: list[Stretch] = []
    run: list[Brick] = []
    before: Brick | None = None
    for brick in (*ring.bricks, None):
        if brick is not None and brick.to_lay:
            run.append(brick)
            continue
        if run:
            found.append(_stretch(ring, tuple(run), before, brick))
            run = []
        before = brick
    return tuple(found)


def _stretch(ring: RingPlan, run: tuple[Brick, ...], before: Brick | None, after: Brick | None) -> Stretch:
    start = before.station_end_mm if before is not None else 0.0
    end = after.station_start_mm if after is not None else ring.inner.length_mm
    return Stretch(run, start, end, before, after)


def mortar_face_mm2(ring: RingPlan) -> float:
    r"""Area of the mortar that what is still to be laid of a ring needs, seen on the face, mm².

    Notes
    -----
    The face of a stretch between the ring's two curves is :math:`d\,\Delta s + \tfrac12 d^2 \Delta\theta`
    with depth
    :math:`d`, length :math:`\Delta s` and turning :math:`\Delta\theta` of the inner curve (J. Steiner's
    formula for parallel curves), more or less the wedge by which the bed of the brick there leans from the
    normal; the polygons of its bricks are taken off. Wedge joints, slivers between arc and brick, and both
    springing joints are in it, joints between two bricks that stand or are laid are not.
    """
    return sum(
        _band_mm2(ring.inner, s.start_mm, s.end_mm, ring.depth_mm)
        + _lean_mm2(ring, s)
        - float(brick_faces_mm2(s.bricks).sum())
        for s in stretches(ring)
    )


def collar_face_mm2(inside: RingPlan, outside: RingPlan, collar_mm: float) -> float:
    """Area of the collar joint between two rings along all that is still to be laid in either, on the face,
    mm².

    Stretches are carried to the back of the inside ring by the turning up to their ends, which is exact where
    the curves of both rings are parallel.
    """
    spans: list[tuple[float, float]] = []
    for ring, outwards in ((inside, inside.depth_mm), (outside, -collar_mm)):
        for s in stretches(ring):
            first, last = (at + outwards * _turning_rad(ring.inner, 0.0, at) for at in (s.start_mm, s.end_mm))
            spans.append((first, last))
    return sum(_band_mm2(inside.outer, first, last, collar_mm) for first, last in _united(spans))


def _united(spans: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans with the overlapping ones made one, and those a rounding apart."""
    united: list[tuple[float, float]] = []
    for first, last in sorted(spans):
        if united and first <= united[-1][1] + 1e-6:
            united[-1] = united[-1][0], max(united[-1][1], last)
        else:
            united.append((first, last))
    return united


def _band_mm2(curve: Curve, start_mm: float, end_mm: float, depth_mm: float) -> float:
    """Area between a curve and its parallel outside, square cut at both ends."""
    return depth_mm * (end_mm - start_mm) + depth_mm**2 / 2.0 * _turning_rad(curve, start_mm, end_mm)


def _turning_rad(curve: Curve, start_mm: float, end_mm: float) -> float:
    """Angle the normal turns through, added up over pieces so that half a turn is no ambiguity."""
    n = curve.normal(np.linspace(start_mm, end_mm, 5))
    cross = n[1:, 0] * n[:-1, 1] - n[1:, 1] * n[:-1, 0]
    return float(np.arctan2(cross, np.sum(n[1:] * n[:-1], axis=1)).sum())


def _lean_mm2(ring: RingPlan, stretch: Stretch) -> float:
    """Wedges between the normals at a stretch's ends and the beds of the bricks there."""
    total = 0.0
    for brick, foot, top, sign in ((stretch.before, 1, 2, 1.0), (stretch.after, 0, 3, -1.0)):
        if brick is not None:
            station = stretch.start_mm if sign > 0.0 else stretch.end_mm
            normal = ring.depth_mm * ring.inner.normal(station)
            side = brick.corners_mm[top] - brick.corners_mm[foot]
            total += sign * float(normal[0] * side[1] - normal[1] * side[0]) / 2.0
    return total


def brick_faces_mm2(bricks: Iterable[Brick]) -> Floats:
    """Areas (n,) of the bricks' polygons, mm²."""
    corners = np.array([brick.corners_mm for brick in bricks]).reshape(-1, 4, 2)
    x, y = corners[..., 0], corners[..., 1]
    return np.asarray(np.abs(np.sum(x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y, axis=1)) / 2.0)
