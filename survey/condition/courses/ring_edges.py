"""Where the courses of one ring begin and end: as measured, or by the rhythm of their neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.course_readings import CourseReadings
from survey.condition.courses.middles import middle_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.counting.edge_readings import (
    INNER,
    LEFT,
    MID,
    OUTER,
    RIGHT,
    UNLABELLED,
    ring_length_mm,
    station_of_along,
)


@dataclass(frozen=True, slots=True, eq=False)
class RingEdges:
    """Edges (n,) of the courses of a ring.

    Attributes
    ----------
    start_along_mm, end_along_mm : (n,) float
        Left and right edge along the ring's inner curve.
    start_mm, end_mm, station_mm : (n,) float
        The same as stations of the intrados, and half-way between.
    measured : (n,) bool
        False where the rhythm placed a course.
    """

    start_along_mm: Floats
    end_along_mm: Floats
    start_mm: Floats
    end_mm: Floats
    station_mm: Floats
    measured: np.ndarray


def ring_edges(
    curve: Curve, offset: float, read: CourseReadings, *, width_mm: float, count: int
) -> RingEdges:
    """Edges of every course.

    A course read at one edge or its middle only has the usual width; one not read takes its place from the
    rhythm of its neighbours, the springings at the ends.
    """
    left, right = read.along[:, INNER, LEFT], read.along[:, INNER, RIGHT]
    middle = _middles(read, width_mm)
    measured = np.isfinite(middle)
    if not measured.all():
        middle = _by_rhythm(middle, ring_length_mm(curve, offset), width_mm, count)
    start = np.where(np.isfinite(left), left, middle - width_mm / 2)
    end = np.where(np.isfinite(right), right, middle + width_mm / 2)
    start_station = _stations(curve, offset, start, read.station[:, INNER, LEFT])
    end_station = _stations(curve, offset, end, read.station[:, INNER, RIGHT])
    return RingEdges(start, end, start_station, end_station, (start_station + end_station) / 2, measured)


def _middles(read: CourseReadings, width_mm: float) -> Floats:
    """Middle (n,) of every course along the ring by the best reading there is; NaN without any."""
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
    middle = ways[0].copy()
    for way in ways[1:]:
        lost = np.isnan(middle)
        if not lost.any():
            break
        middle[lost] = way[lost]
    return middle


def _by_rhythm(middle: Floats, length_mm: float, width_mm: float, count: int) -> Floats:
    """Middles (n,) with those not measured put between their neighbours."""
    n = len(middle)
    known = np.flatnonzero(np.isfinite(middle))
    steps = np.diff(middle[known]) / np.diff(known)
    pitch = middle_of(steps) if len(known) > 1 else length_mm / count
    half_joint = max(pitch - width_mm, 0.0) / 2
    place = np.concatenate([[0.5], known + 1.0, [n + 0.5]])
    along = np.concatenate([[half_joint], middle[known], [length_mm - half_joint]])
    if len(known) == 0:
        joint = (length_mm - count * width_mm) / (count + 1)
        along = np.array([joint / 2, length_mm - joint / 2])
    return np.where(np.isfinite(middle), middle, np.interp(np.arange(1, n + 1), place, along))


def _stations(curve: Curve, offset: float, along: Floats, read: Floats) -> Floats:
    """Stations (n,) of edges: as read, or from their place along the ring where they were inferred."""
    station = read.copy()
    lost = np.isnan(read)
    if lost.any():
        station[lost] = station_of_along(curve, along[lost], offset)
    return station
