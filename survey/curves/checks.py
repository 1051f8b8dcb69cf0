"""What every curve asks of the stations and points given to it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Curve, Floats
from survey.errors import GeometryError

STATION_SLACK = 1e-9
"""Share of the walkable length by which a station may pass its limit: what rounding does, no more."""


def checked_stations(curve: Curve, station_mm: ArrayLike) -> Floats:
    """Stations as floats, or a refusal where the curve does not reach.

    Raises
    ------
    GeometryError
        When a station is not a number or lies beyond the curve's continuation.
    """
    stations = np.asarray(station_mm, dtype=np.float64)
    if not np.isfinite(stations).all():
        raise GeometryError(
            "a station is not a finite number; give arc lengths in mm from the left springing"
        )
    first, last = curve.first_station_mm, curve.last_station_mm
    slack = STATION_SLACK * (last - first)
    beyond = (stations < first - slack) | (stations > last + slack)
    if beyond.any():
        raise GeometryError(
            f"station {float(stations[beyond].flat[0]):.3f} mm lies beyond the curve, which can be walked "
            f"from {first:.3f} to {last:.3f} mm (its own length is 0 to {curve.length_mm:.3f} mm); give a "
            "station between"
        )
    return stations


def checked_points(xy_mm: ArrayLike) -> Floats:
    """Points as floats of shape (..., 2), or a refusal.

    Raises
    ------
    GeometryError
        When the last axis is not x and y, or a coordinate is not a number.
    """
    points = np.asarray(xy_mm, dtype=np.float64)
    if points.ndim == 0 or points.shape[-1] != 2:
        raise GeometryError(f"points of shape {points.shape} were given; give x and y, shape (n, 2)")
    if not np.isfinite(points).all():
        raise GeometryError("a point coordinate is not a finite number; leave such points out")
    return points


def equal_stations(length_mm: float, n_parts: int) -> Floats:
    """Stations (n_parts + 1,) that split a length into equal parts.

    Raises
    ------
    GeometryError
        When there is not at least one part.
    """
    if n_parts < 1:
        raise GeometryError(f"a curve cannot be divided into {n_parts} parts; ask for 1 or more")
    return np.linspace(0.0, length_mm, n_parts + 1)


def checked_lengths(**lengths_mm: float) -> None:
    """Refuse lengths that are not finite and above 0, by the names they are given under.

    Raises
    ------
    GeometryError
        When one is not a length.
    """
    for name, value in lengths_mm.items():
        if not (math.isfinite(value) and value > 0.0):
            raise GeometryError(f"{name} = {value:g} was given; it must be above 0")
