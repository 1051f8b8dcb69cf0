"""The circle as the engine sees it: A (x^2 + y^2) + B x + C y + D = 0 in the points' own frame.

Circles and straight lines are one family in these coefficients, so an arc however flat is fitted without
its far centre. They matter up to a common factor only; the largest coefficient of the start is held, the
other three are the parameters. With k = sqrt(B^2 + C^2 - 4 A D), curvature K = 2A/k and the point O of the
circle on its axis through the origin, every point has in the axes (x, y) of O (y along the normal there)

    P = K (x^2 + y^2) / 2 + y,   root = sqrt(1 + 2 K P) = 1 + K d,   d = 2 P / (1 + root)

with the signed distance d free of cancellation for any K, and the foot of its perpendicular has x_f = x /
root and x_f^2 + y_f^2 = (x^2 + y^2 - d^2) / root = -2 y_f / K. The derivative of d for a coefficient is
that coefficient's term at the foot divided by k. Where the radius is not large the same numbers follow with
half the work from d = |p - c| - R and the normals n = (p - c) / |p - c|, for the feet are c + R n.

References
----------
Chernov, N. and Lesort, C., "Least squares fitting of circles", J. Math. Imaging Vision 23 (2005) 239-252,
arXiv cs/0301001 (first page seen), for the form of d.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, hypot, sin, sqrt
from typing import NamedTuple

import numpy as np
from scipy.linalg import blas

from survey.curves.protocol import Floats
from survey.fitting.free.points import FreePoints
from survey.fitting.solving.engine import NormalSums, OutsideDomainError
from survey.fitting.solving.robust import ScaledLoss

BLOCK = 16384
"""Points a pass; twelve columns of them stay in a second-level cache."""
SMALLEST_ROOT = 1e-30
"""Keeps a point at the very centre, which is as near to every foot, from dividing by nothing."""
FLAT_CURVATURE = 0.05
"""Extent over radius below which the centre is left out of the reckoning; above, it costs two digits at
most and halves the work."""
LARGEST_RADIUS_RATIO = 1e7
"""Radius over the points' extent beyond which rounding hides the bend: the points then lie on a line."""
NO_FINITE_CIRCLE = (
    "no finite circle fits: the points are flatter than any circle (a straight line lies as near to them)"
)


@dataclass(frozen=True, slots=True)
class CirclePlace:
    """A circle in the frame of its points: coefficients, k, curvature, the near point O, the normal there."""

    coefficients: tuple[float, float, float, float]
    size: float
    curvature: float
    near: tuple[float, float]
    normal: tuple[float, float]

    @property
    def centre(self) -> tuple[float, float]:
        """The circle's centre, far away if it is flat."""
        a, b, c, _ = self.coefficients
        return -0.5 * b / a, -0.5 * c / a


def circle_place(coefficients: Sequence[float]) -> CirclePlace:
    """The circle of coefficients A, B, C, D; raises OutsideDomainError if no point meets the equation."""
    a, b, c, d = (float(value) for value in coefficients)
    slope = hypot(b, c)
    discriminant = slope * slope - 4.0 * a * d
    if not discriminant > 0.0:
        raise OutsideDomainError("the circle shrinks to nothing")
    size = sqrt(discriminant)
    curvature = 2.0 * a / size
    if abs(curvature) < 1.0 / LARGEST_RADIUS_RATIO:
        raise OutsideDomainError(NO_FINITE_CIRCLE)
    normal = (b / slope, c / slope) if slope > 0.0 else (0.0, 1.0)
    along = -2.0 * d / (slope + size)
    return CirclePlace((a, b, c, d), size, curvature, (along * normal[0], along * normal[1]), normal)


class _Block(NamedTuple):
    """A block of points (2, m), and memory (10, m) it shares with other blocks."""

    xy_mm: Floats
    root_weights: Floats | None
    work: Floats


def _blocks(points: FreePoints) -> list[_Block]:
    work, root = np.empty(0), points.root_weights
    blocks = []
    for block in points.blocks(BLOCK):
        m = block.stop - block.start
        if work.shape[-1] != m:
            work = np.empty((10, m))
        blocks.append(_Block(points.xy_mm[block].T, None if root is None else root[block], work))
    return blocks


class CircleModel:
    """The engine's model of a circle through :class:`FreePoints`.

    The largest coefficient is kept at its value. It holds the columns its passes write to.
    """

    names: Sequence[str] = ()

    def __init__(self, points: FreePoints, coefficients: Floats) -> None:
        self.points = points
        self.n_observations = len(points.xy_mm)
        values: list[float] = coefficients.tolist()
        sizes = [abs(value) for value in values]
        self.held = sizes.index(max(sizes))
        self._coefficients = values if values[0] > 0.0 else [-value for value in values]
        self.held_value = self._coefficients[self.held]
        self._origin = points.origin_mm[:, None]
        self._to_frame = points.to_frame
        self._turn = cos(points.turn_rad), sin(points.turn_rad)
        self._blocks = _blocks(points)

    @property
    def start(self) -> Floats:
        """The free coefficients of the start."""
        return np.array(self._coefficients[: self.held] + self._coefficients[self.held + 1 :])

    def coefficients(self, parameters: Floats) -> list[float]:
        """All four coefficients."""
        values: list[float] = parameters.tolist()
        values.insert(self.held, self.held_value)
        return values

    def place(self, parameters: Floats) -> CirclePlace:
        """The circle of the three free coefficients."""
        return circle_place(self.coefficients(parameters))

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The engine's sums over blocks of points."""
        place = self.place(parameters)
        is_flat = abs(place.curvature) < FLAT_CURVATURE
        total, cost = np.zeros((4, 4)), 0.0
        with np.errstate(all="ignore"):  # a coordinate that is no number ends in a cost that is none
            for block in self._blocks:
                columns = self._flat_pass(place, block) if is_flat else self._round_pass(place, block)
                if block.root_weights is not None:
                    columns *= block.root_weights
                if loss is not None:
                    weights, added = loss.weigh(columns[3])
                    columns *= np.sqrt(weights)
                    cost += added
                total += blas.dgemm(1.0, columns.T, columns.T, trans_a=1)
        terms = self._flat_terms(place) if is_flat else self._round_terms(place)
        turned = np.dot(np.dot(terms, total), terms.T)
        return NormalSums(turned[:3, :3], turned[3, :3], float(total[3, 3]) if loss is None else cost)

    def residuals(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit, times the roots of the weights."""
        distances = self.distances(parameters)
        return distances if self.points.root_weights is None else distances * self.points.root_weights

    def distances(self, parameters: Floats) -> Floats:
        """Signed distances (n,) in the frame's unit."""
        place = self.place(parameters)
        return np.concatenate([self._flat_pass(place, block)[3] for block in self._blocks])

    def _round_pass(self, place: CirclePlace, block: _Block) -> Floats:
        """Columns (4, m) n_x, n_y, 1, d of a block with n the outward normal in the points' own axes."""
        work, sign = block.work, 1.0 if place.curvature > 0.0 else -1.0
        columns, squares, radius = work[:4], work[4:6], work[6]
        normals = columns[:2]
        np.subtract(block.xy_mm, self._origin, normals)
        np.subtract(normals, self._in_own_axes(place.centre), normals)
        np.multiply(normals, normals, squares)
        np.add(squares[0], squares[1], radius)
        np.maximum(radius, SMALLEST_ROOT, out=radius)
        np.sqrt(radius, radius)
        np.divide(sign, radius, squares[0])
        np.multiply(normals, squares[0], normals)
        np.multiply(radius, sign / self.points.scale_mm, radius)
        np.subtract(radius, 1.0 / place.curvature, columns[3])
        columns[2] = 1.0
        return columns

    def _in_own_axes(self, centre: tuple[float, float]) -> Floats:
        """Millimetres off the origin (2, 1) of a place in the frame."""
        (c, s), (x, y), scale = self._turn, centre, self.points.scale_mm
        return np.array([[scale * (c * x - s * y)], [scale * (s * x + c * y)]])

    def _round_terms(self, place: CirclePlace) -> Floats:
        """Derivatives of d for the free coefficients, and d itself, in terms of n_x, n_y, 1 and d: (4, 4)."""
        radius, (x, y), (c, s), size = 1.0 / place.curvature, place.centre, self._turn, place.size
        rc, rs = radius * c / size, radius * s / size
        rows = [
            [2.0 * (x * rc - y * rs), 2.0 * (x * rs + y * rc), (x * x + y * y + radius * radius) / size, 0.0],
            [rc, rs, x / size, 0.0],
            [-rs, rc, y / size, 0.0],
            [0.0, 0.0, 1.0 / size, 0.0],
            [0.0, 0.0, 0.0, 1.0],
        ]
        del rows[self.held]
        return np.array(rows)

    def _flat_pass(self, place: CirclePlace, block: _Block) -> Floats:
        """Columns (4, m) x_f, x_f^2 + y_f^2, 1, d of a block, in the axes of the near point O."""
        work, bend = block.work, 0.5 * place.curvature
        columns, root, inverse = work[:4], work[8], work[9]
        np.subtract(block.xy_mm, self._origin, work[4:6])
        (nx, ny), (x0, y0) = place.normal, place.near
        across, along = np.dot(np.array([[ny, -nx], [nx, ny]]) @ self._to_frame, work[4:6], work[6:8])
        # O lies on the normal through the origin, so only the second coordinate is shifted
        along -= nx * x0 + ny * y0
        square = np.multiply(across, across, columns[1])
        square += np.multiply(along, along, root)
        power = np.multiply(square, bend, work[4])
        power += along
        np.multiply(power, 4.0 * bend, root)
        root += 1.0
        np.maximum(root, SMALLEST_ROOT, out=root)
        np.sqrt(root, root)
        np.divide(1.0, root, inverse)
        root += 1.0
        distance = np.divide(power, root, columns[3])
        distance += distance
        np.multiply(across, inverse, columns[0])
        square -= np.multiply(distance, distance, root)
        square *= inverse
        columns[2] = 1.0
        return columns

    def _flat_terms(self, place: CirclePlace) -> Floats:
        """The same in terms of x_f, x_f^2 + y_f^2, 1 and d: (4, 4)."""
        (x0, y0), (nx, ny), bend = place.near, place.normal, 0.5 * place.curvature
        rows = [
            [2.0 * (ny * x0 - nx * y0), 1.0 - 2.0 * bend * (nx * x0 + ny * y0), x0 * x0 + y0 * y0, 0.0],
            [ny, -bend * nx, x0, 0.0],
            [-nx, -bend * ny, y0, 0.0],
            [0.0, 0.0, 1.0, 0.0],
            [0.0, 0.0, 0.0, place.size],
        ]
        del rows[self.held]
        return np.array(rows) / place.size
