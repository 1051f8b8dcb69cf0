"""The elliptical arch and the curve parallel to it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.checks import checked_points, checked_stations, equal_stations
from survey.curves.eccentric import angle_at, arc_length, nearest_angle, speed, turning
from survey.curves.protocol import Curve, Floats, Frame, Located
from survey.errors import GeometryError

BLOCK = 16384
"""Points located at a time, so that the work stays in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Ellipse:
    """The upper half of an ellipse, from the left end of its level axis to the right end.

    Beyond the springings it goes on along the same ellipse, a quarter on each side, until the lower ends
    meet.

    Attributes
    ----------
    centre_mm : (x, y)
        Middle of the springing line.
    half_span_mm, rise_mm : float
        Semi-axes along and square to the springing line; either may be the longer, or both alike.
    tilt_rad : float
        Turn about the centre, anticlockwise.

    Raises
    ------
    GeometryError
        When a semi-axis is not positive or a number is not finite.

    Examples
    --------
    >>> ellipse = Ellipse((0.0, 0.0), 1000.0, 600.0)
    >>> round(ellipse.length_mm, 3)
    2552.7
    """

    centre_mm: tuple[float, float]
    half_span_mm: float
    rise_mm: float
    tilt_rad: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no ellipse."""
        if not all(
            math.isfinite(v) for v in (*self.centre_mm, self.half_span_mm, self.rise_mm, self.tilt_rad)
        ):
            raise GeometryError("an ellipse was given a number that is not finite; give finite mm and rad")
        if min(self.half_span_mm, self.rise_mm) <= 0.0:
            raise GeometryError(
                f"an ellipse of half-span {self.half_span_mm:g} mm and rise {self.rise_mm:g} mm was given; "
                "both must be above 0 mm"
            )

    @property
    def length_mm(self) -> float:
        """Arc length of the upper half, by the complete elliptic integral of the second kind."""
        return float(arc_length(self.half_span_mm, self.rise_mm, np.asarray(math.pi)))

    @property
    def turning_rad(self) -> float:
        """Half a turn."""
        return math.pi

    @property
    def first_station_mm(self) -> float:
        """Lowest station, a quarter of the ellipse below the left springing."""
        return -self.length_mm / 2

    @property
    def last_station_mm(self) -> float:
        """Highest station, a quarter of the ellipse below the right springing."""
        return 1.5 * self.length_mm

    @property
    def breaks_mm(self) -> Floats:
        """No jump of curvature anywhere."""
        return np.empty(0)

    @property
    def foci_mm(self) -> Floats:
        """The two foci (2, 2): left and right for a flat ellipse, lower and upper for a tall one."""
        a, b = self.half_span_mm, self.rise_mm
        reach = math.sqrt(abs(a - b) * (a + b))
        local = np.array([[-reach, 0.0], [reach, 0.0]] if a >= b else [[0.0, -reach], [0.0, reach]])
        return np.asarray(self._placed(local) + np.asarray(self.centre_mm))

    @property
    def least_radius_mm(self) -> float:
        """Least radius of curvature: b^2/a (flat, at the springings) or a^2/b (tall, at the crown)."""
        return min(self.half_span_mm, self.rise_mm) ** 2 / max(self.half_span_mm, self.rise_mm)

    def _placed(self, local: Floats) -> Floats:
        """Turn vectors (..., 2) from the ellipse's own axes into the face."""
        cos, sin = math.cos(self.tilt_rad), math.sin(self.tilt_rad)
        x, y = local[..., 0], local[..., 1]
        return np.stack([cos * x - sin * y, sin * x + cos * y], axis=-1)

    def eccentric_angle(self, station_mm: ArrayLike) -> Floats:
        """Eccentric angles (n,), rad, at stations: 0 at the left springing, pi/2 at the crown."""
        return angle_at(self.half_span_mm, self.rise_mm, 0.0, checked_stations(self, station_mm))

    def point_at(self, angle_rad: ArrayLike) -> Floats:
        """Points (n, 2) at eccentric angles (n,)."""
        t = np.asarray(angle_rad, dtype=np.float64)
        local = np.stack([-self.half_span_mm * np.cos(t), self.rise_mm * np.sin(t)], axis=-1)
        return np.asarray(self._placed(local) + np.asarray(self.centre_mm))

    def normal_at(self, angle_rad: ArrayLike) -> Floats:
        """Unit normals (n, 2), outwards, at eccentric angles (n,)."""
        t = np.asarray(angle_rad, dtype=np.float64)
        local = np.stack([-self.rise_mm * np.cos(t), self.half_span_mm * np.sin(t)], axis=-1)
        return self._placed(local / speed(self.half_span_mm, self.rise_mm, t)[..., None])

    def curvature_at(self, angle_rad: ArrayLike) -> Floats:
        """Curvature (n,), 1/mm, at eccentric angles: a b / (a^2 sin^2 t + b^2 cos^2 t)^(3/2)."""
        a, b = self.half_span_mm, self.rise_mm
        return np.asarray(a * b / speed(a, b, np.asarray(angle_rad, dtype=np.float64)) ** 3)

    def point(self, station_mm: ArrayLike) -> Floats:
        """Points (n, 2) at stations (n,); a single station gives (2,)."""
        return self.point_at(self.eccentric_angle(station_mm))

    def tangent(self, station_mm: ArrayLike) -> Floats:
        """Unit tangents (n, 2), towards growing station."""
        normal = self.normal(station_mm)
        return np.stack([normal[..., 1], -normal[..., 0]], axis=-1)

    def normal(self, station_mm: ArrayLike) -> Floats:
        """Unit normals (n, 2), outwards; they halve the angle between the lines to the two foci."""
        return self.normal_at(self.eccentric_angle(station_mm))

    def curvature(self, station_mm: ArrayLike) -> Floats:
        """Curvature (n,), 1/mm."""
        return self.curvature_at(self.eccentric_angle(station_mm))

    def frame(self, station_mm: ArrayLike) -> Frame:
        """Point, normal, curvature and its slope at once."""
        return self.frame_at(self.eccentric_angle(station_mm))

    def frame_at(self, angle_rad: ArrayLike) -> Frame:
        """Point, normal, curvature and its slope at eccentric angles (n,).

        Notes
        -----
        With w the speed, d(curvature)/ds = -3 a b (a^2 - b^2) sin t cos t / w^6.
        """
        t = np.asarray(angle_rad, dtype=np.float64)
        a, b = self.half_span_mm, self.rise_mm
        slope = -3 * a * b * (a - b) * (a + b) * np.sin(t) * np.cos(t) / speed(a, b, t) ** 6
        return Frame(self.point_at(t), self.normal_at(t), self.curvature_at(t), slope)

    def locate(self, xy_mm: ArrayLike) -> Located:
        """Station and signed distance of points (n, 2), by the nearest point of the whole ellipse.

        Where two points of the ellipse are equally near, the upper one is taken, and of left and right the
        left.
        """
        return _locate(self, 0.0, xy_mm)

    def offset(self, distance_mm: float) -> Ellipse | EllipseParallel:
        """Parallel curve, which is no ellipse; at distance 0 the ellipse itself.

        Raises
        ------
        GeometryError
            When the parallel would fold up inside the ellipse.
        """
        return self if distance_mm == 0.0 else EllipseParallel(self, distance_mm)

    def divide(self, n_parts: int) -> Floats:
        """Stations (n_parts + 1,) that split the ellipse into equal arc lengths."""
        return equal_stations(self.length_mm, n_parts)


@dataclass(frozen=True, slots=True)
class EllipseParallel:
    """The curve at an even distance from an elliptical arch, measured along its normals: the extrados of a
    ring of even depth, or the rib of a centre under lagging.

    Attributes
    ----------
    base : Ellipse
    distance_mm : float
        Outwards positive.

    Raises
    ------
    GeometryError
        When the distance goes inwards as far as the least radius of curvature, where the parallel folds up.

    Notes
    -----
    Length = length of the ellipse + distance times turning, exactly (J. Steiner's formula for parallel
    curves).
    """

    base: Ellipse
    distance_mm: float

    def __post_init__(self) -> None:
        """Refuse a parallel that folds."""
        least = self.base.least_radius_mm
        if not math.isfinite(self.distance_mm) or not least + self.distance_mm > 0.0:
            raise GeometryError(
                f"an offset of {self.distance_mm:g} mm folds up the ellipse, whose least radius of "
                f"curvature is {least:.3f} mm; go inwards by less than {least:.3f} mm"
            )

    @property
    def length_mm(self) -> float:
        """Arc length from springing to springing."""
        return self.base.length_mm + math.pi * self.distance_mm

    @property
    def turning_rad(self) -> float:
        """Half a turn."""
        return math.pi

    @property
    def first_station_mm(self) -> float:
        """Lowest station, a quarter of the closed parallel below the left springing."""
        return -self.length_mm / 2

    @property
    def last_station_mm(self) -> float:
        """Highest station, a quarter of the closed parallel below the right springing."""
        return 1.5 * self.length_mm

    @property
    def breaks_mm(self) -> Floats:
        """No jump of curvature anywhere."""
        return np.empty(0)

    def eccentric_angle(self, station_mm: ArrayLike) -> Floats:
        """Eccentric angles (n,), rad, on the ellipse under stations of the parallel."""
        base = self.base
        return angle_at(base.half_span_mm, base.rise_mm, self.distance_mm, checked_stations(self, station_mm))

    def point(self, station_mm: ArrayLike) -> Floats:
        """Points (n, 2) at stations (n,); a single station gives (2,)."""
        t = self.eccentric_angle(station_mm)
        return np.asarray(self.base.point_at(t) + self.distance_mm * self.base.normal_at(t))

    def tangent(self, station_mm: ArrayLike) -> Floats:
        """Unit tangents (n, 2), towards growing station."""
        normal = self.normal(station_mm)
        return np.stack([normal[..., 1], -normal[..., 0]], axis=-1)

    def normal(self, station_mm: ArrayLike) -> Floats:
        """Unit normals (n, 2), outwards: those of the ellipse."""
        return self.base.normal_at(self.eccentric_angle(station_mm))

    def curvature(self, station_mm: ArrayLike) -> Floats:
        """Curvature (n,), 1/mm: one over the ellipse's radius of curvature plus the distance."""
        curvature = self.base.curvature_at(self.eccentric_angle(station_mm))
        return np.asarray(curvature / (1.0 + self.distance_mm * curvature))

    def frame(self, station_mm: ArrayLike) -> Frame:
        """Point, normal, curvature and its slope at once."""
        under = self.base.frame_at(self.eccentric_angle(station_mm))
        stretch = 1.0 + self.distance_mm * under.curvature
        return Frame(
            under.point_mm + self.distance_mm * under.normal,
            under.normal,
            under.curvature / stretch,
            under.curvature_slope / stretch**3,
        )

    def locate(self, xy_mm: ArrayLike) -> Located:
        """Station and signed distance of points (n, 2); the feet lie on the normals of the ellipse."""
        return _locate(self.base, self.distance_mm, xy_mm)

    def offset(self, distance_mm: float) -> Curve:
        """Parallel of the parallel: another parallel of the same ellipse, or the ellipse itself."""
        return self.base.offset(self.distance_mm + distance_mm)

    def divide(self, n_parts: int) -> Floats:
        """Stations (n_parts + 1,) that split the curve into equal arc lengths."""
        return equal_stations(self.length_mm, n_parts)


def _locate(ellipse: Ellipse, offset_mm: float, xy_mm: ArrayLike) -> Located:
    """Locate points against the parallel of an ellipse.

    A convex curve and its parallels share their nearest feet on either side, so the distance to the
    parallel is the distance to the ellipse less the offset, and one foot serves both.
    """
    points = checked_points(xy_mm)
    flat = points.reshape(-1, 2) - np.asarray(ellipse.centre_mm)
    a, b = ellipse.half_span_mm, ellipse.rise_mm
    cos, sin = math.cos(ellipse.tilt_rad), math.sin(ellipse.tilt_rad)
    station, distance = np.empty(len(flat)), np.empty(len(flat))
    for start in range(0, len(flat), BLOCK):
        block = slice(start, start + BLOCK)
        x, y = flat[block, 0], flat[block, 1]
        x, y = cos * x + sin * y, cos * y - sin * x
        t = nearest_angle(a, b, x, y)
        cos_t, sin_t = np.cos(t), np.sin(t)
        out = (a * sin_t * (y - b * sin_t) - b * cos_t * (x + a * cos_t)) / speed(a, b, t)
        distance[block] = out - offset_mm
        station[block] = arc_length(a, b, t) + offset_mm * turning(a, b, t)
    return Located(station.reshape(points.shape[:-1]), distance.reshape(points.shape[:-1]))
