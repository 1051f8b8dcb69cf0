"""Feet of perpendiculars on an ellipse from the secular equation, without trigonometry.

In the ellipse's own axes, a >= b, the foot of the point (u, v) is (a p, b q) with

    p = a u / (t + a^2),   q = b v / (t + b^2),   p^2 + q^2 = 1,   t > -b^2,

where t is the signed distance over hypot(p/a, q/b). g(t) = p^2 + q^2 - 1 falls and is convex for t > -b^2,
so the root is unique there. Near the ellipse Halley's iteration from t = 0 (or from the last pass's t)
triples the number of right digits at every step; the few points for which it does not arrive, deep inside
or far away, are solved by Newton's iteration from below, which cannot overshoot a falling convex function.

References
----------
Eberly, D., "Distance from a Point to an Ellipse, an Ellipsoid, or a Hyperellipsoid" (2011), for the secular
equation and its bracket; Halley's iteration is classical. Both from memory, not seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats

FOOT_TOLERANCE = 1e-11
"""Largest |p^2 + q^2 - 1|; the foot is then moved onto the ellipse, which leaves its place exact to about
that part of the axes and the distance to the square of it."""
MAX_HALLEY = 4
MAX_NEWTON = 200
NEWTON_TOLERANCE = 4e-16


@dataclass(frozen=True, slots=True, eq=False)
class FootWork:
    """Memory for the feet of m points; after :func:`solve_feet` it holds p/a and q/b, their squares and g."""

    slopes: Floats
    squares: Floats
    parts: Floats
    sums: Floats
    g: Floats
    spare: Floats

    @classmethod
    def for_points(cls, m: int) -> FootWork:
        """Rows for m points."""
        return cls(
            np.empty((2, m)), np.empty((2, m)), np.empty((2, m)), np.empty((2, m)), np.empty(m), np.empty(m)
        )


def solve_feet(uv: Floats, a: float, b: float, t: Floats, work: FootWork, tolerance: float) -> None:
    """Solve for t in place from its value on entry; p/a and q/b are left in ``work.slopes``.

    Parameters
    ----------
    uv : (2, m) float
        Points in the ellipse's axes.
    a, b : float
        Semi-axes, a >= b.
    t : (m,) float
        Start values, overwritten by the roots.
    work : FootWork
    tolerance : float
        Largest |g| that is left.
    """
    squared_axes = np.array([[a * a], [b * b]])
    sums, slopes, squares, parts, g, spare = (
        work.sums,
        work.slopes,
        work.squares,
        work.parts,
        work.g,
        work.spare,
    )
    for step in range(MAX_HALLEY + 1):
        np.add(t, squared_axes, sums)
        np.divide(uv, sums, slopes)
        np.multiply(slopes, slopes, squares)
        np.multiply(squares, squared_axes, parts)
        np.add(parts[0], parts[1], g)
        np.subtract(g, 1.0, g)
        arrived = g.max() <= tolerance and g.min() >= -tolerance
        if arrived or step == MAX_HALLEY:
            break
        # with D = -g'/2 and S = g''/6 Halley's step is g D / (2 D^2 - 3/2 g S)
        np.divide(parts, sums, parts)
        slope = np.add(parts[0], parts[1], spare)
        np.divide(parts, sums, parts)
        bend = np.add(parts[0], parts[1], sums[0])
        np.multiply(g, 0.75, sums[1])
        np.multiply(bend, sums[1], bend)
        np.multiply(g, slope, g)
        np.multiply(slope, slope, slope)
        np.subtract(slope, bend, slope)
        np.divide(g, slope, g)
        np.multiply(g, 0.5, g)
        np.add(t, g, t)
    if not arrived or t.min() <= -b * b:
        lost = np.flatnonzero((t <= -b * b) | ~(np.abs(g) <= tolerance))
        t[lost], slopes[0, lost], slopes[1, lost] = solve_feet_safely(uv[:, lost], a, b)
        squares[:, lost] = slopes[:, lost] ** 2
        g[lost] = a * a * squares[0, lost] + b * b * squares[1, lost] - 1.0


def solve_feet_safely(uv: Floats, a: float, b: float) -> Floats:
    """Rows t, p/a, q/b (3, m) for any points, by Newton's iteration from below; arguments as
    :func:`solve_feet`.

    The unknown is t + b^2, so that nothing is lost where that is small. On the long axis inside the evolute
    it is zero, and of the two feet that are equally near the upper one is given; at the centre of a circle,
    where every foot is, the one on the second axis.
    """
    focal2 = (a - b) * (a + b)
    au, bv = a * uv[0], b * uv[1]
    above = np.maximum(np.abs(au) - focal2, np.abs(bv))
    on_axis = above <= 0.0
    above[on_axis] = focal2 if focal2 > 0.0 else b * b
    off_axis = ~on_axis
    for _ in range(MAX_NEWTON):
        alpha, beta = 1.0 / (above + focal2), 1.0 / above
        pp, qq = (au * alpha) ** 2, (bv * beta) ** 2
        step = np.divide(pp + qq - 1.0, 2.0 * (pp * alpha + qq * beta), out=np.zeros_like(pp), where=off_axis)
        above += step
        if not (np.abs(step) > NEWTON_TOLERANCE * above).any():
            break
    p, q = au / (above + focal2), bv / above
    p[on_axis] = au[on_axis] / focal2 if focal2 > 0.0 else 0.0
    q[on_axis] = np.sqrt(np.maximum(1.0 - p[on_axis] ** 2, 0.0))
    above[on_axis] = 0.0
    size = np.hypot(p, q)
    return np.stack([above - b * b, p / (a * size), q / (b * size)])
