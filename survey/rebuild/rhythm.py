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
GAPING_SCATTER_MM = 50.0
"""A joint at a hinge may have opened to anything."""
GROSS_MM, GROSS_SIGMAS = 8.0, 4.0
"""A surveyed edge further than both from where all other readings put it is a gross error."""
MOST_GROSS = 0.1
"""When more edges than this share would have to go, the fault lies elsewhere and none but the worst go."""


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
    gross : (2 N,) bool
        Surveyed edges that were left out: they cannot be where they were read.
    leverage : (2 N,) float
        Share of each settled edge that its own reading decides.
    """

    width_mm: Floats
    joint_mm: Floats
    width_read: NDArray[np.bool_]
    joint_read: NDArray[np.bool_]
    edge_mm: Floats
    sizes: BrickSizes
    pattern: JointPattern
    gross: NDArray[np.bool_]
    leverage: Floats

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
    All edges together are settled by one least-squares problem: surveyed edges and middles, widths and joints
    by rule, and the pattern with its own scatter, each with its variance. Every term holds one edge or two
    neighbours, so the normal equations are tridiagonal and solved in O(N). A surveyed edge that stands off
    what all others say by more than ``GROSS_SIGMAS`` and ``GROSS_MM`` is left out, the worst first.
    """
    gross = np.zeros(2 * readings.count, dtype=bool)
    while True:
        found = _infer(readings, brick_width_mm=brick_width_mm, not_joints=not_joints)
        # the settled edge was drawn along by its own reading: what all others say of it is further off
        alone = np.maximum(1.0 - found.leverage, 1e-6)
        off = np.abs(readings.edge_mm - found.edge_mm) / alone
        least = np.maximum(GROSS_MM, GROSS_SIGMAS * readings.edge_sigma_mm / np.sqrt(alone))
        beyond = np.nan_to_num(off - least, nan=-1.0)
        worst = int(beyond.argmax())
        if beyond[worst] <= 0.0 or gross.sum() >= MOST_GROSS * gross.size:
            return replace(found, gross=gross)
        gross[worst] = True
        edge = readings.edge_mm.copy()
        edge[worst] = np.nan
        readings = replace(readings, edge_mm=edge)


def _infer(readings: Readings, *, brick_width_mm: float, not_joints: NDArray[np.int64] | None) -> RingRhythm:
    """The rhythm as all readings together tell it."""
    n = readings.count
    width, width_sigma = _differences(readings, readings.width_mm, first=1)
    joint, joint_sigma = _differences(readings, readings.joint_mm, first=0)
    sizes = find_sizes(width, default_mm=brick_width_mm)
    even_mm = (readings.length_mm - float(sizes.width_of_course_mm.sum())) / (n + 1)
    pattern = find_pattern(joint, joint_sigma, default_mm=even_mm)
    gaping = np.zeros(0, dtype=np.int64)
    if not_joints is not None and not_joints.size:
        gaping = not_joints[pattern.outliers[not_joints] & (joint > pattern.expected_mm)[not_joints]]
        joint = joint.copy()
        joint[gaping] = np.nan
        pattern = find_pattern(joint, joint_sigma, default_mm=even_mm)
    unread, joint_unread = np.isnan(width), np.isnan(joint)
    prior = _Prior(_scatter(width, sizes.scatter_mm, width_sigma), pattern, gaping)
    settled = _settle(readings, sizes.width_of_course_mm, prior)
    room = np.concatenate([[0.0], settled.edge_mm, [readings.length_mm]])
    room = np.where(np.isnan(readings.stations_mm), room, readings.stations_mm)
    mixed = sizes_by_room(sizes, unread, room, pattern.expected_mm)
    if (mixed != sizes.of_course).any():
        sizes = replace(sizes, of_course=mixed)
        settled = _settle(readings, sizes.width_of_course_mm, prior)
    steps = np.diff(np.concatenate([[0.0], settled.edge_mm, [readings.length_mm]]))
    ruled_width, ruled_joint = ~np.isnan(readings.width_mm), ~np.isnan(readings.joint_mm) & ~joint_unread
    inferred_width = np.where(unread, sizes.width_of_course_mm, steps[1::2])
    inferred_joint = np.where(joint_unread, pattern.expected_mm, steps[0::2])
    return RingRhythm(
        width_mm=np.where(ruled_width, readings.width_mm, inferred_width),
        joint_mm=np.where(ruled_joint, readings.joint_mm, inferred_joint),
        width_read=~unread,
        joint_read=~joint_unread,
        edge_mm=settled.edge_mm,
        sizes=sizes,
        pattern=pattern,
        gross=np.zeros(2 * n, dtype=bool),
        leverage=settled.leverage,
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


@dataclass(frozen=True, slots=True, eq=False)
class _Prior:
    """How far widths and joints may be from their pattern; joints that gape at a hinge may be anywhere."""

    width_scatter_mm: float
    pattern: JointPattern
    gaping: NDArray[np.int64]

    def joint_scatter_mm(self) -> Floats:
        """Standard deviation (N + 1,) of each joint about the pattern."""
        usual = self.pattern.scatter_mm if self.pattern.scatter_mm > 0.0 else LOOSE_SCATTER_MM
        scatter = np.full(self.pattern.expected_mm.size, usual)
        scatter[self.gaping] = GAPING_SCATTER_MM
        return scatter


@dataclass(frozen=True, slots=True, eq=False)
class _Settled:
    edge_mm: Floats
    leverage: Floats


def _settle(readings: Readings, width_mm: Floats, prior: _Prior) -> _Settled:
    """Edges (2 N,) that agree best with all readings and the pattern."""
    n = readings.count
    mean, precision = np.empty(2 * n + 1), np.empty(2 * n + 1)
    for first, by_rule, expected, scatter in (
        (1, readings.width_mm, width_mm, np.full(n, prior.width_scatter_mm)),
        (0, readings.joint_mm, prior.pattern.expected_mm, prior.joint_scatter_mm()),
    ):
        read = np.where(np.isnan(by_rule), 0.0, RULE_SIGMA_MM**-2)
        own = scatter**-2.0
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
    return _Settled(settled, edge_precision * _variances(bands[1], bands[0, 1:]))


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
