"""Counts of courses and what becomes of each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rebuild.factory import edge_survey, fit, lay, note, record, ring

from survey.curves import curve_of, segmental
from survey.errors import PlanError
from survey.fitting.result import CourseCount, GapCount
from survey.rebuild import plan_rebuild
from survey.rebuild.layout.courses import Fate, RingCount, choose_scope, count_ring, fates, missing_courses
from survey.rebuild.plan import RebuildOptions, Scope
from survey.rebuild.rhythm.edges import Renumbering, edges_of_ring, read_edges
from survey.record.model import Condition

SHAPE = segmental(2400.0, 400.0)
LINE = curve_of(SHAPE)
NONE = RebuildOptions()


def test_a_count_on_site_is_kept() -> None:
    rec = record((ring(1, 44),))
    count = count_ring(rec.rings[0], rec, fit(SHAPE, rec), NONE, inner=LINE)
    assert (count.count, count.counted, count.doubts) == (44, True, ())


def test_the_fit_counts_what_was_not_counted() -> None:
    rec = record((ring(1, None),))
    arch_fit = replace(
        fit(SHAPE, rec), courses=(CourseCount(1, 45, False, {45: 0.9}, (), "The last third was not seen."),)
    )
    count = count_ring(rec.rings[0], rec, arch_fit, NONE, inner=LINE)
    assert (count.count, count.counted) == (45, False)
    assert count.doubts == ("Ring 1: The last third was not seen.",)


@pytest.mark.parametrize(("joints", "expected"), [((), 43), ((4.0, 4.2, 3.8), 48)])
def test_what_fits_is_the_last_resort_and_says_so(joints: tuple[float, ...], expected: int) -> None:
    """Arc 2574.004, bricks 50: (2574 - 10) / 60 = 42.7 and (2574 - 4) / 54 = 47.6."""
    rec = record((ring(1, None),), courses=tuple(note(k + 1, joint_mm=j) for k, j in enumerate(joints)))
    count = count_ring(rec.rings[0], rec, fit(SHAPE, rec), NONE, inner=LINE)
    assert count.count == expected
    assert not count.counted
    assert "was not counted" in count.doubts[0]


def test_a_chosen_count_overrides_and_is_told() -> None:
    rec = record((ring(1, 43),))
    options = RebuildOptions(counts=((1, 45),))
    count = count_ring(rec.rings[0], rec, fit(SHAPE, rec), options, inner=LINE)
    assert count.count == 45
    assert count.doubts == ("Ring 1: planned with 45 courses by choice; the original had 43.",)


@pytest.mark.parametrize(
    ("brick", "counts", "message"),
    [
        (50.0, ((1, 0),), "0 courses were asked for"),
        (2600.0, (), "a brick of 2600 mm does not fit on 2574 mm of arch"),
    ],
)
def test_counts_that_make_no_sense(brick: float, counts: tuple[tuple[int, int], ...], message: str) -> None:
    rec = record((ring(1, None, brick_width_mm=brick),))
    with pytest.raises(PlanError, match=message):
        count_ring(rec.rings[0], rec, fit(SHAPE, rec), RebuildOptions(counts=counts), inner=LINE)


def test_missing_are_the_noted_ones_and_the_gaps_found() -> None:
    gap = GapCount(3, 5, 0.0, 1.0, 2, {2: 1.0})
    rec = record((ring(1, 11),), courses=(note(9, condition=Condition.MISSING), note(0, joint_mm=8.0)))
    count = RingCount(1, 11, True, Renumbering((gap,)))
    missing = missing_courses(rec, 1, count)
    assert (np.flatnonzero(missing) + 1).tolist() == [4, 5, 10]


@pytest.mark.parametrize(
    ("asked", "missing", "scope"),
    [
        (None, [False, True, False], Scope.REPAIR),
        (None, [False, False, False], Scope.WHOLE),
        (None, [True, True, True], Scope.WHOLE),
        (Scope.WHOLE, [False, True, False], Scope.WHOLE),
        (Scope.REPAIR, [False, False, False], Scope.REPAIR),
    ],
)
def test_scope(asked: Scope | None, missing: list[bool], scope: Scope) -> None:
    assert choose_scope(RebuildOptions(scope=asked), [np.array(missing)]) is scope


NOTES = (
    note(1, condition=Condition.SOUND),
    note(2, condition=Condition.CRACKED),
    note(3, condition=Condition.CRACKED, reuse=True),
    note(4, condition=Condition.SOUND, reuse=False),
    note(5, condition=Condition.MISSING),
    note(6, condition=Condition.LOOSE),
    note(7, condition=Condition.REPLACED),
)


@pytest.mark.parametrize(
    ("scope", "expected"),
    [
        (Scope.WHOLE, "back new back new new back new back new"),
        (Scope.REPAIR, "stands stands stands new new stands stands stands stands"),
    ],
)
def test_fates(scope: Scope, expected: str) -> None:
    """Courses 8 and 9 have no note; only 8 was surveyed."""
    laid = lay(LINE.length_mm, np.full(9, 250.0), np.ones(10))
    there = np.arange(9) == 7
    rec = record((ring(1, 9),), courses=NOTES, points=edge_survey(LINE, laid, there=there))
    count = RingCount(1, 9, True, Renumbering(()))
    missing = missing_courses(rec, 1, count)
    arch_fit = fit(SHAPE, rec)
    edges = edges_of_ring(read_edges(rec, arch_fit), arch_fit, 1, count=9, numbers=count.numbers)
    found = fates(rec, edges, scope=scope, count=count, missing=missing)
    word = {Fate.STANDS: "stands", Fate.GOES_BACK: "back", Fate.NEW: "new"}
    assert [word[Fate(f)] for f in found] == expected.split()


@pytest.mark.parametrize("of_ring", [1, -1])
def test_a_brick_whose_points_were_set_aside_is_there_all_the_same(of_ring: int) -> None:
    """No curve fits near course 5: its points are not believed, but the brick goes back, none is bought."""
    laid = lay(LINE.length_mm, np.full(43, 50.0), np.ones(44))
    points = edge_survey(LINE, laid)
    points = replace(points, ring=np.full(len(points), of_ring))
    rec = record((ring(1, 43),), points=points)
    arch_fit = fit(SHAPE, rec)
    n = len(points)
    aside = replace(
        arch_fit.points,
        index=np.arange(n),
        name=points.name,
        station_mm=np.zeros(n),
        deviation_mm=np.zeros(n),
        weight=np.ones(n),
        set_aside=np.asarray(points.course == 5),
    )
    plan = plan_rebuild(rec, replace(arch_fit, points=aside))
    assert {b.source for b in plan.bricks} == {"original"}
    assert plan.bricks[4].inferred
    unread = replace(rec, points=points.take(np.flatnonzero(points.course != 5)))
    notes = (note(5, condition=Condition.MISSING),)
    gone = plan_rebuild(replace(unread, courses=notes), arch_fit, RebuildOptions(scope=Scope.WHOLE))
    assert [b.course for b in gone.bricks if b.source == "new"] == [5]
