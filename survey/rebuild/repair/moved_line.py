"""Where a moved arch is known to lie beside its fitted curve: its original's pieces as they stand now."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.result import Movement

N_POINTS = 241
"""Points of the original carried along: a hinge is placed to within half a brick or so."""


@dataclass(frozen=True, slots=True, eq=False)
class KnownLine:
    """Offsets (n,) from a base at growing stations (n,) of it, straight between them, level beyond."""

    station_mm: Floats
    offset_mm: Floats

    def at(self, station_mm: Floats) -> Floats:
        """Offsets (m,) at stations (m,)."""
        return np.interp(station_mm, self.station_mm, self.offset_mm)


LEVEL = KnownLine(np.zeros(1), np.zeros(1))
"""Nothing is known beside the base itself."""


def moved_line(movement: Movement | None, base: Curve, ring_offset_mm: float) -> KnownLine:
    """The pieces of a moved arch against the base of one ring's repair; level where nothing has moved.

    Parameters
    ----------
    movement : Movement or None
        As found with the fit.
    base : Curve
        The ring's inner curve as fitted to the arch as it stands.
    ring_offset_mm : float
        From the intrados to the ring's inner curve.
    """
    if movement is None:
        return LEVEL
    intrados = curve_of(movement.original.shape)
    station = np.linspace(0.0, intrados.length_mm, N_POINTS)
    point = intrados.point(station) + ring_offset_mm * intrados.normal(station)
    ends = np.array([p.end_mm for p in movement.pieces[:-1]])
    piece = np.searchsorted(ends, station, side="right")
    turn = np.array([p.rotation_rad for p in movement.pieces])[piece]
    shift = np.array([p.shift_mm for p in movement.pieces])[piece]
    c, s = np.cos(turn), np.sin(turn)
    x, y = point.T
    located = base.locate(np.column_stack([c * x - s * y, s * x + c * y]) + shift)
    order = np.argsort(located.station_mm, kind="stable")
    return KnownLine(located.station_mm[order], located.distance_mm[order])
