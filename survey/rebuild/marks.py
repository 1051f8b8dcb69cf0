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

BRACKETS = 512
"""Cells a curve is cut into before a crossing is refined; no cell of an arch hides two crossings."""
ROUNDS = 60
"""Rounds of refinement; each at least halves a cell, so 60 reach the last bit."""

STATION_SHARE = 1e-10
"""Share of the length to which a crossing is brought."""


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
    drawn = curve_of(shape)
    return float(soffit.locate(drawn.point(drawn.length_mm / 2.0)[None, :]).station_mm[0])


def rib_marks(profile: Profile, rings: Iterable[RingPlan]) -> tuple[CentringMark, ...]:
    """Ordinates of soffit and rib, then the course marks, each from left to right.

    Ordinates stand every 100 mm from the middle of the springing line; ``rib_y_mm`` is NaN where the rib,
    being smaller than the soffit, does not reach.
    """
    return _marks(profile, _ordinate_places(profile.soffit), rings)


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
    columns = (x_mm, point[:, 1], rib_y, station, length - station, station - profile.crown_mm, chord)
    rows = np.column_stack(columns).tolist()
    courses = [(ring.ring, brick.course) for ring in laid for brick in ring.bricks for _ in (0, 1)]
    ordinates = (_mark("ordinate", (0, 0), row, "") for row in rows[:n])
    edge = ("left", "right")
    places = enumerate(zip(courses, rows[n:], strict=True))
    return (*ordinates, *(_mark("mark", place, row, edge[k % 2]) for k, (place, row) in places))


def _mark(what: str, place: tuple[int, int], row: list[float], edge: str) -> CentringMark:
    """One mark from its column of figures."""
    x, soffit_y, rib_y, left, right, crown, chord = row
    return CentringMark(what, *place, x, soffit_y, rib_y, left, right, crown, chord, edge)


def _ordinate_places(soffit: Curve) -> Floats:
    """Every 100 mm from the middle of the springing line, as far as the springings."""
    ends = soffit.point([0.0, soffit.length_mm])
    middle_x = float(ends[:, 0].mean())
    n_half = int((ends[1, 0] - middle_x) / ORDINATE_STEP_MM + 1e-9)
    return middle_x + ORDINATE_STEP_MM * np.arange(-n_half, n_half + 1, dtype=np.float64)


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
    station = stations_at(curve, x_mm)
    height = np.full(station.shape, np.nan)
    reached = np.isfinite(station)
    if reached.any():
        height[reached] = curve.point(station[reached])[:, 1]
    return height


def stations_at(curve: Curve, x_mm: ArrayLike) -> Floats:
    """Stations (n,) where a curve stands over given x (n,), mm; NaN where it does not reach.

    Newton's step along the tangent, halving the bracket instead wherever the step would leave it.
    """
    x = np.atleast_1d(np.asarray(x_mm, dtype=float))
    grid = np.linspace(0.0, curve.length_mm, BRACKETS + 1)
    grid_x = curve.point(grid)[:, 0]
    first, last = int(np.argmin(grid_x)), int(np.argmax(grid_x))
    grid, grid_x = grid[first : last + 1], grid_x[first : last + 1]
    play = 1e-9 * max(1.0, curve.length_mm)
    station = np.full(x.shape, np.nan)
    reached = (x >= grid_x[0] - play) & (x <= grid_x[-1] + play)
    if not reached.any():
        return station
    aim = np.clip(x[reached], grid_x[0], grid_x[-1])
    cell = np.clip(np.searchsorted(grid_x, aim, side="right") - 1, 0, len(grid) - 2)
    low, high = grid[cell], grid[cell + 1]
    at = low + (high - low) * (aim - grid_x[cell]) / (grid_x[cell + 1] - grid_x[cell])
    going = np.arange(at.size)
    for _ in range(ROUNDS):
        s = at[going]
        off = curve.point(s)[:, 0] - aim[going]
        low[going] = np.where(off <= 0.0, s, low[going])
        high[going] = np.where(off >= 0.0, s, high[going])
        along = curve.tangent(s)[:, 0]
        step = np.divide(off, along, out=np.full_like(off, np.inf), where=along != 0.0)
        tried = s - step
        inside = (tried >= low[going]) & (tried <= high[going])
        at[going] = np.where(inside, tried, (low[going] + high[going]) / 2.0)
        going = going[np.abs(at[going] - s) > STATION_SHARE * curve.length_mm]
        if not going.size:
            break
    station[reached] = at
    return station
