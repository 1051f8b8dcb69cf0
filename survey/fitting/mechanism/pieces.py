"""Rigid pieces of an arch turned about hinges: the kinematics of a spread or sunk springing.

The springings move apart by a spread, and the right one sinks by a settlement; the frame stays midway between
them. What lies below the lower hinges goes with its springing without turning. The two pieces between the
lower hinges A, B and the crown hinge C turn until their crown ends meet again:

    A + a + R(left) (C - A) = B + b + R(right) (C - B),   a = (-spread, settlement) / 2 = -b.

With hinges L apart, level, and f below the crown hinge the crown drops by
f - sqrt(f^2 + (L/2)^2 - ((L + spread)/2)^2), about spread L / (4 f).

References
----------
Heyman, J., *The Masonry Arch* (1982), chapters 1 and 2, on the three-hinged arch of a spreading abutment;
from memory. The closure above is elementary geometry.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.solving.engine import OutsideDomainError

N_PIECES = 4


class HingePoints(NamedTuple):
    """Left, crown and right hinge (3, 2) of the original and their slopes (3, 2, q) by its shape numbers."""

    point_mm: Floats
    slopes: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """How the four pieces moved, left to right: a point p goes to R(rotation) p + shift.

    ``rotation_slopes`` (4, q + 2) and ``shift_slopes`` (4, 2, q + 2) are derivatives by the shape numbers,
    the spread and the settlement.
    """

    rotation_rad: Floats
    shift_mm: Floats
    rotation_slopes: Floats
    shift_slopes: Floats


def quarter_turned(xy: Floats) -> Floats:
    """Vectors (..., 2) turned by a right angle anticlockwise."""
    return np.stack([-xy[..., 1], xy[..., 0]], axis=-1)


def turned(xy: Floats, angle_rad: Floats | float) -> Floats:
    """Points (..., 2) turned about the origin."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.stack([c * xy[..., 0] - s * xy[..., 1], s * xy[..., 0] + c * xy[..., 1]], axis=-1)


def move_pieces(hinges: HingePoints, spread_mm: float, settlement_mm: float) -> Motion:
    """Motion of the four pieces for a spread and a settlement, exact for any size.

    Raises
    ------
    OutsideDomainError
        The springings stand so far apart that the two pieces no longer meet.
    """
    left, crown, right = hinges.point_mm
    push = np.array([-spread_mm / 2, settlement_mm / 2])
    feet = left + push, right - push
    arms = crown - left, crown - right
    turns = _closing_turns(feet, arms)
    q = hinges.slopes.shape[2]
    rotation = np.array([0.0, turns[0], turns[1], 0.0])
    pushes = np.array([push, push, -push, -push])
    pivots = np.array([left, left, right, right])
    shift = pushes + pivots - turned(pivots, rotation)
    # Differentiate the closure: two equations for the two turns.
    push_slope = np.zeros((2, q + 2))
    push_slope[0, q], push_slope[1, q + 1] = -0.5, 0.5
    point_slope = np.concatenate([hinges.slopes, np.zeros((3, 2, 2))], axis=2)
    spin = [quarter_turned(turned(arm, turn)) for arm, turn in zip(arms, turns, strict=True)]
    carried = [_carried(point_slope[1] - point_slope[k], turn) for k, turn in zip((0, 2), turns, strict=True)]
    change = (point_slope[0] + push_slope + carried[0]) - (point_slope[2] - push_slope + carried[1])
    turn_slope = np.linalg.solve(np.stack([spin[0], -spin[1]], axis=1), -change)
    zero = np.zeros(q + 2)
    rotation_slopes = np.stack([zero, turn_slope[0], turn_slope[1], zero])
    shift_slopes = np.empty((N_PIECES, 2, q + 2))
    for k, (hinge, sign) in enumerate(((0, 1.0), (0, 1.0), (2, -1.0), (2, -1.0))):
        own = point_slope[hinge]
        spun = quarter_turned(turned(pivots[k], rotation[k]))[:, None] * rotation_slopes[k]
        shift_slopes[k] = sign * push_slope + own - _carried(own, rotation[k]) - spun
    return Motion(rotation, shift, rotation_slopes, shift_slopes)


def _carried(slopes: Floats, angle_rad: float) -> Floats:
    """Columns (2, q) turned about the origin."""
    return turned(slopes.T, angle_rad).T


def _closing_turns(feet: tuple[Floats, Floats], arms: tuple[Floats, Floats]) -> tuple[float, float]:
    """Turns of the two pieces that bring their crown ends together, the crown staying above its feet."""
    base = feet[1] - feet[0]
    wide = float(np.hypot(*base))
    reach = float(np.hypot(*arms[0])), float(np.hypot(*arms[1]))
    along = (reach[0] ** 2 - reach[1] ** 2 + wide**2) / (2 * wide)
    squared = reach[0] ** 2 - along**2
    if squared <= 0.0:
        raise OutsideDomainError("the springings stand too far apart for the two pieces to meet")
    crown = feet[0] + along * base / wide + np.sqrt(squared) * quarter_turned(base) / wide
    turns = []
    for foot, arm in zip(feet, arms, strict=True):
        now = crown - foot
        turns.append(float(np.arctan2(arm[0] * now[1] - arm[1] * now[0], arm @ now)))
    return turns[0], turns[1]
