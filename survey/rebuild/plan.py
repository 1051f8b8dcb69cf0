"""What the rebuild room answers: bricks, joints, templets, centring, laying order, quantities."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from survey.curves.protocol import Curve, Floats
from survey.curves.shape import ArchShape, Family


class Scope(StrEnum):
    """How much is taken down."""

    WHOLE = "whole"
    REPAIR = "repair"


class CurveChoice(StrEnum):
    """Which curve a moved arch is rebuilt to (a family may be named instead)."""

    ORIGINAL = "original"
    PRESENT = "present"
    SURVEYED = "surveyed"


class BrickKind(StrEnum):
    """What a brick of the layout is."""

    BRICK = "brick"
    KEY = "key"
    IN_SITU = "in_situ"
    SAWTOOTH = "sawtooth"


@dataclass(frozen=True, slots=True)
class RebuildOptions:
    """Choices of the restorer; None leaves the choice to the record.

    ``scope``: repair when courses are missing, else whole. ``curve``: present for a moved arch, else the
    chosen family.
    """

    scope: Scope | None = None
    curve: CurveChoice | Family | None = None
    templet_tolerance_mm: float | None = None
    counts: tuple[tuple[int, int], ...] = ()
    """(ring, count) pairs that override the counts."""


@dataclass(frozen=True, slots=True, eq=False)
class Brick:
    """One brick of the plan; corners are intrados left, intrados right, extrados right, extrados left.

    Widths and joints at the intrados are measured along the ring's inner curve, as courses.csv records them,
    so that bricks and joints add up to its length exactly; a brick's flat face is the chord of its width. At
    the extrados they are straight distances between corners. For a sawtooth ring they are those of the
    section parallel to the face: a brick of width w turned by the angle a takes w / cos(a), a joint j takes
    j / cos(a).
    """

    ring: int
    course: int
    kind: BrickKind
    source: str
    """``new``, ``original`` or the salvaged brick's name."""
    width_intrados_mm: float
    width_extrados_mm: float
    depth_mm: float
    joint_after_intrados_mm: float
    joint_after_extrados_mm: float
    station_start_mm: float
    station_end_mm: float
    from_crown_mm: float
    """Station of its middle minus the crown's; negative on the left half."""
    bed_angle_rad: float
    """Angle of the course's centre line above the horizontal, at its springing side (pi/2 at the crown)."""
    templet: str
    corners_mm: Floats
    """(4, 2)."""
    inferred: bool = False
    """True where its width was not read but follows from the rhythm."""
    laid: bool = False
    """True once laid.csv shows it laid: it no longer moves."""
    survey_residual_mm: float = float("nan")
    """Of a standing brick: how far a corner of its soffit was surveyed at most from where it is drawn."""
    salvage_excess_mm: float = float("nan")
    """Of a salvaged brick: its width less that of the brick that belongs there, along the arch."""

    @property
    def to_lay(self) -> bool:
        """Whether it is still to be laid: it neither stands nor is laid already."""
        return self.kind is not BrickKind.IN_SITU and not self.laid


@dataclass(frozen=True, slots=True, eq=False)
class RingPlan:
    """One ring as it is to stand."""

    ring: int
    count: int
    counted: bool
    inner: Curve
    """The ring's inner curve."""
    outer: Curve
    depth_mm: float
    sawtooth: bool
    turn_rad: float
    bricks: tuple[Brick, ...]
    springing_joint_intrados_mm: float
    """Joint above the left springer (course 0 of layout.csv)."""
    springing_joint_extrados_mm: float
    joint_min_mm: float
    joint_max_mm: float
    closure_mm: float
    """Widths and joints added up, minus the length of the inner curve."""
    original_widths_mm: Floats
    """Recorded or inferred widths (count,)."""
    original_joints_mm: Floats
    """Recorded or inferred joints (count + 1,), left springing's to right one's; the rhythm aimed at."""
    recorded_joints: tuple[bool, ...]
    """True where the joint was measured, False where inferred."""
    depth_gauge_mm: float
    """Distance from the centring's surface to the ring's outer face along the normal."""
    face_projection_mm: float = 0.0
    """For sawtooth: how far the teeth stand out of the face."""
    default_limits: tuple[str, ...] = ()
    """Keys of ``[joints]`` that the record does not give, so that a default was taken."""
    closing_refusals: tuple[str, ...] = ()
    """Those of the plan's refusals that say where this ring does not close."""
    joint_extrados_max_mm: float = float("inf")
    """Joint at the back, along the arch, from which it is called out."""


@dataclass(frozen=True, slots=True)
class Templet:
    """One cut or moulded piece and the courses it serves."""

    name: str
    count: int
    """All its pieces, those laid already among them (:meth:`RebuildPlan.still_to_cut`)."""
    width_intrados_mm: float
    width_extrados_mm: float
    depth_mm: float
    courses: tuple[tuple[int, int], ...]
    """(ring, course) pairs."""
    bevel_rad: float
    """Angle of each side against the square, half the taper."""
    joint_error_mm: float
    """Greatest departure of a joint because pieces share this templet."""
    cut: bool
    """False for whole uncut bricks."""
    soffit_step_mm: float = 0.0
    """Greatest departure of a soffit arris from the curve: a templet is symmetric, the curve is not."""
    fewest: bool = True
    """True where it is proven that no fewer templets of its kind keep the tolerance."""


@dataclass(frozen=True, slots=True, eq=False)
class CentringMark:
    """One ordinate or course mark of the rib."""

    what: str
    """``ordinate`` or ``mark``."""
    ring: int
    course: int
    x_mm: float
    soffit_y_mm: float
    rib_y_mm: float
    along_left_mm: float
    """Along the lagging's edge from the left springing."""
    along_right_mm: float
    along_crown_mm: float
    chord_left_mm: float
    """Along a straight tape from the left springing."""
    edge: str = ""
    """For a mark: which edge of its course, ``left`` or ``right``; blank for an ordinate."""
    from_axis_mm: float = float("nan")
    """``x_mm`` counted from the axis of the rib, midway between its feet; negative on the left."""


@dataclass(frozen=True, slots=True)
class RibBoard:
    """One board of a rib: layer 1 or 2, between stations of the rib profile."""

    layer: int
    start_mm: float
    end_mm: float
    length_mm: float
    width_needed_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class CentringPlan:
    """The timber centre the arch is laid on."""

    rib: Curve
    lagging_mm: float
    slack_mm: float
    marks: tuple[CentringMark, ...]
    boards: tuple[RibBoard, ...]
    n_ribs: int
    n_lagging: int
    lagging_length_mm: float
    wedge_travel_mm: float
    n_wedge_pairs: int
    n_props: int
    waste_ratio: float
    setting_out: tuple[str, ...]
    """How the rib is struck: radii and centres, or foci and string, in sentences."""
    n_boards: int = 0
    """Boards to buy for the ribs."""
    lagging_strip_mm: float = 0.0
    """Width of a lagging strip along the curve."""
    lagging_pitch_mm: float = 0.0
    """From one strip to the next, middle to middle."""
    props_x_mm: tuple[float, ...] = ()
    """Where the props stand under each rib, from the left."""
    notes: tuple[str, ...] = ()
    """What is not known, in sentences."""
    has_wall: bool = True
    """Whether the wall's thickness is recorded; if not, ``lagging_length_mm`` is that of a measure of it."""


@dataclass(frozen=True, slots=True)
class LayingStep:
    """One brick in the order of laying."""

    step: int
    ring: int
    course: int
    side: str
    from_springing_mm: float
    from_crown_mm: float
    bevel_rad: float
    joint_below_mm: float
    joint_above_mm: float
    depth_gauge_mm: float
    check: str
    stop: bool
    """True where a second person checks before going on."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One line of the quantities."""

    item: str
    amount: float
    unit: str
    waste_ratio: float
    order: float
    """Amount with wastage."""
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class RebuildPlan:
    """The whole plan in the arch frame. ``refusals`` not empty: do not build from it."""

    scope: Scope
    choice: str
    """Which curve was taken, in the words of ``--curve``."""
    shape: ArchShape
    rings: tuple[RingPlan, ...]
    templets: tuple[Templet, ...]
    centring: CentringPlan
    laying: tuple[LayingStep, ...]
    quantities: tuple[Quantity, ...]
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())

    @property
    def bricks(self) -> tuple[Brick, ...]:
        """Every brick, ring by ring, in course order."""
        return tuple(brick for ring in self.rings for brick in ring.bricks)

    def still_to_cut(self, templet: Templet) -> tuple[tuple[int, int], ...]:
        """Of the (ring, course) pairs a templet serves, those whose brick is not laid yet."""
        to_lay = {(brick.ring, brick.course) for brick in self.bricks if brick.to_lay}
        return tuple(place for place in templet.courses if place in to_lay)

    def joints_mm(self, ring: int) -> Floats:
        """Joints at the intrados (count + 1,) of one ring, left springing to right springing."""
        plan = next(r for r in self.rings if r.ring == ring)
        return np.array([plan.springing_joint_intrados_mm, *(b.joint_after_intrados_mm for b in plan.bricks)])
