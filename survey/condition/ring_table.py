"""One ring as measured: every figure of every course as an array, in course order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from survey.condition.beds import bed_leans
from survey.condition.course_readings import CourseReadings, spread_readings
from survey.curves.protocol import Curve, Floats
from survey.fitting.anchors import typical_width
from survey.fitting.count import course_numbers
from survey.fitting.edge_readings import (
    INNER,
    LEFT,
    MID,
    OUTER,
    RIGHT,
    UNLABELLED,
    EdgeReadings,
    Ints,
    PointPlaces,
    along_mm,
    ring_length_mm,
    ring_offset_mm,
    station_of_along,
)
from survey.fitting.result import CourseCount
from survey.record.model import Condition, CourseNote, Edge, Feature, Record, Ring

ODD_SIGMAS = 5.0
"""Edges of one course that differ by more than this many times their usual difference: one was misread."""
LEAST_ODD_MM = 6.0


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
    curve: Curve,
    ring: Ring,
    places: PointPlaces,
    readings: EdgeReadings,
    count: CourseCount,
) -> RingTable:
    """Gather one ring's courses, measured and missing, with everything measured on them.

    Parameters
    ----------
    record : Record
    curve : Curve
        The fitted intrados.
    ring : Ring
    places : PointPlaces
        The record's points against that curve, numbered.
    readings : EdgeReadings
        The same averaged by course and edge.
    count : CourseCount
        Of this ring.
    """
    rows = readings.rows(ring.ring)
    notes = {n.course: n for n in record.courses if n.ring == ring.ring}
    number = course_numbers(count, {*readings.course[rows].tolist(), *notes})
    n = max([count.count, *(k for c, k in number.items() if c >= 1)])
    course = np.arange(1, n + 1)
    recorded = np.full(n, -1, dtype=np.int64)
    for label, k in number.items():
        if k >= 1:
            recorded[k - 1] = label
    read = spread_readings(readings, rows, number, n)
    offset = ring_offset_mm(record.rings, ring.ring)
    width, _ = typical_width(record, ring, readings)
    noted = _Notes(notes, recorded)
    missing = _missing(count, noted)
    kept, apart = _without_misread(read.deviation, read.sigma)
    deviation, variance = _course_deviation(kept, read.sigma)
    start, end, measured = _edges(curve, offset, read, width, count.count)
    loose, loose_variance = _loose_points(record, places, ring, start, end)
    lost = np.isnan(deviation) & ~missing
    deviation, variance = np.where(lost, loose, deviation), np.where(lost, loose_variance, variance)
    joint, joint_sigma = _joints(curve, offset, read, noted, record, places)
    measured_width = read.along[:, INNER, RIGHT] - read.along[:, INNER, LEFT]
    lip, lip_sigma = _lips(kept, read.sigma)
    beds = bed_leans(curve, ring, read, offset_mm=offset, width_mm=width, joint_mm=_usual(joint))
    face, face_sigma = _face_offsets(record, places, ring, number, n)
    start_station = _stations(curve, offset, start, read.station[:, INNER, LEFT])
    end_station = _stations(curve, offset, end, read.station[:, INNER, RIGHT])
    middle = (start_station + end_station) / 2
    return RingTable(
        ring=ring,
        offset_mm=offset,
        course=course,
        recorded=recorded,
        station_mm=middle,
        start_mm=start_station,
        end_mm=end_station,
        foot_mm=curve.point(middle),
        normal=curve.normal(middle),
        start_along_mm=start,
        end_along_mm=end,
        inferred=~measured,
        missing=missing & ~measured,
        deviation_mm=deviation,
        reading_variance_mm2=variance,
        edge_deviation_mm=kept,
        edges_apart_mm=apart,
        face_mm=face,
        face_sigma_mm=face_sigma,
        width_mm=np.where(np.isfinite(measured_width), measured_width, noted.figure("width_mm")),
        joint_mm=joint,
        joint_sigma_mm=joint_sigma,
        tilt_rad=beds.lean_rad,
        tilt_sigma_rad=beds.sigma_rad,
        tilt_expected_rad=beds.true_rad,
        lip_mm=lip,
        lip_sigma_mm=lip_sigma,
        condition=noted.conditions(missing & ~measured),
    )


class _Notes:
    """Notes of one ring in course order."""

    def __init__(self, notes: Mapping[int, CourseNote], recorded: Ints) -> None:
        self._rows = [notes.get(int(label)) if label >= 0 else None for label in recorded]
        springing = notes.get(0)
        self.springing_joint_mm = None if springing is None else springing.joint_mm

    def figure(self, name: str) -> Floats:
        """One figure (n,) of the notes, NaN where blank."""
        values = [None if row is None else getattr(row, name) for row in self._rows]
        return np.array([np.nan if v is None else v for v in values], dtype=float)

    def is_missing(self) -> np.ndarray:
        """Mask (n,) of courses noted as missing."""
        return np.array([row is not None and row.condition is Condition.MISSING for row in self._rows])

    def conditions(self, missing: np.ndarray) -> tuple[Condition, ...]:
        """Condition as noted, or missing where a gap was counted."""
        return tuple(
            row.condition
            if row is not None and row.condition is not Condition.UNKNOWN
            else (Condition.MISSING if gone else Condition.UNKNOWN)
            for row, gone in zip(self._rows, missing, strict=True)
        )


def _missing(count: CourseCount, noted: _Notes) -> np.ndarray:
    """Courses in a counted gap, or noted as missing."""
    missing = noted.is_missing()
    for gap in count.gaps:
        first = course_numbers(count, [gap.after_course])[gap.after_course] + 1
        missing[first - 1 : first - 1 + gap.count] = True
    return missing


def _without_misread(deviation: Floats, sigma: Floats) -> tuple[Floats, Floats]:
    """Deviations without the edge of a course that cannot be right, and how far that course's edges differ.

    Two edges of one course differ by the readings' noise and the brick's own turn, which the other courses
    show. Where they differ by far more, the one further from the neighbours' middle is left out.
    """
    left, right = deviation[:, INNER, LEFT], deviation[:, INNER, RIGHT]
    apart = right - left
    known = np.isfinite(apart)
    if not known.any():
        return deviation, np.full(len(apart), np.nan)
    middle = float(np.median(apart[known]))
    usual = 1.4826 * float(np.median(np.abs(apart[known] - middle)))
    noise = np.hypot(sigma[:, INNER, LEFT], sigma[:, INNER, RIGHT])
    odd = known & (np.abs(apart - middle) > np.maximum(ODD_SIGMAS * np.fmax(usual, noise), LEAST_ODD_MM))
    kept = deviation.copy()
    sound = np.where(odd, np.nan, np.nanmean(_pair(left, right), axis=0))
    for i in np.flatnonzero(odd):
        near = sound[max(i - 4, 0) : i + 5]
        near = near[np.isfinite(near)]
        around = float(np.median(near)) if len(near) else 0.0
        worse = LEFT if abs(left[i] - around) > abs(right[i] - around) else RIGHT
        kept[i, INNER, worse] = np.nan
    return kept, np.where(odd, apart, np.nan)


def _pair(left: Floats, right: Floats) -> Floats:
    """Both edges (2, n), a course with neither given zeros so that a mean exists (it is not used)."""
    neither = np.isnan(left) & np.isnan(right)
    return np.stack([np.where(neither, 0.0, left), np.where(neither, 0.0, right)])


def _course_deviation(deviation: Floats, sigma: Floats) -> tuple[Floats, Floats]:
    """Weighted mean of the edges' deviations and its variance; the back where the soffit was not measured."""
    weight = np.where(np.isfinite(deviation), sigma**-2.0, 0.0)
    on_soffit = weight[:, INNER].sum(axis=1) > 0
    weight[on_soffit, OUTER] = 0.0
    total = weight.sum(axis=(1, 2))
    total = np.where(total > 0, total, np.nan)
    return np.nansum(weight * np.nan_to_num(deviation), axis=(1, 2)) / total, 1.0 / total


def _edges(
    curve: Curve, offset: float, read: CourseReadings, width_mm: float, count: int
) -> tuple[Floats, Floats, np.ndarray]:
    """Left and right edges (n,) along the ring's inner curve, and which courses were measured.

    A course read at one edge or its middle only has the usual width; one not read takes its place from the
    rhythm of its neighbours, the springings at the ends.
    """
    left, right = read.along[:, INNER, LEFT], read.along[:, INNER, RIGHT]
    back = read.along[:, OUTER]
    ways = (
        (left + right) / 2,
        read.along[:, INNER, MID],
        left + width_mm / 2,
        right - width_mm / 2,
        read.along[:, INNER, UNLABELLED],
        (back[:, LEFT] + back[:, RIGHT]) / 2,
        back[:, MID],
        back[:, LEFT] + width_mm / 2,
        back[:, RIGHT] - width_mm / 2,
        back[:, UNLABELLED],
    )
    middle = np.full(len(left), np.nan)
    for way in ways:
        middle = np.where(np.isnan(middle), way, middle)
    measured = np.isfinite(middle)
    length = ring_length_mm(curve, offset)
    n = len(middle)
    if not measured.all():
        known = np.flatnonzero(measured)
        pitch = np.median(np.diff(middle[known]) / np.diff(known)) if len(known) > 1 else length / count
        half_joint = max(float(pitch) - width_mm, 0.0) / 2
        place = np.concatenate([[0.5], known + 1.0, [n + 0.5]])
        along = np.concatenate([[half_joint], middle[known], [length - half_joint]])
        if len(known) == 0:
            joint = (length - count * width_mm) / (count + 1)
            along = np.array([joint / 2, length - joint / 2])
        middle = np.where(measured, middle, np.interp(np.arange(1, n + 1), place, along))
    start = np.where(np.isfinite(left), left, middle - width_mm / 2)
    end = np.where(np.isfinite(right), right, middle + width_mm / 2)
    return start, end, measured


def _loose_points(
    record: Record, places: PointPlaces, ring: Ring, start: Floats, end: Floats
) -> tuple[Floats, Floats]:
    """Mean deviation of unnumbered points (a scan) between the edges of every course, and its variance."""
    n = len(start)
    loose = np.flatnonzero((places.ring == ring.ring) & (places.surface == INNER) & (places.course < 1))
    course = np.searchsorted(start, places.along_mm[loose], side="right") - 1
    inside = (course >= 0) & (places.along_mm[loose] <= end[np.maximum(course, 0)])
    loose, course = loose[inside], course[inside]
    weight = record.points.sigma_mm[loose] ** -2.0
    total = np.bincount(course, weight, n)
    total = np.where(total > 0, total, np.nan)
    mean = np.bincount(course, weight * places.deviation_mm[loose], n) / total
    return np.asarray(mean, dtype=float), np.asarray(1.0 / total, dtype=float)


def _stations(curve: Curve, offset: float, along: Floats, read: Floats) -> Floats:
    """Stations (n,) of edges: as read, or from their place along the ring where they were inferred."""
    station = read.copy()
    lost = np.isnan(read)
    if lost.any():
        station[lost] = station_of_along(curve, along[lost], offset)
    return station


def _joints(
    curve: Curve, offset: float, read: CourseReadings, noted: _Notes, record: Record, places: PointPlaces
) -> tuple[Floats, Floats]:
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
    return (
        np.where(known, surveyed, noted.figure("joint_mm")),
        np.where(known, uncertainty, 1.0),
    )


def _usual(joint: Floats) -> float:
    known = joint[np.isfinite(joint)]
    return float(np.median(known)) if len(known) else 0.0


def _lips(deviation: Floats, sigma: Floats) -> tuple[Floats, Floats]:
    """Step in the soffit from every course to the next, and its uncertainty."""
    lip = np.append(deviation[1:, INNER, LEFT], np.nan) - deviation[:, INNER, RIGHT]
    return lip, np.hypot(np.append(sigma[1:, INNER, LEFT], np.nan), sigma[:, INNER, RIGHT])


def _face_offsets(
    record: Record, places: PointPlaces, ring: Ring, number: Mapping[int, int], n: int
) -> tuple[Floats, Floats]:
    """Mean distance of every course's points before the face plane, NaN where the points carry no depth."""
    nothing = np.full(n, np.nan)
    if not record.has_depth:
        return nothing, nothing.copy()
    points = record.points
    whole = (points.on(Feature.FACE) | points.on(Feature.JOINT)) & (points.ring == ring.ring)
    label = np.where(places.ring == ring.ring, places.course, np.where(whole, points.course, -1))
    used = np.flatnonzero(label >= 1)
    known = np.array([number.get(int(c), 0) for c in label[used]], dtype=np.int64)
    used, at = used[known >= 1], known[known >= 1] - 1
    weight = points.sigma_mm[used] ** -2.0
    total = np.bincount(at, weight, n)
    total = np.where(total > 0, total, np.nan)
    mean = np.bincount(at, weight * points.w_mm[used], n) / total
    return np.asarray(mean, dtype=float), np.asarray(total**-0.5, dtype=float)
