"""Standing courses of a ring as anchors of its rhythm: number, middle along the ring, and its variance."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import (
    INNER,
    LEFT,
    MID,
    OUTER,
    RIGHT,
    UNLABELLED,
    EdgeReadings,
    Ints,
    seen_width_mm,
)
from survey.fitting.counting.numbering import NumberedPoints, longest_rising
from survey.record.model import Record, Ring

GROSS_MM = 6.0
"""A width this far off (or five times the bricks' scatter) makes one of its edges a gross error."""


@dataclass(frozen=True, slots=True, eq=False)
class Anchors:
    """Courses of one ring in the order they stand; arrays of length n.

    Attributes
    ----------
    course : (n,) int
        Number as recorded, or as inferred from the spacing where it was not.
    middle_mm : (n,) float
        Arc length of the course's middle along the ring's inner curve.
    variance_mm2 : (n,) float
    numbered : (n,) bool
        False where the number was inferred from the spacing.
    width_mm : float
        Typical width of a brick along the inner curve.
    doubts : tuple of str
        Sentences on numbers that cannot be right.
    misread : tuple of int
        Courses that stand, but whose place was read too badly to serve the rhythm.
    """

    course: Ints
    middle_mm: Floats
    variance_mm2: Floats
    numbered: np.ndarray
    width_mm: float
    doubts: tuple[str, ...] = ()
    misread: tuple[int, ...] = ()


def course_anchors(record: Record, numbered: NumberedPoints, readings: EdgeReadings) -> dict[int, Anchors]:
    """Anchors of every ring of the record, empty where nothing was surveyed."""
    places, by_hand = numbered.places, ~numbered.inferred
    noted = set(zip(places.ring[by_hand].tolist(), places.course[by_hand].tolist(), strict=True))
    return {
        ring.ring: _ring_anchors(record, ring, readings, noted, numbered.doubts.get(ring.ring, ()))
        for ring in record.rings
    }


def _ring_anchors(
    record: Record, ring: Ring, readings: EdgeReadings, noted: set[tuple[int, int]], doubts: tuple[str, ...]
) -> Anchors:
    rows = readings.rows(ring.ring)
    width, scatter = typical_width(record, ring, readings)
    outer = readings.along_mm[rows, OUTER]
    outer_width = outer[:, RIGHT] - outer[:, LEFT]
    narrow = float(np.nanmedian(outer_width)) if np.isfinite(outer_width).any() else width
    inner_middle, inner_var = _middles(readings, rows, INNER, width, scatter)
    outer_middle, outer_var = _middles(readings, rows, OUTER, narrow, max(scatter, 2.0))
    use_outer = np.isnan(inner_middle)
    middle = np.where(use_outer, outer_middle, inner_middle)
    variance = np.where(use_outer, outer_var, inner_var)
    course = readings.course[rows]
    by_hand = np.array([(ring.ring, int(c)) in noted for c in course], dtype=bool)
    anchors = Anchors(course, middle, variance, by_hand, width, doubts)
    return _without_gross(_rising(_taken(anchors, np.flatnonzero(np.isfinite(middle)))))


def typical_width(record: Record, ring: Ring, readings: EdgeReadings) -> tuple[float, float]:
    """Median width of a ring's bricks along its inner curve, and scatter: surveyed, noted or recorded."""
    rows = readings.rows(ring.ring)
    inner = readings.along_mm[rows, INNER]
    widths = inner[:, RIGHT] - inner[:, LEFT]
    widths = widths[np.isfinite(widths)]
    if len(widths) < 3:
        noted = [n.width_mm for n in record.courses if n.ring == ring.ring and n.width_mm is not None]
        widths = np.array(noted, dtype=float)
    if len(widths) < 3:
        return seen_width_mm(ring), 0.04 * ring.brick_width_mm
    middle = float(np.median(widths))
    return middle, max(1.4826 * float(np.median(np.abs(widths - middle))), 0.5)


def _middles(
    readings: EdgeReadings, rows: Ints, surface: int, width_mm: float, scatter_mm: float
) -> tuple[Floats, Floats]:
    """Middles (n,) of the courses from one surface's edges, and their variances; NaN unread."""
    along, sigma = readings.along_mm[rows, surface], readings.sigma_mm[rows, surface]
    left, right = along[:, LEFT], along[:, RIGHT]
    both = (left + right) / 2
    alike = np.abs(right - left - width_mm) <= max(GROSS_MM, 5 * scatter_mm)
    half = (scatter_mm / 2) ** 2
    ways = [
        (np.where(alike, both, np.nan), (sigma[:, LEFT] ** 2 + sigma[:, RIGHT] ** 2) / 4),
        (along[:, MID], sigma[:, MID] ** 2),
        (
            _truer_edge(left, right, width_mm, readings.course[rows]),
            np.fmin(sigma[:, LEFT], sigma[:, RIGHT]) ** 2 + half,
        ),
        (along[:, UNLABELLED], sigma[:, UNLABELLED] ** 2 + width_mm**2 / 12),
    ]
    middle, variance = (np.full(len(rows), np.nan) for _ in range(2))
    for value, var in ways:
        take = np.isnan(middle) & np.isfinite(value)
        middle[take], variance[take] = value[take], var[take]
    return middle, variance


def _truer_edge(left: Floats, right: Floats, width_mm: float, course: Ints) -> Floats:
    """Middle from one edge where the other is missing or gross: the edge in its place between neighbours."""
    from_left, from_right = left + width_mm / 2, right - width_mm / 2
    single = np.where(np.isnan(from_left), from_right, from_left)
    both = np.flatnonzero(np.isfinite(from_left) & np.isfinite(from_right))
    middle = np.nanmean([from_left[both], from_right[both]], axis=0)
    if len(both) < 3:
        return single
    pitch = float(np.median(np.diff(middle) / np.diff(course[both])))
    odd = np.flatnonzero(np.abs(right[both] - left[both] - width_mm) > GROSS_MM)
    for k in odd:
        i = both[k]
        near = [j for j in range(k - 2, k + 3) if j != k and 0 <= j < len(both)]
        placed = middle[near] + (course[i] - course[both[near]]) * pitch
        ways = np.array([from_left[i], from_right[i]])
        off = np.sort(np.abs(ways[:, None] - placed[None, :]), axis=1)[:, :2].sum(axis=1)
        single[i] = ways[int(np.argmin(off))]
    return single


def _rising(anchors: Anchors) -> Anchors:
    """Only courses whose middles rise with their numbers: a gross error can throw one past its neighbour."""
    order = np.argsort(anchors.middle_mm, kind="stable")
    kept = np.sort(order[longest_rising(anchors.course[order].tolist())])
    gone = np.setdiff1d(anchors.course, anchors.course[kept])
    return replace(_taken(anchors, kept), misread=anchors.misread + tuple(int(c) for c in gone))


def _taken(anchors: Anchors, rows: Ints) -> Anchors:
    return replace(
        anchors,
        course=anchors.course[rows],
        middle_mm=anchors.middle_mm[rows],
        variance_mm2=anchors.variance_mm2[rows],
        numbered=anchors.numbered[rows],
    )


def _without_gross(anchors: Anchors) -> Anchors:
    """Set aside courses off their place, between two neighbours or beside a gap or a springing.

    A course whose two strides are both off while the stride past it fits is a gross error. Beside a gap only
    one stride can be judged: then the course is at fault if its neighbour's own next stride fits.
    """
    n = len(anchors.course)
    if n < 5:
        return anchors
    step = np.diff(anchors.middle_mm)
    count = np.diff(anchors.course)
    pitch = float(np.median(step[count == 1])) if (count == 1).any() else float(np.median(step / count))
    if pitch <= 0.0:
        # Read in one place, courses tell no pitch to judge any of them by.
        return anchors
    whole = np.where(np.abs(step / pitch - count) < 1.0, count, np.maximum(np.round(step / pitch), 1))
    off = step - whole * pitch
    scatter = max(1.4826 * float(np.median(np.abs(off))), 1.0)
    limit = min(max(5 * scatter, 4.0), 0.3 * pitch)
    bad = np.concatenate([[False], (np.abs(off) > limit) & (whole <= 2), [False]])
    blind = np.concatenate([[True], (whole > 2) | (count > 2), [True]])
    past = np.abs(off[:-1] + off[1:])
    fits_past = np.concatenate([[False], past < np.minimum(4 * scatter, limit), [False]])
    gross = bad[:-1] & bad[1:] & fits_past
    fits = ~bad & ~blind
    gross[:-1] |= blind[:-2] & bad[1:-1] & fits[2:]
    gross[1:] |= blind[2:] & bad[1:-1] & fits[:-2]
    misread = anchors.misread + tuple(int(c) for c in anchors.course[gross])
    return replace(_taken(anchors, np.flatnonzero(~gross)), misread=misread)
