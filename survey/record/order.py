"""Whether course numbers and edges follow each other along the arch."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
from numpy.typing import NDArray

from survey.record.findings import Findings, listed
from survey.record.model import Edge, Feature, Floats, Ints, SurveyPoints
from survey.record.points_file import SCHEMA

_RANK = {Edge.LEFT: 0, Edge.MID: 1, Edge.RIGHT: 2, Edge.UNKNOWN: -1}


def tell_disorder(points: SurveyPoints, findings: Findings) -> frozenset[int]:
    """Note a doubt for every point whose course number or edge does not fit its place; gives their rows."""
    rows: set[int] = set()
    angle, reach_mm = _seen_from_below(points)
    for feature in (Feature.INTRADOS, Feature.EXTRADOS):
        numbered = points.on(feature) & (points.course >= 1)
        for ring in np.unique(points.ring[numbered]):
            index = np.flatnonzero(numbered & (points.ring == ring))
            rank = np.array([_RANK[edge] for edge in points.edge[index]])
            tolerance = 4.0 * points.sigma_mm[index] / reach_mm[index]
            for one, others in _misplaced(points.course[index], rank, angle[index], tolerance):
                _tell(points, int(index[one]), index[others], angle, findings)
                # Of two swapped edges either may be the one that is out of order.
                swapped = others & (points.course[index] == points.course[index[one]])
                rows.update(points.row[[index[one], *index[swapped]]].tolist())
    return frozenset(rows)


def _seen_from_below(points: SurveyPoints) -> tuple[Floats, Floats]:
    """Angle (n,) from the left and distance (n,) of every point, seen from the middle of the springing line.

    Along any arch curve that angle only grows, so it orders points before a curve is fitted.
    """
    arch = points.on(Feature.INTRADOS) | points.on(Feature.SPRINGING)
    x, y = points.xy_mm[:, 0], points.xy_mm[:, 1]
    middle = (float(x[arch].min()) + float(x[arch].max())) / 2.0
    dx, dy = x - middle, y - float(y[arch].min())
    angle = np.arctan2(dy, -dx)
    angle = np.where(angle < -np.pi / 2, angle + 2.0 * np.pi, angle)
    return angle, np.maximum(np.hypot(dx, dy), 1.0)


def _misplaced(
    course: Ints, rank: Ints, angle: Floats, tolerance: Floats
) -> list[tuple[int, NDArray[np.bool_]]]:
    """Points outside the longest run in order, each with the mask of the points it stands wrong to."""
    order = np.lexsort((angle, rank, course))
    kept = np.zeros(len(course), dtype=bool)
    kept[order[_longest_rising(angle[order])]] = True
    found: list[tuple[int, NDArray[np.bool_]]] = []
    for one in np.flatnonzero(~kept):
        both_known = (rank >= 0) & (rank[one] >= 0)
        same = course == course[one]
        earlier = (course[one] < course) | (same & both_known & (rank[one] < rank))
        later = (course[one] > course) | (same & both_known & (rank[one] > rank))
        slack = tolerance + tolerance[one]
        wrong = kept & ((earlier & (angle[one] > angle + slack)) | (later & (angle[one] < angle - slack)))
        if wrong.any():
            found.append((int(one), wrong))
    return found


def _longest_rising(values: Floats) -> list[int]:
    """Indices of a longest non-falling subsequence."""
    tails: list[float] = []
    at: list[int] = []
    before: list[int] = []
    for i, value in enumerate(values):
        place = bisect_right(tails, value)
        before.append(at[place - 1] if place else -1)
        if place == len(tails):
            tails.append(float(value))
            at.append(i)
        else:
            tails[place], at[place] = float(value), i
    run: list[int] = []
    i = at[-1] if at else -1
    while i >= 0:
        run.append(i)
        i = before[i]
    return run[::-1]


def _tell(points: SurveyPoints, one: int, others: Ints, angle: Floats, findings: Findings) -> None:
    course, row = int(points.course[one]), int(points.row[one])
    passed = sorted({int(points.course[other]) for other in others} - {course})
    if passed:
        findings.doubt(
            SCHEMA.file,
            f"{points.name[one]} is numbered course {course} but stands on the wrong side of"
            f" {'course' if len(passed) == 1 else 'courses'} {listed(passed)}",
            "see which course it was taken on",
            row=row,
            column="course",
        )
        return
    other = int(others[0])
    findings.doubt(
        SCHEMA.file,
        f"{points.name[one]} is the {points.edge[one]} edge of course {course} but stands"
        f" {'right' if angle[one] > angle[other] else 'left'} of {points.name[other]},"
        f" its {points.edge[other]} edge",
        "swap the edges of the two, or measure them again",
        row=row,
        column="edge",
    )
