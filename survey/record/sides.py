"""Which way is left: decided by what the record says, never by the order of the rows.

Left and right are as seen from outside, facing the arch. The record decides, in this order: springing points
with ``edge`` left and right; course numbers, which run from the left springing; left and right edges of
single courses; ``[view] outside = [x, y]`` in arch.toml, a point of the site plan in front of the face. What
contradicts another of these is a fault. Where none of them speaks, the right hand is taken towards growing
site x, with a doubt. Without z, x itself runs to the right, and what contradicts it is a fault.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from survey.record.findings import Findings, plain_length
from survey.record.model import UNKNOWN, Edge, Feature, Floats
from survey.record.points_file import SCHEMA, SitePoints

_CORRELATED = 0.5
"""Least correlation between course numbers and place that is taken for an order."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that tells right from left, and whether it puts the right hand along the trace."""

    what: str
    along: bool


def runs_against(
    points: SitePoints, along_mm: Floats, outside_mm: float | None, findings: Findings, *, fixed: bool
) -> bool:
    """Whether the right hand lies against the direction the places along the face are given in.

    Parameters
    ----------
    points : SitePoints
    along_mm : (n,) float
        Place of every point along the face.
    outside_mm : float or None
        Distance of ``[view] outside`` to the right of that direction in plan, None when not given.
    findings : Findings
    fixed : bool
        True when x is the face's own and runs to the right by definition.
    """
    _tell_far_twins(points, along_mm, findings)
    evidence = list(_evidence(points, along_mm, outside_mm))
    if fixed:
        evidence.insert(0, Evidence("x to the right where points have no z", along=True))
    for other in evidence[1:]:
        if other.along != evidence[0].along:
            findings.fault(
                SCHEMA.file,
                f"left and right contradict each other: {evidence[0].what} against {other.what}",
                "give both as seen from outside, facing the arch; see that x and y are not swapped",
            )
            return False
    if evidence:
        return not evidence[0].along
    findings.doubt(
        SCHEMA.file,
        "nothing tells left from right; the right hand was taken towards growing site x",
        "mark the springing points left and right, or write [view] outside = [x, y] in arch.toml",
    )
    return False


def _tell_far_twins(points: SitePoints, along_mm: Floats, findings: Findings) -> None:
    """Two springing points of one side that lie half an arch apart: one of them has the wrong side."""
    springing = points.feature == Feature.SPRINGING
    half = float(np.ptp(along_mm[points.feature == Feature.INTRADOS])) / 2.0
    for side, other in ((Edge.LEFT, Edge.RIGHT), (Edge.RIGHT, Edge.LEFT)):
        index = np.flatnonzero(springing & (points.edge == side))
        if len(index) < 2 or np.ptp(along_mm[index]) <= half:
            continue
        apart = float(np.ptp(along_mm[index]))
        ends = index[[np.argmin(along_mm[index]), np.argmax(along_mm[index])]]
        first, last = sorted(points.row[ends].tolist())
        # Where the other side is told as well, one of these may only be misread.
        tell = findings.doubt if np.any(springing & (points.edge == other)) else findings.fault
        tell(
            SCHEMA.file,
            f"is the {side} springing like row {first}, but lies {plain_length(apart)} from it",
            f"one of the two is the {other} springing, or misread",
            row=last,
            column="edge",
        )


def _evidence(points: SitePoints, along_mm: Floats, outside_mm: float | None) -> Iterator[Evidence]:
    springing = points.feature == Feature.SPRINGING
    left, right = springing & (points.edge == Edge.LEFT), springing & (points.edge == Edge.RIGHT)
    if left.any() and right.any():
        yield Evidence("the springing points", bool(along_mm[right].mean() > along_mm[left].mean()))
    order = _course_order(points, along_mm)
    if abs(order) > _CORRELATED:
        yield Evidence("the course numbers", order > 0)
    edges = _edge_order(points, along_mm)
    if edges:
        yield Evidence("the left and right edges of the courses", edges > 0)
    if outside_mm:
        # Facing the wall from outside with the right hand along the trace, one stands to the right of that
        # direction as seen from above: w = x × y.
        yield Evidence("[view] outside in arch.toml", outside_mm > 0)


def _course_order(points: SitePoints, along_mm: Floats) -> float:
    """Correlation between course number and place, over all rings; 0 with fewer than three courses."""
    both = both_sq = place_sq = 0.0
    for ring in np.unique(points.ring[points.ring != UNKNOWN]):
        chosen = (points.ring == ring) & (points.course >= 1)
        if len(np.unique(points.course[chosen])) < 3:
            continue
        course = points.course[chosen] - points.course[chosen].mean()
        place = along_mm[chosen] - along_mm[chosen].mean()
        both, both_sq, place_sq = both + course @ place, both_sq + course @ course, place_sq + place @ place
    return float(both / np.sqrt(both_sq * place_sq)) if both_sq * place_sq > 0 else 0.0


def _edge_order(points: SitePoints, along_mm: Floats) -> int:
    """Courses with the right edge further along than the left, minus the others; 0 if not clear."""
    where: dict[tuple[int, int, str], dict[Edge, float]] = {}
    for ring, course, feature, edge, place in zip(
        points.ring, points.course, points.feature, points.edge, along_mm, strict=True
    ):
        if course != UNKNOWN and feature != Feature.SPRINGING and edge in (Edge.LEFT, Edge.RIGHT):
            where.setdefault((int(ring), int(course), str(feature)), {})[edge] = float(place)
    votes = [1 if edges[Edge.RIGHT] > edges[Edge.LEFT] else -1 for edges in where.values() if len(edges) == 2]
    return sum(votes) if abs(sum(votes)) > len(votes) / 2 else 0
