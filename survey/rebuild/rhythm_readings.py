"""What was read of one ring's rhythm along its inner curve: widths and joints by rule, edges by survey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Curve, Floats
from survey.fitting.result import ArchFit, GapCount
from survey.rebuild.rings import section_factor
from survey.record.model import UNKNOWN, Condition, CourseNote, Edge, Feature, Record, Ring

RULE_SIGMA_MM = 0.5
"""Standard uncertainty of a width or joint read with a rule held to worn arrises (judgement, no source)."""

NOT_ORIGINAL = frozenset({Condition.MISSING, Condition.REPLACED})
"""Conditions under which a course's width says nothing about the brick that was there."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings of one ring with N courses; NaN where there is none.

    Attributes
    ----------
    width_mm : (N,) float
        Widths in the section along the arch, read by rule.
    joint_mm : (N + 1,) float
        Joints read by rule, from the left springing's to the right one's.
    edge_mm, edge_sigma_mm : (2 N,) float
        Stations of the surveyed edges (left, right, left …) and their standard uncertainties.
    length_mm : float
        Length of the inner curve the stations are counted on.
    """

    width_mm: Floats
    joint_mm: Floats
    edge_mm: Floats
    edge_sigma_mm: Floats
    length_mm: float

    @property
    def count(self) -> int:
        """Number of courses N."""
        return int(self.width_mm.size)

    @property
    def stations_mm(self) -> Floats:
        """All edges (2 N + 2,) with both springings."""
        return np.concatenate([[0.0], self.edge_mm, [self.length_mm]])


@dataclass(frozen=True, slots=True)
class Renumbering:
    """From the record's course numbers to the plan's, where a gap holds more or fewer than was noted."""

    gaps: tuple[GapCount, ...]

    def plan_course(self, course: int) -> int:
        """Number in the plan of a course of the record."""
        return course + sum(_gap_shift(g) for g in self.gaps if course >= g.before_course)

    def plan_courses(self, courses: NDArray[np.int64]) -> NDArray[np.int64]:
        """The same for many courses at once."""
        shifted = courses.copy()
        for gap in self.gaps:
            shifted[courses >= gap.before_course] += _gap_shift(gap)
        return shifted


def _gap_shift(gap: GapCount) -> int:
    return gap.count - (gap.before_course - gap.after_course - 1)


def section_scale(ring: Ring, notes: Sequence[CourseNote]) -> float:
    """Factor from the widths of courses.csv to the section along the arch.

    For a turned ring a width may have been read along the arch, across the tooth, or on the brick itself. The
    two differ by 1 / cos(turn); the reading nearer to the median of the widths is taken.
    """
    section = section_factor(ring)
    widths = [n.width_mm for n in notes if n.width_mm is not None]
    if section == 1.0 or not widths:
        return section
    ratio = float(np.median(widths)) / ring.brick_width_mm
    return 1.0 if abs(np.log(ratio / section)) < abs(np.log(ratio)) else section


def notes_of(record: Record, ring: int) -> tuple[CourseNote, ...]:
    """Rows of courses.csv of one ring."""
    return tuple(n for n in record.courses if n.ring == ring)


def read_rhythm(
    record: Record, fit: ArchFit, ring: Ring, *, inner: Curve, count: int, numbers: Renumbering
) -> Readings:
    """Gather every reading of one ring's widths, joints and edges.

    Parameters
    ----------
    inner : Curve
        The ring's inner curve as surveyed, in the arch frame.
    count : int
        Number of courses of the ring in the plan.
    numbers : Renumbering
        From recorded to planned course numbers.
    """
    width, joint = np.full(count, np.nan), np.full(count + 1, np.nan)
    notes = notes_of(record, ring.ring)
    scale = section_scale(ring, notes)
    gone = {numbers.plan_course(n.course) for n in notes if n.condition in NOT_ORIGINAL}
    for note in notes:
        k = numbers.plan_course(note.course)
        if not 0 <= k <= count:
            continue
        if note.width_mm is not None and k >= 1 and k not in gone:
            width[k - 1] = note.width_mm * scale
        if note.joint_mm is not None and not gone & {k, k + 1}:
            joint[k] = note.joint_mm * scale
    edge, sigma = surveyed_edges(record, fit, ring.ring, inner=inner, count=count, numbers=numbers)
    for k in gone:
        if 1 <= k <= count:
            edge[2 * k - 2 : 2 * k] = np.nan
    return Readings(width, joint, edge, sigma, inner.length_mm)


def edge_points(record: Record, fit: ArchFit, ring: int, feature: Feature) -> NDArray[np.int64]:
    """Indices of the points on edges of numbered courses of one ring, without those the fit set aside."""
    points = record.points
    on = points.on(feature)
    if feature is Feature.INTRADOS:
        on |= points.on(Feature.JOINT)
    of_ring = (points.ring == ring) | ((points.ring == UNKNOWN) & (len(record.rings) == 1))
    sided = (points.edge == Edge.LEFT) | (points.edge == Edge.RIGHT)
    good = on & of_ring & (points.course > 0) & np.asarray(sided, dtype=bool)
    good[fit.points.index[fit.points.set_aside]] = False
    return np.flatnonzero(good)


def surveyed_edges(
    record: Record, fit: ArchFit, ring: int, *, inner: Curve, count: int, numbers: Renumbering
) -> tuple[Floats, Floats]:
    """Stations (2 N,) of the surveyed edges of one ring and their uncertainties; NaN where not surveyed."""
    points = record.points
    index = edge_points(record, fit, ring, Feature.INTRADOS)
    slot = 2 * (numbers.plan_courses(points.course[index]) - 1) + (points.edge[index] == Edge.RIGHT)
    index, slot = index[slot < 2 * count], slot[slot < 2 * count]
    if index.size == 0:
        return np.full(2 * count, np.nan), np.full(2 * count, np.nan)
    station = inner.locate(fit.to_arch(points.xy_mm[index])).station_mm
    weight = points.sigma_mm[index] ** -2.0
    total = np.bincount(slot, weights=weight, minlength=2 * count)
    with np.errstate(invalid="ignore", divide="ignore"):  # 0 / 0 is NaN: not surveyed
        mean = np.bincount(slot, weights=weight * station, minlength=2 * count) / total
        sigma = np.where(total > 0.0, total, np.nan) ** -0.5
    return mean, sigma
