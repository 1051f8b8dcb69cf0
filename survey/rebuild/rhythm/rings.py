"""Rings one outside the other: their curves, sawtooth pitch and tooth, and where whole bricks can be used."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Curve, Floats
from survey.errors import PlanError
from survey.record.model import JointLimits, Laid, Ring


@dataclass(frozen=True, slots=True, eq=False)
class RingLines:
    """Inner and outer curve of one ring, and the distance from the centring to its outer face."""

    ring: Ring
    inner: Curve
    outer: Curve
    offset_mm: float
    """From the intrados of the arch to the ring's inner curve along the normal."""

    @property
    def depth_gauge_mm(self) -> float:
        """From the centring's surface to the ring's outer face along the normal."""
        return self.offset_mm + self.ring.depth_mm


def ring_lines(intrados: Curve, rings: Iterable[Ring]) -> tuple[RingLines, ...]:
    """Curves of all rings, from the opening outwards.

    Each ring lies outside the one before it by that one's depth and the mortar between them; an outer curve
    is the parallel of the intrados, also for an ellipse, whose parallel is no ellipse.
    """
    lines: list[RingLines] = []
    offset_mm = 0.0
    for number, ring in enumerate(sorted(rings, key=lambda r: r.ring)):
        offset_mm += ring.collar_mm if number else 0.0
        inner = intrados.offset(offset_mm) if offset_mm else intrados
        lines.append(RingLines(ring, inner, intrados.offset(offset_mm + ring.depth_mm), offset_mm))
        offset_mm += ring.depth_mm
    return tuple(lines)


def is_sawtooth(ring: Ring) -> bool:
    """True for a ring whose bricks are turned about their radial axis."""
    return ring.laid is Laid.SAWTOOTH


def section_factor(ring: Ring) -> float:
    """How much longer a turned brick or joint is in the section along the arch: 1 / cos(turn)."""
    return float(1.0 / np.cos(ring.turn_rad)) if is_sawtooth(ring) else 1.0


def section_limits(ring: Ring, joints: JointLimits) -> JointLimits:
    """Joint limits in the section along the arch; those of the record hold across the joint."""
    factor = section_factor(ring)
    return JointLimits(joints.min_mm * factor, joints.max_mm * factor, joints.extrados_max_mm * factor)


def sawtooth_pitch_mm(width_mm: float, joint_mm: float, turn_rad: float) -> float:
    """From tooth to tooth along the arch: (w + j) / cos(turn).

    Examples
    --------
    >>> from math import radians
    >>> round(sawtooth_pitch_mm(102.5, 10.0, radians(45.0)), 3)
    159.099
    """
    _check_turn(turn_rad)
    return float((width_mm + joint_mm) / np.cos(turn_rad))


def tooth_depth_mm(width_mm: float, turn_rad: float) -> float:
    """How far the teeth stand out of the face when the inner corners sit on it: w sin(turn).

    Examples
    --------
    >>> from math import radians
    >>> round(tooth_depth_mm(102.5, radians(45.0)), 3)
    72.478
    """
    _check_turn(turn_rad)
    return float(width_mm * np.sin(abs(turn_rad)))


def _check_turn(turn_rad: float) -> None:
    if not abs(turn_rad) < np.pi / 2:
        raise PlanError(
            f"a turn of {np.degrees(turn_rad):.1f} degrees leaves no brick along the arch; "
            "give turn_deg between -89 and 89, 45 as a rule"
        )


def extrados_joint_mm(radius_mm: float, depth_mm: float, width_mm: float, joint_mm: float) -> float:
    """Joint at the back of a ring of whole bricks on a circle, measured along the arc.

    Notes
    -----
    The pitch grows as the radius: ``(b + j) (R + d) / R - b``.
    """
    return (width_mm + joint_mm) * (radius_mm + depth_mm) / radius_mm - width_mm


def least_radius_mm(depth_mm: float, width_mm: float, joint_mm: float, extrados_joint_mm: float) -> float:
    """Smallest radius of the inner curve on which whole bricks keep their back joints within a limit.

    Raises
    ------
    PlanError
        When the joint at the back may not be wider than the one at the front.

    Notes
    -----
    ``R = d (b + ji) / (je - ji)``.
    """
    if extrados_joint_mm <= joint_mm:
        raise PlanError(
            f"a back joint of {extrados_joint_mm:.1f} mm is not wider than the front joint of {joint_mm:.1f} "
            "mm: whole bricks cannot turn a curve; cut them, or allow a wider back joint"
        )
    return depth_mm * (width_mm + joint_mm) / (extrados_joint_mm - joint_mm)


def smallest_radius_mm(curve: Curve, n_points: int = 181) -> float:
    """Smallest radius of curvature of a curve, looked for at equal steps and at both sides of each jump."""
    breaks = curve.breaks_mm
    stations = np.concatenate([np.linspace(0.0, curve.length_mm, n_points), breaks - 1e-6, breaks + 1e-6])
    curvature: Floats = curve.curvature(np.clip(stations, 0.0, curve.length_mm))
    greatest = float(curvature.max())
    return 1.0 / greatest if greatest > 0.0 else float("inf")
