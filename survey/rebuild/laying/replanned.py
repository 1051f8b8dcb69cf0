"""Replanning while building: what is laid stays, its error is spread over the joints still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Curve, Floats
from survey.errors import PlanError
from survey.rebuild.laying.laid_joints import laid_joint_warnings
from survey.rebuild.laying.one_sided import one_sided_warnings
from survey.rebuild.laying.order import KEY, LEFT, MIDDLE, RIGHT, gaps_to_lay
from survey.rebuild.laying.replan_marks import LaidRing, laid_of_ring
from survey.rebuild.layout.draft import Run, open_runs
from survey.rebuild.layout.layout import Beds, PlacedRing, place_ring
from survey.rebuild.layout.spacing import spread_joints
from survey.rebuild.plan import Brick, BrickKind, RingPlan
from survey.rebuild.refusals import Misfit, courses_named, explain
from survey.record.model import LaidMark

FREE_MM = 1e4
"""Joints between laid bricks are what they are: no limit is put on them."""


TO_PLAN_MM = 0.05
"""Below this the sum of what is laid is called to plan."""


@dataclass(frozen=True, slots=True, eq=False)
class Replanned:
    """Rings as they are to be finished, and what to tell the mason."""

    rings: tuple[RingPlan, ...]
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]


def replan_rings(rings: Sequence[RingPlan], marks: Sequence[LaidMark]) -> Replanned:
    """Keep what is laid and spread its error over the joints still open.

    Parameters
    ----------
    rings : sequence of RingPlan
        As planned before anything was laid, ring 1 first.
    marks : sequence of LaidMark
        Running distances along the centring.

    Raises
    ------
    PlanError
        When a mark names a ring or course that is not to be laid.
    """
    numbers = {r.ring for r in rings}
    for mark in marks:
        if mark.ring not in numbers:
            raise PlanError(f"laid.csv row {mark.row}: ring {mark.ring} is not in the plan; correct the ring")
    done = [_replan_ring(r, [m for m in marks if m.ring == r.ring], rings[0].inner) for r in rings]
    return Replanned(
        tuple(r for d in done for r in d.rings),
        tuple(s for d in done for s in d.refusals),
        tuple(s for d in done for s in d.warnings),
        tuple(s for d in done for s in d.notes),
    )


def _replan_ring(ring: RingPlan, marks: Sequence[LaidMark], intrados: Curve) -> Replanned:
    if not marks:
        return Replanned((ring,), (), (), ())
    laid = laid_of_ring(ring, marks, intrados)
    start, end = laid.fixed_mm[:, 0].copy(), laid.fixed_mm[:, 1].copy()
    widths = np.array([b.width_intrados_mm for b in ring.bricks])
    planned = _joints(ring)
    refusals: list[str] = []
    notes: list[str] = []
    flagged = replace(
        ring, bricks=tuple(replace(b, laid=bool(d)) for b, d in zip(ring.bricks, laid.laid, strict=True))
    )
    for run in open_runs(laid.fixed_mm, ring.inner.length_mm):
        closing = _close(flagged, run, laid, widths, planned)
        start[run.first : run.last + 1], end[run.first : run.last + 1] = closing.start_mm, closing.end_mm
        refusals += closing.refusals
        notes += closing.notes
    done = replace(_rebuilt(ring, laid, start, end), closing_refusals=tuple(refusals))
    warnings = (*laid.doubts, *laid_joint_warnings(done, laid), *one_sided_warnings(done))
    return Replanned((done,), tuple(refusals), warnings, tuple(notes))


@dataclass(frozen=True, slots=True, eq=False)
class _Closing:
    start_mm: Floats
    end_mm: Floats
    refusals: tuple[str, ...]
    notes: tuple[str, ...]


def _close(ring: RingPlan, run: Run, laid: LaidRing, widths: Floats, planned: Floats) -> _Closing:
    """Stations of the bricks between two fixed edges, laid without a mark or still to be laid."""
    bricks, joints = slice(run.first, run.last + 1), slice(run.first, run.last + 2)
    is_laid = bool(laid.laid[run.first])  # marks bound every run: it is laid throughout, or open throughout
    widths_mm = float(widths[bricks].sum())
    total_mm = run.end_mm - run.start_mm - widths_mm
    spread = spread_joints(
        planned[joints],
        total_mm,
        min_mm=-FREE_MM if is_laid else ring.joint_min_mm,
        max_mm=FREE_MM if is_laid else ring.joint_max_mm,
    )
    edges = run.start_mm + np.cumsum(np.ravel(np.column_stack([spread.joints_mm[:-1], widths[bricks]])))
    start, end = edges[0::2], edges[1::2]
    if is_laid:
        return _Closing(start, end, (), ())
    place = f"Ring {ring.ring}, {courses_named(range(run.first + 1, run.last + 2))} still to be laid"
    if spread.fits:
        return _Closing(start, end, (), (_fits_note(ring, run, planned[joints], spread.joints_mm, place),))
    misfit = Misfit(
        place,
        run.n_bricks,
        widths_mm,
        run.end_mm - run.start_mm,
        run.n_bricks + 1,
        ring.joint_min_mm,
        ring.joint_max_mm,
        float(np.median(widths)),
        float(np.cos(ring.turn_rad)),
    )
    return _Closing(start, end, (f"The last brick will not fit. {explain(misfit)}",), ())


def _fits_note(ring: RingPlan, run: Run, planned: Floats, joints: Floats, place: str) -> str:
    """What the open joints take up, and until when the correction can wait."""
    error_mm = float(joints.sum() - planned.sum())
    if abs(error_mm) < TO_PLAN_MM:
        return f"{place}: what is laid is to plan; the last brick fits."
    text = (
        f"{place}: what is laid has left {abs(error_mm):.1f} mm {'more' if error_mm > 0.0 else 'less'} than "
        f"planned; the joints become {_range(joints)} mm (planned {_range(planned)}) and the last brick fits."
    )
    order = laying_order(run, ring)
    late = too_late_after(planned, error_mm, order.joint, ring.joint_min_mm, ring.joint_max_mm)
    if late >= order.brick.size:
        return text + " Even laid to the old marks the last joints could still take it up."
    courses = order.brick[: late + 1] + 1
    if late == 0:
        return text + f" Correct from the next course, {courses[-1]}: after it, it is too late."
    return text + f" Laid on to the old marks, it would be too late from course {courses[-1]} on."


def _range(lengths: Floats) -> str:
    """Least and greatest of some lengths; one figure where they read alike."""
    low, high = f"{lengths.min():.1f}", f"{lengths.max():.1f}"
    return low if low == high else f"{low} to {high}"


@dataclass(frozen=True, slots=True, eq=False)
class LayingOrder:
    """Bricks (from 0 in the ring) in the order of laying, and the joint of the run that each fixes."""

    brick: NDArray[np.int64]
    joint: NDArray[np.int64]


def laying_order(run: Run, ring: RingPlan) -> LayingOrder:
    """The order in which the bricks of a run are laid, and the joint each fixes: the one it is laid from.

    The last brick fixes two joints; the order gives the one on the side it is laid from, the other remains.
    A brick set over the crown of a turned ring fixes none.
    """
    from_left = RIGHT if ring.sawtooth else LEFT  # a turned brick right of the crown is laid from its left
    turns = [
        (turn.brick.course - 1, turn.side in (from_left, KEY))
        for gap in gaps_to_lay(ring)
        for turn in gap.turns
        if run.first <= turn.brick.course - 1 <= run.last and turn.side != MIDDLE
    ]
    brick = np.array([i for i, _ in turns], dtype=np.int64)
    leftwards = np.array([left for _, left in turns], dtype=bool)
    return LayingOrder(brick, np.where(leftwards, brick - run.first, brick - run.first + 1))


def too_late_after(
    planned_mm: Floats, error_mm: float, order: NDArray[np.int64], min_mm: float, max_mm: float
) -> int:
    """How many more bricks can be laid with the planned joints before the rest cannot take up the error.

    Parameters
    ----------
    planned_mm : (n + 1,) float, mm
        Planned joints of the run.
    error_mm : float
        What is left over (positive) or missing (negative).
    order : (n,) int
        The joint that each brick fixes, in the order of laying.

    Returns
    -------
    int
        n when even the last brick's joints suffice.

    Examples
    --------
    >>> import numpy as np
    >>> too_late_after(np.full(6, 10.0), 12.0, np.array([0, 5, 1, 4, 2]), 5.0, 15.0)
    3
    """
    give = max_mm - planned_mm if error_mm > 0.0 else planned_mm - min_mm
    left = float(give.sum()) - np.concatenate([[0.0], np.cumsum(give[order])])
    enough = left >= abs(error_mm) - 1e-9
    return int(order.size) if enough.all() else max(int(np.argmin(enough)) - 1, 0)


def _joints(ring: RingPlan) -> Floats:
    return np.array([ring.springing_joint_intrados_mm, *(b.joint_after_intrados_mm for b in ring.bricks)])


def _rebuilt(ring: RingPlan, laid: LaidRing, start: Floats, end: Floats) -> RingPlan:
    """The ring with its bricks on their new stations; standing bricks keep their corners."""
    standing = np.array([b.kind is BrickKind.IN_SITU for b in ring.bricks])
    corners = np.full((ring.count, 4, 2), np.nan)
    for i in np.flatnonzero(standing):
        corners[i] = ring.bricks[i].corners_mm
    placed = place_ring(
        ring.inner, start, end, depth_mm=ring.depth_mm, beds=Beds(_is_cut(ring)), standing_mm=corners
    )
    joints = placed.joint_intrados_mm
    after = np.concatenate([joints[1:], [ring.inner.length_mm - end[-1]]])
    crown_mm = (
        0.5 * (ring.bricks[0].station_start_mm + ring.bricks[0].station_end_mm) - ring.bricks[0].from_crown_mm
    )
    return replace(
        ring,
        bricks=tuple(_moved(b, i, placed, after, crown_mm, laid) for i, b in enumerate(ring.bricks)),
        springing_joint_intrados_mm=float(joints[0]),
        springing_joint_extrados_mm=float(placed.joint_extrados_mm[0]),
        closure_mm=float((end - start).sum() + joints.sum() + after[-1] - ring.inner.length_mm),
    )


def _moved(brick: Brick, i: int, placed: PlacedRing, after: Floats, crown_mm: float, laid: LaidRing) -> Brick:
    start, end = float(placed.start_mm[i]), float(placed.end_mm[i])
    width_out = float(np.hypot(*(placed.corners_mm[i, 2] - placed.corners_mm[i, 3])))
    return replace(
        brick,
        width_intrados_mm=end - start,
        width_extrados_mm=width_out,
        joint_after_intrados_mm=float(after[i]),
        joint_after_extrados_mm=float(placed.joint_extrados_mm[i + 1]),
        station_start_mm=start,
        station_end_mm=end,
        from_crown_mm=0.5 * (start + end) - crown_mm,
        bed_angle_rad=float(placed.bed_angle_rad[i]),
        corners_mm=placed.corners_mm[i],
        laid=bool(laid.laid[i]),
    )


def _is_cut(ring: RingPlan) -> NDArray[np.bool_]:
    """Mask (N,) of bricks whose sides are not parallel: those laid along the joints."""
    corners = np.stack([b.corners_mm for b in ring.bricks])
    left, right = corners[:, 3] - corners[:, 0], corners[:, 2] - corners[:, 1]
    cross = left[:, 0] * right[:, 1] - left[:, 1] * right[:, 0]
    return np.asarray(np.abs(cross) > 1e-6 * ring.depth_mm**2)
