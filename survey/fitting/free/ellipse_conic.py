"""Conic coefficients and the ellipse they stand for, in the frame of the points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, pi, sin, sqrt

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.solving.engine import OutsideDomainError

LARGEST_AXIS_RATIO = 1e4
"""Semi-axis over the points' extent beyond which the ellipse counts as a parabola: rounding, which grows
with the square of it, would reach 1e-8 of the extent, and the difference of the two curves within the
points is below that of any measurement."""
NO_FINITE_ELLIPSE = (
    "no finite ellipse fits: the points are flatter than any ellipse (a parabola or hyperbola lies nearer)"
)
TERMS = ("x^2", "x y", "y^2", "x", "y", "1")


@dataclass(frozen=True, slots=True)
class EllipsePlace:
    """An ellipse: centre (x, y), semi-axes a >= b, direction of the long axis, and the size k of its conic.

    The conic is k ((u/a)^2 + (v/b)^2 - 1) in the ellipse's own axes.
    """

    x: float
    y: float
    a: float
    b: float
    cos: float
    sin: float
    size: float

    @property
    def squeeze(self) -> float:
        """(b/a)^2."""
        return (self.b / self.a) ** 2

    @property
    def angle_rad(self) -> float:
        """Direction of the long axis in (-pi/2, pi/2]."""
        angle = atan2(self.sin, self.cos)
        return angle if -pi / 2 < angle <= pi / 2 else angle - pi if angle > 0 else angle + pi


def ellipse_place(coefficients: Sequence[float]) -> EllipsePlace:
    """The ellipse of A x^2 + B x y + C y^2 + D x + E y + F = 0, or OutsideDomainError if there is none."""
    a, b, c, d, e, f = coefficients
    discriminant = a * c - 0.25 * b * b
    if not discriminant > 0.0:
        raise OutsideDomainError(NO_FINITE_ELLIPSE)
    if a + c < 0.0:
        a, b, c, d, e, f = -a, -b, -c, -d, -e, -f
    x = (0.25 * b * e - 0.5 * c * d) / discriminant
    y = (0.25 * b * d - 0.5 * a * e) / discriminant
    size = -(f + 0.5 * (d * x + e * y))
    if not size > 0.0:
        raise OutsideDomainError("the ellipse shrinks to nothing")
    steep = 0.5 * (a + c + sqrt((a - c) ** 2 + b * b))
    flat = discriminant / steep
    major = sqrt(size / flat)
    if major > LARGEST_AXIS_RATIO:
        raise OutsideDomainError(NO_FINITE_ELLIPSE)
    angle = 0.5 * atan2(-b, c - a)
    return EllipsePlace(x, y, major, sqrt(size / steep), cos(angle), sin(angle), size)


def conic_derivatives(place: EllipsePlace) -> Floats:
    """Conic of size 1, then its derivatives for x, y, a, b and the angle, as rows (6, 6).

    Columns are :data:`TERMS`. The derivative for the angle is divided by (a^2 - b^2) / (a b), which
    vanishes for a circle.
    """
    c, s, a, b = place.cos, place.sin, place.a, place.b
    u = (c, s, -(c * place.x + s * place.y))
    v = (-s, c, s * place.x - c * place.y)
    one = (0.0, 0.0, 1.0)
    pairs = ((u, u), (v, v), (u, v), (u, one), (v, one), (one, one))
    terms_in_uv = np.array([_product(left, right) for left, right in pairs])
    along, across = -2.0 / a**2, -2.0 / b**2
    of_uv = [
        [1.0 / a**2, 1.0 / b**2, 0.0, 0.0, 0.0, -1.0],
        [0.0, 0.0, 0.0, c * along, -s * across, 0.0],
        [0.0, 0.0, 0.0, s * along, c * across, 0.0],
        [along / a, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, across / b, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, -2.0 / (a * b), 0.0, 0.0, 0.0],
    ]
    return np.asarray(np.array(of_uv) @ terms_in_uv)


def _product(left: tuple[float, float, float], right: tuple[float, float, float]) -> list[float]:
    """Coefficients of the product of two linear forms in x, y, 1."""
    (a, b, c), (d, e, f) = left, right
    return [a * d, a * e + b * d, b * e, a * f + c * d, b * f + c * e, c * f]
