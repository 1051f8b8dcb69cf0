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

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import blas

from survey.curves.protocol import Floats
from survey.fitting.engine import NormalSums
from survey.fitting.free_ellipse_conic import EllipsePlace, ellipse_place
from survey.fitting.free_ellipse_foot import FOOT_TOLERANCE, FootWork, solve_feet
from survey.fitting.free_points import FreePoints
from survey.fitting.robust import ScaledLoss

BLOCK = 4096
"""Points a pass; the twenty columns in use then stay in a second-level cache."""


class EllipseModel:
    """The engine's model of an ellipse through :class:`FreePoints`; ``held`` is the coefficient kept at its
    value.

    It holds the columns its passes write to and, to begin the next pass with, the last feet.
    """

    names: Sequence[str] = ()

    def __init__(
        self, points: FreePoints, coefficients: Floats, foot_tolerance: float = FOOT_TOLERANCE
    ) -> None:
        self.points = points
        self._coefficients = coefficients if coefficients[0] + coefficients[2] > 0.0 else -coefficients
        self.held = int(np.abs(coefficients).argmax())
        self.held_value = float(self._coefficients[self.held])
        self.foot_tolerance = foot_tolerance
        self._free = np.array([term for term in range(6) if term != self.held])
        self._pairs = 7 * self._free[:, None] + self._free
        self._origin = points.origin_mm[:, None]
        self._to_frame = points.to_frame.tolist()
        self._feet = np.zeros(points.xy_mm.shape[0])
        self._columns: dict[int, _Columns] = {}

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
        """The engine's sums over blocks of points."""
        place = self.place(parameters)
        total, cost = np.zeros((7, 7)), 0.0
        with np.errstate(all="ignore"):  # feet gone astray are found and solved anew
            for block in self._blocks():
                columns = self._pass(place, block)
                if self.points.root_weights is not None:
                    columns *= self.points.root_weights[block]
                if loss is not None:
                    weights, added = loss.weigh(columns[6])
                    columns *= np.sqrt(weights)
                    cost += added
                total += blas.dgemm(1.0, columns.T, columns.T, trans_a=1)
        factor = 0.5 / place.size
        matrix = total.take(self._pairs) * factor**2
        return NormalSums(
            matrix, total[6].take(self._free) * factor, float(total[6, 6]) if loss is None else cost
        )

    def residuals(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit, times the roots of the weights."""
        distances = self.distances(parameters)
        return distances if self.points.root_weights is None else distances * self.points.root_weights

    def distances(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit."""
        place = self.place(parameters)
        with np.errstate(all="ignore"):
            return np.concatenate([self._pass(place, block)[6] for block in self._blocks()])

    def _blocks(self) -> list[slice]:
        n = self.n_observations
        size = -(-n // (-(-n // BLOCK)))
        return [slice(i, min(i + size, n)) for i in range(0, n, size)]

    def _pass(self, place: EllipsePlace, block: slice) -> Floats:
        """Columns (7, m): six terms at the feet over hypot(p/a, q/b), then d."""
        xy = self.points.xy_mm[block]
        work = self._columns.get(xy.shape[0])
        if work is None:
            work = self._columns[xy.shape[0]] = _Columns.for_points(xy.shape[0])
        np.subtract(xy.T, self._origin, work.given[:2])
        np.dot(self._views(place), work.given, work.seen)
        feet, columns, normals = work.feet, work.columns, work.normals
        uv = work.seen[2:]
        solve_feet(uv, place.a, place.b, self._feet[block], feet, self.foot_tolerance)
        # 1 / hypot of p/a and q/b, then the unit normal, which stays when the foot is moved onto the ellipse
        inverse, distance = columns[5], columns[6]
        np.add(feet.squares[0], feet.squares[1], inverse)
        np.sqrt(inverse, inverse)
        np.divide(1.0, inverse, inverse)
        np.multiply(feet.slopes, inverse, normals)
        np.multiply(feet.g, 0.5, feet.g)
        np.add(feet.g, 1.0, feet.g)
        np.multiply(inverse, feet.g, inverse)
        np.multiply(uv, normals, feet.parts)
        np.add(feet.parts[0], feet.parts[1], distance)
        np.subtract(distance, inverse, distance)
        # foot in the points' frame: from the point back along the normal
        foot = np.dot(np.array([[place.cos, -place.sin], [place.sin, place.cos]]), normals, feet.parts)
        np.multiply(foot, distance, foot)
        np.subtract(work.seen[:2], foot, foot)
        np.multiply(foot, inverse, columns[3:5])
        np.multiply(foot, columns[3], columns[:2])
        np.multiply(foot[1], columns[4], columns[2])
        return columns

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


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """Memory for m points: (x, y, 1) as given, as seen from frame and ellipse, normals, columns, feet."""

    given: Floats
    seen: Floats
    normals: Floats
    columns: Floats
    feet: FootWork

    @classmethod
    def for_points(cls, m: int) -> _Columns:
        return cls(
            np.ones((3, m)), np.empty((4, m)), np.empty((2, m)), np.empty((7, m)), FootWork.for_points(m)
        )  # fmt: skip
