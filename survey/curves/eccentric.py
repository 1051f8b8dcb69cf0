"""The ellipse by its eccentric angle: arc length, turning, and the nearest point.

In the ellipse's own frame the point at eccentric angle t is (-a cos t, b sin t): 0 at the left springing,
pi/2 at the crown, pi at the right springing. ``a`` is the half-span and ``b`` the rise, whichever is
longer. The continuation below the springings runs from -pi/2 to 3 pi/2.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ellipe, ellipeinc

from survey.curves.protocol import Floats

N_NODES = 129
"""Nodes of the table that brackets a station; Newton then needs a step or two."""

ROOT_TOLERANCE = 4e-16
"""Relative change at which the foot point has settled: two units in the last place."""

STATION_TOLERANCE = 4e-16
"""Share of the curve's length by which an angle may miss its station: what the integrals can tell apart."""

N_STEPS = 100
"""Most steps of an iteration; both converge to rounding within a third of that on any input."""


def speed(a: float, b: float, t: Floats) -> Floats:
    """Arc length per radian of eccentric angle, mm: sqrt(a^2 sin^2 t + b^2 cos^2 t)."""
    return np.hypot(a * np.sin(t), b * np.cos(t))


def arc_length(a: float, b: float, t: Floats) -> Floats:
    """Arc length from the left springing to eccentric angle t, mm.

    Notes
    -----
    a [E(m) - E(pi/2 - t | m)] with m = 1 - (b/a)^2 for a flat ellipse, b E(t | m) with m = 1 - (a/b)^2 for
    a tall one.

    References
    ----------
    NIST Digital Library of Mathematical Functions, 19.30(i), "Ellipse".
    """
    if a >= b:
        m = 1.0 - (b / a) ** 2
        return np.asarray(a * (ellipe(m) - ellipeinc(math.pi / 2 - t, m)))
    return np.asarray(b * ellipeinc(t, 1.0 - (a / b) ** 2))


def turning(a: float, b: float, t: Floats) -> Floats:
    """Angle the tangent has turned through since the left springing, rad."""
    angle = np.arctan2(a * np.sin(t), b * np.cos(t))
    return np.where((t > math.pi / 2) & (angle < 0.0), angle + 2 * math.pi, angle)


def angle_at(a: float, b: float, offset_mm: float, station_mm: Floats) -> Floats:
    """Eccentric angles whose normals meet the parallel curve at the stations, by bracketed Newton steps.

    The station on the parallel at distance d is s(t) + d psi(t), with s the arc length of the ellipse and
    psi its turning: growing throughout as long as d leaves a positive radius of curvature.
    """
    nodes = np.linspace(-math.pi / 2, 3 * math.pi / 2, N_NODES)
    reached = arc_length(a, b, nodes) + offset_mm * turning(a, b, nodes)
    after = np.clip(np.searchsorted(reached, station_mm, side="right"), 1, N_NODES - 1)
    low, high = nodes[after - 1], nodes[after]
    run = reached[after] - reached[after - 1]
    u = np.clip((station_mm - reached[after - 1]) / run, 0.0, 1.0)
    v = 1.0 - u
    # the cubic with the right angles and slopes at both nodes is nearly there: one Newton step is left
    pace = speed(a, b, nodes)
    slope = 1.0 / (pace + offset_mm * a * b / pace**2)
    t = v * v * (low * (1.0 + 2.0 * u) + u * run * slope[after - 1])
    t = np.clip(t + u * u * (high * (1.0 + 2.0 * v) - v * run * slope[after]), low, high)
    for _ in range(N_STEPS):
        excess = arc_length(a, b, t) + offset_mm * turning(a, b, t) - station_mm
        settled = np.abs(excess) <= STATION_TOLERANCE * reached[-1]
        if settled.all():
            break
        low, high = np.where(excess > 0.0, low, t), np.where(excess > 0.0, t, high)
        rate = speed(a, b, t)
        step = t - excess / (rate + offset_mm * a * b / rate**2)
        step = np.where((step < low) | (step > high), (low + high) / 2, step)
        t = np.where(settled, t, step)
    return t


def nearest_angle(a: float, b: float, x_mm: Floats, y_mm: Floats) -> Floats:
    """Eccentric angles (n,) of the points of the whole ellipse nearest to given points in its own frame.

    Notes
    -----
    With the shorter semi-axis as unit, U = a |x| / b^2, V = |y| / b and k = a^2 / b^2 - 1, the foot has the
    cosine U / (T + k) and the sine V / T at the positive root of (U / (T + k))^2 + (V / T)^2 = 1. Newton
    steps on 1 - 1/norm, which is concave, climb to the root from below without fail, and reach it in one
    step on either axis. On the longer axis, inside the evolute, T is 0 and two feet lie equally near: the
    upper (for a tall ellipse the left) one is taken.

    References
    ----------
    D. Eberly, "Distance from a Point to an Ellipse, an Ellipsoid, or a Hyperellipsoid" (2013), from memory,
    for the secular equation; J. J. More and D. C. Sorensen, "Computing a trust region step", SIAM J. Sci.
    Stat. Comput. 4 (1983), from memory, for the reciprocal Newton step.
    """
    flat = a >= b
    longer, shorter = (a, b) if flat else (b, a)
    along, across = (np.abs(x_mm), np.abs(y_mm)) if flat else (np.abs(y_mm), np.abs(x_mm))
    u, v = along * (longer / shorter**2), across / shorter
    k = (longer - shorter) * (longer + shorter) / shorter**2
    cosine, sine = _foot(u, v, k)
    if not flat:
        cosine, sine = sine, cosine
    cosine, sine = np.where(x_mm > 0.0, -cosine, cosine), np.where(y_mm < 0.0, -sine, sine)
    angle = np.arctan2(sine, cosine)
    return np.where(angle < -math.pi / 2, angle + 2 * math.pi, angle)


def _foot(u: Floats, v: Floats, k: float) -> tuple[Floats, Floats]:
    """Cosine and sine of the foot in the first quadrant; see :func:`nearest_angle`."""
    root = np.maximum(v, u - k)
    on_axis = root <= 0.0
    root = np.where(on_axis, 1.0, root)
    for _ in range(N_STEPS):
        p, q = u / (root + k), v / root
        square = p * p + q * q
        slope = p * p / (root + k) + q * q / root
        step = square * (np.sqrt(square) - 1.0) / np.where(slope > 0.0, slope, 1.0)
        step = np.where(on_axis, 0.0, np.maximum(step, 0.0))
        root = root + step
        if (step <= ROOT_TOLERANCE * root).all():
            break
    cosine = np.minimum(u / np.where(on_axis, k if k > 0.0 else 1.0, root + k), 1.0)
    sine = np.where(on_axis, np.sqrt((1.0 - cosine) * (1.0 + cosine)), v / root)
    return cosine, sine
