"""Curves of no family that an arch may turn out to be: told apart so that they are not forced into one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.fitting.families.profile import End, HalfArcs, Place, Sight

NEWTON_STEPS = 12
STILL_MM = 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class HalfParabola:
    """The right half of y = h (1 - (u / s)^2); its numbers are the half-span s and the rise h."""

    half_span_mm: float
    rise_mm: float

    @property
    def end(self) -> End:
        """The springing: a flank of slope 2 h / s."""
        s, h = self.half_span_mm, self.rise_mm
        squared = s * s + 4 * h * h
        return End(float(np.arctan2(s, 2 * h)), np.array([2 * h, -2 * s]) / squared)

    @property
    def half_length_mm(self) -> float:
        """Arc length from springing to crown."""
        return float(self._arc_length(np.array([self.half_span_mm]))[0])

    @property
    def half_length_slopes(self) -> Floats:
        """Derivatives (2,) of that length, which is that of one argument z = 2 h / s times s."""
        s, h = self.half_span_mm, self.rise_mm
        z = 2 * h / s
        by_z = np.sqrt(1 + z * z) / z - (z * np.sqrt(1 + z * z) + np.arcsinh(z)) / (2 * z * z)
        return np.array([self.half_length_mm / s - z * by_z, 2 * by_z])

    def _arc_length(self, x: Floats) -> Floats:
        """Arc length from the crown to abscissas (n,)."""
        slope = 2 * self.rise_mm / self.half_span_mm**2
        z = slope * x
        return np.asarray((z * np.sqrt(1 + z * z) + np.arcsinh(z)) / (2 * slope))

    def _foot(self, u: Floats, v: Floats) -> Floats:
        """Abscissas (n,) of the feet: Newton on the normal's cubic from the points' own abscissas."""
        s, h = self.half_span_mm, self.rise_mm
        k = h / s**2
        x = u.copy()
        for _ in range(NEWTON_STEPS):
            up = v - h + k * x * x
            # Points deep inside would turn the slope of the cubic; half a unit keeps the step downhill.
            steep = np.maximum(1 + 2 * k * up + 4 * k * k * x * x, 0.5)
            step = (u - x - 2 * k * x * up) / steep
            x = x + step
            if np.max(np.abs(step), initial=0.0) < STILL_MM:
                break
        return x

    def sight(self, u: Floats, v: Floats) -> Sight:
        """Signed distances, normals and slopes of points (n,), (n,)."""
        s, h = self.half_span_mm, self.rise_mm
        x = self._foot(u, v)
        share = (x / s) ** 2
        nu = 2 * h * x / s**2
        size = np.sqrt(1 + nu * nu)
        nu, nv = nu / size, 1 / size
        distance = nu * (u - x) + nv * (v - h * (1 - share))
        return Sight(distance, nu, nv, np.stack([-nv * 2 * h * share / s, -nv * (1 - share)], axis=1))

    def stations(self, u: Floats, v: Floats) -> Floats:
        """Arc length from the springing to the foot points (n,)."""
        return self.half_length_mm - self._arc_length(self._foot(u, v))

    def at_angle(self, angle_rad: float) -> Place:
        """No hinges are looked for on a curve of no family."""
        raise FitError(f"hinges on a parabola were asked for, at {angle_rad} rad; only the families move")


def pointed_profile(numbers: Floats) -> HalfArcs:
    """Half a pointed arch: one arc of centre on the springing line beyond the axis, meeting its mirror image.

    Its numbers are the half-span s and the rise h > s; the radius is (s^2 + h^2) / (2 s).
    """
    s, h = numbers
    radius = (s * s + h * h) / (2 * s)
    by_s, by_h = 0.5 * (1 - (h / s) ** 2), h / s
    return HalfArcs(
        centre_mm=np.array([[s - radius, 0.0]]),
        radius_mm=np.array([radius]),
        bound_rad=np.array([0.0, np.arctan2(h, radius - s)]),
        centre_slope=np.array([[[1.0 - by_s, -by_h], [0.0, 0.0]]]),
        radius_slope=np.array([[by_s, by_h]]),
        bound_slope=np.array([[0.0, 0.0], [2 * h, -2 * s]]) / (s * s + h * h),
    )
