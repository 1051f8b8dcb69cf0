"""Surveyed corners of standing bricks, course by course."""

from __future__ import annotations

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit
from survey.rebuild.rhythm_readings import Renumbering, edge_points
from survey.record.model import Edge, Feature, Record


def surveyed_corners(
    record: Record, fit: ArchFit, ring: int, *, count: int, numbers: Renumbering
) -> tuple[Floats, Floats]:
    """Corners (N, 4, 2) of one ring in the arch frame, NaN where not surveyed; and uncertainties (N, 4).

    Intrados left, intrados right, extrados right, extrados left. A corner taken more than once is the
    weighted mean.
    """
    corners, sigma = np.full((count, 4, 2), np.nan), np.full((count, 4), np.nan)
    for feature, slots in ((Feature.INTRADOS, (0, 1)), (Feature.EXTRADOS, (3, 2))):
        index = edge_points(record, fit, ring, feature)
        course = numbers.plan_courses(record.points.course[index])
        index, course = index[course <= count], course[course <= count]
        slot = 2 * (course - 1) + (record.points.edge[index] == Edge.RIGHT)
        weight = record.points.sigma_mm[index] ** -2.0
        total = np.bincount(slot, weights=weight, minlength=2 * count)
        seen = total > 0.0
        xy = fit.to_arch(record.points.xy_mm[index])
        mean = np.full((2 * count, 2), np.nan)
        for axis in (0, 1):
            summed = np.bincount(slot, weights=weight * xy[:, axis], minlength=2 * count)
            mean[seen, axis] = summed[seen] / total[seen]
        spread = np.full(2 * count, np.nan)
        spread[seen] = total[seen] ** -0.5
        corners[:, list(slots)] = mean.reshape(count, 2, 2)
        sigma[:, list(slots)] = spread.reshape(count, 2)
    return corners, sigma
