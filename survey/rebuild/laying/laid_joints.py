"""Joints already made that are outside their limits: told while the mortar is fresh."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.rebuild.laying.replan_marks import LaidRing
from survey.rebuild.layout.draft import open_spans
from survey.rebuild.plan import BrickKind, RingPlan

SLOP_MM = 0.05
"""A joint so little beyond its limit reads as being at it."""


def laid_joint_warnings(ring: RingPlan, laid: LaidRing) -> tuple[str, ...]:
    """Name every joint between laid bricks that is wider or narrower than the limits allow.

    Parameters
    ----------
    ring : RingPlan
        With its laid bricks where they were measured.
    laid : LaidRing
        Which of them were marked: joints between bricks laid without a mark are only known on average.

    Notes
    -----
    A turned ring's joints and limits are told across the joint, as they are on the spacer.
    """
    across = float(np.cos(ring.turn_rad)) if ring.sawtooth else 1.0
    joint = across * np.array(
        [ring.springing_joint_intrados_mm, *(b.joint_after_intrados_mm for b in ring.bricks)]
    )
    low, high = across * ring.joint_min_mm, across * ring.joint_max_mm
    marked = ~np.isnan(laid.fixed_mm[:, 0])
    told = [_told(ring, joint, k, k, low, high) for k in np.flatnonzero(_made(ring, laid, marked)).tolist()]
    told += [
        _told(ring, joint, first, last + 1, low, high)
        for first, last in open_spans(marked)
        if laid.laid[first : last + 1].all()
    ]
    found = [words for words in told if words]
    if not found:
        return ()
    return (
        f"Ring {ring.ring}: laid outside the limits of {low:.1f} to {high:.1f} mm: {'; '.join(found)}. Take "
        "up and lay again while the mortar is fresh, or have whoever answers for the work agree to it.",
    )


def _made(ring: RingPlan, laid: LaidRing, marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mask (N + 1,) of the joints with a laid brick on one side and a known edge on the other."""
    standing = np.array([b.kind is BrickKind.IN_SITU for b in ring.bricks])
    known = np.concatenate([[True], marked, [True]])
    new = np.concatenate([[False], laid.laid & marked & ~standing, [False]])
    return np.asarray(known[:-1] & known[1:] & (new[:-1] | new[1:]))


def _told(ring: RingPlan, joint: Floats, first: int, last: int, low: float, high: float) -> str:
    """The joint, or the mean of several, against the limit it passes; blank inside the limits."""
    mean = float(joint[first : last + 1].mean())
    if low - SLOP_MM <= mean <= high + SLOP_MM:
        return ""
    which = "greatest" if mean > high else "least"
    limit = f"the {which} is {high if mean > high else low:.1f}"
    if mean < 0.0:
        limit = "the bricks would overlap: measure the marks again"
    average = "" if first == last else " on average"
    return f"{mean:.1f} mm{average} {_where(ring, first, last)} ({limit})"


def _where(ring: RingPlan, first: int, last: int) -> str:
    if first < last:
        return f"from below course {first + 1} to above course {last}, laid without marks"
    if first == 0:
        return "between the left springing and course 1"
    if first == ring.count:
        return f"between course {ring.count} and the right springing"
    return f"between courses {first} and {first + 1}"
