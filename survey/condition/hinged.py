"""Courses against the pieces as they moved, instead of the curve the arch shows now."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from survey.condition.courses.ring_table import RingTable
from survey.condition.movement_view import against_pieces
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.result import Movement

NEIGHBOURS = 5
"""A course is compared with the median of this many around it, itself included."""


def hinged_deviation(table: RingTable, movement: Movement) -> Floats:
    """Distance (n,) of every course outwards from the piece it lies on, mm; NaN where it was not measured."""
    found = np.full(len(table.course), np.nan)
    known = np.flatnonzero(np.isfinite(table.deviation_mm))
    off = (table.offset_mm + table.deviation_mm[known])[:, None]
    xy = table.foot_mm[known] + off * table.normal[known]
    found[known] = against_pieces(curve_of(movement.original.shape), movement, xy).distance_mm
    return found - table.offset_mm


def off_neighbours(values: Floats) -> Floats:
    """Values (n,) less the median of those around them; NaN stays, and counts for nothing.

    Examples
    --------
    >>> off_neighbours(np.array([1.0, 2.0, 9.0, np.nan, 3.0, 2.0, 1.0])).tolist()
    [0.0, 0.0, 7.0, nan, 1.0, 0.0, 0.0]
    """
    known = np.isfinite(values)
    found = np.full(len(values), np.nan)
    found[known] = values[known] - median_filter(values[known], size=NEIGHBOURS, mode="nearest")
    return found
