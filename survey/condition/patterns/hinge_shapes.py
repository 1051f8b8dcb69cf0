"""How courses leave their curve when the arch turns about three hinges, wherever these may be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.patterns.shapes import Shapes
from survey.curves.protocol import Curve, Floats
from survey.fitting.mechanism.pieces import quarter_turned

LOW_SHARES = (0.0, 0.1, 0.15, 0.2, 0.25)
"""Where lower hinges may be: shares of the soffit's length from their springing."""
CROWN_SHARES = tuple(np.linspace(0.3, 0.7, 14).tolist())
HINGE_DEPTH_SHARE = 0.5
"""The crown's pieces turn somewhere between soffit and back: half-way."""
PUSHES = np.array([[[-0.5, 0.0], [0.5, 0.0]], [[0.0, 0.5], [0.0, -0.5]]])
"""How both springings move for 1 mm of spread, and for 1 mm of settlement of the right one."""


@dataclass(frozen=True, slots=True, eq=False)
class Courses:
    """Feet (n, 2) of courses on the curve, outward normals (n, 2), and stations as shares of it (n,)."""

    foot_mm: Floats
    normal: Floats
    share: Floats


def hinge_shapes(curve: Curve, depth_mm: float, courses: Courses) -> Shapes:
    """Departures along the normal for every choice of hinges: a spread, or a spread and a settlement.

    A group for every crown hinge, a member for every pair of lower hinges.

    Parameters
    ----------
    curve : Curve
        The soffit.
    depth_mm : float
        Of the ring.
    courses : Courses

    Notes
    -----
    For small movements. Below the lower hinges the courses go with their springing; the two pieces between
    turn about them by as much as takes both to the same place at the crown hinge:
    ``d_l + w_l J (c - l) = d_r + w_r J (c - r)``, J a quarter turn.
    """
    crown, low = np.array(CROWN_SHARES), np.array(LOW_SHARES)
    at = curve.length_mm * crown
    top = curve.point(at) + HINGE_DEPTH_SHARE * depth_mm * curve.normal(at)
    feet = [curve.point(curve.length_mm * share) for share in (low, 1.0 - low)]
    atoms = np.concatenate(_atoms(crown, low, feet, courses), axis=2)
    rotation = _rotations(top, feet)
    n_low, n_push = len(low), len(PUSHES)
    mixing = np.zeros((len(crown), n_low, n_low, n_push + 2 * n_low, n_push))
    mixing[..., :n_push, :] = np.eye(n_push)
    for k in range(n_low):
        mixing[:, k, :, n_push + k] = rotation[:, k, :, 0]
        mixing[:, :, k, n_push + n_low + k] = rotation[:, :, k, 1]
    return Shapes(atoms, mixing.reshape(len(crown), n_low**2, -1, n_push), nested=True)


def _atoms(crown: Floats, low: Floats, feet: list[Floats], courses: Courses) -> list[Floats]:
    """Departures (n, crowns, ...): with the springings for every push, and for every turn about a foot."""
    x, normal = courses.share[:, None], courses.normal
    along = (normal * quarter_turned(courses.foot_mm)).sum(axis=1)[:, None]
    pushed = np.zeros((len(x), len(crown), len(PUSHES)))
    turned = []
    for side, foot in enumerate(feet):
        mine = ((x < crown) if side == 0 else (x >= crown))[:, :, None]
        beyond = (x > low) if side == 0 else (x < 1.0 - low)
        pushed += mine * (normal @ PUSHES[:, side].T)[:, None]
        turned.append(mine * (beyond * (along - normal @ quarter_turned(foot).T))[:, None])
    return [pushed, *turned]


def _rotations(top: Floats, feet: list[Floats]) -> Floats:
    """Turns (crowns, left, right, 2, pushes) of both pieces that take their ends to the same place."""
    left, right = (quarter_turned(top[:, None] - foot) for foot in feet)
    arms = np.stack(np.broadcast_arrays(left[:, :, None], -right[:, None]), axis=-1)
    return np.linalg.solve(arms, (PUSHES[:, 1] - PUSHES[:, 0]).T)
