"""Bricks that were not measured, told from bricks that are gone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.simulated import ArchSpec, simulate

from survey import curves
from survey.fitting import fit_arch
from survey.fitting.result import GapCount
from survey.fitting.unmeasured import unmeasured_courses
from survey.rebuild import RebuildOptions, Scope, plan_rebuild
from survey.record.model import Condition, CourseNote, Record

N = 40
RECORD = simulate(ArchSpec(curves.semicircular(1000.0), n_courses=N, gross_ratio=0.0), 1).record


def gap(first: int, last: int) -> GapCount:
    n = last - first + 1
    return GapCount(first - 1, last + 1, 0.0, 1.0, n, {n: 1.0})


def noted(record: Record, course: int, condition: Condition, width_mm: float | None = None) -> Record:
    note = CourseNote(1, course, width_mm, None, None, condition, None, "", course + 1)
    return replace(record, courses=(*record.courses, note))


def without(record: Record, courses: list[int]) -> Record:
    kept = ~(np.isin(record.points.course, courses) & (record.points.ring == 1))
    return replace(record, points=record.points.take(kept))


BARE = replace(RECORD, courses=())


def test_one_course_alone_stands_and_a_run_is_a_hole() -> None:
    found = unmeasured_courses(BARE, 1, [gap(3, 3), gap(20, 23)], N)
    assert (found.standing, found.gone) == ((3,), (20, 21, 22, 23))
    assert "Course 3 of ring 1 was not measured" in found.told
    assert "it is taken as standing" in found.told
    assert "Courses 20 to 23 of ring 1 were not measured" in found.told
    assert "they are taken as missing" in found.told


def test_two_together_are_a_hole_where_all_else_was_measured() -> None:
    assert unmeasured_courses(BARE, 1, [gap(9, 10)], N).gone == (9, 10)


def test_two_together_stand_where_many_single_ones_were_passed_over() -> None:
    thin = [gap(c, c) for c in (3, 7, 12, 18, 25)]
    assert 31 in unmeasured_courses(BARE, 1, [*thin, gap(31, 32)], N).standing


def test_every_third_course_measured_is_a_habit() -> None:
    habit = [gap(c, c + 1) for c in range(2, 38, 3)]
    assert unmeasured_courses(BARE, 1, habit, N).gone == ()


def test_what_is_noted_is_not_assumed() -> None:
    record = noted(BARE, 3, Condition.MISSING)
    record = noted(record, 21, Condition.SOUND)
    record = noted(record, 22, Condition.UNKNOWN, width_mm=65.0)
    found = unmeasured_courses(record, 1, [gap(3, 3), gap(20, 23)], N)
    assert (found.standing, found.gone, found.known) == ((), (20, 23), (21, 22))
    assert found.there == {21, 22}


def test_numbers_that_do_not_agree_with_the_gap_say_nothing_of_it() -> None:
    crowded = GapCount(4, 5, 0.0, 1.0, 1, {1: 1.0})
    found = unmeasured_courses(BARE, 1, [crowded], N)
    assert (found.there, found.told) == (frozenset(), "")


@pytest.mark.parametrize("scope", [None, Scope.REPAIR])
def test_a_course_passed_over_is_not_bought(scope: Scope | None) -> None:
    record = without(BARE, [8])
    plan = plan_rebuild(record, fit_arch(record), RebuildOptions(scope=scope))
    assert not any(c.source == "new" for c in plan.rings[0].bricks)
    assert any("Course 8 of ring 1 was not measured" in warning for warning in plan.warnings)


def test_a_course_noted_missing_is_bought() -> None:
    record = noted(without(BARE, [8]), 8, Condition.MISSING)
    plan = plan_rebuild(record, fit_arch(record))
    assert plan.scope is Scope.REPAIR
    assert [c.course for c in plan.rings[0].bricks if c.source == "new"] == [8]
