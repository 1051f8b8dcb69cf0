"""A ring gone up further on one side than on the other: its weight pushes the centre over."""

from __future__ import annotations

import numpy as np

from survey.rebuild.plan import BrickKind, RingPlan

MOST_APART = 2
"""Courses by which the two sides of a ring may be apart while it goes up (common practice, no source)."""


def one_sided_warnings(ring: RingPlan) -> tuple[str, ...]:
    """Warn where the bricks laid over the crown's gap stand more than two courses apart left and right.

    Only a gap that reaches over the crown loads the centre from both sides; one at a haunch goes up from its
    lower end. Plain rings are counted from the springings upwards, turned ones from the middle outwards.
    """
    new = np.array([b.kind is not BrickKind.IN_SITU for b in ring.bricks])
    laid = np.array([b.laid for b in ring.bricks]) & new
    half = ring.count // 2
    if not new[max(half - 1, 0) : ring.count - half + 1].all():
        return ()
    left, right = int(laid[:half].sum()), int(laid[ring.count - half :].sum())
    behind = slice(0, half) if left < right else slice(ring.count - half, None)
    # A side with nothing left to lay is not behind: the gap itself lies to one side.
    if abs(left - right) <= MOST_APART or not (new & ~laid)[behind].any():
        return ()
    low, high = ("left", "right") if left < right else ("right", "left")
    return (
        f"Ring {ring.ring}: {max(left, right)} courses are up on the {high} and {min(left, right)} on the "
        f"{low}, more than {MOST_APART} apart; so much weight on one side pushes the centre over. Look "
        f"whether it has shifted and prop it, then bring up the {low} side before anything else.",
    )
