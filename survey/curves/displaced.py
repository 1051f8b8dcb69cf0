"""A curve led smoothly beside another: a repair that runs from one standing brick to the next."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.curves.arcs import ChainOfArcs
from survey.curves.checks import checked_points, checked_stations, equal_stations
from survey.curves.ellipse import Ellipse, EllipseParallel
from survey.curves.protocol import Floats, Located
from survey.curves.running import RunningLength
from survey.errors import GeometryError

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline
    from scipy.spatial import KDTree

N_SAMPLES = 2049
"""Points of the curve from which the search for a foot starts: a few millimetres apart on any arch."""

BLOCK = 256
"""Points compared with every sample at a time, some ten megabytes."""

N_BENDS = 12
"""Rounds in which the spline and its scales between junctions of arcs settle; each gains two digits or so."""

FOOT_TOLERANCE = 1e-14
"""Share of the curve's length to which a foot is brought."""

N_STEPS = 60
"""Most steps of the search for a foot; bisection alone is down to rounding by then."""


@dataclass(frozen=True, slots=True, eq=False)
class _Scales:
    """Base stations measured with another scale between each two junctions of arcs.

    A smooth function of the scaled station has a slope over the plain station that steps at the junctions
    as the scale does.
    """

    breaks_mm: Floats
    scale: Floats

    def scale_at(self, station_mm: Floats) -> Floats:
        """Scaled length per plain length (n,); at a junction that after it."""
        return np.asarray(self.scale[np.searchsorted(self.breaks_mm, station_mm, side="right")])

    def at(self, station_mm: Floats) -> Floats:
        """Scaled stations (n,)."""
        k = np.searchsorted(self.breaks_mm, station_mm, side="right")
        start = np.concatenate([[0.0], self.breaks_mm])
        before = np.concatenate([[0.0], np.cumsum(np.diff(start) * self.scale[:-1])])
        return np.asarray(before[k] + (station_mm - start[k]) * self.scale[k])


@dataclass(frozen=True, slots=True, eq=False)
class _Walk:
    """The displaced curve over some base stations, before its parallel is drawn.

    ``pace`` is its arc length per arc length of the base, ``lean_rad`` the angle of its tangent against the
    base's, anticlockwise.
    """

    point_mm: Floats
    normal: Floats
    curvature: Floats
    pace: Floats
    lean_rad: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Samples:
    """Many points of a curve over stations of its base, and the tree they are searched with."""

    station_mm: Floats
    point_mm: Floats
    tree: KDTree


@dataclass(frozen=True, slots=True, eq=False)
class DisplacedCurve:
    """A base curve moved along its normals by offsets given at stations, smooth between them.

    The offsets run as a cubic spline with continuous second derivative, level at the first and the last of
    them; outside these they stay what they are at the ends. At a junction of two arcs of the base the slope
    of the offsets steps in the ratio that keeps the tangent of the displaced curve continuous.

    Attributes
    ----------
    base : ChainOfArcs, Ellipse or EllipseParallel
    stations_mm : (k,) float
        Stations on the base, growing, at least one.
    offsets_mm : (k,) float
        Displacement there, outwards positive.
    parallel_mm : float
        How far outwards, along its own normals, the whole curve is then drawn.

    Raises
    ------
    GeometryError
        When stations and offsets do not pair off, do not grow or lie beyond the base, or when the curve
        would fold up.

    Notes
    -----
    With base point p, tangent t, normal n, curvature K and displacement D over the base's arc length, the
    curve is q = p + D n with q' = A t + B n, A = 1 + K D, B = D', and curvature (K (A^2 + B^2) + B A' - A
    B') / (A^2 + B^2)^(3/2). Arc length comes by Gauss-Legendre quadrature.

    Examples
    --------
    >>> base = ChainOfArcs((-1000.0, 0.0), math.pi / 2, (1000.0,), (math.pi,))
    >>> moved = DisplacedCurve(base, (0.0, base.length_mm / 2, base.length_mm), (0.0, 12.0, 0.0))
    >>> moved.point(moved.length_mm / 2).round(6) + 0.0
    array([   0., 1012.])
    """

    base: ChainOfArcs | Ellipse | EllipseParallel
    stations_mm: ArrayLike
    offsets_mm: ArrayLike
    parallel_mm: float = 0.0
    _knot: Floats = field(init=False, repr=False)
    _value: Floats = field(init=False, repr=False)
    _scales: _Scales = field(init=False, repr=False)
    _spline: CubicSpline | None = field(init=False, repr=False)
    _running: RunningLength = field(init=False, repr=False)
    _sampled: list[_Samples] = field(init=False, repr=False, default_factory=list)
    """Empty until the first search in space, which fills it for all later ones."""

    def __post_init__(self) -> None:
        """Check the offsets, run the spline through them and measure the curve."""
        knot = np.array(self.stations_mm, dtype=np.float64, ndmin=1)
        value = np.array(self.offsets_mm, dtype=np.float64, ndmin=1)
        knot.flags.writeable = value.flags.writeable = False
        for name, kept in (("stations_mm", knot), ("_knot", knot), ("offsets_mm", value), ("_value", value)):
            object.__setattr__(self, name, kept)
        self._check()
        breaks = self.base.breaks_mm
        before, after = self.base.curvature(np.nextafter(breaks, -np.inf)), self.base.curvature(breaks)
        scale = np.ones(len(breaks) + 1)
        for _ in range(N_BENDS if len(breaks) else 1):
            scales = _Scales(breaks, scale)
            object.__setattr__(self, "_scales", scales)
            object.__setattr__(self, "_spline", _spline_through(scales.at(self._knot), self._value))
            value, _, _ = self._displacement(breaks)
            scale = np.concatenate([[1.0], np.cumprod((1 + after * value) / (1 + before * value))])
        base = self.base
        ends = [base.first_station_mm, 0.0, base.length_mm, base.last_station_mm]
        marks = np.unique(np.concatenate([ends, breaks, self._knot]))
        object.__setattr__(self, "_running", RunningLength.of(self._checked_pace, marks))

    def _check(self) -> None:
        if self._knot.ndim != 1 or self._knot.shape != self._value.shape or not self._knot.size:
            raise GeometryError(
                f"{self._knot.size} stations and {self._value.size} offsets were given for a displaced "
                "curve; give as many of one as of the other, at least one"
            )
        checked_stations(self.base, self._knot)
        if not np.isfinite(self._value).all() or not math.isfinite(self.parallel_mm):
            raise GeometryError(
                "an offset of a displaced curve is not a finite number; give mm, outwards positive"
            )
        if (np.diff(self._knot) <= 0.0).any():
            raise GeometryError(
                "the stations of a displaced curve do not grow; give them from the left springing on, "
                "each once"
            )

    def _displacement(self, base_station_mm: Floats) -> tuple[Floats, Floats, Floats]:
        """Displacement (n,) and its first and second derivative over the base's arc length."""
        u = base_station_mm
        value = np.where(u < self._knot[0], self._value[0], self._value[-1])
        slope, bend = np.zeros_like(value), np.zeros_like(value)
        inside = (u >= self._knot[0]) & (u < self._knot[-1])
        if self._spline is not None and inside.any():
            scaled, scale = self._scales.at(u[inside]), self._scales.scale_at(u[inside])
            value[inside] = self._spline(scaled)
            slope[inside] = self._spline(scaled, 1) * scale
            bend[inside] = self._spline(scaled, 2) * scale**2
        return value, slope, bend

    def _walk(self, base_station_mm: Floats) -> _Walk:
        under = self.base.frame(base_station_mm)
        value, slope, bend = self._displacement(base_station_mm)
        curvature = under.curvature
        a, b = 1.0 + curvature * value, slope
        if not (a > 0.0).all():
            raise GeometryError(
                f"offsets down to {value.min():g} mm fold up a displaced curve, whose base has a least "
                f"radius of {1 / curvature.max():.1f} mm; make them smaller"
            )
        a_slope = under.curvature_slope * value + curvature * slope
        pace = np.hypot(a, b)
        normal = under.normal
        tangent = np.stack([normal[..., 1], -normal[..., 0]], axis=-1)
        return _Walk(
            under.point_mm + value[..., None] * normal,
            (a[..., None] * normal - b[..., None] * tangent) / pace[..., None],
            (curvature * pace**2 + b * a_slope - a * bend) / pace**3,
            pace,
            np.arctan2(b, a),
        )

    def _checked_pace(self, base_station_mm: Floats) -> Floats:
        """Arc length of this curve per arc length of the base, refused where the parallel runs backwards."""
        walk = self._walk(base_station_mm)
        pace = walk.pace * (1.0 + self.parallel_mm * walk.curvature)
        worst = int(np.argmin(pace))
        if not pace[worst] > 0.0:
            raise GeometryError(
                f"a displaced curve drawn {self.parallel_mm:g} mm outwards folds up at base station "
                f"{base_station_mm[worst]:.1f} mm, where its radius of curvature is "
                f"{1 / walk.curvature[worst]:.1f} mm; draw it less far, or make the offsets smaller or "
                "smoother"
            )
        return pace

    @property
    def length_mm(self) -> float:
        """Arc length over the base from its left to its right springing."""
        return float(self._running.at(np.array([self.base.length_mm]))[0])

    @property
    def turning_rad(self) -> float:
        """Total angle the tangent turns through from springing to springing."""
        lean = self._walk(np.array([0.0, self.base.length_mm])).lean_rad
        return float(self.base.turning_rad - (lean[1] - lean[0]))

    @property
    def first_station_mm(self) -> float:
        """Lowest station, over the end of the base's continuation."""
        return float(self._running.run_mm[0])

    @property
    def last_station_mm(self) -> float:
        """Highest station, over the end of the base's continuation."""
        return float(self._running.run_mm[-1])

    @property
    def breaks_mm(self) -> Floats:
        """Stations over the junctions of the base, and over the first and last offset."""
        ends = self._knot[[0, -1]] if self._spline is not None else np.empty(0)
        return self._running.at(np.unique(np.concatenate([self.base.breaks_mm, ends])))

    def base_station(self, station_mm: ArrayLike) -> Floats:
        """Stations (n,) on the base over which stations of this curve lie."""
        return self._running.parameter(checked_stations(self, station_mm))

    def station_over(self, base_station_mm: ArrayLike) -> Floats:
        """Stations (n,) of this curve over stations (n,) of the base."""
        return self._running.at(checked_stations(self.base, base_station_mm))

    def displacement(self, base_station_mm: ArrayLike) -> Floats:
        """How far (n,) the base is moved along its normals over stations (n,) of it, outwards positive."""
        return self._displacement(checked_stations(self.base, base_station_mm))[0]

    def point(self, station_mm: ArrayLike) -> Floats:
        """Points (n, 2) at stations (n,); a single station gives (2,)."""
        walk = self._walk(self.base_station(station_mm))
        return np.asarray(walk.point_mm + self.parallel_mm * walk.normal)

    def tangent(self, station_mm: ArrayLike) -> Floats:
        """Unit tangents (n, 2), towards growing station."""
        normal = self.normal(station_mm)
        return np.stack([normal[..., 1], -normal[..., 0]], axis=-1)

    def normal(self, station_mm: ArrayLike) -> Floats:
        """Unit normals (n, 2), outwards."""
        return self._walk(self.base_station(station_mm)).normal

    def curvature(self, station_mm: ArrayLike) -> Floats:
        """Curvature (n,), 1/mm, negative in a hollow."""
        curvature = self._walk(self.base_station(station_mm)).curvature
        return np.asarray(curvature / (1.0 + self.parallel_mm * curvature))

    def locate(self, xy_mm: ArrayLike) -> Located:
        """Station and signed distance of points (n, 2).

        The search starts from the nearest of a few thousand points of the curve and ends at the foot of the
        perpendicular beside it. A point that no perpendicular reaches is given the nearer end of the
        continuation.
        """
        points = checked_points(xy_mm)
        flat = points.reshape(-1, 2)
        if not self._sampled:
            self._sampled.append(self._samples())
        sample, sampled, tree = self._sampled[0].station_mm, self._sampled[0].point_mm, self._sampled[0].tree
        nearest = np.asarray(tree.query(flat)[1], dtype=np.intp)
        ended = (nearest == 0) | (nearest == N_SAMPLES - 1)
        nearest[ended] = _nearest_dip(flat[ended], sampled)
        foot = self._foot(flat, sample, nearest)
        walk = self._walk(foot)
        away = flat - walk.point_mm - self.parallel_mm * walk.normal
        distance = np.sum(away * walk.normal, axis=-1)
        ended = (foot == sample[0]) | (foot == sample[-1])
        distance[ended] = np.copysign(np.hypot(away[ended, 0], away[ended, 1]), distance[ended])
        return Located(self._running.at(foot).reshape(points.shape[:-1]), distance.reshape(points.shape[:-1]))

    def _samples(self) -> _Samples:
        # Only a search in space needs it; the import costs more than all of this room.
        from scipy.spatial import KDTree

        station = np.linspace(self.base.first_station_mm, self.base.last_station_mm, N_SAMPLES)
        walk = self._walk(station)
        point = walk.point_mm + self.parallel_mm * walk.normal
        return _Samples(station, point, KDTree(point))

    def _foot(self, xy_mm: Floats, sample: Floats, nearest: NDArray[np.intp]) -> Floats:
        """Base stations (n,) of the feet beside the nearest samples, by bracketed Newton steps."""
        foot = sample[nearest]
        low, high = sample[np.maximum(nearest - 1, 0)], sample[np.minimum(nearest + 1, len(sample) - 1)]
        going = np.arange(len(foot))
        for _ in range(N_STEPS):
            u = foot[going]
            walk = self._walk(u)
            away = xy_mm[going] - walk.point_mm - self.parallel_mm * walk.normal
            ahead = away[:, 0] * walk.normal[:, 1] - away[:, 1] * walk.normal[:, 0]
            out = np.sum(away * walk.normal, axis=-1)
            low[going] = np.where(ahead > 0.0, u, low[going])
            high[going] = np.where(ahead > 0.0, high[going], u)
            bend = walk.pace * (1.0 + walk.curvature * (self.parallel_mm + out))
            step = u + ahead / np.where(bend > 0.0, bend, walk.pace)
            outside = (step < low[going]) | (step > high[going])
            foot[going] = np.where(outside, (low[going] + high[going]) / 2, step)
            going = going[np.abs(foot[going] - u) > FOOT_TOLERANCE * (sample[-1] - sample[0])]
            if not going.size:
                break
        return np.asarray(foot)

    def offset(self, distance_mm: float) -> DisplacedCurve:
        """Parallel curve, measured along this curve's own normals.

        Raises
        ------
        GeometryError
            When the parallel would fold up.
        """
        return DisplacedCurve(self.base, self._knot, self._value, self.parallel_mm + distance_mm)

    def divide(self, n_parts: int) -> Floats:
        """Stations (n_parts + 1,) that split the curve into equal arc lengths."""
        return equal_stations(self.length_mm, n_parts)


def _spline_through(station: Floats, value: Floats) -> CubicSpline | None:
    """Cubic spline through the values, level at both ends; none through a single value."""
    # Plain arches never come here; the import costs more than all of this room.
    from scipy.interpolate import CubicSpline

    if len(station) == 1:
        return None
    return CubicSpline(station, value, bc_type="clamped")


def _nearest_dip(xy_mm: Floats, sampled_mm: Floats) -> NDArray[np.intp]:
    """Nearest sample of each point among those no farther than both their neighbours; else the nearer end."""
    chosen = np.empty(len(xy_mm), dtype=np.intp)
    for start in range(0, len(xy_mm), BLOCK):
        block = slice(start, start + BLOCK)
        away = np.hypot(*(xy_mm[block, None, :] - sampled_mm).transpose(2, 0, 1))
        inner = away[:, 1:-1]
        dips = np.where((inner <= away[:, :-2]) & (inner <= away[:, 2:]), inner, np.inf)
        ends = np.where(away[:, 0] <= away[:, -1], 0, len(sampled_mm) - 1)
        chosen[block] = np.where(np.isfinite(dips).any(axis=1), np.argmin(dips, axis=1) + 1, ends)
    return chosen
