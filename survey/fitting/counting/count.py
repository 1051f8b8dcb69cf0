"""How many courses every ring has: recorded numbers checked against the rhythm, gaps counted from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from survey.curves.protocol import Curve
from survey.fitting.counting.anchors import course_anchors
from survey.fitting.counting.course_odds import Odds, joint_odds, likeliest, odds_of
from survey.fitting.counting.edge_clusters import edges_to_courses
from survey.fitting.counting.edge_readings import (
    average_edges,
    ring_length_mm,
    ring_offset_mm,
    seen_width_mm,
    station_of_along,
)
from survey.fitting.counting.numbering import number_points
from survey.fitting.counting.reckoning import (
    DOUBT_BELOW,
    JOINT_GUESS_MM,
    JOINT_GUESS_SIGMA_MM,
    Reckoned,
    RingReckoning,
)
from survey.fitting.result import CourseCount, GapCount
from survey.fitting.unmeasured import unmeasured_courses
from survey.record.model import Record, Ring

__all__ = ["count_courses", "course_numbers", "edges_to_courses"]


def count_courses(record: Record, curve: Curve, origin_mm: tuple[float, float]) -> tuple[CourseCount, ...]:
    """Count the courses of every ring, those that are missing included.

    Across a gap the number missing follows from the rhythm on both sides (mean pitch, its drift and its
    scatter), the arc length of the gap, the usual odd number of cut work and the surveyor's own numbers.
    Where arch.toml gives a count it stands, and ``doubt`` says so if the rhythm speaks against it.

    Parameters
    ----------
    record : Record
    curve : Curve
        The fitted intrados in the arch frame.
    origin_mm : tuple of float
        The arch frame's origin in the record's face frame.

    Returns
    -------
    tuple of CourseCount
        One a ring, in the record's order; stations of gaps are on the intrados.
    """
    numbered = number_points(record, curve, origin_mm)
    anchors = course_anchors(record, numbered, average_edges(record, numbered.places))
    counts: list[CourseCount] = []
    joint = JOINT_GUESS_MM, JOINT_GUESS_SIGMA_MM
    for ring in record.rings:
        offset = ring_offset_mm(record.rings, ring.ring)
        length = ring_length_mm(curve, offset)
        found = anchors[ring.ring]
        if len(found.course) == 0:
            counts.append(_count_unmeasured(record, ring, length, joint))
            continue
        reckoning = RingReckoning(record, ring, found, length)
        joint = reckoning.joint_mm, max(1.0, 0.25 * reckoning.joint_mm)
        count = _ring_count(reckoning)
        ends = station_of_along(curve, [(g.station_start_mm, g.station_end_mm) for g in count.gaps], offset)
        gaps = tuple(
            replace(gap, station_start_mm=float(a), station_end_mm=float(b))
            for gap, (a, b) in zip(count.gaps, ends.reshape(-1, 2), strict=True)
        )
        assumed = unmeasured_courses(record, ring.ring, gaps, count.count).told
        doubt = " ".join(part for part in (count.doubt, assumed) if part)
        counts.append(replace(count, gaps=gaps, doubt=doubt))
    return tuple(counts)


def course_numbers(count: CourseCount, recorded: Iterable[int]) -> Mapping[int, int]:
    """Number counted from the left springing for every recorded number of a ring.

    They differ only beyond a gap across which the surveyor's numbers leave out more or fewer courses than it
    holds.
    """
    shifts = [(g.before_course, g.count - (g.before_course - g.after_course - 1)) for g in count.gaps]
    return {c: c + sum(shift for before, shift in shifts if c >= before) for c in recorded}


def _ring_count(reckoning: RingReckoning) -> CourseCount:
    ring = reckoning.ring
    stretches = reckoning.stretches
    standing = len(reckoning.anchors.course) + sum(s.standing for s in stretches)
    odds = joint_odds([s.odds for s in stretches], standing, ring)
    doubts = list(reckoning.doubts)
    if ring.courses is not None and odds.rhythm_probability < DOUBT_BELOW:
        others = {k: p for k, p in odds.rhythm.items() if k != ring.courses}
        doubts.append(
            f"By arch.toml ring {ring.ring} has {ring.courses} courses, but the courses found and the rhythm "
            f"make it {likeliest(others)}: count them again."
        )
    return CourseCount(
        ring=ring.ring,
        count=likeliest(odds.total) if ring.courses is None else ring.courses,
        counted=ring.courses is not None,
        probability=odds.total,
        gaps=tuple(
            gap for s, part in zip(stretches, odds.parts, strict=True) for gap in _gaps(s, part, reckoning)
        ),
        doubt=" ".join(doubts),
    )


def _gaps(stretch: Reckoned, odds: Odds, reckoning: RingReckoning) -> list[GapCount]:
    """The gaps of a stretch, one a run of missing numbers; what the rhythm adds goes to the longest run."""
    count = likeliest(odds)
    runs = _runs(stretch.lacking)
    if not runs:
        after = stretch.after + stretch.standing if stretch.before is None else stretch.before - 1
        beyond = after + 1 + count if stretch.before is None else stretch.before
        return [GapCount(after, beyond, stretch.start_mm, stretch.end_mm, count, odds)] if count else []
    longest = max(range(len(runs)), key=lambda i: len(runs[i]))
    extra = count - len(stretch.lacking)
    gaps: list[GapCount] = []
    passed = stretch.start_mm
    at = stretch.after + 1
    for i, run in enumerate(runs):
        start = passed + (run[0] - at) * reckoning.pitch_mm
        n = len(run) + (extra if i == longest else 0)
        own = {k - count + n: p for k, p in odds.items() if k - count + n >= 0} if i == longest else {n: 1.0}
        closes = run[-1] + 1 == stretch.before or (stretch.before is None and i == len(runs) - 1)
        end = stretch.end_mm if closes else start + n * reckoning.pitch_mm + reckoning.joint_mm
        beyond = run[0] + n if stretch.before is None and closes else run[-1] + 1
        if n > 0:
            gaps.append(GapCount(run[0] - 1, beyond, start, end, n, own))
        passed, at = end - reckoning.joint_mm, run[-1] + 1
    return gaps


def _runs(numbers: tuple[int, ...]) -> list[list[int]]:
    """Runs of consecutive numbers."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def _count_unmeasured(
    record: Record, ring: Ring, length_mm: float, joint: tuple[float, float]
) -> CourseCount:
    """Count of a ring without surveyed edges: from arch.toml, its notes, or its length and brick width."""
    notes = {n.course: n for n in record.courses if n.ring == ring.ring and n.course >= 1}
    widths = [n.width_mm for n in notes.values() if n.width_mm is not None]
    width = float(np.median(widths)) if len(widths) >= 3 else seen_width_mm(ring)
    around = max(round((length_mm - joint[0]) / (width + joint[0])), 1)
    tried = np.arange(max(around - 3 - around // 4, 1), around + 4 + around // 4)
    fitting = (length_mm - tried * width) / (tried + 1)
    rhythm = odds_of([int(k) for k in tried], -0.5 * ((fitting - joint[0]) / joint[1]) ** 2)
    recorded = ring.courses if ring.courses is not None else max(notes, default=0)
    if recorded == 0:
        odds = joint_odds([rhythm], 0, ring).total
        return CourseCount(ring.ring, likeliest(odds), False, odds)
    left = (length_mm - recorded * width) / (recorded + 1)
    doubt = ""
    if not 0.0 <= left <= 2.5 * JOINT_GUESS_MM:
        doubt = (
            f"{recorded} courses of {width:.0f} mm would leave joints of {left:.1f} mm in ring {ring.ring}; "
            f"by its length it has about {likeliest(rhythm)}: count them again."
        )
    probability = (
        dict(joint_odds([], recorded, ring).total) if not doubt else {recorded: 0.5, likeliest(rhythm): 0.5}
    )
    return CourseCount(ring.ring, recorded, ring.courses is not None, probability, (), doubt)
