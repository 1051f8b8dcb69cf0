"""What is said of saved bricks: where those still to be laid go, what joints give, which are left over."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from survey.rebuild.laying.salvage import SalvagePlan
from survey.rebuild.plan import Brick, RingPlan
from survey.rebuild.templets import NEW

ORIGINAL = "original"
"""``Brick.source`` of a brick that goes back to its own place."""


def saved_brick_notes(rings: Iterable[RingPlan]) -> tuple[str, ...]:
    """One sentence for each saved brick still to be laid, with what the joints beside it give."""
    return tuple(_note(ring, brick) for ring, brick in _still_to_lay(rings))


def unused_notes(plan: SalvagePlan) -> tuple[str, ...]:
    """One sentence for each saved brick that is left over."""
    return tuple(
        f"Saved brick {u.brick.brick} ({u.brick.width_mm:.1f} mm) is not used: {u.reason}."
        for u in plan.unused
    )


def saved_brick_warnings(rings: Iterable[RingPlan], *, tolerance_mm: float) -> tuple[str, ...]:
    """Saved bricks still to be laid that differ from what belongs there by more than a joint may depart from
    the rhythm.

    Parameters
    ----------
    tolerance_mm : float
        Departure of a joint from the rhythm that the job calls out.
    """
    return tuple(
        _warning(ring, brick)
        for ring, brick in _still_to_lay(rings)
        if abs(brick.salvage_excess_mm * np.cos(ring.turn_rad)) > tolerance_mm
    )


def warnings_after_laying(
    before: Iterable[RingPlan], warned: Iterable[str], after: Iterable[RingPlan]
) -> tuple[str, ...]:
    """The same warnings once more is laid: of the bricks called out before, those still to be laid.

    Parameters
    ----------
    before, after : iterable of RingPlan
        The rings as they were planned and as they are now.
    warned : iterable of str
        Warnings of the plan as it was.
    """
    told = set(warned)
    called_out = {(b.ring, b.course) for ring, b in _still_to_lay(before) if _warning(ring, b) in told}
    return tuple(_warning(ring, b) for ring, b in _still_to_lay(after) if (b.ring, b.course) in called_out)


def _still_to_lay(rings: Iterable[RingPlan]) -> Iterator[tuple[RingPlan, Brick]]:
    """Saved bricks of all rings that are not laid, in course order."""
    for ring in rings:
        for brick in ring.bricks:
            if brick.to_lay and brick.source not in (NEW, ORIGINAL):
                yield ring, brick


def _joints_mm(ring: RingPlan, brick: Brick) -> tuple[float, float]:
    """Joints on its left and right, in the section along the arch."""
    k = brick.course - 1
    left = ring.bricks[k - 1].joint_after_intrados_mm if k else ring.springing_joint_intrados_mm
    return left, brick.joint_after_intrados_mm


def _width_mm(ring: RingPlan, brick: Brick) -> float:
    """Its own width, across the brick."""
    return float(brick.width_intrados_mm * np.cos(ring.turn_rad))


def _note(ring: RingPlan, brick: Brick) -> str:
    left_mm, right_mm = _joints_mm(ring, brick)
    rhythm = ring.original_joints_mm[brick.course - 1 : brick.course + 1]
    return (
        f"Saved brick {brick.source} ({_width_mm(ring, brick):.1f} mm) goes to ring {ring.ring}, course "
        f"{brick.course}, {brick.salvage_excess_mm:+.1f} mm against the brick that was there: the joints "
        f"beside it are {left_mm:.1f} and {right_mm:.1f} mm, {left_mm - rhythm[0]:+.1f} and "
        f"{right_mm - rhythm[1]:+.1f} mm against the rhythm."
    )


def _warning(ring: RingPlan, brick: Brick) -> str:
    across = float(np.cos(ring.turn_rad))
    off_mm = brick.salvage_excess_mm * across
    left_mm, right_mm = (joint * across for joint in _joints_mm(ring, brick))
    return (
        f"Ring {ring.ring}, course {brick.course}: the saved brick {brick.source} of "
        f"{_width_mm(ring, brick):.1f} mm is {abs(off_mm):.1f} mm {'wider' if off_mm > 0.0 else 'narrower'} "
        f"than the brick that belongs there; with it the joints beside it are {left_mm:.1f} and "
        f"{right_mm:.1f} mm (limits {ring.joint_min_mm * across:.1f} to {ring.joint_max_mm * across:.1f} "
        "mm). It shows: use it there only if that is wanted."
    )
