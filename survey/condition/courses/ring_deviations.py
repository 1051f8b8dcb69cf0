"""How far every course of one ring stands off the curve, edges that cannot be right left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.course_readings import CourseReadings
from survey.condition.courses.middles import middle_of, scatter_of
from survey.condition.courses.ring_edges import RingEdges
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import INNER, LEFT, OUTER, RIGHT, PointPlaces
from survey.record.model import Record, Ring

ODD_SIGMAS = 5.0
"""Edges of one course that differ by more than this many times their usual difference: one was misread."""
LEAST_ODD_MM = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class RingDeviations:
    """Deviations of the courses of a ring.

    Attributes
    ----------
    deviation_mm, variance_mm2 : (n,) float
        Along the normal, and the measurement's part of its variance.
    edge_deviation_mm : (n, 2, 4) float
        The same by surface and edge, misread edges left out.
    edges_apart_mm : (n,) float
        Right minus left edge's deviation where one of them must be misread, else NaN.
    lip_mm, lip_sigma_mm : (n,) float
        Step in the soffit to the next course.
    """

    deviation_mm: Floats
    variance_mm2: Floats
    edge_deviation_mm: Floats
    edges_apart_mm: Floats
    lip_mm: Floats
    lip_sigma_mm: Floats


def ring_deviations(
    record: Record,
    places: PointPlaces,
    ring: Ring,
    read: CourseReadings,
    edges: RingEdges,
    *,
    missing: np.ndarray,
) -> RingDeviations:
    """Deviations of every course; of unnumbered points where nothing else was measured on a standing one."""
    kept, apart = _without_misread(read.deviation, read.sigma)
    deviation, variance = _course_deviation(kept, read.sigma)
    loose, loose_variance = _loose_points(record, places, ring, edges)
    lost = np.isnan(deviation) & ~missing
    lip, lip_sigma = _lips(kept, read.sigma)
    return RingDeviations(
        np.where(lost, loose, deviation),
        np.where(lost, loose_variance, variance),
        kept,
        apart,
        lip,
        lip_sigma,
    )


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
    middle = middle_of(apart)
    usual = scatter_of(apart, middle)
    noise = np.hypot(sigma[:, INNER, LEFT], sigma[:, INNER, RIGHT])
    odd = known & (np.abs(apart - middle) > np.maximum(ODD_SIGMAS * np.fmax(usual, noise), LEAST_ODD_MM))
    kept = deviation.copy()
    sound = np.where(odd, np.nan, np.nanmean(_pair(left, right), axis=0))
    for i in np.flatnonzero(odd):
        near = sound[max(i - 4, 0) : i + 5]
        around = middle_of(near) if np.isfinite(near).any() else 0.0
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


def _loose_points(record: Record, places: PointPlaces, ring: Ring, edges: RingEdges) -> tuple[Floats, Floats]:
    """Mean deviation of unnumbered points (a scan) between the edges of every course, and its variance."""
    start, end = edges.start_along_mm, edges.end_along_mm
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


def _lips(deviation: Floats, sigma: Floats) -> tuple[Floats, Floats]:
    """Step in the soffit from every course to the next, and its uncertainty."""
    lip = np.append(deviation[1:, INNER, LEFT], np.nan) - deviation[:, INNER, RIGHT]
    return lip, np.hypot(np.append(sigma[1:, INNER, LEFT], np.nan), sigma[:, INNER, RIGHT])
