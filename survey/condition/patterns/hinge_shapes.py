"""How courses leave their curve when the arch turns about three hinges, wherever these may be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.patterns.shapes import Shapes
from survey.curves.protocol import Curve, Floats

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
    left, crown, right = (
        grid.ravel()
        for grid in np.meshgrid(LOW_SHARES, CROWN_SHARES, [1.0 - low for low in LOW_SHARES], indexing="ij")
    )
    length = curve.length_mm
    feet = curve.point(length * left), curve.point(length * right)
    top = curve.point(length * crown) + HINGE_DEPTH_SHARE * depth_mm * curve.normal(length * crown)
    arms = np.stack([_turned(top - feet[0]), -_turned(top - feet[1])], axis=2)
    rotation = np.linalg.solve(arms, (PUSHES[:, 1] - PUSHES[:, 0]).T[None])
    x, normal = courses.share[:, None], courses.normal
    columns = np.empty((len(courses.share), len(left), 2))
    for k, push in enumerate(PUSHES):
        sides = []
        for side, foot in enumerate(feet):
            beyond = (x > left) if side == 0 else (x < right)
            along = _turned(courses.foot_mm)
            lever = (normal * along).sum(axis=1)[:, None] - normal @ _turned(foot).T
            sides.append((normal @ push[side])[:, None] + beyond * rotation[:, side, k] * lever)
        columns[:, :, k] = np.where(x < crown, *sides)
    return Shapes(columns, nested=True)


def _turned(xy: Floats) -> Floats:
    """Vectors (n, 2) a quarter turn on."""
    return np.column_stack([-xy[:, 1], xy[:, 0]])
