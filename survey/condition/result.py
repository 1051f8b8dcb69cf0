"""What the condition room answers: one value a course, and what the arch as a whole shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape
from survey.fitting.result import Estimate, Movement
from survey.record.model import Condition, Tolerances


@dataclass(frozen=True, slots=True)
class CourseDeviation:
    """One course of one ring against the fitted curve; NaN where nothing was measured."""

    ring: int
    course: int
    station_mm: float
    x_mm: float
    y_mm: float
    deviation_mm: float
    deviation_sigma_mm: float
    face_offset_mm: float
    width_mm: float
    joint_mm: float
    joint_tilt_rad: float
    """Mean lean of its measured beds against the normal: positive where the back lies further right."""
    lip_mm: float
    """Step in the soffit to the next course: the next one's left edge minus this one's right edge."""
    condition: Condition
    flag: str
    start_mm: float
    """Station of its left edge (measured, or inferred where missing)."""
    end_mm: float
    """Station of its right edge."""
    inferred: bool = False
    """True for a course placed by rhythm, not measured."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """A named pattern of distress with its evidence, in words a mason reads."""

    name: str
    sentence: str
    ring: int
    first_course: int
    last_course: int
    size_mm: Estimate
    evidence: float
    """Log of how much likelier the readings are with the pattern than without it."""


@dataclass(frozen=True, slots=True)
class WorstCourse:
    """One line of the table of the worst courses."""

    ring: int
    course: int
    what: str
    how_much: str
    todo: str


@dataclass(frozen=True, slots=True, eq=False)
class DeviationMap:
    """Course-by-course condition of the arch, in the arch frame of the fit it was made with."""

    shape: ArchShape
    """The surveyed curve the deviations are taken from."""
    courses: tuple[CourseDeviation, ...]
    patterns: tuple[Pattern, ...]
    worst: tuple[WorstCourse, ...]
    tolerances: Tolerances
    movement: Movement | None

    def ring(self, ring: int) -> tuple[CourseDeviation, ...]:
        """Courses of one ring in course order."""
        return tuple(c for c in self.courses if c.ring == ring)

    def column(self, ring: int, name: str) -> Floats:
        """One numeric field of one ring as an array (n,) in course order."""
        return np.array([getattr(c, name) for c in self.ring(ring)], dtype=float)
