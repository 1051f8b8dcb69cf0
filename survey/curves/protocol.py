"""The one protocol every intrados, extrados and rib profile meets.

Conventions, the same for every curve: x right, y up; the curve runs from the left springing (station 0)
over the crown to the right springing (station ``length_mm``); the normal points outwards, away from the
opening, so a signed distance is positive on the wall side and negative inside the opening.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """Where points lie against a curve.

    Attributes
    ----------
    station_mm : (n,) float
        Arc length from the left springing to the foot of the perpendicular. Beyond the ends the end arc
        goes on along its own circle (or ellipse), so stations are then below 0 or above the length.
    distance_mm : (n,) float
        Signed orthogonal distance, positive away from the opening.
    """

    station_mm: Floats
    distance_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A curve at some stations, all at once: what a curve laid over another needs of it.

    Attributes
    ----------
    point_mm : (n, 2) float
    normal : (n, 2) float
        Unit normals, outwards.
    curvature : (n,) float
        1/mm, positive for a curve bulging outwards.
    curvature_slope : (n,) float
        Change of the curvature along the curve, 1/mm^2.
    """

    point_mm: Floats
    normal: Floats
    curvature: Floats
    curvature_slope: Floats


@runtime_checkable
class Curve(Protocol):
    """A smooth arch curve that can be walked by arc length, vectorised over stations or points."""

    @property
    def length_mm(self) -> float:
        """Arc length from the left springing to the right springing."""
        ...

    @property
    def turning_rad(self) -> float:
        """Total angle the tangent turns through from springing to springing (pi for a semicircle)."""
        ...

    @property
    def first_station_mm(self) -> float:
        """Lowest station that can be walked: 0 less the continuation below the left springing."""
        ...

    @property
    def last_station_mm(self) -> float:
        """Highest station that can be walked: the length and the continuation below the right springing."""
        ...

    @property
    def breaks_mm(self) -> Floats:
        """Stations at which the curvature jumps, growing (empty for an ellipse)."""
        ...

    def point(self, station_mm: ArrayLike) -> Floats:
        """Points (n, 2) at stations (n,); a single station gives (2,)."""
        ...

    def tangent(self, station_mm: ArrayLike) -> Floats:
        """Unit tangents (n, 2), towards growing station."""
        ...

    def normal(self, station_mm: ArrayLike) -> Floats:
        """Unit normals (n, 2), outwards."""
        ...

    def curvature(self, station_mm: ArrayLike) -> Floats:
        """Curvature (n,), 1/mm, positive for a curve bulging outwards."""
        ...

    def locate(self, xy_mm: ArrayLike) -> Located:
        """Station and signed distance of points (n, 2), without a loop over the points."""
        ...

    def offset(self, distance_mm: float) -> Curve:
        """Parallel curve at a signed distance, outwards positive."""
        ...

    def divide(self, n_parts: int) -> Floats:
        """Stations (n_parts + 1,) that split the curve into equal arc lengths."""
        ...
