"""Marks of the centring: ordinates of the rib, and where each course's edges come along the soffit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves import ArchShape, Curve, Floats, curve_of
from survey.rebuild.plan import CentringMark, RingPlan

ORDINATE_STEP_MM = 100.0
"""From one ordinate of the rib to the next."""

BRACKETS = 512
"""Cells a curve is cut into before a crossing is refined; no cell of an arch hides two crossings."""
ROUNDS = 60
"""Rounds of refinement; each at least halves a cell, so 60 reach the last bit."""

STATION_SHARE = 1e-11
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
    drawn = curve_of(shape)
    return float(soffit.locate(drawn.point(drawn.length_mm / 2.0)[None, :]).station_mm[0])


def ordinates(profile: Profile) -> tuple[CentringMark, ...]:
    """Heights of soffit and rib every 100 mm from the middle of the springing line, left to right.

    ``rib_y_mm`` is NaN where the rib, being smaller than the soffit, does not reach.
    """
    ends = profile.soffit.point([0.0, profile.soffit.length_mm])
    middle_x = float(ends[:, 0].mean())
    n_half = int((ends[1, 0] - middle_x) / ORDINATE_STEP_MM + 1e-9)
    x = middle_x + ORDINATE_STEP_MM * np.arange(-n_half, n_half + 1, dtype=np.float64)
    return _marks("ordinate", stations_at(profile.soffit, x), profile, x)


def course_marks(profile: Profile, rings: Iterable[RingPlan]) -> tuple[CentringMark, ...]:
    """Marks of both edges of every course, ring by ring, left to right.

    The marks of an outer ring are the feet of its normals on the soffit: where a square set on the lagging
    points at the edge.
    """
    marks: list[CentringMark] = []
    for ring in rings:
        if not ring.bricks:
            continue
        edges = np.array([brick.corners_mm[:2] for brick in ring.bricks]).reshape(-1, 2)
        station = profile.soffit.locate(edges).station_mm
        courses = tuple((ring.ring, brick.course) for brick in ring.bricks for _ in (0, 1))
        marks += _marks("mark", station, profile, profile.soffit.point(station)[:, 0], courses)
    return tuple(marks)


def _marks(
    what: str,
    station: Floats,
    profile: Profile,
    x_mm: Floats,
    courses: tuple[tuple[int, int], ...] | None = None,
) -> tuple[CentringMark, ...]:
    """Marks at stations of the soffit that lie over given x."""
    soffit = profile.soffit
    length = soffit.length_mm
    point = soffit.point(station)
    chord = np.hypot(*(point - soffit.point(0.0)).T)
    rib_y = heights_at(profile.rib, x_mm)
    return tuple(
        CentringMark(
            what=what,
            ring=courses[k][0] if courses else 0,
            course=courses[k][1] if courses else 0,
            x_mm=float(x_mm[k]),
            soffit_y_mm=float(point[k, 1]),
            rib_y_mm=float(rib_y[k]),
            along_left_mm=float(station[k]),
            along_right_mm=float(length - station[k]),
            along_crown_mm=float(station[k] - profile.crown_mm),
            chord_left_mm=float(chord[k]),
            edge=("left", "right")[k % 2] if courses else "",
        )
        for k in range(len(station))
    )


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
    for _ in range(ROUNDS):
        off = curve.point(at)[:, 0] - aim
        low, high = np.where(off <= 0.0, at, low), np.where(off >= 0.0, at, high)
        along = curve.tangent(at)[:, 0]
        step = np.divide(off, along, out=np.full_like(off, np.inf), where=along != 0.0)
        tried = at - step
        new = np.where((tried >= low) & (tried <= high), tried, (low + high) / 2.0)
        done = bool(np.all(np.abs(new - at) <= STATION_SHARE * curve.length_mm))
        at = new
        if done:
            break
    station[reached] = at
    return station
