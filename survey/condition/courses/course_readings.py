"""Readings of one ring laid out by course, surface and edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import EdgeReadings, Ints


@dataclass(frozen=True, slots=True, eq=False)
class CourseReadings:
    """Readings of courses 1 to n of a ring, (n, 2, 4) float each: surface by edge, NaN unread.

    ``station`` is on the intrados, ``along`` on the ring's inner curve; ``deviation`` is from the surface's
    own curve; ``sigma`` the standard uncertainty of a coordinate; ``xy`` (n, 2, 4, 2) is in the face. All in
    mm.
    """

    station: Floats
    along: Floats
    deviation: Floats
    sigma: Floats
    xy: Floats


def spread_readings(readings: EdgeReadings, rows: Ints, number: Mapping[int, int], n: int) -> CourseReadings:
    """Readings of the rows (m,) of one ring, each at the place of its counted number."""
    at = np.array([number[c] - 1 for c in readings.course[rows].tolist()], dtype=np.int64)
    fits = at >= 0

    def spread(values: Floats) -> Floats:
        full = np.full((n, *values.shape[1:]), np.nan)
        full[at[fits]] = values[rows[fits]]
        return full

    return CourseReadings(
        spread(readings.station_mm),
        spread(readings.along_mm),
        spread(readings.deviation_mm),
        spread(readings.sigma_mm),
        spread(readings.xy_mm),
    )
