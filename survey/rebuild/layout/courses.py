"""How many courses each ring has, and what becomes of every one: stands, goes back, or is laid anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Curve
from survey.errors import PlanError
from survey.fitting.result import ArchFit, CourseCount
from survey.fitting.unmeasured import unmeasured_courses
from survey.rebuild import words
from survey.rebuild.plan import RebuildOptions, Scope
from survey.rebuild.rhythm.edges import Renumbering, RingEdges
from survey.rebuild.rhythm.readings import notes_of
from survey.rebuild.rhythm.rings import section_factor
from survey.record.model import UNKNOWN, Condition, CourseNote, Record, Ring

USUAL_JOINT_MM = 10.0
"""Joint supposed when a ring was neither counted nor any joint of it read; common practice, no source."""

NOT_FIT_TO_GO_BACK = frozenset({Condition.CRACKED, Condition.SPALLED, Condition.MISSING, Condition.REPLACED})
"""Bricks in these conditions go back only where the record says ``reuse = yes``."""


class Fate(IntEnum):
    """What becomes of a course."""

    STANDS = 0
    GOES_BACK = 1
    NEW = 2


@dataclass(frozen=True, slots=True)
class RingCount:
    """Number of courses of one ring in the plan."""

    ring: int
    count: int
    counted: bool
    numbers: Renumbering
    doubts: tuple[str, ...] = ()


def count_ring(
    ring: Ring, record: Record, fit: ArchFit, options: RebuildOptions, *, inner: Curve
) -> RingCount:
    """Number of courses: the restorer's choice, else the count on site or the fit's, else what fits.

    Parameters
    ----------
    inner : Curve
        The ring's inner curve as surveyed; needed only where nothing gave a count.

    Raises
    ------
    PlanError
        When the count asked for is below 1 or the ring's brick is wider than the ring is long.
    """
    fitted = next((c for c in fit.courses if c.ring == ring.ring), None)
    numbers = Renumbering(fitted.gaps if fitted is not None else ())
    by_choice = dict(options.counts).get(ring.ring)
    known = _known_count(ring, fitted)
    if by_choice is not None:
        if by_choice < 1:
            raise PlanError(f"ring {ring.ring}: {by_choice} courses were asked for; give 1 or more")
        other: tuple[str, ...] = ()
        if known is not None and known != by_choice:
            other = (
                f"Ring {ring.ring}: planned with {words.counted(by_choice, 'course')} by choice; the "
                f"original had {known}.",
            )
        return RingCount(ring.ring, by_choice, counted=False, numbers=numbers, doubts=other)
    if known is not None:
        counted = fitted.counted if fitted is not None else True
        doubt = fitted.doubt if fitted is not None else ""
        named = doubt if f"ring {ring.ring}" in doubt else f"Ring {ring.ring}: {doubt}"
        doubts = (named,) if doubt else ()
        return RingCount(ring.ring, known, counted, numbers, doubts)
    count = _count_that_fits(ring, record, inner.length_mm)
    supposed = (
        f"Ring {ring.ring} was not counted: {words.counted(count, 'course')} of {ring.brick_width_mm:.0f} mm "
        f"{'is' if count == 1 else 'are'} supposed. Count them on site and write courses into arch.toml.",
    )
    return RingCount(ring.ring, count, counted=False, numbers=numbers, doubts=supposed)


def _known_count(ring: Ring, fitted: CourseCount | None) -> int | None:
    return fitted.count if fitted is not None else ring.courses


def _count_that_fits(ring: Ring, record: Record, length_mm: float) -> int:
    """Whole number of bricks and joints nearest to the ring's length."""
    factor = section_factor(ring)
    joints = [n.joint_mm for n in record.courses if n.joint_mm is not None and n.ring == ring.ring]
    joint_mm = float(np.median(joints)) if joints else factor * USUAL_JOINT_MM
    width_mm = factor * ring.brick_width_mm
    if width_mm + joint_mm > length_mm:
        raise PlanError(
            f"ring {ring.ring}: a brick of {width_mm:.0f} mm does not fit on {length_mm:.0f} mm of arch; "
            "check brick_width and the unit in arch.toml"
        )
    return max(1, round((length_mm - joint_mm) / (width_mm + joint_mm)))


def missing_courses(record: Record, ring: int, count: RingCount) -> NDArray[np.bool_]:
    """Mask (N,) of the courses that are not there: noted as missing, or in a gap that was not passed over."""
    missing = np.zeros(count.count, dtype=bool)
    for gap in count.numbers.gaps:
        first = count.numbers.plan_course(gap.after_course)
        missing[max(first, 0) : max(first, 0) + gap.count] = True
    missing[_passed_over(record, count)] = False
    for note in notes_of(record, ring):
        course = count.numbers.plan_course(note.course)
        if note.condition is Condition.MISSING and 1 <= course <= count.count:
            missing[course - 1] = True
    return missing


def _passed_over(record: Record, count: RingCount) -> list[int]:
    """Indices of courses in gaps of the points that are taken to be there all the same."""
    there = unmeasured_courses(record, count.ring, count.numbers.gaps, count.count).there
    planned = (count.numbers.plan_course(c) for c in sorted(there))
    return [c - 1 for c in planned if 1 <= c <= count.count]


def choose_scope(options: RebuildOptions, missing: Sequence[NDArray[np.bool_]]) -> Scope:
    """The restorer's choice, else repair where courses are missing and some stand, else whole."""
    if options.scope is not None:
        return options.scope
    gone = any(m.any() for m in missing)
    stands = any(not m.all() for m in missing)
    return Scope.REPAIR if gone and stands else Scope.WHOLE


def fates(
    record: Record, edges: RingEdges, *, scope: Scope, count: RingCount, missing: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """What becomes of each course, as ``Fate`` values (N,).

    Repair: all that is there stands, but for bricks noted ``reuse = no``. Whole: a brick goes back to its own
    place when the record says so or it was recorded and is not broken, or was only passed over between
    measured courses; what was never recorded is planned new. A brick on which a point was taken is there,
    also where the fit set the point aside.
    """
    notes = {count.numbers.plan_course(n.course): n for n in notes_of(record, count.ring)}
    fate = np.full(count.count, Fate.NEW, dtype=np.int64)
    if scope is Scope.REPAIR:
        fate[~missing] = Fate.STANDS
        out = [c - 1 for c, n in notes.items() if n.reuse is False and 1 <= c <= count.count]
        fate[out] = Fate.NEW
        return fate
    seen = edges.surveyed | _pointed_at(record, count)
    seen[_passed_over(record, count)] = True
    for course in range(1, count.count + 1):
        if not missing[course - 1] and _goes_back(notes.get(course), surveyed=bool(seen[course - 1])):
            fate[course - 1] = Fate.GOES_BACK
    return fate


def _pointed_at(record: Record, count: RingCount) -> NDArray[np.bool_]:
    """Mask (N,) of the courses that any point of the record was said to be taken on, believed or not."""
    points = record.points
    there = np.zeros(count.count, dtype=bool)
    mine = points.ring == count.ring
    if count.ring == 1:  # points without a ring are on the soffit of the arch
        mine |= points.ring == UNKNOWN
    course = count.numbers.plan_courses(points.course[mine & (points.course >= 1)])
    there[course[(course >= 1) & (course <= count.count)] - 1] = True
    return there


def _goes_back(note: CourseNote | None, *, surveyed: bool) -> bool:
    if note is None:
        return surveyed
    if note.reuse is not None:
        return note.reuse
    return note.condition not in NOT_FIT_TO_GO_BACK
