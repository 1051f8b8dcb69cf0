"""The ellipse as the engine sees it: a conic in the points' own frame, with one coefficient held.

In centre, axes and angle a short arc's ellipse is all but undetermined, and a search in them fails for a
third of arcs of 60 degrees; the coefficients of Q = A x^2 + B x y + C y^2 + D x + E y + F stay near one.
They matter up to a common factor; the largest of the start is held: the constant for a closed ellipse, the
coefficient of y for an arc seen from its chord (y = F + D x + A x^2 + B x y + C y^2).

Distances are to the ellipse, not to the conic's value: the foot of each perpendicular comes from the secular
equation (:mod:`survey.fitting.free_ellipse_foot`). There d grows by (term at the foot) / |grad Q| with each
coefficient, and |grad Q| = 2 k hypot(p/a, q/b) for Q = k ((u/a)^2 + (v/b)^2 - 1). One product of six
columns (the five terms over |grad Q|, and d) with themselves then gives J'J, J'd and the sum of squares.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from scipy.linalg import blas

from survey.curves.protocol import Floats
from survey.fitting.engine import NormalSums
from survey.fitting.free_ellipse_conic import EllipsePlace, ellipse_place
from survey.fitting.free_ellipse_foot import FootWork, solve_feet
from survey.fitting.free_points import FEW_POINTS, FreePoints
from survey.fitting.robust import ScaledLoss

EXACT_FEET = 1e-11
"""Largest |p^2 + q^2 - 1|. The foot is then moved onto the ellipse, which leaves its place exact to about
that part of the axes and the distance to the square of it."""
FINE_FEET = 1e-8
"""The same for many points: a tenth of the gradient that is asked for there."""
ROUGH_FEET = 2e-3
"""The same for a first pass over many points, whose sums are good for a step but for no proof."""
BLOCK = 4096
"""Points a pass; the twenty columns in use then stay in a second-level cache."""


class EllipseModel:
    """The engine's model of an ellipse through :class:`FreePoints`; ``held`` is the coefficient kept at its
    value.

    It holds the columns its passes write to and, to begin the next pass with, the last feet.
    """

    names: Sequence[str] = ()

    def __init__(self, points: FreePoints, coefficients: Floats) -> None:
        n = len(points.xy_mm)
        self.points = points
        self._coefficients = coefficients if coefficients[0] + coefficients[2] > 0.0 else -coefficients
        self.held = int(np.abs(coefficients).argmax())
        self.held_value = float(self._coefficients[self.held])
        self._free = np.array([term for term in range(6) if term != self.held])
        self._pairs = 7 * self._free[:, None] + self._free
        self._origin = points.origin_mm[:, None]
        self._to_frame = points.to_frame.tolist()
        self._tolerance = EXACT_FEET if n <= FEW_POINTS else FINE_FEET
        self._next_tolerance = EXACT_FEET if n <= FEW_POINTS else ROUGH_FEET
        self._feet = np.zeros(n)
        self._memory = np.empty(ROWS * min(n, BLOCK))
        self._works: dict[int, _Work] = {}

    @property
    def n_observations(self) -> int:
        """Number of points."""
        return len(self.points.xy_mm)

    @property
    def start(self) -> Floats:
        """The free coefficients of the start."""
        return np.asarray(self._coefficients[self._free])

    def coefficients(self, parameters: Floats) -> list[float]:
        """All six coefficients."""
        values: list[float] = parameters.tolist()
        values.insert(self.held, self.held_value)
        return values

    def place(self, parameters: Floats) -> EllipsePlace:
        """The ellipse of the five free coefficients."""
        return ellipse_place(self.coefficients(parameters))

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The engine's sums over blocks of points; rough ones the first time, if the points are many."""
        place = self.place(parameters)
        tolerance, self._next_tolerance = self._next_tolerance, self._tolerance
        total, cost = np.zeros((7, 7)), 0.0
        for columns, block in self._passes(place, tolerance):
            if self.points.root_weights is not None:
                columns *= self.points.root_weights[block]
            if loss is not None:
                weights, added = loss.weigh(columns[6])
                columns *= np.sqrt(weights)
                cost += added
            total += blas.dgemm(1.0, columns.T, columns.T, trans_a=1)
        factor = 0.5 / place.size
        return NormalSums(
            total.take(self._pairs) * factor**2,
            total[6].take(self._free) * factor,
            float(total[6, 6]) if loss is None else cost,
            tolerance > self._tolerance,
        )

    def residuals(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit, times the roots of the weights."""
        distances = self.distances(parameters)
        return distances if self.points.root_weights is None else distances * self.points.root_weights

    def distances(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit."""
        passes = self._passes(self.place(parameters), self._tolerance)
        return np.concatenate([columns[6].copy() for columns, _ in passes])

    def _passes(self, place: EllipsePlace, tolerance: float) -> Iterator[tuple[Floats, slice]]:
        """Columns of block after block; each is overwritten by the next."""
        n = self.n_observations
        size = -(-n // (-(-n // BLOCK)))
        views, back = self._views(place), np.array([[place.cos, -place.sin], [place.sin, place.cos]])
        for first in range(0, n, size):
            block = slice(first, min(first + size, n))
            with np.errstate(all="ignore"):  # feet gone astray are found and solved anew
                columns = self._pass(place, block, views, back, tolerance)
            yield columns, block

    def _pass(
        self, place: EllipsePlace, block: slice, views: Floats, back: Floats, tolerance: float
    ) -> Floats:
        """Columns (7, m): six terms at the feet over hypot(p/a, q/b), then d."""
        xy = self.points.xy_mm[block]
        work = self._work_for(xy.shape[0])
        columns, normals, feet = work.columns, work.normals, work.feet
        np.subtract(xy.T, self._origin, work.given[:2])
        work.given[2] = 1.0  # blocks of another length have used this memory since
        np.dot(views, work.given, work.seen)
        uv = work.seen[2:]
        solve_feet(uv, place.a, place.b, self._feet[block], feet, tolerance)
        # 1 / hypot of p/a and q/b, then the unit normal, which stays when the foot is moved onto the ellipse
        inverse, distance = columns[5], columns[6]
        np.add(feet.squares[0], feet.squares[1], inverse)
        np.sqrt(inverse, inverse)
        np.divide(1.0, inverse, inverse)
        np.multiply(feet.slopes, inverse, normals)
        np.multiply(feet.s, 0.5, feet.s)
        np.add(feet.s, 0.5, feet.s)
        np.multiply(inverse, feet.s, inverse)
        np.multiply(uv, normals, feet.parts)
        np.add(feet.parts[0], feet.parts[1], distance)
        np.subtract(distance, inverse, distance)
        # foot in the points' frame: from the point back along the normal
        foot = np.dot(back, normals, feet.parts)
        np.multiply(foot, distance, foot)
        np.subtract(work.seen[:2], foot, foot)
        np.multiply(foot, inverse, columns[3:5])
        np.multiply(foot, columns[3], columns[:2])
        np.multiply(foot[1], columns[4], columns[2])
        return columns

    def _work_for(self, m: int) -> _Work:
        """Memory for m points, carved out of the one piece that is allowed for."""
        work = self._works.get(m)
        if work is None:
            rows = self._memory[: ROWS * m].reshape(ROWS, m)
            feet = FootWork(rows[16:18], rows[18:20], rows[20:22], rows[22:24], rows[24], rows[25])
            work = self._works[m] = _Work(rows[:3], rows[3:7], rows[7:9], rows[9:16], feet)
        return work

    def _views(self, place: EllipsePlace) -> Floats:
        """Matrix (4, 3) from (millimetres off the origin, 1) to x, y in the frame and u, v in the ellipse."""
        c, s = place.cos, place.sin
        (xx, xy), (yx, yy) = self._to_frame
        return np.array(
            [
                [xx, xy, 0.0],
                [yx, yy, 0.0],
                [c * xx + s * yx, c * xy + s * yy, -c * place.x - s * place.y],
                [c * yx - s * xx, c * yy - s * xy, s * place.x - c * place.y],
            ]
        )


class _Work(NamedTuple):
    """Rows of memory: (x, y, 1) as given, seen from frame and ellipse, normals, columns, feet."""

    given: Floats
    seen: Floats
    normals: Floats
    columns: Floats
    feet: FootWork


ROWS = 26
"""Of :class:`_Work`, 3 + 4 + 2 + 7 and ten for the feet."""
