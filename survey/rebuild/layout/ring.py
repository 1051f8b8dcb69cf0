"""From a closed ring to the plan of it: polygons, kinds, joints, gauges, and what its back joints warn of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.rebuild.layout.back_joints import back_joint_warnings
from survey.rebuild.layout.courses import Fate
from survey.rebuild.layout.draft import ClosedRing, RingDraft
from survey.rebuild.layout.layout import Beds, PlacedRing, place_ring
from survey.rebuild.plan import Brick, BrickKind, RingPlan
from survey.rebuild.rhythm.rings import is_sawtooth, tooth_depth_mm


@dataclass(frozen=True, slots=True, eq=False)
class LaidOutRing:
    """A ring as planned, with refusals and warnings about it."""

    plan: RingPlan
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]


def lay_out(draft: RingDraft, closed: ClosedRing, *, crown_mm: float) -> LaidOutRing:
    """Bricks of one ring as polygons with all their figures; templets are named later.

    Parameters
    ----------
    crown_mm : float
        Station of the crown on the ring's inner curve.
    """
    placed = _place(draft, closed)
    bricks = _bricks(draft, placed, crown_mm)
    lines, ring = draft.lines, draft.lines.ring
    joints = placed.joint_intrados_mm
    last_mm = lines.inner.length_mm - float(placed.end_mm[-1])
    widths = placed.end_mm - placed.start_mm
    plan = RingPlan(
        ring=ring.ring,
        count=draft.count.count,
        counted=draft.count.counted,
        inner=lines.inner,
        outer=lines.outer,
        depth_mm=ring.depth_mm,
        sawtooth=is_sawtooth(ring),
        turn_rad=ring.turn_rad if is_sawtooth(ring) else 0.0,
        bricks=bricks,
        springing_joint_intrados_mm=float(joints[0]),
        springing_joint_extrados_mm=float(placed.joint_extrados_mm[0]),
        joint_min_mm=draft.limits.min_mm,
        joint_max_mm=draft.limits.max_mm,
        closure_mm=float(widths.sum() + joints.sum() + last_mm - lines.inner.length_mm),
        original_widths_mm=draft.rhythm.width_mm,
        original_joints_mm=draft.rhythm.joint_mm,
        recorded_joints=tuple(bool(r) for r in draft.rhythm.joint_read),
        depth_gauge_mm=lines.depth_gauge_mm,
        face_projection_mm=tooth_depth_mm(ring.brick_width_mm, ring.turn_rad) if is_sawtooth(ring) else 0.0,
        joint_extrados_max_mm=draft.limits.extrados_max_mm,
    )
    return LaidOutRing(plan, closed.refusals, (*draft.doubts, *back_joint_warnings(plan)))


def _place(draft: RingDraft, closed: ClosedRing) -> PlacedRing:
    """Polygons; in a mixed ring the bricks beside a back joint over its limit are cut."""
    ring, n = draft.lines.ring, draft.count.count

    def placed(beds: Beds) -> PlacedRing:
        return place_ring(
            draft.lines.inner,
            closed.start_mm,
            closed.end_mm,
            depth_mm=ring.depth_mm,
            beds=beds,
            standing_mm=draft.standing_mm,
        )

    if is_sawtooth(ring) or ring.cut == "uncut":
        return placed(Beds.whole(n))
    if ring.cut == "cut":
        return placed(Beds.cut(n))
    over = placed(Beds.whole(n)).joint_extrados_mm > draft.limits.extrados_max_mm
    return placed(Beds((over[:-1] | over[1:]) & ~draft.stands))


def _bricks(draft: RingDraft, placed: PlacedRing, crown_mm: float) -> tuple[Brick, ...]:
    ring, n = draft.lines.ring, draft.count.count
    ends = np.concatenate([placed.start_mm[1:], [draft.lines.inner.length_mm]])
    after = ends - placed.end_mm
    width_out, bed = placed.width_extrados_mm, placed.bed_angle_rad
    middle = 0.5 * (placed.start_mm + placed.end_mm)
    depth = np.where(draft.stands, placed.depth_mm, ring.depth_mm)
    residual = np.full(n, np.nan) if draft.residual_mm is None else draft.residual_mm
    plain = BrickKind.SAWTOOTH if is_sawtooth(ring) else BrickKind.BRICK
    kinds = [BrickKind.IN_SITU if f == Fate.STANDS else plain for f in draft.fate]
    if n % 2 and kinds[n // 2] is BrickKind.BRICK:
        kinds[n // 2] = BrickKind.KEY
    return tuple(
        Brick(
            ring=ring.ring,
            course=i + 1,
            kind=kinds[i],
            source=draft.source[i],
            width_intrados_mm=float(placed.end_mm[i] - placed.start_mm[i]),
            width_extrados_mm=float(width_out[i]),
            depth_mm=float(depth[i]),
            joint_after_intrados_mm=float(after[i]),
            joint_after_extrados_mm=float(placed.joint_extrados_mm[i + 1]),
            station_start_mm=float(placed.start_mm[i]),
            station_end_mm=float(placed.end_mm[i]),
            from_crown_mm=float(middle[i] - crown_mm),
            bed_angle_rad=float(bed[i]),
            templet="",
            corners_mm=placed.corners_mm[i],
            inferred=not bool(draft.rhythm.width_read[i]),
            survey_residual_mm=float(residual[i]),
        )
        for i in range(n)
    )
