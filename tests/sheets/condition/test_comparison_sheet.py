"""The comparison sheet read back: strokes from where courses were, tables of what moved; always legible."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from shapely import Polygon
from sheets.condition_cases import compared
from sheets.legibility import outside, overprints, said
from sheets.pictures import NASTY

from survey.curves import curve_of
from survey.fitting.result import Estimate
from survey.sheets.condition.comparison_drawing import (
    LONGEST_MM,
    comparison_drawing,
    movement_factor,
    told_courses,
)
from survey.sheets.condition.comparison_sheet import CAUTIONS, comparison_sheet, moved_table
from survey.sheets.drawing import Circle, Line, Placed, Polyline, Text
from survey.sheets.kit.lettering import text_box, text_corners
from survey.sheets.kit.placing import on_paper

NAMES = ("still", "slipped", "everything moved", "far")
EVERY = pytest.mark.parametrize("name", NAMES)
SCALE = 10.0


def sheets_of(pair):
    return comparison_sheet(pair.earlier, pair.later, pair.comparison, fit_a=pair.fit)


def marks_of(pair):
    return comparison_drawing(pair.earlier, pair.fit, pair.comparison, SCALE).primitives


def test_the_cases_hold_what_they_promise():
    moved = {name: [c.course for c in compared(name).comparison.courses if c.moved] for name in NAMES}
    assert moved["still"] == []
    assert moved["slipped"] == [24, 25, 26, 27, 45]
    assert len(moved["everything moved"]) > 30
    assert moved["far"] == [26]


@EVERY
def test_no_text_over_another_and_all_inside_the_frame(name):
    for sheet in sheets_of(compared(name)):
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


def test_names_of_any_kind_are_words():
    pair = compared("slipped")
    named = replace(pair.earlier, name=NASTY * 4, place=NASTY)
    later = replace(pair.later, name=NASTY * 60, recorded_on=NASTY)
    for sheet in comparison_sheet(named, later, pair.comparison, fit_a=pair.fit):
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


@EVERY
def test_strokes_start_where_courses_were_and_go_the_factor_times_as_far(name):
    pair = compared(name)
    curve, factor = curve_of(pair.fit.best.shape), movement_factor(pair.comparison, SCALE)
    marks = marks_of(pair)
    heads = {m.tag: m.points[0] for m in marks if isinstance(m, Polyline) and m.tag}
    dots = {m.tag: m.centre for m in marks if isinstance(m, Circle) and m.tag}
    strokes = {m.start: m.end for m in marks if isinstance(m, Line)}
    for course in pair.comparison.courses:
        tag = f"ring-{course.ring}-course-{course.course}"
        assert (tag in heads) == course.moved
        normal, tangent = curve.normal(course.station_mm), curve.tangent(course.station_mm)
        step = factor * (course.outwards_mm.value * normal + course.along_mm.value * tangent)
        size = float(np.hypot(*step))
        step = step * min(1.0, LONGEST_MM * SCALE / size)
        was = curve.point(course.station_mm)
        tip = heads[tag] if course.moved else strokes[dots[tag]]
        assert tip == pytest.approx(was + step, abs=1e-6)


def test_a_stroke_that_is_cut_has_its_figure():
    pair = compared("far")
    texts = {m.text for m in marks_of(pair) if isinstance(m, Text)}
    (course,) = (c for c in pair.comparison.courses if c.moved)
    assert f"{math.hypot(course.outwards_mm.value, course.along_mm.value):.0f} mm" in texts
    assert "300 mm" in texts


@EVERY
def test_the_strokes_that_matter_have_their_figure_clear_of_every_arrow(name):
    pair = compared(name)
    comparison, curve = pair.comparison, curve_of(pair.fit.best.shape)
    told = told_courses(comparison, curve)
    size = {(c.ring, c.course): math.hypot(c.outwards_mm.value, c.along_mm.value) for c in comparison.courses}
    assert max(size, key=size.get) in told
    station = {(c.ring, c.course): c.station_mm for c in comparison.courses if c.ring == 1}
    for at in (0.0, curve.length_mm / 2, curve.length_mm):
        assert min(station, key=lambda c: abs(station[c] - at)) in told
    placed = Placed(comparison_drawing(pair.earlier, pair.fit, comparison, SCALE), (0, 0), (0, 0), SCALE)
    marks = on_paper(placed)
    figures = [m for m in marks if isinstance(m, Text) and m.backed]
    # courses nearest to each other may share one figure's words, none is left without
    assert {t.text for t in figures} == {f"{v:.{int(v < 100)}f} mm" for c, v in size.items() if c in told}
    for one, other in combinations(figures, 2):
        assert not text_box(one).grown(1.0 - 1e-6).meets(text_box(other)), (one.text, other.text)
    heads = [Polygon(m.points) for m in marks if isinstance(m, Polyline) and m.tag]
    for text in figures:
        assert not any(Polygon(text_corners(text)).intersects(head) for head in heads), text.text


def test_of_a_run_that_moved_the_largest_is_told_and_what_was_misread_is_not():
    pair = compared("slipped")
    curve = curve_of(pair.fit.best.shape)
    size = {c.course: math.hypot(c.outwards_mm.value, c.along_mm.value) for c in pair.comparison.courses}
    told = told_courses(pair.comparison, curve)
    largest = max((24, 25, 26, 27), key=size.get)
    assert {(1, largest), (1, 45)} <= told
    courses = tuple(replace(c, misread=c.course == 45) for c in pair.comparison.courses)
    assert (1, 45) not in told_courses(replace(pair.comparison, courses=courses), curve)
    assert told_courses(replace(pair.comparison, courses=()), curve) == frozenset()


def test_courses_to_measure_again_are_ringed_not_drawn():
    pair = compared("slipped")
    courses = tuple(replace(c, misread=c.course == 10, moved=False) for c in pair.comparison.courses)
    pair = replace(pair, comparison=replace(pair.comparison, courses=courses))
    (ring,) = (m for m in marks_of(pair) if isinstance(m, Circle) and m.tag == "ring-1-course-10")
    assert ring.radius_paper_mm > 1.0
    rows = moved_table(pair.comparison).rows
    assert [(r[1], r[5]) for r in rows] == [("10", "measure again")]


@EVERY
def test_the_table_holds_every_course_that_moved_in_its_order(name):
    comparison = compared(name).comparison
    rows = moved_table(comparison).rows
    moved = [c for c in comparison.courses if c.moved]
    assert [r[1] for r in rows] == [str(c.course) for c in moved]
    for row, course in zip(rows, moved, strict=True):
        value = f"{course.outwards_mm.value:.1f} ± {2 * course.outwards_mm.sigma:.1f}"
        assert row[3].replace("−", "-") == value


@EVERY
def test_everything_a_reader_needs_is_said(name):
    pair = compared(name)
    words = said(sheets_of(pair))
    assert all(sentence in words for sentence in pair.comparison.sentences)
    assert all(caution in words for caution in CAUTIONS)
    assert f"× {movement_factor(pair.comparison, SCALE)}" in words
    assert "springings further apart" in words


def test_a_long_table_goes_on_to_a_second_sheet():
    sheets = sheets_of(compared("everything moved"))
    assert len(sheets) == 2
    assert sheets[1].placed == ()


def test_what_the_tie_hides_or_nobody_measured_says_so():
    pair = compared("still")
    comparison = replace(
        pair.comparison,
        settlement_mm=Estimate(math.nan, math.inf),
        spread_mm=Estimate(math.nan, math.nan),
    )
    words = said(sheets_of(replace(pair, comparison=comparison)))
    assert "right springing lower than left not known cannot be seen" in words
    assert "springings further apart not measured" in words


def test_surveys_without_a_course_in_common_still_have_a_sheet():
    pair = compared("still")
    (sheet,) = sheets_of(replace(pair, comparison=replace(pair.comparison, courses=())))
    assert overprints(sheet) == []
    assert not [m for m in sheet.placed[0].drawing.primitives if isinstance(m, Text)]


def test_both_strips_show_every_course_with_its_interval():
    pair = compared("slipped")
    (sheet,) = sheets_of(pair)
    n = len(pair.comparison.courses)
    dots = [m for m in sheet.primitives if isinstance(m, Circle)]
    assert len(dots) == 2 * n


def test_a_doubt_that_it_is_one_arch_stands_before_what_moved():
    made = compared("slipped")
    question = "Are these two surveys of the same arch? Ring 1 has 51 courses in one."
    doubted = replace(made.comparison, doubts=("x",), sentences=(question, *made.comparison.sentences))
    (sheet, *_) = comparison_sheet(made.earlier, made.later, doubted, fit_a=made.fit)
    words = said((sheet,))
    assert words.index("First: is it the same arch?") < words.index(question[:30]) < words.index("What moved")
    assert words.count(question[:30]) == 1
    assert overprints(sheet) == []
    (sheet, *_) = comparison_sheet(made.earlier, made.later, made.comparison, fit_a=made.fit)
    assert "is it the same arch?" not in said((sheet,))
