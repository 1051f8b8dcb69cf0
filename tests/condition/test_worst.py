"""The table of the worst courses: order, one line a course, and what to do."""

from __future__ import annotations

from condition.factory import LaidRing, fit_of, note, record_of

from survey.condition import WorstCourse, map_deviations
from survey.curves import semicircular
from survey.record.model import Condition, CourseNote, Edge, Feature

SHAPE = semicircular(1000.0)
N = 51


def worst(*rings: LaidRing, notes: tuple[CourseNote, ...] = ()) -> tuple[WorstCourse, ...]:
    record = record_of(SHAPE, rings, sigma_mm=0.5, notes=notes)
    return map_deviations(record, fit_of(record, SHAPE)).worst


def test_a_true_arch_has_no_worst_course() -> None:
    assert worst(LaidRing(N)) == ()


def test_danger_comes_first_then_the_largest_excess() -> None:
    laid = LaidRing(
        N, surveyed=[c for c in range(1, N + 1) if c not in (30, 31)], deviation_mm={20: -9.0, 44: 6.0}
    )
    notes = (note(1, 7, condition=Condition.LOOSE), note(1, 9, condition=Condition.CRACKED))
    lines = worst(laid, notes=notes)
    assert [(w.course, w.what) for w in lines[:2]] == [(30, "2 courses missing, 30 to 31"), (7, "loose")]
    assert "Rebuild on the centre only" in lines[0].todo
    assert all("engineer" in w.todo for w in lines[:2])
    ranked = [w.course for w in lines]
    assert ranked.index(20) < ranked.index(9)
    assert len(ranked) == len(set(ranked))


def test_a_course_into_the_opening_is_to_be_propped() -> None:
    (line,) = [w for w in worst(LaidRing(N, deviation_mm={20: -20.0}, edges=(Edge.MID,))) if w.course == 20]
    assert line.what == "20 mm into the opening"
    assert line.how_much == "-20.0 mm ± 0.9 mm, tolerance 5.0 mm"
    assert "prop it" in line.todo


def test_beds_are_told_in_degrees_and_misreadings_without_an_uncertainty() -> None:
    surfaces = (Feature.INTRADOS, Feature.EXTRADOS)
    (bed,) = worst(LaidRing(N, bed_tilt_rad={20: 0.06}, surfaces=surfaces))
    assert bed.how_much == "+3.4° ± 0.1°, tolerance 2.0°"


def test_no_more_than_ten() -> None:
    assert len(worst(LaidRing(N, deviation_mm=dict.fromkeys(range(1, N + 1, 3), -9.0)))) == 10


def test_one_missing_course_is_told_in_the_singular() -> None:
    laid = LaidRing(N, surveyed=[c for c in range(1, N + 1) if c != 30], recorded=N)
    lines = worst(laid, notes=(note(1, 30, condition=Condition.MISSING),))
    assert lines[0].what == "1 course missing"


def test_one_course_that_was_only_not_measured_is_not_missing() -> None:
    laid = LaidRing(N, surveyed=[c for c in range(1, N + 1) if c != 30], recorded=N)
    assert not any("missing" in line.what for line in worst(laid))


def test_a_cracked_course_out_of_line_stands_once_with_the_more_careful_advice() -> None:
    laid = LaidRing(N, deviation_mm={20: -7.0}, edges=(Edge.MID,))
    (line,) = worst(laid, notes=(note(1, 20, condition=Condition.CRACKED),))
    assert line.what == "cracked, 7 mm into the opening"
    assert line.how_much.startswith("-7.0 mm")
    assert "prop it" in line.todo
