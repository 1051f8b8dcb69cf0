"""What was read of one ring's rhythm along its inner curve: widths and joints by rule, edges by survey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.rebuild.rhythm.edges import Renumbering, RingEdges
from survey.rebuild.rhythm.rings import section_factor
from survey.record.model import Condition, CourseNote, Record, Ring

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
    middle_mm, middle_sigma_mm : (N,) float
        Stations of the middles of courses, where points were taken there.
    length_mm : float
        Length of the inner curve the stations are counted on.
    rule_sigma_mm : float
        Standard uncertainty of a width or joint read by rule, in the section along the arch. A record states
        none for courses.csv.
    end_sigma_mm : float
        Standard uncertainty of the springings' places.
    """

    width_mm: Floats
    joint_mm: Floats
    edge_mm: Floats
    edge_sigma_mm: Floats
    middle_mm: Floats
    middle_sigma_mm: Floats
    length_mm: float
    rule_sigma_mm: float = RULE_SIGMA_MM
    end_sigma_mm: float = 0.0

    @property
    def count(self) -> int:
        """Number of courses N."""
        return int(self.width_mm.size)

    @property
    def stations_mm(self) -> Floats:
        """All edges (2 N + 2,) with both springings."""
        return np.concatenate([[0.0], self.edge_mm, [self.length_mm]])


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
    record: Record,
    ring: Ring,
    edges: RingEdges,
    *,
    length_mm: float,
    numbers: Renumbering,
    not_original: frozenset[Condition] = NOT_ORIGINAL,
) -> Readings:
    """Gather every reading of one ring's widths, joints and edges.

    Parameters
    ----------
    edges : RingEdges
        What was surveyed of the ring.
    length_mm : float
        Length of the ring's inner curve as surveyed.
    numbers : Renumbering
        From recorded to planned course numbers.
    not_original : set of Condition
        Conditions of courses that are left out; a replaced brick tells where it stands all the same.
    """
    count = len(edges.along_mm)
    width, joint = np.full(count, np.nan), np.full(count + 1, np.nan)
    notes = notes_of(record, ring.ring)
    scale = section_scale(ring, notes)
    gone = {numbers.plan_course(n.course) for n in notes if n.condition in not_original}
    for note in notes:
        k = numbers.plan_course(note.course)
        if not 0 <= k <= count:
            continue
        if note.width_mm is not None and k >= 1 and k not in gone:
            width[k - 1] = note.width_mm * scale
        if note.joint_mm is not None and not gone & {k, k + 1}:
            joint[k] = note.joint_mm * scale
    along = edges.along_mm.copy()
    along[[k - 1 for k in gone if 1 <= k <= count]] = np.nan
    return Readings(
        width,
        joint,
        along[:, :2].ravel(),
        edges.sigma_mm[:, :2].ravel(),
        along[:, 2],
        edges.sigma_mm[:, 2],
        length_mm,
        RULE_SIGMA_MM * scale,
    )
