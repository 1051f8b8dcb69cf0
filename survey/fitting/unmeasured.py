"""Courses nobody measured: which of them are taken as standing, and which as fallen out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from survey.fitting.result import GapCount
from survey.record.model import Condition, Record

CHANCE = 0.05
"""A run of unmeasured courses that chance would leave less often than this is taken as a hole."""
MOST_HOLES = 3
"""More runs of one length than this are the surveyor's habit, not holes; judgement."""


@dataclass(frozen=True, slots=True)
class Unmeasured:
    """Courses of one ring inside the gaps of its points, by their recorded numbers.

    Attributes
    ----------
    ring : int
    standing : tuple of int
        Taken as standing though nothing was measured or noted of them.
    gone : tuple of int
        Taken as missing though nothing was noted of them.
    known : tuple of int
        Not measured either, but noted in courses.csv as being there.
    """

    ring: int
    standing: tuple[int, ...] = ()
    gone: tuple[int, ...] = ()
    known: tuple[int, ...] = ()

    @property
    def there(self) -> frozenset[int]:
        """Courses in gaps of the points that are nevertheless no hole."""
        return frozenset(self.standing + self.known)

    @property
    def told(self) -> str:
        """What was assumed, in sentences; blank where nothing had to be."""
        return " ".join(
            _told(self.ring, courses, fate)
            for courses, fate in ((self.standing, "standing"), (self.gone, "missing"))
            if courses
        )


def _told(ring: int, courses: tuple[int, ...], fate: str) -> str:
    one = len(courses) == 1
    runs = _runs(courses)
    named = ", ".join(runs[:-1]) + f" and {runs[-1]}" if len(runs) > 1 else runs[0]
    return (
        f"{'Course' if one else 'Courses'} {named} of ring {ring} {'was' if one else 'were'} not measured, "
        f"and courses.csv does not say whether {'it is' if one else 'they are'} missing; "
        f"{'it is' if one else 'they are'} taken as {fate}: note {'its' if one else 'their'} condition there."
    )


def _runs(courses: tuple[int, ...]) -> list[str]:
    """Numbers in order, three or more that follow each other told by their first and last."""
    found: list[list[int]] = []
    for course in sorted(courses):
        if found and course == found[-1][-1] + 1:
            found[-1].append(course)
        else:
            found.append([course])
    return [
        told
        for run in found
        for told in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(course) for course in run])
    ]


def unmeasured_courses(record: Record, ring: int, gaps: Sequence[GapCount], count: int) -> Unmeasured:
    """Tell bricks that were only not measured from bricks that are gone.

    A course noted in courses.csv is what it is noted as. Of the rest, one alone between measured courses was
    most likely passed over. A longer run is a hole, unless shorter runs show a ring measured so thinly that
    chance leaves such a run, or there are as many runs of the kind as no arch has holes.

    Parameters
    ----------
    gaps : sequence of GapCount
        Gaps in the points of that ring.
    count : int
        Courses of the ring.

    Notes
    -----
    If each course is passed over with probability p, n courses hold about n p^k runs of k. Of p the shorter
    runs tell: (their courses + 1/2) / (courses outside longer runs + 1). Where the surveyor's numbers do not
    agree with the gap, they do not say what is in it, and it is taken as a hole.
    """
    notes = {n.course: n for n in record.courses if n.ring == ring}
    agreeing = [g for g in gaps if g.count == g.before_course - g.after_course - 1]
    lengths = Counter(g.count for g in agreeing)
    standing: list[int] = []
    gone: list[int] = []
    known: list[int] = []
    for gap in agreeing:
        hole = _is_hole(gap.count, lengths, count)
        for course in range(gap.after_course + 1, gap.before_course):
            note = notes.get(course)
            if note is not None and note.condition is Condition.MISSING:
                continue
            if note is not None and (note.condition is not Condition.UNKNOWN or note.width_mm is not None):
                known.append(course)
            else:
                (gone if hole else standing).append(course)
    return Unmeasured(ring, tuple(standing), tuple(gone), tuple(known))


def _is_hole(length: int, lengths: Counter[int], count: int) -> bool:
    if length == 1:
        return False
    if sum(n for k, n in lengths.items() if k >= length) > MOST_HOLES:
        return False
    shorter = sum(k * n for k, n in lengths.items() if k < length)
    longer = sum(k * n for k, n in lengths.items() if k >= length)
    passed_over = (shorter + 0.5) / (max(count - longer, 0) + 1.0)
    return count * min(passed_over, 1.0) ** length < CHANCE
