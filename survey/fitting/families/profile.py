"""Half an arch and how it answers to its setting-out numbers: signed distances and their exact derivatives.

Every family is symmetric about its axis, so one half says all: points come as (u, v), u the distance from the
axis (never negative), v the height above the springing line. For a foot point F(q) the derivative of the
signed distance by a setting-out number q is minus the normal component of dF/dq at a fixed place on the curve
(the envelope theorem); for an arc of centre c and radius r that is ``-(n . dc/dq + dr/dq)``, for an ellipse
``-(n . (cos t, sin t))`` by its semi-axes, with t the eccentric angle of the foot.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from scipy.special import ellipe, ellipeinc, ellipk

from survey.curves.protocol import Floats
from survey.fitting.solving.engine import OutsideDomainError

SMALLEST_PARAMETER = 1e-7
"""Below this parameter the difference of the complete integrals is rounding; the circle's limit is exact."""
NEWTON_STEPS = 8
"""Most steps of the ellipse's foot points; near the curve four reach 1e-12 of its size."""


class Sight(NamedTuple):
    """Points against half a profile: distances (n,), outward normals (n,), (n,) and slopes (n, q)."""

    distance: Floats
    normal_u: Floats
    normal_v: Floats
    slopes: Floats


class End(NamedTuple):
    """The springing of the right half: its outward normal's angle above the level, and its slopes (q,)."""

    angle_rad: float
    slopes: Floats


class Place(NamedTuple):
    """A point (2,) of the half profile, its outward normal (2,), and the point's slopes (2, q)."""

    point_mm: Floats
    normal: Floats
    slopes: Floats


class HalfProfile(Protocol):
    """The right half of a symmetric arch curve, from the springing (station 0) to the crown."""

    @property
    def end(self) -> End:
        """The springing."""
        ...

    @property
    def half_length_mm(self) -> float:
        """Arc length from springing to crown."""
        ...

    @property
    def half_length_slopes(self) -> Floats:
        """Derivatives (q,) of that length."""
        ...

    def sight(self, u: Floats, v: Floats) -> Sight:
        """Signed distances, normals and slopes of points (n,), (n,)."""
        ...

    def stations(self, u: Floats, v: Floats) -> Floats:
        """Arc length from the springing to the foot points (n,); below 0 beyond the springing."""
        ...

    def at_angle(self, angle_rad: float) -> Place:
        """The point whose outward normal stands at an angle above the level, with that angle held."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class HalfArcs:
    """Tangent arcs from springing to crown with their derivatives by q numbers.

    Attributes
    ----------
    centre_mm : (k, 2) float
    radius_mm : (k,) float
    bound_rad : (k + 1,) float
        Angles of the outward normal above the level where the arcs begin and end; the last is a right angle.
    centre_slope : (k, 2, q) float, radius_slope : (k, q) float, bound_slope : (k + 1, q) float
        Derivatives of the centres, the radii and the bounds.
    """

    centre_mm: Floats
    radius_mm: Floats
    bound_rad: Floats
    centre_slope: Floats
    radius_slope: Floats
    bound_slope: Floats

    @property
    def end(self) -> End:
        """The springing."""
        return End(float(self.bound_rad[0]), self.bound_slope[0])

    @property
    def half_length_mm(self) -> float:
        """Arc length from springing to crown."""
        return float(self.radius_mm @ np.diff(self.bound_rad))

    @property
    def half_length_slopes(self) -> Floats:
        """Derivatives (q,) of that length."""
        turns = np.diff(self.bound_rad), np.diff(self.bound_slope, axis=0)
        return np.asarray(turns[0] @ self.radius_slope + self.radius_mm @ turns[1])

    def _arc(self, u: Floats, v: Floats) -> np.ndarray:
        """Which arc (n,) each point lies against: past a junction's common normal it is the next one."""
        arc = np.zeros(u.shape, dtype=np.int64)
        for k in range(len(self.radius_mm) - 1):
            angle = self.bound_rad[k + 1]
            x, y = self.centre_mm[k]
            arc += (v - y) * np.cos(angle) > (u - x) * np.sin(angle)
        return arc

    def sight(self, u: Floats, v: Floats) -> Sight:
        """Signed distances, normals and slopes of points (n,), (n,)."""
        if len(self.radius_mm) == 1:
            du, dv = u - self.centre_mm[0, 0], v - self.centre_mm[0, 1]
            out = np.sqrt(du * du + dv * dv)
            nu, nv = du / out, dv / out
            c = self.centre_slope[0]
            slopes = -(nu[:, None] * c[0] + nv[:, None] * c[1] + self.radius_slope[0])
            return Sight(out - self.radius_mm[0], nu, nv, slopes)
        arc = self._arc(u, v)
        centre = self.centre_mm[arc]
        du, dv = u - centre[:, 0], v - centre[:, 1]
        out = np.sqrt(du * du + dv * dv)
        nu, nv = du / out, dv / out
        slope = self.centre_slope[arc]
        slopes = -(nu[:, None] * slope[:, 0] + nv[:, None] * slope[:, 1] + self.radius_slope[arc])
        return Sight(out - self.radius_mm[arc], nu, nv, slopes)

    def stations(self, u: Floats, v: Floats) -> Floats:
        """Arc length from the springing to the foot points (n,)."""
        arc = self._arc(u, v)
        angle = np.arctan2(v - self.centre_mm[arc, 1], u - self.centre_mm[arc, 0])
        before = np.concatenate([[0.0], np.cumsum(self.radius_mm * np.diff(self.bound_rad))])[:-1]
        return np.asarray(before[arc] + self.radius_mm[arc] * (angle - self.bound_rad[arc]))

    def at_angle(self, angle_rad: float) -> Place:
        """The point whose outward normal stands at an angle above the level, with that angle held."""
        arc = int(np.count_nonzero(self.bound_rad[1:-1] < angle_rad))
        normal = np.array([np.cos(angle_rad), np.sin(angle_rad)])
        point = self.centre_mm[arc] + self.radius_mm[arc] * normal
        return Place(point, normal, self.centre_slope[arc] + normal[:, None] * self.radius_slope[arc])


@dataclass(frozen=True, slots=True, eq=False)
class HalfEllipse:
    """A level ellipse from springing to crown; its numbers are the half-span and the rise."""

    half_span_mm: float
    rise_mm: float

    @property
    def end(self) -> End:
        """The springing: its normal is level whatever the numbers."""
        return End(0.0, np.zeros(2))

    @property
    def half_length_mm(self) -> float:
        """Arc length from springing to crown."""
        return float(self._arc_length(np.array([np.pi / 2]))[0])

    @property
    def half_length_slopes(self) -> Floats:
        """Derivatives (q,) of that length: E(m), K(m) of the complete integrals, by half-span and rise.

        With m = 1 - (a/b)^2 the length is b E(m), dE/dm = (E - K) / (2 m); at a circle dE/dm = -pi / 8.
        """
        a, b = self.half_span_mm, self.rise_mm
        m = 1.0 - (a / b) ** 2
        whole = ellipe(m)
        by_m = (whole - ellipk(m)) / (2 * m) if abs(m) > SMALLEST_PARAMETER else -np.pi / 8
        return np.array([-2 * a / b * by_m, whole + 2 * (a / b) ** 2 * by_m])

    def _arc_length(self, angle: Floats) -> Floats:
        """Arc length from the springing to eccentric angles (n,), by the incomplete elliptic integral."""
        a, b = self.half_span_mm, self.rise_mm
        return np.asarray(b * ellipeinc(angle, 1.0 - (a / b) ** 2))

    def _foot(self, u: Floats, v: Floats) -> tuple[Floats, Floats, Floats]:
        """Cosine and sine (n,) of the feet's eccentric angles, and the multiplier t (n,).

        Newton on g(t) = (a u / (t + a^2))^2 + (b v / (t + b^2))^2 - 1, convex and falling to the right of its
        last pole. A first step from t = 0 lands left of the root, and from there every step rises to it.
        """
        a, b = self.half_span_mm, self.rise_mm
        au, bv = a * u, b * v
        aa, bb = a * a, b * b
        t = np.maximum(au - aa, np.abs(bv) - bb)
        with np.errstate(divide="ignore", invalid="ignore"):
            p, q = au / aa, bv / bb
            g = p * p + q * q - 1.0
            t = np.maximum(t, 0.5 * g / (p * p / aa + q * q / bb))
            for _ in range(NEWTON_STEPS):
                p, q = au / (t + aa), bv / (t + bb)
                g = p * p + q * q - 1.0
                step = 0.5 * g / (p * p / (t + aa) + q * q / (t + bb))
                t = t + step
                if np.max(np.abs(step), initial=0.0) < 1e-13 * aa:
                    break
            p, q = au / (t + aa), bv / (t + bb)
        if not np.isfinite(t).all():
            raise OutsideDomainError("a point lies at the very middle of the ellipse")
        return p, q, t

    def sight(self, u: Floats, v: Floats) -> Sight:
        """Signed distances, normals and slopes of points (n,), (n,)."""
        p, q, t = self._foot(u, v)
        gu, gv = p / self.half_span_mm, q / self.rise_mm
        size = np.sqrt(gu * gu + gv * gv)
        nu, nv = gu / size, gv / size
        return Sight(t * size, nu, nv, np.stack([-nu * p, -nv * q], axis=1))

    def stations(self, u: Floats, v: Floats) -> Floats:
        """Arc length from the springing to the foot points (n,)."""
        p, q, _ = self._foot(u, v)
        return self._arc_length(np.arctan2(q, p))

    def at_angle(self, angle_rad: float) -> Place:
        """The point whose outward normal stands at an angle above the level, with that angle held."""
        a, b = self.half_span_mm, self.rise_mm
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        size = np.hypot(a * c, b * s)
        # (a^2 c, b^2 s) / size and its derivatives by a and b
        by_a = [2 * a * c / size - a**3 * c**3 / size**3, -a * b**2 * s * c**2 / size**3]
        by_b = [-(a**2) * b * c * s**2 / size**3, 2 * b * s / size - b**3 * s**3 / size**3]
        point = np.array([a * a * c, b * b * s]) / size
        return Place(point, np.array([c, s]), np.array([by_a, by_b]).T)
