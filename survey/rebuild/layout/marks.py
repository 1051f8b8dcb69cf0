"""Marks of the centring: ordinates of the rib, and where each course's edges come along the soffit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves import ArchShape, Curve, DisplacedCurve, Floats, curve_of
from survey.rebuild.plan import CentringMark, RingPlan

ORDINATE_STEP_MM = 100.0
"""From one ordinate of the rib to the next."""
STEEP_STEP_MM = 50.0
"""Along the rib from one ordinate to the next where it falls more steeply than 45 degrees."""
APART_MM = 2.0
"""An ordinate of the steep part so near to an even one is left out."""

CELLS = 512
"""Cells a curve is walked in to find what stands over an x."""
ROUNDS = 60
"""Most rounds of refinement; halving alone is then down to the last bit."""
SHARE_TOLERANCE = 1e-12
"""Share of a cell to which a crossing is brought."""


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """What the marks are taken from: the soffit, its crown's station, and the rib inside it."""

    soffit: Curve
    crown_mm: float
    rib: Curve


def soffit_of(shape: ArchShape, rings: Iterable[RingPlan]) -> Curve:
    """The curve the bricks of the innermost ring lie on: the shape's own, or in a repair the one that leads
    from standing brick to standing brick."""
    innermost = min(rings, key=lambda ring: ring.ring, default=None)
    return curve_of(shape) if innermost is None else innermost.inner


def crown_station_mm(shape: ArchShape, soffit: Curve) -> float:
    """Station on the soffit under the crown of the shape."""
    if not isinstance(soffit, DisplacedCurve):
        return soffit.length_mm / 2.0
    return float(soffit.station_over(curve_of(shape).length_mm / 2.0))


def rib_marks(profile: Profile, rings: Iterable[RingPlan]) -> tuple[CentringMark, ...]:
    """Ordinates of soffit and rib, then the course marks, each from left to right.

    Ordinates stand every 100 mm from the middle of the springing line, and where the rib falls steeply also
    every 50 mm along it from its foot, where even steps of span would leave long runs of it without one;
    ``rib_y_mm`` is NaN where the rib, being smaller than the soffit, does not reach.
    """
    even, steep = _ordinate_places(profile.soffit), _steep_places(profile.rib)
    apart = np.abs(steep[:, None] - even).min(axis=1, initial=np.inf) > APART_MM
    return _marks(profile, np.sort(np.concatenate([even, steep[apart]])), rings)


def course_marks(profile: Profile, rings: Iterable[RingPlan]) -> tuple[CentringMark, ...]:
    """Marks of both edges of every course, ring by ring, left to right.

    The marks of an outer ring are the feet of its normals on the soffit: where a square set on the lagging
    points at the edge.
    """
    return _marks(profile, np.zeros(0), rings)


def _marks(profile: Profile, ordinates_mm: Floats, rings: Iterable[RingPlan]) -> tuple[CentringMark, ...]:
    """Marks at some x and at the edges of every brick; the rib is walked once for all."""
    laid = [ring for ring in rings if ring.bricks]
    n = len(ordinates_mm)
    edges = _edge_stations(profile.soffit, laid)
    station = np.concatenate([stations_at(profile.soffit, ordinates_mm), edges])
    point = profile.soffit.point(station)
    x_mm = np.concatenate([ordinates_mm, point[n:, 0]])
    rib_y = heights_at(profile.rib, x_mm)
    chord = np.hypot(*(point - profile.soffit.point(0.0)).T)
    length = profile.soffit.length_mm
    from_axis = x_mm - _axis_x_mm(profile.soffit)
    columns = (
        x_mm, point[:, 1], rib_y, station, length - station, station - profile.crown_mm, chord, from_axis
    )  # fmt: skip
    rows = np.column_stack(columns).tolist()
    courses = [(ring.ring, brick.course) for ring in laid for brick in ring.bricks for _ in (0, 1)]
    ordinates = (_mark("ordinate", (0, 0), row, "") for row in rows[:n])
    edge = ("left", "right")
    places = enumerate(zip(courses, rows[n:], strict=True))
    return (*ordinates, *(_mark("mark", place, row, edge[k % 2]) for k, (place, row) in places))


def _mark(what: str, place: tuple[int, int], row: list[float], edge: str) -> CentringMark:
    """One mark from its column of figures."""
    x, soffit_y, rib_y, left, right, crown, chord, from_axis = row
    return CentringMark(
        what, *place, x, soffit_y, rib_y, left, right, crown, chord, edge=edge, from_axis_mm=from_axis
    )


def _axis_x_mm(soffit: Curve) -> float:
    """Where the axis of the rib stands: midway between the feet of the soffit, to which it is parallel."""
    return float(soffit.point([0.0, soffit.length_mm])[:, 0].mean())


def _ordinate_places(soffit: Curve) -> Floats:
    """Every 100 mm from the middle of the springing line, as far as the springings."""
    middle_x = _axis_x_mm(soffit)
    n_half = int((float(soffit.point([soffit.length_mm])[0, 0]) - middle_x) / ORDINATE_STEP_MM + 1e-9)
    return middle_x + ORDINATE_STEP_MM * np.arange(-n_half, n_half + 1, dtype=np.float64)


def _steep_places(rib: Curve) -> Floats:
    """The feet of the rib, and even steps along it from each foot as long as it falls beyond 45 degrees."""
    steps = np.arange(0.0, rib.length_mm / 2.0, STEEP_STEP_MM)
    places = [rib.point([0.0, rib.length_mm])[:, 0]]
    for stations in (steps, rib.length_mm - steps):
        tangent = rib.tangent(stations)
        steep = np.abs(tangent[:, 1]) > np.abs(tangent[:, 0])
        n = len(steps) if steep.all() else int(np.argmin(steep))
        places.append(rib.point(stations[1:n])[:, 0] if n > 1 else np.zeros(0))
    return np.concatenate(places)


def _edge_stations(soffit: Curve, rings: list[RingPlan]) -> Floats:
    """Stations on the soffit of the left and right edge of every brick, ring by ring."""
    own = [
        np.array([(brick.station_start_mm, brick.station_end_mm) for brick in ring.bricks]).ravel()
        for ring in rings
        if ring.inner is soffit
    ]
    outer = [brick.corners_mm[:2] for ring in rings if ring.inner is not soffit for brick in ring.bricks]
    feet = soffit.locate(np.array(outer).reshape(-1, 2)).station_mm if outer else np.zeros(0)
    stations: list[Floats] = []
    for ring in rings:
        if ring.inner is soffit:
            stations.append(own.pop(0))
        else:
            n = 2 * len(ring.bricks)
            stations.append(feet[:n])
            feet = feet[n:]
    return np.concatenate([np.zeros(0), *stations])


def heights_at(curve: Curve, x_mm: ArrayLike) -> Floats:
    """Heights (n,) of a curve over given x (n,), mm; NaN where the curve does not reach."""
    return _over(curve, x_mm)[:, 1]


def stations_at(curve: Curve, x_mm: ArrayLike) -> Floats:
    """Stations (n,) where a curve stands over given x (n,), mm; NaN where it does not reach."""
    return _over(curve, x_mm)[:, 0]


def _over(curve: Curve, x_mm: ArrayLike) -> Floats:
    """Stations and heights (n, 2) over given x.

    The curve is walked once, at the ends of short cells and at its junctions; between them it is the cubic
    with the same points and tangents, which is off by a fourth power of the cell, below a hundred-thousandth
    of a millimetre.
    """
    x = np.atleast_1d(np.asarray(x_mm, dtype=float))
    grid = np.union1d(np.linspace(0.0, curve.length_mm, CELLS + 1), curve.breaks_mm)
    point, tangent = curve.point(grid), curve.tangent(grid)
    first, last = int(np.argmin(point[:, 0])), int(np.argmax(point[:, 0]))
    play = 1e-9 * max(1.0, curve.length_mm)
    found = np.full((x.size, 2), np.nan)
    reached = (x >= point[first, 0] - play) & (x <= point[last, 0] + play)
    aim = np.clip(x[reached], point[first, 0], point[last, 0])
    cell = np.searchsorted(point[first : last + 1, 0], aim, side="right") - 1
    cell = first + np.clip(cell, 0, last - first - 1)
    length = grid[cell + 1] - grid[cell]
    cubic_x, cubic_y = (
        (point[cell, k], point[cell + 1, k], length * tangent[cell, k], length * tangent[cell + 1, k])
        for k in (0, 1)
    )
    share = _share_at(cubic_x, aim)
    found[reached, 0] = grid[cell] + share * length
    found[reached, 1] = _cubic(cubic_y, share)
    return found


Cubic = tuple[Floats, Floats, Floats, Floats]
"""Values at both ends of a cell, and slopes there over the share of the cell."""


def _cubic(ends: Cubic, u: Floats) -> Floats:
    """Cubic through two values with two slopes, at shares u of the cell."""
    a, b, slope_a, slope_b = ends
    v = 1.0 - u
    return np.asarray(v**2 * (a * (1.0 + 2.0 * u) + slope_a * u) + u**2 * (b * (1.0 + 2.0 * v) - slope_b * v))


def _share_at(ends: Cubic, aim: Floats) -> Floats:
    """Share of the cell at which a growing cubic reaches a value, by Newton's step inside a shrinking
    bracket."""
    a, b, slope_a, slope_b = ends
    low, high = np.zeros_like(aim), np.ones_like(aim)
    u = (aim - a) / (b - a)
    for _ in range(ROUNDS):
        off = _cubic(ends, u) - aim
        low, high = np.where(off <= 0.0, u, low), np.where(off >= 0.0, u, high)
        v = 1.0 - u
        slope = 6.0 * u * v * (b - a) + v * (v - 2.0 * u) * slope_a + u * (u - 2.0 * v) * slope_b
        step = np.divide(off, slope, out=np.full_like(off, np.inf), where=slope != 0.0)
        tried = u - step
        new = np.where((tried >= low) & (tried <= high), tried, (low + high) / 2.0)
        if np.all(np.abs(new - u) <= SHARE_TOLERANCE):
            return np.asarray(new)
        u = new
    return u
