"""One ring as measured: every figure of every course as an array, in course order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from survey.condition.courses.beds import BedLeans, bed_leans
from survey.condition.courses.course_readings import CourseReadings, spread_readings
from survey.condition.courses.middles import middle_of
from survey.condition.courses.ring_deviations import RingDeviations, ring_deviations
from survey.condition.courses.ring_edges import RingEdges, ring_edges
from survey.condition.courses.ring_notes import RingNotes
from survey.curves import ChainOfArcs, Ellipse
from survey.curves.protocol import Curve, Floats
from survey.fitting.counting.anchors import typical_width
from survey.fitting.counting.count import course_numbers
from survey.fitting.counting.edge_readings import (
    INNER,
    LEFT,
    RIGHT,
    EdgeReadings,
    Ints,
    PointPlaces,
    along_mm,
    ring_offset_mm,
)
from survey.fitting.result import CourseCount
from survey.fitting.unmeasured import unmeasured_courses
from survey.record.model import Condition, Edge, Feature, Record, Ring


@dataclass(frozen=True, slots=True, eq=False)
class RingTable:
    """Measured figures of the courses of one ring; arrays of length n, NaN where not measured.

    Attributes
    ----------
    ring : Ring
    offset_mm : float
        Distance of the ring's inner curve from the intrados.
    course : (n,) int
        1 to N, counted from the left springing.
    recorded : (n,) int
        The surveyor's number of the same course; -1 for courses that no one numbered.
    station_mm, start_mm, end_mm : (n,) float
        Left and right edge as stations of the intrados, by rhythm where not measured, and half-way between.
    foot_mm, normal : (n, 2) float
        Point and outward normal of the intrados at ``station_mm``.
    start_along_mm, end_along_mm : (n,) float
        The same edges along the ring's inner curve.
    inferred, missing : (n,) bool
    deviation_mm, reading_variance_mm2 : (n,) float
        Along the normal, and the measurement's part of its variance.
    edge_deviation_mm : (n, 2, 4) float
        The same by surface and edge, misread edges left out.
    edge_sigma_mm : (n, 2, 4) float
        Standard uncertainty of a coordinate of each, NaN where not read.
    edges_apart_mm : (n,) float
        Right minus left edge's deviation where one of them must be misread, else NaN.
    face_mm, face_sigma_mm, width_mm, joint_mm, joint_sigma_mm : (n,) float
    tilt_rad, tilt_sigma_rad : (n,) float
        Mean lean of the measured beds against the normal, towards the right springing positive.
    tilt_expected_rad : (n,) float
        What that mean would be for a brick laid true: beds of an uncut brick are not radial.
    lip_mm, lip_sigma_mm : (n,) float
    condition : tuple of Condition
    """

    ring: Ring
    offset_mm: float
    course: Ints
    recorded: Ints
    station_mm: Floats
    start_mm: Floats
    end_mm: Floats
    foot_mm: Floats
    normal: Floats
    start_along_mm: Floats
    end_along_mm: Floats
    inferred: np.ndarray
    missing: np.ndarray
    deviation_mm: Floats
    reading_variance_mm2: Floats
    edge_deviation_mm: Floats
    edge_sigma_mm: Floats
    edges_apart_mm: Floats
    face_mm: Floats
    face_sigma_mm: Floats
    width_mm: Floats
    joint_mm: Floats
    joint_sigma_mm: Floats
    tilt_rad: Floats
    tilt_sigma_rad: Floats
    tilt_expected_rad: Floats
    lip_mm: Floats
    lip_sigma_mm: Floats
    condition: tuple[Condition, ...]


def ring_table(
    record: Record,
    curve: ChainOfArcs | Ellipse,
    ring: Ring,
    places: PointPlaces,
    readings: EdgeReadings,
    count: CourseCount,
) -> RingTable:
    """Gather one ring's courses, measured and missing, with everything measured on them.

    Parameters
    ----------
    record : Record
    curve : ChainOfArcs or Ellipse
        The fitted intrados.
    ring : Ring
    places : PointPlaces
        The record's points against that curve, numbered.
    readings : EdgeReadings
        The same averaged by course and edge.
    count : CourseCount
        Of this ring.
    """
    notes = {n.course: n for n in record.courses if n.ring == ring.ring}
    rows = readings.rows(ring.ring)
    number = course_numbers(count, {*readings.course[rows].tolist(), *notes})
    recorded = _recorded(number, count.count)
    n = len(recorded)
    read = spread_readings(readings, rows, number, n)
    offset = ring_offset_mm(record.rings, ring.ring)
    width, _ = typical_width(record, ring, readings)
    noted = RingNotes(notes, recorded)
    missing = _missing(record, count, noted)
    edges = ring_edges(curve, offset, read, width_mm=width, count=count.count)
    joints = _joints(curve, offset, read, noted, record, places)
    usual = middle_of(joints.value_mm)
    joint = usual if np.isfinite(usual) else 0.0
    beds = bed_leans(curve, ring, read, offset_mm=offset, width_mm=width, joint_mm=joint)
    off = ring_deviations(record, places, ring, read, edges, missing=missing)
    face = _face_offsets(record, places, ring, number, n)
    measured_width = read.along[:, INNER, RIGHT] - read.along[:, INNER, LEFT]
    widths = np.where(np.isfinite(measured_width), measured_width, noted.figure("width_mm"))
    return _Parts(ring, offset, recorded, edges, off, read.sigma, joints, beds, face, widths).joined(
        curve, missing & ~edges.measured, noted
    )


def _recorded(number: Mapping[int, int], count: int) -> Ints:
    """The surveyor's number (n,) of every counted course; -1 for those no one numbered."""
    recorded = np.full(max([count, *(k for k in number.values() if k >= 1)]), -1, dtype=np.int64)
    for label, k in number.items():
        if k >= 1:
            recorded[k - 1] = label
    return recorded


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    """One figure of every course (n,) and its standard uncertainty (n,)."""

    value_mm: Floats
    sigma_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """What a table is made of."""

    ring: Ring
    offset_mm: float
    recorded: Ints
    edges: RingEdges
    off: RingDeviations
    edge_sigma_mm: Floats
    joints: _Measured
    beds: BedLeans
    face: _Measured
    width_mm: Floats

    def joined(self, curve: ChainOfArcs | Ellipse, missing: np.ndarray, noted: RingNotes) -> RingTable:
        """The table, with the courses' places on the curve."""
        edges, off = self.edges, self.off
        there = curve.frame(edges.station_mm)
        return RingTable(
            ring=self.ring,
            offset_mm=self.offset_mm,
            course=np.arange(1, len(self.recorded) + 1),
            recorded=self.recorded,
            station_mm=edges.station_mm,
            start_mm=edges.start_mm,
            end_mm=edges.end_mm,
            foot_mm=there.point_mm,
            normal=there.normal,
            start_along_mm=edges.start_along_mm,
            end_along_mm=edges.end_along_mm,
            inferred=~edges.measured,
            missing=missing,
            deviation_mm=off.deviation_mm,
            reading_variance_mm2=off.variance_mm2,
            edge_deviation_mm=off.edge_deviation_mm,
            edge_sigma_mm=self.edge_sigma_mm,
            edges_apart_mm=off.edges_apart_mm,
            face_mm=self.face.value_mm,
            face_sigma_mm=self.face.sigma_mm,
            width_mm=self.width_mm,
            joint_mm=self.joints.value_mm,
            joint_sigma_mm=self.joints.sigma_mm,
            tilt_rad=self.beds.lean_rad,
            tilt_sigma_rad=self.beds.sigma_rad,
            tilt_expected_rad=self.beds.true_rad,
            lip_mm=off.lip_mm,
            lip_sigma_mm=off.lip_sigma_mm,
            condition=noted.conditions(missing),
        )


def _missing(record: Record, count: CourseCount, noted: RingNotes) -> np.ndarray:
    """Courses in a counted gap, unless they were only not measured, or noted as missing."""
    missing = noted.is_missing()
    for gap in count.gaps:
        first = course_numbers(count, [gap.after_course])[gap.after_course] + 1
        missing[first - 1 : first - 1 + gap.count] = True
    there = sorted(unmeasured_courses(record, count.ring, count.gaps, count.count).there)
    numbers = course_numbers(count, there).values()
    # A ring said to have fewer courses than its points need holds no place for the last of them.
    missing[[number - 1 for number in numbers if number <= len(missing)]] = False
    return missing


def _joints(
    curve: Curve, offset: float, read: CourseReadings, noted: RingNotes, record: Record, places: PointPlaces
) -> _Measured:
    """Joint after every course: surveyed where both its edges are known, else as noted.

    The last joint is surveyed where the right springing was.
    """
    left, right = read.along[:, INNER, LEFT], read.along[:, INNER, RIGHT]
    sigma = read.sigma[:, INNER]
    springing = (record.points.feature == Feature.SPRINGING) & (record.points.edge == Edge.RIGHT)
    end, end_sigma = np.nan, np.nan
    if springing.any():
        end = float(along_mm(curve, [places.station_mm[springing].mean()], offset)[0])
        end_sigma = float(record.points.sigma_mm[springing].mean())
    surveyed = np.append(left[1:], end) - right
    uncertainty = np.hypot(np.append(sigma[1:, LEFT], end_sigma), sigma[:, RIGHT])
    known = np.isfinite(surveyed)
    return _Measured(np.where(known, surveyed, noted.figure("joint_mm")), np.where(known, uncertainty, 1.0))


def _face_offsets(
    record: Record, places: PointPlaces, ring: Ring, number: Mapping[int, int], n: int
) -> _Measured:
    """Mean distance of every course's points before the face plane, NaN where the points carry no depth."""
    nothing = np.full(n, np.nan)
    if not record.has_depth:
        return _Measured(nothing, nothing.copy())
    points = record.points
    whole = (points.on(Feature.FACE) | points.on(Feature.JOINT)) & (points.ring == ring.ring)
    label = np.where(places.ring == ring.ring, places.course, np.where(whole, points.course, -1))
    used = np.flatnonzero(label >= 1)
    known = np.array([number.get(c, 0) for c in label[used].tolist()], dtype=np.int64)
    used, at = used[known >= 1], known[known >= 1] - 1
    weight = points.sigma_mm[used] ** -2.0
    total = np.bincount(at, weight, n)
    total = np.where(total > 0, total, np.nan)
    mean = np.bincount(at, weight * points.w_mm[used], n) / total
    return _Measured(np.asarray(mean, dtype=float), np.asarray(total**-0.5, dtype=float))
