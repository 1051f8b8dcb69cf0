"""The deviation map read back: stations, deviations, tints, hatches, brackets, hinges; always legible."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from sheets.condition_cases import DEMOS, MOVES, demo, moved, nasty
from sheets.legibility import outside, overprints, said

from survey.condition.result import Pattern
from survey.curves import curve_of
from survey.fitting.result import Estimate, Opens
from survey.record.model import Condition
from survey.sheets.condition.deviation_drawing import (
    LONGEST_MM,
    deviation_drawing,
    ring_bounds_mm,
    trace_factor,
)
from survey.sheets.condition.deviation_sheet import _parts, deviation_sheet, deviation_sheets
from survey.sheets.condition.deviation_style import (
    MISSING,
    NOT_MEASURED,
    STEPS,
    course_style,
    deviation_style,
)
from survey.sheets.condition.pattern_marks import brackets_of
from survey.sheets.drawing import Circle, Dash, Hatch, Polyline, Text
from survey.sheets.kit import ink
from survey.sheets.kit.page import Paper
from survey.sheets.kit.schedule import Schedule
from survey.sheets.report.tables import worst_schedule

NASTY_NAMES = tuple(nasty())
SCALE = 10.0


def any_case(name):
    return demo(name) if name in DEMOS else moved(name) if name in MOVES else nasty()[name]


EVERY = pytest.mark.parametrize("name", [*DEMOS, *NASTY_NAMES, *MOVES])


def marks(made, kind, scale=SCALE):
    return [m for m in deviation_drawing(made.record, made.map_, scale).primitives if isinstance(m, kind)]


def bricks(made, scale=SCALE):
    return {m.tag: m for m in marks(made, Polyline, scale) if m.tag.startswith("ring-")}


@EVERY
def test_no_text_over_another_and_all_inside_the_frame(name):
    made = any_case(name)
    for sheet in deviation_sheets(made.record, made.fit, made.map_):
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


@EVERY
def test_all_words_and_the_worst_courses_are_printed(name):
    made = any_case(name)
    words = said(deviation_sheets(made.record, made.fit, made.map_)).replace("−", "-")
    for sentence in (p.sentence for p in made.map_.patterns):
        assert " ".join(sentence.split()) in words
    for worst in made.map_.worst:
        assert f"{worst.ring}/{worst.course}" in words
    if made.map_.movement is not None:
        assert made.map_.movement.because in words


@EVERY
def test_courses_stand_between_their_stations_on_the_faces_of_their_ring(name):
    made = any_case(name)
    curve = curve_of(made.map_.shape)
    drawn = bricks(made)
    placed = [c for c in made.map_.courses if math.isfinite(c.start_mm + c.end_mm)]
    assert len(drawn) == len(placed)
    for course in placed:
        corners = np.array(drawn[f"ring-{course.ring}-course-{course.course}"].points)
        seen = curve.locate(corners)
        low, high = ring_bounds_mm(made.record.rings, course.ring)
        assert seen.distance_mm == pytest.approx([low, low, high, high], abs=1e-6)
        ends = [course.start_mm, course.end_mm, course.end_mm, course.start_mm]
        assert seen.station_mm == pytest.approx(ends, abs=1e-5)


@EVERY
def test_hatches_follow_the_sign_and_missing_courses_are_dashed(name):
    made = any_case(name)
    drawn = bricks(made)
    tolerance = made.map_.tolerances.intrados_mm
    for course in made.map_.courses:
        if not math.isfinite(course.start_mm + course.end_mm):
            continue
        style = drawn[f"ring-{course.ring}-course-{course.course}"].style
        assert (style.dash is Dash.DASHED) == (course.condition is Condition.MISSING)
        if course.condition is Condition.MISSING:
            continue
        wanted = Hatch.NONE
        if math.isnan(course.deviation_mm):
            wanted = Hatch.DOTS
        elif abs(course.deviation_mm) >= tolerance:
            wanted = Hatch.DIAGONAL if course.deviation_mm > 0 else Hatch.BACK_DIAGONAL
        assert style.hatch is wanted
        noted = course.condition in (Condition.LOOSE, Condition.CRACKED)
        assert (style.width_mm == ink.HEAVY_MM) == noted


@EVERY
def test_dots_stand_at_the_stations_and_off_the_base_by_the_deviation_times_the_factor(name):
    made = any_case(name)
    curve = curve_of(made.map_.shape)
    factor = trace_factor(made.map_, SCALE)
    courses = {
        f"ring-{c.ring}-course-{c.course}": c for c in made.map_.courses if math.isfinite(c.deviation_mm)
    }
    dots = [m for m in marks(made, Circle) if m.tag]
    assert {dot.tag for dot in dots} == {
        tag for tag, c in courses.items() if c.ring == min(r.ring for r in made.record.rings)
    }
    seen = curve.locate(np.array([dot.centre for dot in dots]))
    off = np.array([courses[dot.tag].deviation_mm for dot in dots])
    drawn = np.clip(factor * off, -LONGEST_MM * SCALE, LONGEST_MM * SCALE)
    base = np.median(seen.distance_mm - drawn)
    assert seen.distance_mm - base == pytest.approx(drawn, abs=1e-4)
    assert seen.station_mm == pytest.approx([courses[dot.tag].station_mm for dot in dots], abs=1e-3)
    texts = {t.text for t in marks(made, Text)}
    for value in off[np.abs(factor * off) > LONGEST_MM * SCALE + 1e-6]:
        assert f"{value:.0f}".replace("-", "−") in texts


def test_the_tolerance_is_ruled_on_both_sides_of_the_base_line():
    made = demo("cellar_doorway")
    curve = curve_of(made.map_.shape)
    factor = trace_factor(made.map_, SCALE)
    lines = [m for m in marks(made, Polyline) if len(m.points) == 181]
    off = [float(np.mean(curve.locate(np.array(m.points)).distance_mm)) for m in lines]
    base, *sides = off
    assert sorted(side - base for side in sides) == pytest.approx([-5.0 * factor, 5.0 * factor], abs=1e-3)
    assert [m.style.dash for m in lines] == [Dash.SOLID, Dash.DASHED, Dash.DASHED]
    assert base < 0.0


def test_the_trace_stands_outside_an_arch_too_tight_for_it():
    made = nasty()["low ellipse"]
    curve = curve_of(made.map_.shape)
    dots = np.array([m.centre for m in marks(made, Circle) if m.tag])
    assert curve.locate(dots).distance_mm.min() > 240.0


def test_the_trace_is_broken_across_a_gap():
    made = nasty()["gap"]
    bold = [m for m in marks(made, Polyline) if m.style.width_mm == ink.BOLD_MM and not m.tag]
    assert [len(m.points) for m in bold if len(m.points) < 60] == [29, 25]


def test_steps_of_the_scale_are_symmetric_and_told_apart_in_black_and_white():
    bounds = [step.least for step in STEPS[1:]]
    assert bounds == [-b for b in reversed(bounds)]
    inward, outward = STEPS[0].style, STEPS[-1].style
    assert inward.hatch is not outward.hatch
    assert deviation_style(5.0, 5.0).hatch is Hatch.DIAGONAL
    assert deviation_style(math.nan, 5.0) is NOT_MEASURED
    looks = {(s.style.fill, s.style.hatch) for s in STEPS} | {("", Hatch.NONE, MISSING.dash)}
    assert len(looks) == len(STEPS) + 1


def test_a_course_noted_missing_is_dashed_whatever_was_read():
    course = replace(demo("loft_window").map_.courses[0], condition=Condition.MISSING, deviation_mm=20.0)
    assert course_style(course, 5.0) is MISSING


def test_numbers_on_hatched_bricks_have_a_white_ground_and_flagged_ones_are_bold():
    made = demo("cellar_doorway")
    numbers = [t for t in marks(made, Text) if t.text.isdigit()]
    assert sum(t.bold for t in numbers) == sum(bool(c.flag) for c in made.map_.courses)
    hatched = [m for m in bricks(made).values() if m.style.hatch is not Hatch.NONE]
    assert sum(t.backed for t in numbers) == len(hatched) > 10


def test_numbers_wider_than_their_bricks_have_a_white_ground():
    numbers = [t for t in marks(nasty()["160 courses, five rings"], Text, 25.0) if t.text.isdigit()]
    assert len(numbers) > 100
    assert all(t.backed for t in numbers)


def pattern(ring, first, last, name="patch"):
    return Pattern(name, f"Courses {first} to {last}.", ring, first, last, Estimate(5.0, 1.0), 4.0)


def test_brackets_cover_their_courses_and_never_each_other():
    made = nasty()["gap"]
    found = (pattern(1, 3, 9), pattern(1, 1, 61), pattern(1, 8, 20), pattern(1, 22, 24), pattern(1, 90, 95))
    made = replace(made, map_=replace(made.map_, patterns=found))
    brackets = brackets_of(made.map_)
    assert [b.letter for b in brackets] == ["A", "", "B", "C", ""]
    assert [b.level for b in brackets] == [0, 0, 1, 0, 0]
    curve = curve_of(made.map_.shape)
    courses = {c.course: c for c in made.map_.ring(1)}
    for letter, first, last in (("A", 3, 9), ("B", 8, 20), ("C", 22, 24)):
        (line,) = (m for m in marks(made, Polyline) if m.tag == f"pattern-{letter}")
        seen = curve.locate(np.array(line.points))
        assert seen.station_mm.min() == pytest.approx(courses[first].start_mm, abs=1e-3)
        assert seen.station_mm.max() == pytest.approx(courses[last].end_mm, abs=1e-3)
        assert seen.distance_mm.min() > 240.0
    words = said(deviation_sheets(made.record, made.fit, made.map_))
    assert "B: Courses 8 to 20." in words
    assert "– Courses 1 to 61." in words


@pytest.mark.parametrize("name", list(MOVES))
def test_the_line_above_the_map_is_printed_whole(name):
    made = moved(name)
    words = said(deviation_sheets(made.record, made.fit, made.map_))
    assert "line beside the arch: deviations of ring 1" in words
    assert "arrowhead: hinge as numbered, towards where it opens" in words


@pytest.mark.parametrize("name", list(MOVES))
def test_arrowheads_point_at_the_side_that_opens(name):
    made = moved(name)
    curve = curve_of(made.map_.shape)
    heads = [m for m in marks(made, Polyline) if m.tag == "hinge"]
    hinges = made.map_.movement.hinges
    assert len(heads) == len(hinges)
    for head, hinge in zip(heads, hinges, strict=True):
        tip, *broad = curve.locate(np.array(head.points)).distance_mm
        if hinge.opens is Opens.INTRADOS:
            assert 0.0 > tip > max(broad)
        else:
            assert 240.0 < tip < min(broad)


@pytest.mark.parametrize("name", list(MOVES))
def test_every_hinge_is_numbered_beside_its_arrowhead_and_told_in_the_key(name):
    made = moved(name)
    hinges = made.map_.movement.hinges
    heads = [np.mean(m.points, axis=0) for m in marks(made, Polyline) if m.tag == "hinge"]
    numbers = [m for m in marks(made, Text) if m.height_mm == ink.HEAD_MM]
    assert [m.text for m in numbers] == [str(n) for n in range(1, len(hinges) + 1)]
    for text, head in zip(numbers, heads, strict=True):
        away = [math.dist(text.at, other) for other in heads]
        assert min(away) == math.dist(text.at, head) < 9.0 * SCALE
    words = said(deviation_sheets(made.record, made.fit, made.map_))
    for number, hinge in enumerate(hinges, start=1):
        assert f"{number} {hinge.where} {hinge.opens.value}" in words


def test_numbers_of_courses_are_black_so_that_they_read_on_a_tint():
    made = any_case("spread semicircle")
    numbers = [m for m in marks(made, Text) if m.text.isdigit() and m.height_mm < ink.HEAD_MM]
    assert {m.style.colour for m in numbers} == {ink.BLACK}
    assert any(m.bold for m in numbers)


def test_the_single_sheet_is_the_one_with_the_map():
    made = nasty()["many words"]
    sheets = deviation_sheets(made.record, made.fit, made.map_)
    assert len(sheets) > 1
    assert deviation_sheet(made.record, made.fit, made.map_) == sheets[0]
    assert sheets[0].placed
    assert all((s.width_mm, s.height_mm) == Paper.A3_LANDSCAPE.value for s in sheets)
    assert sheets[1].title.endswith("continued")


def test_minus_signs_are_printed_as_such():
    made = demo("cart_gateway")
    words = said(deviation_sheets(made.record, made.fit, made.map_))
    assert "-6" not in words


def test_every_advice_of_the_worst_courses_is_said_once_and_none_is_lost():
    """Every line gives its advice or names a line above that does; the report says the same."""
    made = demo("cellar_doorway")
    worst = made.map_.worst
    assert len({w.todo for w in worst}) < len(worst)
    (table,) = (p for p in _parts(made.fit, made.map_) if isinstance(p, Schedule) and "worst" in p.title)
    by_course = {row[0]: row[-1] for row in table.rows}
    told = [
        by_course[words.removeprefix("as for ")] if words.startswith("as for ") else words
        for words in (row[-1] for row in table.rows)
    ]
    assert told == [w.todo for w in worst]
    full = [row[-1] for row in table.rows if not row[-1].startswith("as for ")]
    assert sorted(full) == sorted({w.todo for w in worst})
    assert [(row[0], row[-1]) for row in worst_schedule(made.map_).rows] == list(by_course.items())
