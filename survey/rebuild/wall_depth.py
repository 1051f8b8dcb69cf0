"""How deep beds go into the wall, and how many bricks stand one behind the other there."""

from __future__ import annotations

import math
from dataclasses import dataclass

from survey.rebuild.centring.centring import UNKNOWN_WALL_MM
from survey.rebuild.centring.striking import plain_mm
from survey.rebuild.plan import RingPlan
from survey.record.model import Record

CROSS_JOINT_MM = 10.0
"""Between bricks one behind the other in the wall, for counting them (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class WallDepth:
    """How far a ring goes through the wall, and how that is known."""

    mm: float
    through: float
    """Bricks one behind the other, in half bricks."""
    words: str


def wall_depths(rings: tuple[RingPlan, ...], record: Record) -> dict[int, WallDepth]:
    """Bed depth and bricks through the wall of every ring; all for 100 mm of wall where one is not known.

    Figures for a whole brick and for 100 mm of wall could not be added up.
    """
    wall, bed = record.centring.wall_thickness_mm, record.mortar.bed_depth_mm
    brick = {ring.ring: ring.thickness_mm for ring in record.rings}
    through = {ring.ring: _through(wall, brick.get(ring.ring)) for ring in rings}
    if bed is not None:
        return {ring.ring: _recorded(bed, through[ring.ring], wall) for ring in rings}
    if wall is not None:
        return {ring.ring: WallDepth(wall, through[ring.ring], "beds as deep as the wall") for ring in rings}
    words = "beds as deep as one brick; the wall's thickness is not recorded"
    known = {
        ring.ring: WallDepth(thickness, through[ring.ring], words)
        for ring in rings
        if (thickness := brick.get(ring.ring)) is not None
    }
    if len(known) == len(rings):
        return known
    words = f"for each {UNKNOWN_WALL_MM:.0f} mm of wall: its thickness is not recorded"
    return {ring.ring: WallDepth(UNKNOWN_WALL_MM, through[ring.ring], words) for ring in rings}


def _recorded(bed_mm: float, through: float, wall_mm: float | None) -> WallDepth:
    """The recorded bed depth, once for every brick through the wall."""
    if through == 1.0 or wall_mm is None:
        return WallDepth(bed_mm, through, "bed depth as recorded")
    words = f"bed depth as recorded, {plain_mm(bed_mm)} mm, {through:g} through the wall"
    return WallDepth(min(bed_mm * through, wall_mm), through, words)


def _through(wall_mm: float | None, brick_mm: float | None) -> float:
    """Bricks one behind the other through the wall, in half bricks, leaving out a tenth of a brick over."""
    if wall_mm is None or brick_mm is None:
        return 1.0
    ratio = (wall_mm + CROSS_JOINT_MM) / (brick_mm + CROSS_JOINT_MM)
    return max(1.0, math.ceil(2.0 * ratio - 0.2) / 2.0)
