"""What moved, or only stands out of level, in sentences a mason reads."""

from __future__ import annotations

import numpy as np

from survey.curves.shape import Family
from survey.fitting.choosing.candidates import FinalFit
from survey.fitting.result import TOLD_FROM, Estimate, Hinge, turned_as_one_piece


def movement_told(spread: Estimate, settlement: Estimate, hinges: tuple[Hinge, ...], *, at_back: bool) -> str:
    """The movement in a sentence: a spread or settlement within twice its uncertainty is told as none."""
    way = "further apart" if spread.value > 0 else "closer together"
    sunk, other = ("right", "left") if settlement.value > 0 else ("left", "right")
    parts, none = [], []
    if abs(spread.value) > TOLD_FROM * spread.sigma:
        parts.append(f"the springings stand {abs(spread.value):.0f} mm {way} than they were")
    else:
        none.append("a spread of the springings")
    if abs(settlement.value) > TOLD_FROM * settlement.sigma:
        parts.append(f"the {sunk} springing sank {abs(settlement.value):.0f} mm against the {other} one")
    else:
        none.append("a settlement of either")
    places = ", ".join(h.where for h in hinges)
    moved = " and ".join(parts)
    crown = hinges[1]
    side = f"opening on the {crown.opens.value} at the crown"
    if not crown.is_told:
        side = "and whether anything opened at the crown cannot be told"
    turned_about = f"the arch turned in rigid pieces about hinges at {places}, {side}"
    if parts and turned_as_one_piece(hinges):
        moved += ", unless it was set out so"
        turned_about = "the arch turned as one piece, with no hinge at the crown"
    told = f"{moved}; {turned_about}" if parts else turned_about
    if spread.value < -TOLD_FROM * spread.sigma and not at_back:
        told += (
            "; how far they came depends on whether it turned at the soffit or the back, which is not known"
        )
    if none:
        told += f"; {' and '.join(none)} {'are' if len(none) > 1 else 'is'} not distinguishable from none"
    return f"{told[0].upper()}{told[1:]}."


def out_of_level_told(final: FinalFit) -> str:
    """That a still arch stands on springings out of level, and what its shape cannot tell of that."""
    half_span, tilt = float(final.parameters[2]), float(final.parameters[-1])
    lower = 2 * half_span * np.sin(tilt)
    sigma = 2 * half_span * float(np.sqrt(final.covariance[-1, -1]))
    side = "left" if lower > 0 else "right"
    return (
        f"The {side} springing lies {abs(lower):.0f} mm (± {2 * sigma:.0f}) lower than the other: the arch "
        "was set out so, or sank on that side as one piece; its shape shows no hinge and cannot say which."
    )


def hanging_told(family: Family) -> str:
    """That the soffit hangs smoothly off the curve of a family, and is not hinged."""
    return (
        f"The soffit leaves its {family.value.replace('_', '-')} curve in a smooth wave, not in pieces "
        "turned about hinges: its centre gave way while building, or it was built so."
    )
