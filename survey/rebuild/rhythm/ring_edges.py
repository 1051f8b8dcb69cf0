"""Edges of a ring settled by least squares: surveyed edges, widths and joints by rule, and the rhythm."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from survey.curves.protocol import Floats
from survey.rebuild.rhythm.readings import Readings

LOOSE_MM = 50.0
"""Scatter granted to a width or joint of which the rhythm says nothing: it may be anything."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgePrior:
    """What the rhythm says of widths (N,) and joints (N + 1,), and how far they scatter about it."""

    width_mm: Floats
    width_scatter_mm: Floats
    joint_mm: Floats
    joint_scatter_mm: Floats

    def loosened(self, courses: NDArray[np.bool_]) -> EdgePrior:
        """The same, saying nothing of some courses (N,) nor of the joints beside them."""
        padded = np.concatenate([[False], courses, [False]])
        return replace(
            self,
            width_scatter_mm=np.where(courses, LOOSE_MM, self.width_scatter_mm),
            joint_scatter_mm=np.where(padded[:-1] | padded[1:], LOOSE_MM, self.joint_scatter_mm),
        )


@dataclass(frozen=True, slots=True, eq=False)
class SettledEdges:
    """Stations of the left and right edges of every course, and how each came about.

    Attributes
    ----------
    edge_mm : (2 N,) float
    leverage : (2 N,) float
        Share of each settled edge that its own reading decides.
    """

    edge_mm: Floats
    leverage: Floats


def settle_edges(readings: Readings, prior: EdgePrior) -> SettledEdges:
    """Edges that agree best with all readings and the rhythm, each weighed by its variance.

    Notes
    -----
    Least squares over the edges e: ``sum ((e - surveyed) / s)^2 + sum ((width - ruled) / r)^2 + sum ((width
    - expected) / t)^2`` and the same for joints and middles. Every term holds one edge or two neighbours, so
    the normal equations are tridiagonal and solved in O(N).
    """
    n = readings.count
    mean, precision = np.empty(2 * n + 1), np.empty(2 * n + 1)
    at_springing = np.zeros(n + 1)
    at_springing[[0, -1]] = readings.end_sigma_mm
    for first, by_rule, expected, scatter, end in (
        (1, readings.width_mm, prior.width_mm, prior.width_scatter_mm, np.zeros(n)),
        (0, readings.joint_mm, prior.joint_mm, prior.joint_scatter_mm, at_springing),
    ):
        read = np.where(np.isnan(by_rule), 0.0, np.hypot(readings.rule_sigma_mm, end) ** -2.0)
        own = np.hypot(scatter, end) ** -2.0
        precision[first::2] = read + own
        mean[first::2] = (read * np.nan_to_num(by_rule) + own * expected) / (read + own)
    edge, edge_precision = _weighed(readings.edge_mm, readings.edge_sigma_mm)
    middle, middle_precision = _weighed(readings.middle_mm, readings.middle_sigma_mm)
    pull = precision * mean
    right = pull[:-1] - pull[1:] + edge_precision * edge + np.repeat(0.5 * middle_precision * middle, 2)
    right[-1] += precision[-1] * readings.length_mm
    bands = np.zeros((2, 2 * n))
    bands[1] = precision[:-1] + precision[1:] + edge_precision + np.repeat(0.25 * middle_precision, 2)
    bands[0, 1:] = -precision[1:-1]
    bands[0, 1::2] += 0.25 * middle_precision
    settled = np.asarray(solveh_banded(bands, right, check_finite=False))
    return SettledEdges(settled, edge_precision * _variances(bands[1], bands[0, 1:]))


def _variances(diagonal: Floats, beside: Floats) -> Floats:
    """Diagonal (m,) of the inverse of a symmetric tridiagonal matrix, from its pivots down and up."""
    a, b2 = diagonal.tolist(), (beside**2).tolist()
    down, up = a.copy(), a.copy()
    for i in range(1, len(a)):
        down[i] -= b2[i - 1] / down[i - 1]
    for i in range(len(a) - 2, -1, -1):
        up[i] -= b2[i] / up[i + 1]
    return np.asarray(1.0 / (np.array(down) + np.array(up) - diagonal))


def _weighed(value_mm: Floats, sigma_mm: Floats) -> tuple[Floats, Floats]:
    """Values and their precisions, 0 and 0 where there is no reading."""
    seen = ~np.isnan(value_mm)
    return np.where(seen, value_mm, 0.0), np.where(seen, np.where(seen, sigma_mm, 1.0) ** -2, 0.0)
