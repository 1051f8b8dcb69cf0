"""Feet of perpendiculars on an ellipse from the secular equation, without trigonometry.

In the ellipse's own axes, a >= b, the foot of the point (u, v) is (a p, b q) with

    p = a u / (t + a^2),   q = b v / (t + b^2),   s(t) = p^2 + q^2 = 1,   t > -b^2,

where t is the signed distance over hypot(p/a, q/b). s falls and is convex for t > -b^2, so the root is
unique there. 1 / sqrt(s) is all but straight in t (for a circle it is straight), so Newton's iteration on
it, t += s (sqrt(s) - 1) / (p^2 / (t + a^2) + q^2 / (t + b^2)), arrives in two or three steps near the
ellipse. The few points for which it does not, deep inside or far away, are solved by Newton's iteration on
s from below, which cannot overshoot a falling convex function.

References
----------
Eberly, D., "Distance from a Point to an Ellipse, an Ellipsoid, or a Hyperellipsoid" (2011), for the secular
equation and its bracket. Hebden, M. D., "An algorithm for minimization using exact second derivatives",
Harwell report TP 515 (1973), for iterating on 1 / sqrt(s). Both from memory, not seen.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats

MAX_STEPS = 6
MAX_NEWTON = 200
NEWTON_TOLERANCE = 4e-16


class FootWork(NamedTuple):
    """Memory for m points, four (2, m) and two (m,); on return p/a and q/b, their squares, and s."""

    slopes: Floats
    squares: Floats
    parts: Floats
    sums: Floats
    s: Floats
    spare: Floats


def solve_feet(uv: Floats, a: float, b: float, t: Floats, work: FootWork, tolerance: float) -> None:
    """Solve for t in place from its value on entry; p/a and q/b are left in ``work.slopes``.

    Parameters
    ----------
    uv : (2, m) float
        Points in the ellipse's axes; in the precision of ``t`` and ``work``.
    a, b : float
        Semi-axes, a >= b.
    t : (m,) float
        Start values, overwritten by the roots.
    work : FootWork
    tolerance : float
        Largest |s - 1| that is left.
    """
    slopes, squares, parts, sums, s, spare = work
    (to_a, to_b), (along, across), (first, second) = sums, squares, parts
    aa, bb, low, high = a * a, b * b, 1.0 - tolerance, 1.0 + tolerance
    for step in range(MAX_STEPS + 1):
        np.add(t, aa, to_a)
        np.add(t, bb, to_b)
        np.divide(uv, sums, slopes)
        np.multiply(slopes, slopes, squares)
        np.multiply(along, aa, first)
        np.multiply(across, bb, second)
        np.add(first, second, s)
        arrived = s.max() <= high and s.min() >= low
        if arrived or step == MAX_STEPS:
            break
        np.divide(parts, sums, parts)
        np.add(first, second, first)
        np.sqrt(s, spare)
        np.subtract(spare, 1.0, spare)
        np.multiply(spare, s, spare)
        np.divide(spare, first, spare)
        np.add(t, spare, t)
    if not arrived or t.min() <= -bb:
        lost = np.flatnonzero((t <= -bb) | ~(np.abs(s - 1.0) <= tolerance))
        t[lost], slopes[0, lost], slopes[1, lost] = solve_feet_safely(uv[:, lost].astype(float), a, b)
        squares[:, lost] = slopes[:, lost] ** 2
        s[lost] = aa * along[lost] + bb * across[lost]


def solve_feet_safely(uv: Floats, a: float, b: float) -> Floats:
    """Rows t, p/a, q/b (3, m) for any points, by Newton's iteration from below.

    Arguments as for :func:`solve_feet`. The unknown is t + b^2, so that nothing is lost where that is
    small. On the long axis inside the evolute it is zero, and of the two feet that are equally near the
    upper one is given; at the centre of a circle, where every foot is, the one on the second axis.
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
