"""Surveyed edges of the courses of each ring, numbered as the plan numbers them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.before_movement import brought_back
from survey.fitting.counting.edge_readings import (
    INNER,
    LEFT,
    MID,
    OUTER,
    RIGHT,
    EdgeReadings,
    PointPlaces,
    along_mm,
    average_edges,
    ring_offset_mm,
)
from survey.fitting.counting.numbering import number_points
from survey.fitting.result import ArchFit, GapCount, Movement
from survey.record.model import UNKNOWN, Record

CORNERS = ((INNER, LEFT), (INNER, RIGHT), (OUTER, RIGHT), (OUTER, LEFT))
"""Corners of a brick in the order of the plan: intrados left and right, extrados right and left."""


@dataclass(frozen=True, slots=True)
class Renumbering:
    """From the record's course numbers to the plan's, where a gap holds more or fewer than was noted."""

    gaps: tuple[GapCount, ...]

    def plan_course(self, course: int) -> int:
        """Number in the plan of a course of the record."""
        return course + sum(_gap_shift(g) for g in self.gaps if course >= g.before_course)

    def plan_courses(self, courses: NDArray[np.int64]) -> NDArray[np.int64]:
        """The same for many courses at once."""
        shifted = courses.copy()
        for gap in self.gaps:
            shifted[courses >= gap.before_course] += _gap_shift(gap)
        return shifted


def _gap_shift(gap: GapCount) -> int:
    return gap.count - (gap.before_course - gap.after_course - 1)


@dataclass(frozen=True, slots=True, eq=False)
class RingEdges:
    """What was surveyed of one ring with N courses; NaN where nothing was.

    Attributes
    ----------
    along_mm, sigma_mm : (N, 3) float
        Left edge, right edge and middle of each course along the ring's inner curve, and their uncertainties.
    corners_mm, corner_sigma_mm : (N, 4, 2) and (N, 4) float
        Corners in the arch frame: intrados left, intrados right, extrados right, extrados left.
    middle_mm : (N, 2) float
        The middle of the soffit face, where a point was taken there, in the arch frame.
    """

    along_mm: Floats
    sigma_mm: Floats
    corners_mm: Floats
    corner_sigma_mm: Floats
    middle_mm: Floats

    @classmethod
    def none(cls, count: int) -> RingEdges:
        """A ring of which nothing was surveyed."""

        def nan(*shape: int) -> Floats:
            return np.full((count, *shape), np.nan)

        return cls(nan(3), nan(3), nan(4, 2), nan(4), nan(2))

    @property
    def surveyed(self) -> NDArray[np.bool_]:
        """Mask (N,) of the courses of which any edge of the soffit was surveyed."""
        return np.asarray((~np.isnan(self.along_mm)).any(axis=1))

    def without(self, gross: NDArray[np.bool_]) -> RingEdges:
        """The same without some intrados edges (N, 2), which cannot be where they were read."""
        along, corners, sigma = self.along_mm.copy(), self.corners_mm.copy(), self.corner_sigma_mm.copy()
        along[:, :2][gross] = np.nan
        corners[:, :2][gross] = np.nan
        sigma[:, :2][gross] = np.nan
        return replace(self, along_mm=along, corners_mm=corners, corner_sigma_mm=sigma)


def read_edges(record: Record, fit: ArchFit) -> EdgeReadings | None:
    """All surveyed edges of the record, without the points the fit set aside; None when there is none."""
    trusted = _trusted(record, fit)
    return average_edges(trusted, _placed(trusted, fit)) if len(trusted.points) else None


def read_laid_edges(record: Record, fit: ArchFit, movement: Movement) -> EdgeReadings | None:
    """The same edges against the original of a moved arch, every brick taken back with its piece."""
    trusted = _trusted(record, fit)
    if not len(trusted.points):
        return None
    return average_edges(trusted, _as_laid(trusted, fit, movement, _placed(trusted, fit)))


def _trusted(record: Record, fit: ArchFit) -> Record:
    """The record without the points the fit set aside."""
    kept = np.ones(len(record.points), dtype=bool)
    kept[fit.points.index[fit.points.set_aside]] = False
    return replace(record, points=record.points.take(kept))


def _placed(record: Record, fit: ArchFit) -> PointPlaces:
    """The points numbered along the curve fitted to the arch as it stands."""
    return number_points(record, curve_of(fit.best.shape), fit.origin_mm).places


def _as_laid(record: Record, fit: ArchFit, movement: Movement, places: PointPlaces) -> PointPlaces:
    """Numbered points (n,) against the original, taken back with the pieces of the arch."""
    original = curve_of(movement.original.shape)
    known = (places.ring != UNKNOWN) & (places.course != UNKNOWN)
    brick = np.where(known, places.ring * 1_000_000 + places.course, UNKNOWN)
    back = brought_back(original, movement, fit.to_arch(record.points.xy_mm), brick=brick)
    located = original.locate(back)
    along, deviation = located.station_mm.copy(), np.full(len(back), np.nan)
    for ring in record.rings:
        on = places.ring == ring.ring
        offset_mm = ring_offset_mm(record.rings, ring.ring)
        along[on] = along_mm(original, located.station_mm[on], offset_mm)
        face_mm = offset_mm + np.where(places.surface[on] == OUTER, ring.depth_mm, 0.0)
        deviation[on] = located.distance_mm[on] - face_mm
    return replace(places, station_mm=located.station_mm, along_mm=along, deviation_mm=deviation)


def edges_of_ring(
    readings: EdgeReadings | None, fit: ArchFit, ring: int, *, count: int, numbers: Renumbering
) -> RingEdges:
    """The edges of one ring in the order of the plan's courses."""
    found = RingEdges.none(count)
    if readings is None:
        return found
    rows = readings.rows(ring)
    course = numbers.plan_courses(readings.course[rows])
    rows, at = rows[(course >= 1) & (course <= count)], course[(course >= 1) & (course <= count)] - 1
    for column, edge in enumerate((LEFT, RIGHT, MID)):
        found.along_mm[at, column] = readings.along_mm[rows, INNER, edge]
        found.sigma_mm[at, column] = readings.sigma_mm[rows, INNER, edge]
    for column, (surface, edge) in enumerate(CORNERS):
        found.corners_mm[at, column] = fit.to_arch(readings.xy_mm[rows, surface, edge])
        found.corner_sigma_mm[at, column] = readings.sigma_mm[rows, surface, edge]
    found.middle_mm[at] = fit.to_arch(readings.xy_mm[rows, INNER, MID])
    return found
