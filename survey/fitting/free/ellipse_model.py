"""The ellipse as the engine sees it: a conic in the points' own frame, with one coefficient held.

In centre, axes and angle a short arc's ellipse is all but undetermined, and a search in them fails for a
third of arcs of 60 degrees; the coefficients of Q = A x^2 + B x y + C y^2 + D x + E y + F stay near one.
They matter up to a common factor; the largest of the start is held: the constant for a closed ellipse, the
coefficient of y for an arc seen from its chord (y = F + D x + A x^2 + B x y + C y^2).

Distances are to the ellipse, not to the conic's value: the foot of each perpendicular comes from the secular
equation (:mod:`survey.fitting.free.ellipse_foot`). There d grows by (term at the foot) / |grad Q| with each
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
from survey.fitting.free.ellipse_conic import EllipsePlace, ellipse_place
from survey.fitting.free.ellipse_foot import FootWork, solve_feet
from survey.fitting.free.points import FEW_POINTS, FreePoints
from survey.fitting.robust import ScaledLoss

EXACT_FEET = 1e-11
"""Largest |p^2 + q^2 - 1|. The foot is then moved onto the ellipse, which leaves its place exact to about
that part of the axes and the distance to the square of it."""
FINE_FEET = 1e-8
"""The same for many points: a tenth of the gradient that is asked for there."""
ROUGH_FEET = 2e-3
"""The same for a first pass over many points, in single precision: good for a step, but for no proof."""
BLOCK = 8192
"""Points a pass; the rows in use then stay in a second-level cache of 2 MB."""


class EllipseModel:
    """The engine's model of an ellipse through :class:`FreePoints`.

    ``held`` is the coefficient kept at its value. It holds the columns its passes write to and, to begin
    the next pass with, the last feet.
    """

    names: Sequence[str] = ()

    def __init__(self, points: FreePoints, coefficients: Floats) -> None:
        n = len(points.xy_mm)
        self.points = points
        self._coefficients = coefficients if coefficients[0] + coefficients[2] > 0.0 else -coefficients
        self.held = int(np.abs(coefficients).argmax())
        self.held_value = float(self._coefficients[self.held])
        self._free = np.array([term for term in range(6) if term != self.held])
        self._origin = points.origin_mm[:, None]
        self._to_frame = points.to_frame.tolist()
        self._tolerance = EXACT_FEET if n <= FEW_POINTS else FINE_FEET
        self._rough_next = n > FEW_POINTS
        self._feet = np.zeros(n)
        self._memory = np.empty(ROWS * min(n, BLOCK))
        self._works: dict[tuple[int, type], _Work] = {}

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
        rough, self._rough_next = self._rough_next, False
        total, cost = np.zeros((6, 6)), 0.0
        for work, block in self._passes(place, rough):
            columns = work.columns
            if self.points.root_weights is not None:
                columns *= self.points.root_weights[block]
            if loss is not None:
                weights, added = loss.weigh(work.distance)
                columns *= np.sqrt(weights)
                cost += added
            product = blas.sgemm if rough else blas.dgemm
            total += product(1.0, columns.T, columns.T, trans_a=1)
        factor = 0.5 / place.size
        return NormalSums(
            total[:5, :5] * factor**2,
            total[5, :5] * factor,
            float(total[5, 5]) if loss is None else cost,
            rough,
        )

    def residuals(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit, times the roots of the weights."""
        distances = self.distances(parameters)
        return distances if self.points.root_weights is None else distances * self.points.root_weights

    def distances(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit."""
        passes = self._passes(self.place(parameters), False)
        return np.concatenate([work.distance.copy() for work, _ in passes])

    def _passes(self, place: EllipsePlace, rough: bool) -> Iterator[tuple[_Work, slice]]:
        """Block after block with its columns filled; each is overwritten by the next."""
        n = self.n_observations
        size = -(-n // (-(-n // BLOCK)))
        kind = np.float32 if rough else np.float64
        views: Floats = np.array(self._views(place), dtype=kind)
        back: Floats = np.array([[place.cos, -place.sin], [place.sin, place.cos]], dtype=kind)
        for first in range(0, n, size):
            block = slice(first, min(first + size, n))
            work = self._work_for(block.stop - first, kind)
            with np.errstate(all="ignore"):  # feet gone astray are found and solved anew
                self._pass(place, block, views, back, work)
            yield work, block

    def _pass(self, place: EllipsePlace, block: slice, views: Floats, back: Floats, work: _Work) -> None:
        """Fill the columns of a block: the terms at the feet over hypot(p/a, q/b), then d."""
        given, seen, t, (xx, xy, yy, xw, yw, inverse), distance, _, feet = work
        np.subtract(self.points.xy_mm[block].T, self._origin, given[:2], casting="same_kind")
        given[2] = 1.0  # blocks of another length have used this memory since
        np.dot(views, given, seen)
        uv = seen[2:]
        if t.dtype == np.float32:
            t[:] = 0.0
            solve_feet(uv, place.a, place.b, t, feet, ROUGH_FEET)
            self._feet[block] = t
        else:
            solve_feet(uv, place.a, place.b, self._feet[block], feet, self._tolerance)
        # 1 / hypot of p/a and q/b, then the unit normal, which stays when the foot is moved onto the ellipse
        (n_u, n_v), (x, y), (d_u, d_v), s = feet.slopes, seen[:2], feet.parts, feet.s
        np.add(feet.squares[0], feet.squares[1], inverse)
        np.sqrt(inverse, inverse)
        np.divide(1.0, inverse, inverse)
        np.multiply(n_u, inverse, n_u)
        np.multiply(n_v, inverse, n_v)
        np.multiply(s, 0.5, s)
        np.add(s, 0.5, s)
        np.multiply(inverse, s, inverse)
        np.multiply(uv, feet.slopes, feet.parts)
        np.add(d_u, d_v, distance)
        np.subtract(distance, inverse, distance)
        # foot in the points' frame: from the point back along the normal
        np.dot(back, feet.slopes, feet.parts)
        np.multiply(d_u, distance, d_u)
        np.multiply(d_v, distance, d_v)
        np.subtract(seen[:2], feet.parts, seen[:2])
        np.multiply(x, inverse, xw)
        np.multiply(y, inverse, yw)
        np.multiply(x, xw, xx)
        np.multiply(x, yw, xy)
        np.multiply(y, yw, yy)

    def _work_for(self, m: int, kind: type) -> _Work:
        """Memory for m points in double or single precision, carved out of the one piece there is."""
        work = self._works.get((m, kind))
        if work is None:
            rows: Floats = self._memory.view(kind)[: ROWS * m].reshape(ROWS, m)
            # the held coefficient's term comes first, so that the rest and d are one piece
            terms = [rows[9 + (term + 1 if term < self.held else term)] for term in range(6)]
            terms[self.held] = rows[9]
            feet = FootWork(rows[16:18], rows[18:20], rows[20:22], rows[22:24], rows[24], rows[25])
            work = _Work(rows[:3], rows[3:7], rows[7], tuple(terms), rows[15], rows[10:16], feet)
            self._works[m, kind] = work
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
    """Rows of memory for one block."""

    given: Floats
    """x, y off the origin, and 1."""
    seen: Floats
    """x, y in the points' frame, and u, v in the ellipse."""
    t: Floats
    terms: tuple[Floats, ...]
    """The six terms over hypot(p/a, q/b)."""
    distance: Floats
    columns: Floats
    """The five terms that are not held, and the distance."""
    feet: FootWork


ROWS = 26
"""Of :class:`_Work`: 3 + 4 + 1, one to spare, 6 + 1 for the terms and the distance, and ten for the feet."""
