"""The ellipse as the engine sees it: a conic in the points' own frame, with one coefficient held.

In centre, axes and angle a short arc's ellipse is all but undetermined, and a search in them fails for a
third of arcs of 60 degrees; the coefficients of Q = A x^2 + B x y + C y^2 + D x + E y + F stay near one.
They matter up to a common factor; the largest of the start is held: the constant for a closed ellipse, the
coefficient of y for an arc seen from its chord (y = F + D x + A x^2 + B x y + C y^2).

Distances are to the ellipse, not to the conic's value: the foot of each perpendicular and the direction
(m, n) of its normal come from the secular equation (:mod:`survey.fitting.free.ellipse_foot`), with what is
left of it in ``off``. The distance is then a (t (m^2 + n^2) + off) / hypot(m, n), exact to the square of
``off``. It grows by (term at the foot) / |grad Q| with each coefficient, and |grad Q| = 2 f hypot(m, n) / a
for Q = f ((u/a)^2 + (v/b)^2 - 1). With w = a / hypot(m, n), one product of six columns (the five terms times
w, and d) with themselves gives J'J, J'd and the sum of squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, sin
from typing import NamedTuple

import numpy as np
from scipy.linalg import blas

from survey.curves.protocol import Floats
from survey.fitting.free.ellipse_conic import EllipsePlace, ellipse_place
from survey.fitting.free.ellipse_foot import FootWork, solve_feet
from survey.fitting.free.points import FreePoints
from survey.fitting.solving.engine import NormalSums
from survey.fitting.solving.robust import ScaledLoss

ROUGH_FEET = 1e-2
"""Tolerance of the feet in a first pass over many points: good for a step, but for no proof. Otherwise it is
the gradient that is asked for; the feet of nearly all points are then far better."""
BLOCK = 6144
"""Points a pass; the rows in use then stay in a second-level cache of 1 MB."""
ROWS = 14
"""Of a block: u and v, the pair and 1, two for sums and feet, the six terms, the distance."""


class EllipseModel:
    """The engine's model of an ellipse through :class:`FreePoints`.

    ``held`` is the coefficient kept at its value. It holds the columns its passes write to and, to begin
    the next pass with, the last feet.
    """

    names: Sequence[str] = ()

    def __init__(self, points: FreePoints, coefficients: Floats) -> None:
        self.points = points
        self.n_observations = len(points.xy_mm)
        values: list[float] = coefficients.tolist()
        sizes = [abs(value) for value in values]
        self.held = sizes.index(max(sizes))
        self._coefficients = values if values[0] + values[2] > 0.0 else [-value for value in values]
        self.held_value = self._coefficients[self.held]
        self._turn = cos(points.turn_rad), sin(points.turn_rad)
        self._origin = points.origin_mm[:, None]
        self._tolerance = points.relative_tolerance
        self._rough_next = points.sampled is not None
        self._blocks = _blocks(points, self.held)

    @property
    def start(self) -> Floats:
        """The free coefficients of the start."""
        return np.array(self._coefficients[: self.held] + self._coefficients[self.held + 1 :])

    def coefficients(self, parameters: Floats) -> list[float]:
        """All six coefficients."""
        values: list[float] = parameters.tolist()
        values.insert(self.held, self.held_value)
        return values

    def place(self, parameters: Floats) -> EllipsePlace:
        """The ellipse of the five free coefficients."""
        return ellipse_place(self.coefficients(parameters))

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The engine's sums over blocks of points."""
        place = self.place(parameters)
        rough, self._rough_next = self._rough_next, False
        tolerance = ROUGH_FEET if rough else self._tolerance
        views, total, cost = self._views(place), np.zeros((6, 6)), 0.0
        with np.errstate(all="ignore"):  # feet gone astray are found and solved anew
            for block in self._blocks:
                self._pass(block, place, views, tolerance)
                columns = block.work.columns
                if block.root_weights is not None:
                    columns *= block.root_weights
                if loss is not None:
                    weights, added = loss.weigh(block.work.distance)
                    columns *= np.sqrt(weights)
                    cost += added
                total += blas.dgemm(1.0, columns.T, columns.T, trans_a=1)
        if loss is None:
            cost = float(total[5, 5])
        total *= 0.5 / place.size
        return NormalSums(total[:5, :5] * (0.5 / place.size), total[5, :5], cost, rough)

    def residuals(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit, times the roots of the weights."""
        distances = self.distances(parameters)
        return distances if self.points.root_weights is None else distances * self.points.root_weights

    def distances(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit."""
        place, distances = self.place(parameters), []
        views = self._views(place)
        with np.errstate(all="ignore"):
            for block in self._blocks:
                self._pass(block, place, views, self._tolerance)
                distances.append(block.work.distance.copy())
        return np.concatenate(distances)

    def _pass(self, block: _Block, place: EllipsePlace, views: _Views, tolerance: float) -> None:
        """Fill the columns of a block with the terms at the feet times w, and d; the next overwrites them."""
        pair_and_1, uv, (xx, xy, yy, xw, yw, w), distance, _, solving = block.work
        np.subtract(block.xy_mm, self._origin, pair_and_1[:2])
        np.dot(views.in_ellipse, pair_and_1, uv)
        solve_feet(uv, place.squeeze, block.t, solving, tolerance)
        mm, nn = solving.squares
        np.add(mm, nn, w)
        np.multiply(block.t, w, distance)
        np.add(distance, solving.off, distance)
        np.sqrt(w, w)
        np.divide(place.a, w, w)
        np.multiply(distance, w, distance)
        x, y = np.dot(views.of_foot, pair_and_1, solving.sums)
        np.multiply(x, w, xw)
        np.multiply(y, w, yw)
        np.multiply(x, xw, xx)
        np.multiply(x, yw, xy)
        np.multiply(y, yw, yy)

    def _views(self, place: EllipsePlace) -> _Views:
        (c, s), a, flat = self._turn, place.a, place.a * place.squeeze
        along, across = place.cos / a, place.sin / a
        to_u = (along * c - across * s) / self.points.scale_mm
        to_v = (across * c + along * s) / self.points.scale_mm
        in_ellipse = [
            [to_u, to_v, -along * place.x - across * place.y],
            [-to_v, to_u, across * place.x - along * place.y],
        ]
        of_foot = [[place.cos * a, -place.sin * flat, place.x], [place.sin * a, place.cos * flat, place.y]]
        return _Views(np.array(in_ellipse), np.array(of_foot))


class _Views(NamedTuple):
    """Ways between the places a point is seen in, as matrices (2, 3) on two coordinates and 1."""

    in_ellipse: Floats
    """From millimetres off the origin to u and v over a."""
    of_foot: Floats
    """From m and n to the foot's x and y in the points' frame."""


class _Work(NamedTuple):
    """Rows of memory for a block of m points."""

    pair_and_1: Floats
    """First x and y off the origin in millimetres, then m and n, and 1."""
    uv: Floats
    """u and v over a."""
    terms: tuple[Floats, ...]
    """The six terms of the conic at the foot, times w."""
    distance: Floats
    columns: Floats
    """The five terms that are not held, and the distance."""
    solving: FootWork


class _Block(NamedTuple):
    """A block of points (2, m), the unknowns t of their feet, and memory it shares with other blocks."""

    xy_mm: Floats
    root_weights: Floats | None
    t: Floats
    work: _Work


def _blocks(points: FreePoints, held: int) -> list[_Block]:
    """All points, with memory for each length of block there is."""
    works: dict[int, _Work] = {}
    t, root, blocks = np.zeros(len(points.xy_mm)), points.root_weights, []
    for block in points.blocks(BLOCK):
        m = block.stop - block.start
        if m not in works:
            works[m] = _work(m, held)
        weights = None if root is None else root[block]
        blocks.append(_Block(points.xy_mm[block].T, weights, t[block], works[m]))
    return blocks


def _work(m: int, held: int) -> _Work:
    """Memory carved out of one piece; what is needed at different times shares rows."""
    rows = np.empty((ROWS, m))
    rows[4] = 1.0
    # the held coefficient's term comes first, so that the rest and d are one piece
    terms = [rows[7 + (term + 1 if term < held else term)] for term in range(6)]
    terms[held] = rows[7]
    # the feet are solved before the terms are written, but for w
    free = rows[8:13] if held == 5 else rows[7:12]
    solving = FootWork(rows[2:4], free[:2], rows[5:7], free[2], free[3], free[4])
    return _Work(rows[2:5], rows[:2], tuple(terms), rows[13], rows[8:14], solving)
