"""The original rhythm of a ring: every width and joint, read where read and inferred where not."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.rebuild.rhythm.gaps import sizes_by_room
from survey.rebuild.rhythm.pattern import JointPattern, find_pattern
from survey.rebuild.rhythm.readings import Readings
from survey.rebuild.rhythm.ring_edges import LOOSE_MM, EdgePrior, settle_edges
from survey.rebuild.rhythm.sizes import BrickSizes, find_sizes

LOOSE_SCATTER_MM = 2.0
"""Scatter granted to widths or joints of which too few were read to know it."""
LEAST_WIDTH_SCATTER_MM = 0.3
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
    prior : EdgePrior
        What sizes and pattern say of every width and joint.
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
    prior: EdgePrior

    @property
    def count(self) -> int:
        """Number of courses."""
        return int(self.width_mm.size)

    def standing_at(self, now: RingRhythm) -> RingRhythm:
        """The rhythm as laid of an arch that has moved since, with its edges where they stand now."""
        return replace(self, edge_mm=now.edge_mm, gross=now.gross, leverage=now.leverage, prior=now.prior)


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
    by rule, and the pattern with its own scatter (``settle_edges``). A surveyed edge that stands off
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
    prior = _prior(sizes, _scatter(width, sizes.scatter_mm, width_sigma), pattern, gaping)
    settled = settle_edges(readings, prior)
    if sizes.sizes_mm.size > 1 and unread.any():
        # what is supposed to fill a gap must not tell how much room it has
        free = settle_edges(readings, prior.loosened(unread))
        room = np.concatenate([[0.0], free.edge_mm, [readings.length_mm]])
        sizes = replace(sizes, of_course=sizes_by_room(sizes, unread, room, pattern.expected_mm))
        prior = replace(prior, width_mm=sizes.width_of_course_mm)
        settled = settle_edges(readings, prior)
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
        prior=prior,
    )


def _differences(readings: Readings, by_rule: Floats, *, first: int) -> tuple[Floats, Floats]:
    """Best single reading of each width (first=1) or joint (first=0), and its uncertainty."""
    stations = readings.stations_mm
    sigma = np.concatenate([[0.0], readings.edge_sigma_mm, [0.0]])
    surveyed = np.diff(stations)[first::2][: by_rule.size]
    surveyed_sigma = np.hypot(sigma[:-1], sigma[1:])[first::2][: by_rule.size]
    ruled = ~np.isnan(by_rule)
    return np.where(ruled, by_rule, surveyed), np.where(ruled, readings.rule_sigma_mm, surveyed_sigma)


def _scatter(width: Floats, about_sizes_mm: float, sigma: Floats) -> float:
    """Scatter of the bricks about their size without the reading errors."""
    read = ~np.isnan(width)
    if read.sum() < 3:
        return LOOSE_SCATTER_MM
    own = about_sizes_mm**2 - float(np.median(sigma[read] ** 2))
    return float(np.sqrt(max(own, LEAST_WIDTH_SCATTER_MM**2)))


def _prior(
    sizes: BrickSizes, width_scatter_mm: float, pattern: JointPattern, gaping: NDArray[np.int64]
) -> EdgePrior:
    """How far widths and joints may be from their pattern; joints that gape at a hinge may be anywhere."""
    joint_scatter = np.full(
        pattern.expected_mm.size, pattern.scatter_mm if pattern.scatter_mm > 0.0 else LOOSE_SCATTER_MM
    )
    joint_scatter[gaping] = LOOSE_MM
    width_mm = sizes.width_of_course_mm
    return EdgePrior(width_mm, np.full(width_mm.size, width_scatter_mm), pattern.expected_mm, joint_scatter)
