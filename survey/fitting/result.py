"""What a fit answers: frozen values from the surveyed points to the verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.record.model import FaceFrame


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure and its standard uncertainty, in the unit the field's name says."""

    value: float
    sigma: float


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One family fitted to the surveyed points.

    ``shape`` is in the arch frame (see :class:`ArchFit`). ``parameters`` names the rows and columns of
    ``covariance`` (mm and rad); ``figures`` holds every derived figure with its uncertainty by name:
    ``half_span_mm``, ``rise_mm``, ``springing_y_mm``, ``axis_x_mm``, ``tilt_rad``, ``radius_1_mm`` …
    """

    family: Family
    shape: ArchShape
    parameters: tuple[str, ...]
    covariance: Floats
    figures: Mapping[str, Estimate]
    rms_mm: float
    converged: bool
    because: str = ""
    """Why the fit failed, or what it cannot know; blank when there is nothing to say."""
    log_evidence: float = float("nan")
    construction: str = ""
    """Handbook construction the shape agrees with, blank if none."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Which family the arch was set out to. ``clear`` and ``family`` as in fit.json."""

    family: Family | None
    clear: bool
    probability: Mapping[Family, float]
    because: str
    largest_difference_mm: float | None
    """How far the two likeliest curves lie apart; None where there is but one, and ``because`` says why."""


@dataclass(frozen=True, slots=True, eq=False)
class PointFits:
    """How every point used in the fit lies against the chosen surveyed curve; parallel arrays of length n.

    ``index`` counts into ``record.points``; ``weight`` is the robust weight (1 full, 0 set aside).
    """

    index: NDArray[np.int64]
    name: tuple[str, ...]
    station_mm: Floats
    deviation_mm: Floats
    weight: Floats
    set_aside: NDArray[np.bool_]

    @property
    def down_weighted(self) -> tuple[str, ...]:
        """Names of points with less than half weight that are not set aside."""
        return tuple(
            n for n, w, out in zip(self.name, self.weight, self.set_aside, strict=True) if w < 0.5 and not out
        )


class Opens(StrEnum):
    """The side on which the joint at a hinge opens."""

    INTRADOS = "intrados"
    EXTRADOS = "extrados"


TOLD_FROM = 2.0
"""A movement is told from this many of its standard uncertainties."""


@dataclass(frozen=True, slots=True)
class Hinge:
    """A hinge between two rigid pieces. Station on the original curve, from the left springing.

    ``x_mm``, ``y_mm`` is where it stands now, in the arch frame; ``rotation_rad`` is how far the pieces
    beside it turned against each other.
    """

    station_mm: Estimate
    opens: Opens
    rotation_rad: Estimate
    x_mm: float
    y_mm: float
    where: str
    """In words: ``left springing``, ``left haunch``, ``crown``, ``right haunch``, ``right springing``."""

    @property
    def is_told(self) -> bool:
        """Whether its turn stands out of its uncertainty, and with it the side that opens."""
        return abs(self.rotation_rad.value) > TOLD_FROM * self.rotation_rad.sigma


def turned_as_one_piece(hinges: tuple[Hinge, ...]) -> bool:
    """Whether pieces hinged at left, crown and right turned whole on the springings, so far as told."""
    left, crown, right = hinges
    return left.where.endswith("springing") and right.where.endswith("springing") and not crown.is_told


@dataclass(frozen=True, slots=True)
class Piece:
    """A rigid piece of the original between two stations, and its motion: a turn, then a shift.

    A point p of the original goes to ``R(rotation_rad) p + shift_mm`` in the arch frame.
    """

    start_mm: float
    end_mm: float
    rotation_rad: float
    shift_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Movement:
    """The surveyed arch as rigid pieces of its original.

    ``spread_mm`` is how much further apart the springings stand than they were (negative: closer),
    ``settlement_mm`` how much the right springing sank against the left (negative: left sank), and
    ``crown_drop_mm`` how far the middle of the intrados came down against the mean level of both springings.
    With the left springing held it came down half the settlement further.
    """

    original: Candidate
    spread_mm: Estimate
    settlement_mm: Estimate
    crown_drop_mm: Estimate
    hinges: tuple[Hinge, ...]
    pieces: tuple[Piece, ...]
    probability: float
    """Probability that the arch has moved, against every still model."""
    rms_before_mm: float
    """RMS deviation of the points from the best still curve."""
    rms_after_mm: float
    """RMS deviation from the moved pieces."""
    because: str = ""

    @property
    def as_one_piece(self) -> bool:
        """Whether the arch turned whole on its springings, as it may have been built."""
        return turned_as_one_piece(self.hinges)


@dataclass(frozen=True, slots=True)
class UnseenMovement:
    """How large a spread, or a settlement of one springing, would show at 95 %; infinite if none would."""

    spread_mm: float
    settlement_mm: float


@dataclass(frozen=True, slots=True)
class Module:
    """The historic unit the arch seems set out in."""

    unit_mm: float
    unit_sigma_mm: float
    name: str
    source: str
    span_units: float
    rise_units: float
    chance_probability: float


@dataclass(frozen=True, slots=True)
class GapCount:
    """A gap in a ring: the courses on either side of it, and how many are missing between."""

    after_course: int
    before_course: int
    station_start_mm: float
    station_end_mm: float
    count: int
    probability: Mapping[int, float]


@dataclass(frozen=True, slots=True)
class CourseCount:
    """How many courses a ring has. ``counted`` says whether arch.toml gave the count."""

    ring: int
    count: int
    counted: bool
    probability: Mapping[int, float]
    gaps: tuple[GapCount, ...] = ()
    doubt: str = ""
    """Blank, or one sentence when the recorded count and the rhythm disagree."""


@dataclass(frozen=True, slots=True)
class Collar:
    """The collar joint between a ring and the one inside it, mm.

    ``used_mm`` is what every room beyond takes: ``given_mm`` of arch.toml, else ``measured``, else 0.
    """

    ring: int
    used_mm: float
    given_mm: float | None
    measured: Estimate | None
    """By the points of the ring, None where they cannot tell it."""
    n_points: int
    told: str
    """Blank, or a sentence: what was taken for want of a given one, or how the survey contradicts that."""
    doubtful: bool
    """True where it could not be told, or survey and arch.toml do not agree."""


@dataclass(frozen=True, slots=True, eq=False)
class ArchFit:
    """Everything the fitting room answers about one record.

    The arch frame: origin at the middle of the chosen curve's springing line, x right, y up, level. It is
    the record's face frame moved by ``origin_mm``; ``to_arch`` brings face coordinates into it. All shapes
    here are in the arch frame.
    """

    record_name: str
    frame: FaceFrame
    origin_mm: tuple[float, float]
    verdict: Verdict
    chosen: Family
    candidates: Mapping[Family, Candidate]
    points: PointFits
    irregularity_mm: float
    """Standard deviation of the arch's own irregularity along the normal, without the measurement's share."""
    correlation_length_mm: float
    """Arc length over which that irregularity stays alike (correlation exp(-ds/length))."""
    n_effective: float
    movement: Movement | None
    module: Module | None
    courses: tuple[CourseCount, ...]
    notes: tuple[str, ...] = field(default=())
    """What the fit cannot know, in sentences."""
    unseen_movement: UnseenMovement | None = None
    """Movements too small to show, where none is told; None where one is, or none was looked for."""
    collars: tuple[Collar, ...] = ()
    """Collar joints of every ring but the innermost, from the opening outwards."""
    is_insisted: bool = False
    """Whether the chosen family was asked for, whatever the verdict says of it."""
    hangs_smoothly: float = 0.0
    """Probability that a still soffit hangs off the chosen curve in a smooth wave; 0 where no movement came
    near enough to be weighed against that."""
    springing_doubts: tuple[str, ...] = ()
    """What is doubtful about the springing points, in sentences; they stand among the notes too."""

    @property
    def best(self) -> Candidate:
        """The chosen family's candidate."""
        return self.candidates[self.chosen]

    def to_arch(self, face_xy_mm: ArrayLike) -> Floats:
        """Arch-frame coordinates (n, 2) of points given in the record's face frame."""
        return np.asarray(np.asarray(face_xy_mm, dtype=float) - np.asarray(self.origin_mm), dtype=float)
