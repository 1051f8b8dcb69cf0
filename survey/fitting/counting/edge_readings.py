"""Surveyed points as readings of brick edges: ring, course, surface, edge, and where along the arch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.curves.protocol import Curve, Floats
from survey.record.model import UNKNOWN, Edge, Feature, Laid, Record, Ring

Ints = NDArray[np.int64]

LEFT, RIGHT, MID, UNLABELLED = 0, 1, 2, 3
"""Columns of the edge axis of :class:`EdgeReadings`."""
INNER, OUTER = 0, 1
"""Columns of the surface axis: the ring's inner curve (its intrados) and its outer one."""

_EDGE_CODE = {Edge.LEFT: LEFT, Edge.RIGHT: RIGHT, Edge.MID: MID, Edge.UNKNOWN: UNLABELLED}


def ring_offset_mm(rings: tuple[Ring, ...], ring: int) -> float:
    """Distance of a ring's inner curve from the intrados: the depths and collars of what lies inside it.

    Examples
    --------
    >>> two = (Ring(1, None, 240.0, 50.0), Ring(2, None, 120.0, 50.0, collar_mm=10.0))
    >>> ring_offset_mm(two, 1), ring_offset_mm(two, 2)
    (0.0, 250.0)
    """
    inside = [r for r in rings if r.ring < ring]
    if not inside:
        return 0.0
    innermost = min(r.ring for r in inside)
    collars = sum(r.collar_mm for r in rings if innermost < r.ring <= ring)
    return float(sum(r.depth_mm for r in inside) + collars)


def total_depth_mm(rings: tuple[Ring, ...]) -> float:
    """From the soffit to the back of the outermost ring; 0 of no rings."""
    if not rings:
        return 0.0
    outermost = max(rings, key=lambda r: r.ring)
    return ring_offset_mm(rings, outermost.ring) + outermost.depth_mm


def seen_width_mm(ring: Ring) -> float:
    """Width of a brick as it shows along the arch; turned by ``a`` it takes ``width / cos a``."""
    return ring.brick_width_mm / (float(np.cos(ring.turn_rad)) if ring.laid is Laid.SAWTOOTH else 1.0)


def along_mm(curve: Curve, station_mm: ArrayLike, offset_mm: float) -> Floats:
    """Arc length along the parallel curve at ``offset_mm`` up to the normal at a station of the intrados.

    Notes
    -----
    A parallel curve is longer by its distance times the angle turned: ``u = s + d (theta(s) - theta(0))``.
    """
    station = np.asarray(station_mm, dtype=float)
    if offset_mm == 0.0:
        return station.copy()
    normal = curve.normal(np.append(0.0, station.ravel()))
    # Angles from the upward direction: no jump within a half turn and a little beyond either springing.
    angle = np.arctan2(normal[:, 0], normal[:, 1])
    return np.asarray(station + offset_mm * (angle[1:] - angle[0]).reshape(station.shape), dtype=float)


def ring_length_mm(curve: Curve, offset_mm: float) -> float:
    """Length of the parallel curve at ``offset_mm`` between the springings' normals."""
    return curve.length_mm + offset_mm * curve.turning_rad


def station_of_along(curve: Curve, along: ArrayLike, offset_mm: float) -> Floats:
    """Stations of the intrados whose normals meet the parallel curve at arc lengths ``along``."""
    wanted = np.asarray(along, dtype=float)
    if offset_mm == 0.0:
        return wanted.copy()
    margin = 0.02 * curve.length_mm
    grid = np.linspace(-margin, curve.length_mm + margin, 129)
    station = np.interp(wanted, along_mm(curve, grid, offset_mm), grid)
    for _ in range(3):
        station = station - (along_mm(curve, station, offset_mm) - wanted) / (
            1.0 + offset_mm * curve.curvature(station)
        )
    return np.asarray(station, dtype=float)


@dataclass(frozen=True, slots=True, eq=False)
class EdgeReadings:
    """Readings of brick edges, averaged per ring, course, surface and edge; in ring and course order.

    Attributes
    ----------
    ring, course : (n,) int
    station_mm : (n, 2, 4) float
        Station on the intrados by surface (inner, outer) and edge (left, right, mid, unlabelled); NaN unread.
    along_mm : (n, 2, 4) float
        The same as arc length along the ring's own inner curve, along which widths are measured.
    deviation_mm : (n, 2, 4) float
        Signed distance from the surface's own curve: the ring's inner curve, or that plus the ring's depth.
    w_mm : (n, 2, 4) float
        Distance in front of the face plane.
    sigma_mm : (n, 2, 4) float
        Standard uncertainty of one coordinate of the average.
    xy_mm : (n, 2, 4, 2) float
        The averaged points themselves, in the record's face frame.
    """

    ring: Ints
    course: Ints
    station_mm: Floats
    along_mm: Floats
    deviation_mm: Floats
    w_mm: Floats
    sigma_mm: Floats
    xy_mm: Floats

    def rows(self, ring: int) -> Ints:
        """Indices of one ring's courses."""
        return np.flatnonzero(self.ring == ring)


@dataclass(frozen=True, slots=True, eq=False)
class PointPlaces:
    """Every surveyed point against the rings; parallel to ``record.points``.

    ``ring`` and ``surface`` are UNKNOWN for points that lie on neither face of a ring (or are of another
    feature); ``along_mm`` runs along the ring's inner curve, ``deviation_mm`` is taken from the point's own
    surface.
    """

    ring: Ints
    course: Ints
    surface: Ints
    edge: Ints
    station_mm: Floats
    along_mm: Floats
    deviation_mm: Floats


def place_points(record: Record, curve: Curve, origin_mm: tuple[float, float]) -> PointPlaces:
    """Where every point of the record lies against the intrados ``curve`` given in the arch frame.

    Parameters
    ----------
    record : Record
    curve : Curve
        The fitted intrados, in the arch frame.
    origin_mm : tuple of float
        The arch frame's origin in the record's face frame.

    Notes
    -----
    A point of the intrados or extrados whose ring was not recorded is given the ring whose surface lies
    nearest, if that is nearer than half of the thinnest ring's depth.
    """
    points = record.points
    located = curve.locate(points.xy_mm - np.asarray(origin_mm, dtype=float))
    edge = np.array([_EDGE_CODE[e] for e in points.edge], dtype=np.int64)
    surface = np.full(len(points), UNKNOWN, dtype=np.int64)
    surface[points.on(Feature.INTRADOS)] = INNER
    surface[points.on(Feature.EXTRADOS)] = OUTER
    ring = np.where(surface == UNKNOWN, UNKNOWN, points.ring)
    numbers = np.array([r.ring for r in record.rings], dtype=np.int64)
    inner = np.array([ring_offset_mm(record.rings, r.ring) for r in record.rings])
    depth = np.array([r.depth_mm for r in record.rings])
    faces = np.stack([inner, inner + depth])
    lost = (surface != UNKNOWN) & (ring == UNKNOWN)
    if lost.any() and record.rings:
        away = np.abs(located.distance_mm[lost, None] - faces[surface[lost]])
        nearest = np.argmin(away, axis=1)
        near_enough = away[np.arange(len(nearest)), nearest] <= depth.min() / 2
        ring[lost] = np.where(near_enough, numbers[nearest], UNKNOWN)
    along = located.station_mm.copy()
    deviation = np.full(len(points), np.nan)
    for k, number in enumerate(numbers):
        on = ring == number
        if on.any():
            along[on] = along_mm(curve, located.station_mm[on], float(inner[k]))
            deviation[on] = located.distance_mm[on] - faces[surface[on], k]
    ring[~np.isin(ring, numbers)] = UNKNOWN
    return PointPlaces(ring, points.course.copy(), surface, edge, located.station_mm, along, deviation)


def average_edges(record: Record, places: PointPlaces) -> EdgeReadings:
    """Average the placed points of every ring, course, surface and edge, weighed by their uncertainty."""
    used = np.flatnonzero((places.ring != UNKNOWN) & (places.course >= 1) & (places.surface != UNKNOWN))
    key = places.ring[used] * 1_000_000 + places.course[used]
    rows, row = np.unique(key, return_inverse=True)
    cell = (row * 2 + places.surface[used]) * 4 + places.edge[used]
    size = len(rows) * 8
    weight = record.points.sigma_mm[used] ** -2.0
    total = np.bincount(cell, weight, size)
    read = total > 0
    divisor = np.where(read, total, np.nan)

    def mean(values: Floats) -> Floats:
        summed = np.bincount(cell, weight * values[used], size)
        return np.asarray(summed / divisor, dtype=float).reshape(-1, 2, 4)

    return EdgeReadings(
        ring=rows // 1_000_000,
        course=rows % 1_000_000,
        station_mm=mean(places.station_mm),
        along_mm=mean(places.along_mm),
        deviation_mm=mean(places.deviation_mm),
        w_mm=mean(record.points.w_mm),
        sigma_mm=(divisor**-0.5).reshape(-1, 2, 4),
        xy_mm=np.stack([mean(record.points.xy_mm[:, k]) for k in (0, 1)], axis=-1),
    )
