"""What was measured, reduced to the face plane: the frozen values every later room reads."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.errors import Fault

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

UNKNOWN = -1
"""Stands for a ring or course number that was not recorded (course 0 is the left springing's joint)."""


class Feature(StrEnum):
    """What a surveyed point was taken on."""

    INTRADOS = "intrados"
    EXTRADOS = "extrados"
    SPRINGING = "springing"
    JOINT = "joint"
    FACE = "face"
    DATUM = "datum"
    CRACK = "crack"
    OTHER = "other"


class Edge(StrEnum):
    """Which side of its course (or which springing) a point was taken on; blank where not known."""

    LEFT = "left"
    RIGHT = "right"
    MID = "mid"
    UNKNOWN = ""


class Condition(StrEnum):
    """State of a brick as noted on site."""

    SOUND = "sound"
    CRACKED = "cracked"
    SPALLED = "spalled"
    LOOSE = "loose"
    MISSING = "missing"
    REPLACED = "replaced"
    UNKNOWN = ""


class Laid(StrEnum):
    """How the bricks of a ring are laid."""

    RADIAL = "radial"
    SAWTOOTH = "sawtooth"


@dataclass(frozen=True, slots=True, eq=False)
class FaceFrame:
    """A right-handed frame in the face of the wall: x right, y up, w towards the viewer.

    Attributes
    ----------
    origin_mm : (3,) float
        Origin in site coordinates, mm.
    x_axis, y_axis, w_axis : (3,) float
        Unit axes in site coordinates.
    """

    origin_mm: Floats
    x_axis: Floats
    y_axis: Floats
    w_axis: Floats

    def moved_to(self, xy_mm: ArrayLike) -> FaceFrame:
        """Same axes with the origin moved to a point (2,) of the face."""
        x_mm, y_mm = np.asarray(xy_mm, dtype=float)
        return FaceFrame(
            self.origin_mm + x_mm * self.x_axis + y_mm * self.y_axis, self.x_axis, self.y_axis, self.w_axis
        )

    def to_site(self, xy_mm: ArrayLike) -> Floats:
        """Site coordinates (n, 3) of points (n, 2) of the face."""
        xy = np.asarray(xy_mm, dtype=float)
        return self.origin_mm + xy[..., :1] * self.x_axis + xy[..., 1:2] * self.y_axis


@dataclass(frozen=True, slots=True, eq=False)
class SurveyPoints:
    """Surveyed points in the face frame, in the order of the file; parallel arrays of length n.

    Attributes
    ----------
    name : tuple of str
    xy_mm : (n, 2) float
    w_mm : (n,) float
        Distance in front of the face plane, towards the viewer; 0 when measured in the face.
    sigma_mm : (n,) float
        Standard uncertainty of one coordinate.
    feature : (n,) object array of Feature
    ring, course : (n,) int
        ``UNKNOWN`` (-1) where not recorded.
    edge : (n,) object array of Edge
    row : (n,) int
        Spreadsheet row in the source file, for messages.
    """

    name: tuple[str, ...]
    xy_mm: Floats
    w_mm: Floats
    sigma_mm: Floats
    feature: NDArray[np.object_]
    ring: Ints
    course: Ints
    edge: NDArray[np.object_]
    row: Ints

    def __len__(self) -> int:
        """Number of points."""
        return len(self.name)

    def on(self, feature: Feature) -> NDArray[np.bool_]:
        """Mask (n,) of the points taken on one feature."""
        return np.asarray(self.feature == feature, dtype=bool)

    def take(self, mask: ArrayLike) -> SurveyPoints:
        """Only the points of a mask or index array, in its order."""
        index = np.arange(len(self))[np.asarray(mask)]
        return SurveyPoints(
            tuple(self.name[i] for i in index),
            self.xy_mm[index],
            self.w_mm[index],
            self.sigma_mm[index],
            self.feature[index],
            self.ring[index],
            self.course[index],
            self.edge[index],
            self.row[index],
        )


@dataclass(frozen=True, slots=True)
class Ring:
    """One ring of brick as recorded in arch.toml, lengths in mm."""

    ring: int
    courses: int | None
    depth_mm: float
    brick_width_mm: float
    laid: Laid = Laid.RADIAL
    turn_rad: float = 0.0
    cut: str = "uncut"
    """``uncut`` (wedge joints), ``cut`` (tapered bricks, parallel joints) or ``mixed``."""
    thickness_mm: float | None = None
    """The brick's dimension into the wall (bed depth from face to back); None when not recorded."""
    collar_mm: float = 0.0
    """Mortar between this ring and the one inside it; 0 when not recorded."""
    collar_given: bool = True
    """False where arch.toml leaves ``collar_joint`` out, so that the survey may tell it."""


@dataclass(frozen=True, slots=True)
class CourseNote:
    """One row of courses.csv; lengths in mm, None where blank."""

    ring: int
    course: int
    width_mm: float | None
    depth_mm: float | None
    joint_mm: float | None
    condition: Condition
    reuse: bool | None
    note: str
    row: int


@dataclass(frozen=True, slots=True)
class SalvagedBrick:
    """One row of salvage.csv, mm."""

    brick: str
    width_mm: float
    depth_mm: float | None
    ring: int | None
    note: str
    row: int


@dataclass(frozen=True, slots=True)
class LaidMark:
    """One row of laid.csv: running distance along the centring from the left springing to an edge, mm."""

    ring: int
    course: int
    edge: Edge
    along_mm: float
    row: int


@dataclass(frozen=True, slots=True)
class JointLimits:
    """Least and greatest joint at the intrados, and the greatest at the extrados, mm.

    Defaults: 1/8 in and 3/4 in, the limits between arch bricks of BIA Technical Note 31 (1995), as carried in
    *Modern Masonry* (Goodheart-Willcox 2016, p. 299).
    """

    min_mm: float = 3.2
    max_mm: float = 19.05
    extrados_max_mm: float = 19.05
    defaulted: tuple[str, ...] = field(default=(), compare=False)
    """Keys of ``[joints]`` that arch.toml does not give, so that the default was taken."""


@dataclass(frozen=True, slots=True)
class Tolerances:
    """What the job agrees to call out; the defaults are this project's judgement, no standard exists.

    Attributes
    ----------
    intrados_mm : deviation of the soffit along its normal.
    joint_mm : departure of a joint from the rhythm.
    face_mm : a course proud of, or behind, the face plane.
    lip_mm : step in the soffit between neighbours.
    bed_rad : tilt of a bed against the curve's normal.
    templet_mm : how far a joint may be off because cut pieces share a templet.
    """

    intrados_mm: float = 5.0
    joint_mm: float = 2.0
    face_mm: float = 3.0
    lip_mm: float = 3.0
    bed_rad: float = 0.0349
    templet_mm: float = 0.5


@dataclass(frozen=True, slots=True)
class Known:
    """A dimension known beforehand with its own standard uncertainty, mm (``[known]`` in arch.toml)."""

    value_mm: float
    sigma_mm: float


@dataclass(frozen=True, slots=True)
class KnownDimensions:
    """Dimensions held as known, None where not given; levels and axis are in the record's face frame."""

    span: Known | None = None
    rise: Known | None = None
    springing_y: Known | None = None
    axis_x: Known | None = None


@dataclass(frozen=True, slots=True)
class Centring:
    """How the centring is to be made (``[centring]`` in arch.toml), mm."""

    lagging_mm: float = 20.0
    slack_mm: float = 5.0
    board_length_mm: float = 2400.0
    board_width_mm: float = 225.0
    board_thickness_mm: float = 38.0
    wall_thickness_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Mortar:
    """What arch.toml says of mortar and bedding (``[mortar]``)."""

    name: str = ""
    bed_depth_mm: float | None = None
    waste_ratio: float = 0.10
    brick_waste_ratio: float = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """A checked record folder, reduced to millimetres in the face of the wall.

    ``frame`` places the face in the site grid. Its origin lies near the middle of the points so that nothing
    loses precision on large grids; ``fit_arch`` moves it to the middle of the springing line.
    """

    folder: Path
    name: str
    place: str
    recorded_on: str
    recorded_by: str
    note: str
    unit: str
    point_sigma_mm: float
    has_depth: bool
    """True when points carried z, so that face offsets ``w_mm`` mean something."""
    frame: FaceFrame
    points: SurveyPoints
    rings: tuple[Ring, ...]
    courses: tuple[CourseNote, ...] = ()
    salvage: tuple[SalvagedBrick, ...] = ()
    laid: tuple[LaidMark, ...] = ()
    joints: JointLimits = field(default_factory=JointLimits)
    tolerances: Tolerances = field(default_factory=Tolerances)
    known: KnownDimensions = field(default_factory=KnownDimensions)
    centring: Centring = field(default_factory=Centring)
    mortar: Mortar = field(default_factory=Mortar)
    doubts: tuple[Fault, ...] = ()
    """Doubtful but usable things found while reading: what to measure again."""
