"""Joints at the back of what is still to be laid: those over their limit or closed up."""

from __future__ import annotations

import numpy as np

from survey.rebuild.plan import RingPlan
from survey.rebuild.refusals import courses_named
from survey.rebuild.rhythm.rings import least_radius_mm, smallest_radius_mm
from survey.rebuild.words import counted


def back_joint_warnings(ring: RingPlan) -> tuple[str, ...]:
    """Joints at the back over their limit or closed up, with the radius that whole bricks would need.

    A joint between two bricks that stand or are laid is not judged: nothing is left to be done about it.
    """
    limit = ring.joint_extrados_max_mm
    open_ = np.array([False, *(b.to_lay for b in ring.bricks), False])
    at_back = [ring.springing_joint_extrados_mm, *(b.joint_after_extrados_mm for b in ring.bricks)]
    back = np.where(open_[:-1] | open_[1:], np.array(at_back), np.nan)
    warnings: list[str] = []
    over = np.flatnonzero(back > limit)
    if over.size:
        widest = int(np.nanargmax(back))
        where = f"after course {widest}" if widest else "at the left springing"
        text = (
            f"Ring {ring.ring}: {counted(over.size, 'joint')} open{'s' if over.size == 1 else ''} at the "
            f"back beyond {limit:.1f} mm{_across(ring)}, the widest to {back[widest]:.1f} mm {where}."
        )
        warnings.append(text + _radius_words(ring))
    crossed = np.flatnonzero(back < 0.0)
    if crossed.size:
        warnings.append(
            f"Ring {ring.ring}: bricks cross at the back after {courses_named(crossed.tolist())}; measure "
            "there again, or give fewer courses."
        )
    return tuple(warnings)


def _across(ring: RingPlan) -> str:
    """The limit of a turned ring as arch.toml has it: across the joint, not along the arch."""
    if not ring.sawtooth:
        return ""
    return f" along the arch ({ring.joint_extrados_max_mm * np.cos(ring.turn_rad):.1f} mm across)"


def _radius_words(ring: RingPlan) -> str:
    """Whether the curve is too tight for whole bricks or wide joints at the front are to blame."""
    if ring.sawtooth:
        return " The teeth open there: fill them with pieces and pins, as the old work has them."
    limit, front_mm = ring.joint_extrados_max_mm, float(np.median(ring.original_joints_mm))
    if limit <= front_mm:
        return ""
    width_mm = float(np.median([b.width_intrados_mm for b in ring.bricks]))
    least = least_radius_mm(ring.depth_mm, width_mm, front_mm, limit)
    there = smallest_radius_mm(ring.inner)
    if there >= least:
        return " The curve is not too tight for whole bricks: the joints at the soffit are wide there."
    return (
        f" Whole bricks of this depth need a radius of at least {least:.0f} mm; the curve goes down to "
        f"{there:.0f} mm. Lay it in thinner rings, or cut the bricks."
    )
