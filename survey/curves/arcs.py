"""Chains of tangent circular arcs: semicircular, segmental, three-centred and five-centred arches."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.curves.checks import checked_points, checked_stations, equal_stations
from survey.curves.protocol import Floats, Frame, Located
from survey.errors import GeometryError

SECTOR_SLACK = 1e-13
"""Sideways play at the edge of an arc's sector, as a share of the lengths at hand, so that no point falls
between two arcs by rounding."""


BLOCK = 8192
"""Points located at a time, so that the work stays in the processor's cache."""


@dataclass(frozen=True, slots=True)
class ChainOfArcs:
    """Circular arcs that follow one another with a common tangent, from the left springing to the right one.

    Beyond its ends the chain goes on along the circles of its first and last arc, on each side by half of
    what its turning leaves of a full turn (so a semicircle goes on to the whole circle, a quarter turn on
    each side).

    Attributes
    ----------
    start_mm : (x, y)
        Left springing point.
    start_direction_rad : float
        Direction of the tangent there, anticlockwise from the x axis (pi/2 where the arch leaves the wall
        plumb).
    radii_mm : tuple of float
        Radius of each arc in walking order.
    sweeps_rad : tuple of float
        Angle of each arc in walking order, positive for an arc bulging outwards.

    Raises
    ------
    GeometryError
        When an arc has no positive radius and sweep, or all sweeps together reach a full turn.

    Examples
    --------
    >>> chain = ChainOfArcs((-1000.0, 0.0), math.pi / 2, (1000.0,), (math.pi,))
    >>> chain.point(chain.length_mm / 2).round(9) + 0.0
    array([   0., 1000.])
    >>> chain.locate([[0.0, 1240.0]]).distance_mm
    array([240.])
    """

    start_mm: tuple[float, float]
    start_direction_rad: float
    radii_mm: tuple[float, ...]
    sweeps_rad: tuple[float, ...]
    _radius: Floats = field(init=False, repr=False, compare=False)
    _half_sweep: Floats = field(init=False, repr=False, compare=False)
    _junction: Floats = field(init=False, repr=False, compare=False)
    _middle_station: Floats = field(init=False, repr=False, compare=False)
    _middle: Floats = field(init=False, repr=False, compare=False)
    _normal: Floats = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Check the arcs and lay down the frame at the middle of each."""
        self._check()
        radius = np.array(self.radii_mm, dtype=np.float64)
        half = np.array(self.sweeps_rad, dtype=np.float64) / 2.0
        ends = np.concatenate([[0.0], np.cumsum(2.0 * half)])
        normal_angle = self.start_direction_rad + math.pi / 2 - ends[:-1] - half
        normal = np.stack([np.cos(normal_angle), np.sin(normal_angle)], axis=-1)
        # From the start of each arc to its middle and end by chords, which keeps flat arcs of very large
        # radius as exact as steep ones (no centre enters).
        tangent = np.stack([normal[:, 1], -normal[:, 0]], axis=-1)
        along = (radius * np.sin(half))[:, None] * tangent
        up = (2.0 * radius * np.sin(half / 2) ** 2)[:, None] * normal
        starts = np.asarray(self.start_mm) + np.concatenate(
            [np.zeros((1, 2)), np.cumsum(2 * along, axis=0)[:-1]]
        )
        lengths = np.concatenate([[0.0], np.cumsum(2.0 * radius * half)])
        for name, value in (
            ("_radius", radius),
            ("_half_sweep", half),
            ("_junction", lengths),
            ("_middle_station", lengths[:-1] + radius * half),
            ("_middle", starts + along + up),
            ("_normal", normal),
        ):
            value.flags.writeable = False
            object.__setattr__(self, name, value)

    def _check(self) -> None:
        given = (*self.start_mm, self.start_direction_rad, *self.radii_mm, *self.sweeps_rad)
        if not all(math.isfinite(number) for number in given):
            raise GeometryError(
                "a chain of arcs was given a number that is not finite; give finite mm and rad"
            )
        if len(self.radii_mm) != len(self.sweeps_rad) or not self.radii_mm:
            raise GeometryError(
                f"{len(self.radii_mm)} radii and {len(self.sweeps_rad)} sweeps were given; give one of "
                "each per arc, at least one arc"
            )
        if min(self.radii_mm) <= 0.0:
            raise GeometryError(
                f"an arc radius of {min(self.radii_mm):g} mm was given; radii must be above 0 mm"
            )
        if min(self.sweeps_rad) <= 0.0 or sum(self.sweeps_rad) >= 2 * math.pi:
            raise GeometryError(
                f"arc sweeps of {', '.join(f'{math.degrees(a):g}' for a in self.sweeps_rad)} degrees were "
                "given; each must be above 0 and all together below 360 degrees"
            )

    @classmethod
    def symmetric(
        cls,
        springing_mm: tuple[float, float],
        radii_mm: tuple[float, ...],
        sector_angles_rad: tuple[float, ...],
        *,
        tilt_rad: float = 0.0,
    ) -> ChainOfArcs:
        """Build a symmetric arch from its left half.

        Parameters
        ----------
        springing_mm : (x, y)
            Left springing point.
        radii_mm, sector_angles_rad : tuple of float
            Radius and angle of each arc of the left half, from the springing to the crown.
        tilt_rad : float
            Turn of the arch, anticlockwise.
        """
        if len(radii_mm) != len(sector_angles_rad) or not radii_mm:
            raise GeometryError(
                f"{len(radii_mm)} radii and {len(sector_angles_rad)} sector angles were given; give one of "
                "each per arc of the half, at least one"
            )
        radii = (*radii_mm, *radii_mm[-2::-1])
        sweeps = (*sector_angles_rad[:-1], 2 * sector_angles_rad[-1], *sector_angles_rad[-2::-1])
        return cls(springing_mm, sum(sector_angles_rad) + tilt_rad, radii, sweeps)

    @property
    def length_mm(self) -> float:
        """Arc length from the left springing to the right springing: sum of radius times sweep."""
        return float(self._junction[-1])

    @property
    def turning_rad(self) -> float:
        """Total angle the tangent turns through."""
        return math.fsum(self.sweeps_rad)

    @property
    def first_station_mm(self) -> float:
        """Lowest station, on the circle of the first arc."""
        return -self.radii_mm[0] * (math.pi - self.turning_rad / 2)

    @property
    def last_station_mm(self) -> float:
        """Highest station, on the circle of the last arc."""
        return self.length_mm + self.radii_mm[-1] * (math.pi - self.turning_rad / 2)

    @property
    def breaks_mm(self) -> Floats:
        """Stations of the junctions between arcs."""
        return self._junction[1:-1].copy()

    @property
    def centres_mm(self) -> Floats:
        """Centres (k, 2) of the arcs in walking order."""
        return self._middle - self._radius[:, None] * self._normal

    @property
    def junctions_mm(self) -> Floats:
        """Points (k + 1, 2) where the arcs begin and end, the springings among them."""
        return self.point(self._junction)

    def _on_arc(self, station_mm: ArrayLike) -> tuple[NDArray[np.intp], Floats]:
        """Arc index of each station and the angle from that arc's middle, clockwise."""
        station = checked_stations(self, station_mm)
        arc = np.searchsorted(self._junction[1:-1], station, side="right")
        return arc, (station - self._middle_station[arc]) / self._radius[arc]

    def point(self, station_mm: ArrayLike) -> Floats:
        """Points (n, 2) at stations (n,); a single station gives (2,)."""
        arc, angle = self._on_arc(station_mm)
        normal = self._normal[arc]
        radius = self._radius[arc]
        along = (radius * np.sin(angle))[..., None]
        down = (2.0 * radius * np.sin(angle / 2) ** 2)[..., None]
        tangent = np.stack([normal[..., 1], -normal[..., 0]], axis=-1)
        return np.asarray(self._middle[arc] + along * tangent - down * normal)

    def tangent(self, station_mm: ArrayLike) -> Floats:
        """Unit tangents (n, 2), towards growing station."""
        normal = self.normal(station_mm)
        return np.stack([normal[..., 1], -normal[..., 0]], axis=-1)

    def normal(self, station_mm: ArrayLike) -> Floats:
        """Unit normals (n, 2), outwards, from the centre of each station's own arc."""
        arc, angle = self._on_arc(station_mm)
        x, y = self._normal[arc, 0], self._normal[arc, 1]
        cos, sin = np.cos(angle), np.sin(angle)
        return np.stack([cos * x + sin * y, cos * y - sin * x], axis=-1)

    def curvature(self, station_mm: ArrayLike) -> Floats:
        """Curvature (n,), 1/mm: one over the radius; at a junction that of the arc after it."""
        arc, _ = self._on_arc(station_mm)
        return np.asarray(1.0 / self._radius[arc])

    def frame(self, station_mm: ArrayLike) -> Frame:
        """Point, normal and curvature at once; the curvature does not change within an arc."""
        curvature = self.curvature(station_mm)
        return Frame(self.point(station_mm), self.normal(station_mm), curvature, np.zeros_like(curvature))

    def locate(self, xy_mm: ArrayLike) -> Located:
        """Station and signed distance of points (n, 2).

        The foot is the nearest of the perpendiculars to the arcs and their continuation. A point that no
        perpendicular reaches (it lies below, between the two continuations) is given the nearer end of the
        continuation and its plain distance from there. At the centre of an arc the foot is that arc's middle.
        """
        points = checked_points(xy_mm)
        flat = points.reshape(-1, 2)
        station, distance = np.empty(len(flat)), np.empty(len(flat))
        for start in range(0, len(flat), BLOCK):
            block = slice(start, start + BLOCK)
            station[block], distance[block] = self._nearest(flat[block])
        lost = np.isinf(distance)
        if lost.any():
            station[lost], distance[lost] = self._from_ends(flat[lost])
        return Located(station.reshape(points.shape[:-1]), distance.reshape(points.shape[:-1]))

    def _nearest(self, xy_mm: Floats) -> tuple[Floats, Floats]:
        """Station and distance (n,) of the nearest perpendicular to any arc; infinite distance where none."""
        station, distance = np.zeros(len(xy_mm)), np.full(len(xy_mm), np.inf)
        beyond = math.pi - self.turning_rad / 2
        for arc, radius in enumerate(self.radii_mm):
            low = -self._half_sweep[arc] - (beyond if arc == 0 else 0.0)
            high = self._half_sweep[arc] + (beyond if arc == len(self.radii_mm) - 1 else 0.0)
            nx, ny = self._normal[arc]
            dx, dy = xy_mm[:, 0] - self._middle[arc, 0], xy_mm[:, 1] - self._middle[arc, 1]
            along, out = dx * ny - dy * nx, dx * nx + dy * ny
            from_centre = np.hypot(along, radius + out)
            angle = np.arctan2(along, radius + out)
            held = np.clip(angle, low, high)
            # (rho^2 - r^2) / (rho + r): no cancellation on flat arcs
            off = (along * along + out * (out + 2.0 * radius)) / (from_centre + radius)
            play = SECTOR_SLACK * (radius + np.abs(along) + np.abs(out))
            nearer = (np.abs(angle - held) * from_centre <= play) & (np.abs(off) < np.abs(distance))
            station = np.where(nearer, self._middle_station[arc] + radius * held, station)
            distance = np.where(nearer, off, distance)
        return station, distance

    def _from_ends(self, xy_mm: Floats) -> tuple[Floats, Floats]:
        """Nearer end of the continuation and the distance from it, signed by the side of the normal there."""
        ends = np.array([self.first_station_mm, self.last_station_mm])
        away = xy_mm[:, None, :] - self.point(ends)
        length = np.hypot(away[..., 0], away[..., 1])
        nearer = np.argmin(length, axis=1)
        rows = np.arange(len(xy_mm))
        inwards = np.sum(away[rows, nearer] * self.normal(ends)[nearer], axis=1) < 0.0
        return ends[nearer], np.where(inwards, -1.0, 1.0) * length[rows, nearer]

    def offset(self, distance_mm: float) -> ChainOfArcs:
        """Parallel chain: the same centres and sweeps, every radius longer by the distance.

        Raises
        ------
        GeometryError
            When a radius would vanish.
        """
        least = min(self.radii_mm)
        if not least + distance_mm > 0.0:
            raise GeometryError(
                f"an offset of {distance_mm:g} mm leaves nothing of the arc of radius {least:.3f} mm; "
                f"go inwards by less than {least:.3f} mm"
            )
        x, y = self.point(0.0) + distance_mm * self.normal(0.0)
        radii = tuple(radius + distance_mm for radius in self.radii_mm)
        return ChainOfArcs((float(x), float(y)), self.start_direction_rad, radii, self.sweeps_rad)

    def divide(self, n_parts: int) -> Floats:
        """Stations (n_parts + 1,) that split the chain into equal arc lengths."""
        return equal_stations(self.length_mm, n_parts)
