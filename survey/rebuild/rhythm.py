"""The original rhythm of a ring: every width and joint, read where read and inferred where not."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from survey.curves.protocol import Floats
from survey.rebuild.rhythm_gaps import sizes_by_room
from survey.rebuild.rhythm_pattern import JointPattern, find_pattern
from survey.rebuild.rhythm_readings import RULE_SIGMA_MM, Readings
from survey.rebuild.rhythm_sizes import BrickSizes, find_sizes

LOOSE_SCATTER_MM = 2.0
"""Scatter granted to widths or joints of which too few were read to know it."""
LEAST_WIDTH_SCATTER_MM = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class RingRhythm:
    """Widths and joints of one ring as they were laid.

    Attributes
    ----------
    width_mm : (N,) float, joint_mm : (N + 1,) float
        Read by rule where so read, else the most likely value given the surveyed edges and the pattern.
    width_read : (N,) bool, joint_read : (N + 1,) bool
        True where read by rule or surveyed on both sides.
    edge_mm : (2 N,) float
        Most likely stations of the left and right edges of every course on the surveyed inner curve.
    sizes : BrickSizes
    pattern : JointPattern
    """

    width_mm: Floats
    joint_mm: Floats
    width_read: NDArray[np.bool_]
    joint_read: NDArray[np.bool_]
    edge_mm: Floats
    sizes: BrickSizes
    pattern: JointPattern

    @property
    def count(self) -> int:
        """Number of courses."""
        return int(self.width_mm.size)


def find_rhythm(
    readings: Readings, *, brick_width_mm: float, not_joints: NDArray[np.int64] | None = None
) -> RingRhythm:
    """Infer the whole rhythm of a ring from what was read of it.

    Parameters
    ----------
    readings : Readings
    brick_width_mm : float
        Width of the ring's brick in the section along the arch, for courses of which nothing was read.
    not_joints : (k,) int, optional
        Joints not to be trusted as laid (opened at a hinge): read, but inferred all the same if they gape.

    Notes
    -----
    All edges together are settled by one least-squares problem: surveyed edges, widths and joints by rule,
    and the pattern with its own scatter, each with its variance. Every term holds one edge or two neighbours,
    so the normal equations are tridiagonal and solved in O(N).
    """
    n = readings.count
    width, width_sigma = _differences(readings, readings.width_mm, first=1)
    joint, joint_sigma = _differences(readings, readings.joint_mm, first=0)
    sizes = find_sizes(width, default_mm=brick_width_mm)
    even_mm = (readings.length_mm - float(sizes.width_of_course_mm.sum())) / (n + 1)
    pattern = find_pattern(joint, joint_sigma, default_mm=even_mm)
    if not_joints is not None and not_joints.size:
        gaping = not_joints[pattern.outliers[not_joints] & (joint > pattern.expected_mm)[not_joints]]
        joint = joint.copy()
        joint[gaping] = np.nan
        pattern = find_pattern(joint, joint_sigma, default_mm=even_mm)
    width_scatter = _scatter(width, sizes.scatter_mm, width_sigma)
    edge = _settle(readings, sizes.width_of_course_mm, width_scatter, pattern, np.isnan(joint))
    unread = np.isnan(width)
    room = np.concatenate([[0.0], edge, [readings.length_mm]])
    room = np.where(np.isnan(readings.stations_mm), room, readings.stations_mm)
    mixed = sizes_by_room(sizes, unread, room, pattern.expected_mm)
    if (mixed != sizes.of_course).any():
        sizes = replace(sizes, of_course=mixed)
        edge = _settle(readings, sizes.width_of_course_mm, width_scatter, pattern, np.isnan(joint))
    steps = np.diff(np.concatenate([[0.0], edge, [readings.length_mm]]))
    by_rule_width, by_rule_joint = (
        ~np.isnan(readings.width_mm),
        ~np.isnan(readings.joint_mm) & ~np.isnan(joint),
    )
    return RingRhythm(
        width_mm=np.where(
            by_rule_width, readings.width_mm, np.where(unread, sizes.width_of_course_mm, steps[1::2])
        ),
        joint_mm=np.where(
            by_rule_joint, readings.joint_mm, np.where(np.isnan(joint), pattern.expected_mm, steps[0::2])
        ),
        width_read=~unread,
        joint_read=~np.isnan(joint),
        edge_mm=edge,
        sizes=sizes,
        pattern=pattern,
    )


def _differences(readings: Readings, by_rule: Floats, *, first: int) -> tuple[Floats, Floats]:
    """Best single reading of each width (first=1) or joint (first=0), and its uncertainty."""
    stations = readings.stations_mm
    sigma = np.concatenate([[0.0], readings.edge_sigma_mm, [0.0]])
    surveyed = np.diff(stations)[first::2][: by_rule.size]
    surveyed_sigma = np.hypot(sigma[:-1], sigma[1:])[first::2][: by_rule.size]
    ruled = ~np.isnan(by_rule)
    return np.where(ruled, by_rule, surveyed), np.where(ruled, RULE_SIGMA_MM, surveyed_sigma)


def _scatter(width: Floats, about_sizes_mm: float, sigma: Floats) -> float:
    """Scatter of the bricks about their size without the reading errors."""
    read = ~np.isnan(width)
    if read.sum() < 3:
        return LOOSE_SCATTER_MM
    own = about_sizes_mm**2 - float(np.median(sigma[read] ** 2))
    return float(np.sqrt(max(own, LEAST_WIDTH_SCATTER_MM**2)))


def _settle(
    readings: Readings,
    width_mm: Floats,
    width_scatter_mm: float,
    pattern: JointPattern,
    joint_unread: NDArray[np.bool_],
) -> Floats:
    """Edges (2 N,) that agree best with all readings and the pattern."""
    n = readings.count
    mean, precision = np.empty(2 * n + 1), np.empty(2 * n + 1)
    joint_scatter = pattern.scatter_mm if pattern.scatter_mm > 0.0 else LOOSE_SCATTER_MM
    for first, by_rule, prior, scatter in (
        (1, readings.width_mm, width_mm, width_scatter_mm),
        (0, np.where(joint_unread, np.nan, readings.joint_mm), pattern.expected_mm, joint_scatter),
    ):
        read = np.where(np.isnan(by_rule), 0.0, RULE_SIGMA_MM**-2)
        own = np.full(by_rule.size, scatter**-2)
        precision[first::2] = read + own
        mean[first::2] = (read * np.nan_to_num(by_rule) + own * prior) / (read + own)
    seen = ~np.isnan(readings.edge_mm)
    edge_precision = np.where(seen, np.where(seen, readings.edge_sigma_mm, 1.0) ** -2, 0.0)
    pull = precision * mean
    right = pull[:-1] - pull[1:] + edge_precision * np.nan_to_num(readings.edge_mm)
    right[-1] += precision[-1] * readings.length_mm
    bands = np.zeros((2, 2 * n))
    bands[1] = precision[:-1] + precision[1:] + edge_precision
    bands[0, 1:] = -precision[1:-1]
    return np.asarray(solveh_banded(bands, right, check_finite=False))
