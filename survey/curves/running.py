"""Arc length where no formula gives it: Gauss-Legendre quadrature that can be read both ways."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.errors import GeometryError

N_NODES = 8
"""Gauss-Legendre nodes an interval."""

TAIL = 1e-13
"""Share of the whole run below which an interval's last two Legendre terms must fall, or it is halved."""

N_HALVINGS = 40
"""Most halvings; an interval is then a millionth of a millionth of what it was."""

STATION_TOLERANCE = 1e-15
"""Share of the whole run by which a parameter may miss its arc length."""

N_STEPS = 60
"""Most Newton steps; bisection alone is down to rounding by then."""


@dataclass(frozen=True, slots=True, eq=False)
class RunningLength:
    """Arc length s over a parameter u as polynomials between growing marks, with s = 0 at u = 0.

    Attributes
    ----------
    mark : (k + 1,) float
        Parameters between which one polynomial holds.
    run_mm : (k + 1,) float
        Arc lengths at the marks.
    speed : (8, k) float
        Legendre coefficients of ds/du over each interval.
    integral_mm : (9, k) float
        Legendre coefficients of the arc length from the start of each interval.
    """

    mark: Floats
    run_mm: Floats
    speed: Floats
    integral_mm: Floats

    @classmethod
    def of(cls, speed: Callable[[Floats], Floats], marks: Floats) -> RunningLength:
        """Integrate a speed that is smooth between the marks and may jump at them.

        Parameters
        ----------
        speed : function from parameters (n,) to ds/du (n,)
        marks : (m,) float
            Growing, from the least to the greatest parameter wanted, 0 among or between them.

        Raises
        ------
        GeometryError
            When the speed is nowhere smooth enough to be integrated.
        """
        nodes, weights = legendre.leggauss(N_NODES)
        to_coefficients = (
            legendre.legvander(nodes, N_NODES - 1) * weights[:, None] * (np.arange(N_NODES) + 0.5)
        ).T
        start, end = marks[:-1], marks[1:]
        coefficients = np.empty((N_NODES, len(start)))
        fresh = np.ones(len(start), dtype=bool)
        for _ in range(N_HALVINGS):
            half = (end - start) / 2
            at = ((start + end) / 2 + nodes[:, None] * half)[:, fresh]
            coefficients[:, fresh] = to_coefficients @ speed(at.ravel()).reshape(N_NODES, -1)
            rough = np.abs(coefficients[-2:]).max(axis=0) * half > TAIL * np.sum(coefficients[0] * 2 * half)
            if not rough.any():
                break
            worst = float(start[rough][0])
            middle = ((start + end) / 2)[rough]
            n_parts = np.where(rough, 2, 1)
            start, end = np.sort(np.concatenate([start, middle])), np.sort(np.concatenate([end, middle]))
            coefficients, fresh = np.repeat(coefficients, n_parts, axis=1), np.repeat(rough, n_parts)
        else:
            raise GeometryError(
                f"the arc length near parameter {worst:g} cannot be integrated; give the "
                "curve fewer or smoother steps there"
            )
        half = (end - start) / 2
        mark = np.append(start, end[-1])
        integral = legendre.legint(coefficients, lbnd=-1) * half
        run = np.concatenate([[0.0], np.cumsum(2 * half * coefficients[0])])
        table = cls(mark, run, coefficients, integral)
        return cls(mark, run - table.at(np.zeros(1))[0], coefficients, integral)

    def _interval(self, value: Floats, bounds: Floats) -> NDArray[np.intp]:
        return np.clip(np.searchsorted(bounds, value, side="right") - 1, 0, len(bounds) - 2)

    def at(self, parameter: Floats) -> Floats:
        """Arc lengths (n,) at parameters (n,)."""
        k = self._interval(parameter, self.mark)
        return np.asarray(
            self.run_mm[k] + legendre.legval(self._inner(parameter, k), self.integral_mm[:, k], False)
        )

    def _inner(self, parameter: Floats, k: NDArray[np.intp]) -> Floats:
        """Parameters as -1 to 1 within their intervals."""
        return np.asarray(
            (2 * parameter - self.mark[k] - self.mark[k + 1]) / (self.mark[k + 1] - self.mark[k])
        )

    def parameter(self, run_mm: Floats) -> Floats:
        """Parameters (n,) at arc lengths (n,), by bracketed Newton steps."""
        k = self._interval(run_mm, self.run_mm)
        wanted = run_mm - self.run_mm[k]
        integral, speed = self.integral_mm[:, k], self.speed[:, k]
        half = (self.mark[k + 1] - self.mark[k]) / 2
        whole = self.run_mm[-1] - self.run_mm[0]
        x = 2 * wanted / (self.run_mm[k + 1] - self.run_mm[k]) - 1
        # a run that rounding has put a hair outside the table is read off the first or last polynomial
        low, high = np.where(x < -1.0, -2.0, -1.0), np.where(x > 1.0, 2.0, 1.0)
        for _ in range(N_STEPS):
            excess = legendre.legval(x, integral, False) - wanted
            settled = np.abs(excess) <= STATION_TOLERANCE * whole
            if settled.all():
                break
            low, high = np.where(excess > 0.0, low, x), np.where(excess > 0.0, x, high)
            step = x - excess / (half * legendre.legval(x, speed, False))
            step = np.where((step < low) | (step > high), (low + high) / 2, step)
            x = np.where(settled, x, step)
        return np.asarray((self.mark[k] + self.mark[k + 1]) / 2 + half * x)
