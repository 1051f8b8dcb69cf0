"""Points of a free fit: checked once, then seen centred, turned and scaled to size one.

A fit whose numbers must not depend on where the site grid starts subtracts a centre before it does anything
else: coordinates of 4.5e8 mm keep 6e-8 mm, their squares would keep none.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from math import atan2, cos, hypot, sin, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.curves.protocol import Floats
from survey.errors import FitError

FINEST_GRADIENT = 1e-11
"""Movement still to come over the rms residual at which a fit of few points may end."""
GRADIENT_RATIO = 1e-13
"""It grows with the square of the number of points, for so does the price of a needless pass, ..."""
COARSEST_GRADIENT = 1e-7
"""... up to here, which leaves the sum of squares within 1e-14 of its least, and the parameters of even 1e6
points within 1e-4 of their standard errors; those of 100 points end within 1e-8 of theirs."""
SAMPLE = 2000
"""Points that a fit of very many points is begun on: enough to start the full passes within 0.05 sigma."""
GOLDEN_SECTION = 0.6180339887498949
LARGEST_COORDINATE = 1e150
FLATTEST_RATIO = 1e-12
"""Thickness over length below which points count as lying on one straight line: rounding."""


@dataclass(frozen=True, slots=True, eq=False)
class FreePoints:
    """Checked points and the frame they are fitted in.

    Attributes
    ----------
    xy_mm : (n, 2) float, mm
    root_weights : (n,) float or None
        Square roots of the weights the squared distances carry; None for plain points.
    origin_mm : (2,) float
        Centre of the points (of a sample of them, if they are many).
    scale_mm : float
        Root mean square distance of the points from the centre.
    turn_rad : float
        Direction of their longest extent.
    sampled : (m,) int or None
        Rows of a sample that stands for many points; None if they are few.
    """

    xy_mm: Floats
    root_weights: Floats | None
    origin_mm: Floats
    scale_mm: float
    turn_rad: float
    sampled: NDArray[np.int64] | None = None

    @property
    def to_frame(self) -> Floats:
        """Matrix (2, 2) from millimetres off the origin to the scaled and turned frame."""
        c, s = cos(self.turn_rad) / self.scale_mm, sin(self.turn_rad) / self.scale_mm
        return np.array([[c, s], [-s, c]])

    @property
    def turn_out(self) -> Floats:
        """Matrix (2, 2) from the scaled and turned frame to millimetres off the origin."""
        c, s = cos(self.turn_rad) * self.scale_mm, sin(self.turn_rad) * self.scale_mm
        return np.array([[c, -s], [s, c]])

    def to_site(self, x: float, y: float) -> tuple[float, float]:
        """Place in the frame to millimetres in the frame the points were given in."""
        c, s = cos(self.turn_rad) * self.scale_mm, sin(self.turn_rad) * self.scale_mm
        return self.origin_mm.item(0) + c * x - s * y, self.origin_mm.item(1) + s * x + c * y

    @property
    def relative_tolerance(self) -> float:
        """Gradient, as the engine measures it, to which so many points are fitted."""
        return min(max(FINEST_GRADIENT, GRADIENT_RATIO * len(self.xy_mm) ** 2), COARSEST_GRADIENT)

    def blocks(self, most: int) -> list[slice]:
        """Slices of all but equal length, none longer than ``most``, that cover the points."""
        n = len(self.xy_mm)
        size = -(-n // (-(-n // most)))
        return [slice(first, min(first + size, n)) for first in range(0, n, size)]

    def sample(self) -> FreePoints:
        """A sample of many points in the same frame; the points themselves if they are few."""
        if self.sampled is None:
            return self
        weights = None if self.root_weights is None else self.root_weights[self.sampled]
        return FreePoints(self.xy_mm[self.sampled], weights, self.origin_mm, self.scale_mm, self.turn_rad)


def checked_points(
    xy_mm: ArrayLike, sigma_mm: ArrayLike | None, weights: ArrayLike | None, *, n_needed: int, curve: str
) -> FreePoints:
    """Points ready to be fitted, or the reason why they cannot be.

    Raises
    ------
    FitError
        Not an (n, 2) array, too few points, a coordinate that is no number, all points in one spot or on one
        straight line, a sigma not above zero, a negative weight.
    """
    xy = np.ascontiguousarray(xy_mm, dtype=float)
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise FitError(f"points of shape {xy.shape} were given; {curve} is fitted to points of shape (n, 2)")
    root_weights = _root_weights(xy.shape[0], sigma_mm, weights)
    n_used = xy.shape[0] if root_weights is None else int(np.count_nonzero(root_weights))
    if n_used < n_needed:
        raise FitError(
            f"{n_used} points cannot determine {curve}, which has {n_needed} freedoms; "
            f"measure at least {n_needed}, better three times as many"
        )
    if xy.shape[0] < 2 * SAMPLE:
        return _framed(xy, None, root_weights, curve)
    try:
        return _framed(xy, _sampled_rows(xy.shape[0]), root_weights, curve)
    except FitError:  # the sample may lie on a line where all the points together do not
        return _framed(xy, None, root_weights, curve)


def reject_unusable(points: FreePoints, *, n_needed: int, curve: str) -> None:
    """After a failed fit: raise FitError if the points are at fault, naming how."""
    require_finite(points.xy_mm)
    n_places = np.unique(points.xy_mm, axis=0).shape[0]
    if n_places < n_needed:
        raise FitError(
            f"the points lie at {n_places} different places; {curve} needs points at {n_needed} places or "
            "more"
        )


def require_finite(xy: Floats) -> None:
    """Raise FitError naming the first point with a coordinate that is no finite number."""
    bad = np.flatnonzero(~np.isfinite(xy).all(axis=1))
    if bad.size:
        row = int(bad[0])
        raise FitError(
            f"point {row + 1} of {xy.shape[0]} is ({xy[row, 0]}, {xy[row, 1]}) mm; "
            "every coordinate must be a finite number: leave the point out or measure it again"
        )


def _sampled_rows(n: int) -> NDArray[np.int64]:
    """Rows spread evenly but out of step with any order of the points: multiples of the golden section."""
    turns = np.arange(SAMPLE) * GOLDEN_SECTION
    return np.asarray((turns - np.floor(turns)) * n, dtype=np.int64)


def _root_weights(n: int, sigma_mm: ArrayLike | None, weights: ArrayLike | None) -> Floats | None:
    root: Floats | None = None
    if sigma_mm is not None and np.ndim(sigma_mm) > 0:
        sigma = np.asarray(sigma_mm, dtype=float)
        _require_length(sigma, n, "sigma_mm")
        _require_sigma(sigma)
        root = 1.0 / sigma
    elif sigma_mm is not None:
        _require_sigma(np.asarray(sigma_mm, dtype=float))
    if weights is not None:
        given = np.asarray(weights, dtype=float)
        _require_length(given, n, "weights")
        if not (np.isfinite(given).all() and (given >= 0.0).all()):
            raise FitError("weights were given that are negative or no finite numbers; 0 leaves a point out")
        root = np.sqrt(given) if root is None else root * np.sqrt(given)
    return root


def _require_length(values: Floats, n: int, name: str) -> None:
    if values.shape != (n,):
        raise FitError(f"{name} of shape {values.shape} was given for {n} points; give one number a point")


def _require_sigma(sigma: Floats) -> None:
    if not (np.isfinite(sigma).all() and (sigma > 0.0).all()):
        raise FitError("a sigma_mm was given that is not above 0 mm; give each point's standard uncertainty")


def _framed(
    xy: Floats, sampled: NDArray[np.int64] | None, root_weights: Floats | None, curve: str
) -> FreePoints:
    """Centre, scale and principal direction from all of the points, or from a sample."""
    some = xy if sampled is None else xy[sampled]
    n = some.shape[0]
    if not np.abs(some).max() < LARGEST_COORDINATE:
        require_finite(xy)
        raise FitError("the coordinates are too large to be squared; give them in millimetres")
    centred = np.subtract(some.T, some[0][:, None], np.empty((2, n)))
    mean = np.add.reduce(centred, axis=1) / n
    np.subtract(centred, mean[:, None], centred)
    origin, (x, y) = some[0] + mean, centred
    xx, xy_, yy = float(x.dot(x)) / n, float(x.dot(y)) / n, float(y.dot(y)) / n
    spread, slant = xx + yy, hypot(xx - yy, 2.0 * xy_)
    rounding = 4.0 * sys.float_info.epsilon * max(abs(origin.item(0)), abs(origin.item(1)))
    if sqrt(spread) <= max(rounding, sys.float_info.min):
        raise FitError(f"all points lie in one spot; {curve} needs points spread along it")
    turn = 0.5 * atan2(2.0 * xy_, xx - yy)
    across = cos(turn) * y - sin(turn) * x
    if sqrt(float(across.dot(across)) / n) <= FLATTEST_RATIO * sqrt(0.5 * (spread + slant)) + rounding:
        raise FitError(f"all points lie on one straight line; {curve} needs points along a bend")
    return FreePoints(xy, root_weights, origin, sqrt(spread), turn, sampled)
