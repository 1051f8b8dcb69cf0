"""Feet of perpendiculars on an ellipse from the secular equation, without trigonometry.

In the ellipse's own axes, in units of its long half-axis, with k = (b/a)^2, the foot of the point (u, v) is
(m, k n), (m, n) being the direction of the normal there:

    m = u / (t + 1),   n = v / (t + k),   s(t) = m^2 + k n^2 = 1,   t > -k,

where t is the signed distance over hypot(m, n). s falls and is convex for t > -k, so the root is unique
there. 1 / sqrt(s) is all but straight in t (for a circle it is straight), so Newton's iteration on it,
t += s (sqrt(s) - 1) / (m^2 / (t + 1) + k n^2 / (t + k)), arrives in two or three steps near the ellipse. The
few points for which it does not, deep inside or far away, are solved by Newton's iteration on s from below,
which cannot overshoot a falling convex function.

References
----------
Eberly, D., "Distance from a Point to an Ellipse, an Ellipsoid, or a Hyperellipsoid" (2011), for the secular
equation and its bracket. Hebden, M. D., "An algorithm for minimization using exact second derivatives",
Harwell report TP 515 (1973), for iterating on 1 / sqrt(s). Both from memory, not seen.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats

MAX_STEPS = 6
MAX_NEWTON = 200
NEWTON_TOLERANCE = 4e-16


class FootWork(NamedTuple):
    """Memory for m points, three (2, m) and three (m,)."""

    normals: Floats
    """On return m and n."""
    squares: Floats
    """On return m^2 and n^2."""
    sums: Floats
    s: Floats
    """On return s."""
    spare: Floats
    off: Floats
    """On return sqrt(s) - 1."""


def solve_feet(uv: Floats, k: float, t: Floats, work: FootWork, tolerance: float) -> None:
    """Solve for t in place from its value on entry; what else is known of the feet is left in ``work``.

    Parameters
    ----------
    uv : (2, m) float
        Points in the ellipse's axes, in units of the long half-axis.
    k : float
        (b/a)^2, at most one.
    t : (m,) float
        Start values, overwritten by the roots.
    work : FootWork
    tolerance : float
        Largest |sqrt(s) - 1| / sqrt(k) that is left. The foot is then off by about as much of the short
        half-axis, and the distance by the square of that over the least radius of curvature.
    """
    normals, squares, sums, s, spare, off = work
    (to_one, to_k), of_squares = sums, np.array([1.0, k])
    enough = tolerance * sqrt(k)
    for step in range(MAX_STEPS + 1):
        np.add(t, 1.0, to_one)
        np.add(t, k, to_k)
        np.divide(uv, sums, normals)
        np.multiply(normals, normals, squares)
        np.dot(of_squares, squares, s)
        np.sqrt(s, off)
        np.subtract(off, 1.0, off)
        arrived = np.abs(off, spare).max() <= enough
        if arrived or step == MAX_STEPS:
            break
        np.divide(squares, sums, squares)
        fall = np.dot(of_squares, squares, spare)
        np.multiply(off, s, off)
        np.divide(off, fall, off)
        np.add(t, off, t)
    if not (arrived and t.min() > -k):
        lost = np.flatnonzero(~((t > -k) & (spare <= enough)))
        t[lost], normals[0, lost], normals[1, lost] = solve_feet_safely(uv[:, lost], 1.0, sqrt(k))
        squares[:, lost] = normals[:, lost] ** 2
        s[lost], off[lost] = 1.0, 0.0


def solve_feet_safely(uv: Floats, a: float, b: float) -> Floats:
    """Rows t, p/a, q/b (3, m) for any points, by Newton's iteration from below.

    Parameters
    ----------
    uv : (2, m) float
        Points in the axes of the ellipse.
    a, b : float
        Semi-axes, a >= b.

    Notes
    -----
    The unknown is t a^2 + b^2, so that nothing is lost where that is small. On the long axis inside the
    evolute it is zero, and of the two feet that are equally near the upper one is given; at the centre of a
    circle, where every foot is, the one on the second axis.
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
