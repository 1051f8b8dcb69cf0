"""Course numbers of surveyed points set right: from the left, in order, inferred where none was noted."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from survey.curves.protocol import Curve, Floats
from survey.fitting.counting.edge_clusters import edges_to_courses
from survey.fitting.counting.edge_readings import (
    INNER,
    LEFT,
    RIGHT,
    UNLABELLED,
    Ints,
    PointPlaces,
    place_points,
    seen_width_mm,
)
from survey.record.model import UNKNOWN, Record, Ring

SLIP_COURSES = 2
"""A course out of order by no more than this was misread along the arch, not misnumbered."""


@dataclass(frozen=True, slots=True, eq=False)
class NumberedPoints:
    """Placed points with usable course numbers.

    Attributes
    ----------
    places : PointPlaces
    inferred : (n,) bool
        Points whose number was inferred from the spacing.
    doubts : mapping of int to tuple of str
        By ring, sentences on numbers and edges that could not be as noted.
    """

    places: PointPlaces
    inferred: np.ndarray
    doubts: Mapping[int, tuple[str, ...]]


def number_points(record: Record, curve: Curve, origin_mm: tuple[float, float]) -> NumberedPoints:
    """Place the points and set their course numbers and edges right.

    Numbers that run from right to left are turned round; a course surveyed out of its order takes the number
    of the place it stands in, if that is free, else it is left out; left and right edges that stand the
    wrong way round change names. Each is told in a sentence. Points without a number take one from the
    spacing, unless that shows no rhythm of bricks (a scan, points taken anywhere).
    """
    places = place_points(record, curve, origin_mm)
    doubts: dict[int, tuple[str, ...]] = {}
    inferred = np.zeros(len(places.ring), dtype=bool)
    for ring in record.rings:
        places, said = _set_in_order(places, ring)
        doubts[ring.ring] = said
        sigma = record.points.sigma_mm[places.ring == ring.ring]
        if len(sigma):
            places, added = _number_the_bare(places, ring, float(np.median(sigma)))
            inferred |= added
            places, said = _set_edges_right(places, ring)
            doubts[ring.ring] += said
    return NumberedPoints(places, inferred, doubts)


def _number_the_bare(places: PointPlaces, ring: Ring, sigma_mm: float) -> tuple[PointPlaces, np.ndarray]:
    """Numbers for a ring's points without one, and which points got one."""
    on = np.flatnonzero((places.ring == ring.ring) & (places.surface == INNER))
    added = np.zeros(len(places.ring), dtype=bool)
    if np.count_nonzero(places.course[on] == UNKNOWN) < 2:
        return places, added
    found = edges_to_courses(places.along_mm[on], places.edge[on], sigma_mm, seen_width_mm(ring))
    if not found.believable:
        return places, added
    lost = (places.course[on] == UNKNOWN) & (found.course != UNKNOWN)
    number = _joined_numbers(places.along_mm[on], places.course[on], found.course)
    # Numbers may not run below 1 where the first noted course stands further in than its number says.
    lost &= number >= 1
    course, edge = places.course.copy(), places.edge.copy()
    course[on[lost]] = number[lost]
    named = lost & (places.edge[on] == UNLABELLED)
    edge[on[named]] = found.edge[named]
    added[on[lost]] = True
    return replace(places, course=course, edge=edge), added


def _joined_numbers(along: Floats, recorded: Ints, relative: Ints) -> Ints:
    """Numbers for the points without one, carried on from the nearest numbered point."""
    known = np.flatnonzero((recorded != UNKNOWN) & (relative != UNKNOWN))
    if len(known) == 0:
        return relative
    order = known[np.argsort(along[known])]
    after = np.searchsorted(along[order], along)
    low = order[np.clip(after - 1, 0, len(order) - 1)]
    high = order[np.clip(after, 0, len(order) - 1)]
    nearest = np.where(np.abs(along - along[low]) <= np.abs(along - along[high]), low, high)
    return np.asarray(recorded[nearest] + relative - relative[nearest], dtype=np.int64)


def _set_in_order(places: PointPlaces, ring: Ring) -> tuple[PointPlaces, tuple[str, ...]]:
    """Numbers of one ring growing from left to right, with a sentence on those that did not."""
    on = np.flatnonzero((places.ring == ring.ring) & (places.course >= 1))
    labels, inverse = np.unique(places.course[on], return_inverse=True)
    if len(labels) < 3:
        return places, ()
    middle = np.bincount(inverse, places.along_mm[on]) / np.bincount(inverse)
    order = np.argsort(middle, kind="stable")
    stood = labels[order]
    said: tuple[str, ...] = ()
    whose = f"ring {ring.ring}"
    if np.mean(np.diff(stood) < 0) > 0.5:
        stood = int(labels.max()) + 1 - stood
        said = (f"The course numbers of {whose} run from right to left; here they count from the left.",)
    kept = longest_rising(stood.tolist())
    if not said and len(kept) == len(labels):
        return places, ()
    taken = set(stood[kept].tolist())
    number = stood.copy()
    for k in sorted(set(range(len(stood))) - set(kept)):
        before = int(stood[max(j for j in kept if j < k)]) if k > kept[0] else 0
        if abs(int(stood[k]) - before) <= SLIP_COURSES:
            continue
        where = f"just after course {before}" if before else f"before course {int(stood[kept[0]])}"
        said += (f"Course {int(stood[k])} of {whose} was surveyed {where}: its number cannot be right.",)
        free = before + 1 not in taken
        number[k] = before + 1 if free else UNKNOWN
        taken.add(before + 1)
    course, rings = places.course.copy(), places.ring.copy()
    new = np.empty(len(labels), dtype=np.int64)
    new[order] = number
    course[on] = new[inverse]
    rings[on[new[inverse] == UNKNOWN]] = UNKNOWN
    return replace(places, course=course, ring=rings), said


def longest_rising(values: list[int]) -> list[int]:
    """Indices of the longest strictly rising subsequence."""
    tails: list[int] = []
    ends: list[int] = []
    before = [-1] * len(values)
    for i, value in enumerate(values):
        k = bisect_left(tails, value)
        tails[k : k + 1] = [value]
        ends[k : k + 1] = [i]
        before[i] = ends[k - 1] if k else -1
    chain: list[int] = []
    i = ends[-1] if ends else -1
    while i >= 0:
        chain.append(i)
        i = before[i]
    return chain[::-1]


def _set_edges_right(places: PointPlaces, ring: Ring) -> tuple[PointPlaces, tuple[str, ...]]:
    """Left edges left of right edges, course by course and surface by surface."""
    sided = (places.edge == LEFT) | (places.edge == RIGHT)
    on = np.flatnonzero((places.ring == ring.ring) & (places.course >= 1) & sided)
    if len(on) == 0:
        return places, ()
    cell = places.course[on] * 2 + places.surface[on]
    cells, inverse = np.unique(cell, return_inverse=True)
    sign = np.where(places.edge[on] == RIGHT, 1.0, -1.0)
    n_right = np.bincount(inverse, sign > 0)
    n_left = np.bincount(inverse, sign < 0)
    along = places.along_mm[on]
    right = np.bincount(inverse, np.where(sign > 0, along, 0.0)) / np.maximum(n_right, 1)
    left = np.bincount(inverse, np.where(sign < 0, along, 0.0)) / np.maximum(n_left, 1)
    swapped = (n_right > 0) & (n_left > 0) & (left - right > 0.4 * seen_width_mm(ring))
    if not swapped.any():
        return places, ()
    edge = places.edge.copy()
    turn = on[swapped[inverse]]
    edge[turn] = np.where(edge[turn] == LEFT, RIGHT, LEFT)
    courses = sorted(set((cells[swapped] // 2).tolist()))
    listed = ", ".join(str(c) for c in courses[:6]) + (" and others" if len(courses) > 6 else "")
    whose = f"ring {ring.ring}, course {listed}"
    said = f"Left and right edges stand the wrong way round in {whose}: they are taken the other way."
    return replace(places, edge=edge), (said,)
