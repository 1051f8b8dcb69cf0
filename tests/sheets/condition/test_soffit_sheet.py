"""The unrolled soffit read back: courses, dots and strokes where stations and readings say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from sheets.condition_cases import DEMOS, MOVES, demo, moved, nasty
from sheets.legibility import outside, overprints, said

from survey.record.model import Condition
from survey.sheets.condition.deviation_style import course_style
from survey.sheets.condition.soffit_sheet import soffit_sheet, soffit_sheets
from survey.sheets.drawing import Circle, Dash, Line, Polyline, Text


def any_case(name):
    return demo(name) if name in DEMOS else moved(name) if name in MOVES else nasty()[name]


EVERY = pytest.mark.parametrize("name", [*DEMOS, *nasty(), *MOVES])


def sheet_of(made):
    return soffit_sheet(made.record, made.map_)


def first_ring(made):
    return made.map_.ring(min(c.ring for c in made.map_.courses))


def bricks(sheet):
    return {m.tag: m for m in sheet.primitives if isinstance(m, Polyline) and m.tag}


def stations_at(made, sheet):
    """Linear map from stations to paper x, from the first and the last brick drawn."""
    drawn, courses = bricks(sheet), [c for c in first_ring(made) if math.isfinite(c.start_mm + c.end_mm)]
    xs = [drawn[f"ring-{c.ring}-course-{c.course}"].points[0][0] for c in (courses[0], courses[-1])]
    return np.polynomial.Polynomial.fit([courses[0].start_mm, courses[-1].start_mm], xs, 1)


@EVERY
def test_no_text_over_another_and_all_inside_the_frame(name):
    made = any_case(name)
    for sheet in soffit_sheets(made.record, made.map_):
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


@EVERY
def test_courses_lie_along_one_scale_of_stations_tinted_as_on_the_map(name):
    made = any_case(name)
    sheet = sheet_of(made)
    drawn, x_of = bricks(sheet), stations_at(made, sheet)
    for course in first_ring(made):
        if not math.isfinite(course.start_mm + course.end_mm):
            continue
        brick = drawn[f"ring-{course.ring}-course-{course.course}"]
        assert brick.points[0][0] == pytest.approx(x_of(course.start_mm), abs=1e-6)
        assert brick.points[1][0] == pytest.approx(x_of(course.end_mm), abs=1e-6)
        assert brick.style == course_style(course, made.map_.tolerances.intrados_mm)


@EVERY
def test_every_reading_has_its_dot_or_its_arrowhead(name):
    made = any_case(name)
    sheet = sheet_of(made)
    x_of = stations_at(made, sheet)
    dots = np.array([m.centre for m in sheet.primitives if isinstance(m, Circle)])
    heads = np.array(
        [m.points[0] for m in sheet.primitives if isinstance(m, Polyline) and len(m.points) == 3]
    ).reshape(-1, 2)
    arrows = heads[:, 0] if len(heads) else np.empty(0)
    marked = np.concatenate([dots[:, 0], arrows])
    names = (("station_mm", "deviation_mm"), ("end_mm", "lip_mm"), ("end_mm", "joint_mm"),
             ("station_mm", "face_offset_mm"))  # fmt: skip
    n_readings = 0
    for place, value in names:
        for course in first_ring(made):
            if math.isfinite(getattr(course, place) + getattr(course, value)):
                n_readings += 1
                assert np.abs(marked - x_of(getattr(course, place))).min() < 0.01
    keys = 3  # arrowheads of the orientation mark and the like are counted apart
    assert n_readings <= len(marked) <= n_readings + keys


def test_dots_of_the_deviation_stand_at_their_values():
    made = demo("cellar_doorway")
    sheet = sheet_of(made)
    courses = [c for c in first_ring(made) if math.isfinite(c.deviation_mm)]
    dots = [m.centre for m in sheet.primitives if isinstance(m, Circle)][: len(courses)]
    values = np.array([c.deviation_mm for c in courses])
    y_of = np.polynomial.Polynomial.fit(values, [y for _, y in dots], 1)
    assert [y for _, y in dots] == pytest.approx(y_of(values), abs=1e-9)
    assert y_of.convert().coef[1] > 0.0


def test_nothing_is_drawn_where_courses_are_missing():
    made = nasty()["gap"]
    sheet = sheet_of(made)
    x_of = stations_at(made, sheet)
    gone = [c for c in first_ring(made) if c.condition is Condition.MISSING]
    low, high = x_of(gone[0].start_mm), x_of(gone[-1].end_mm)
    dashed = [
        m for m in sheet.primitives if isinstance(m, Polyline) and m.style.dash is Dash.DASHED and not m.tag
    ]
    assert len(dashed) == 4 + 1  # one field a strip, and the key
    for field in dashed[-4:]:
        assert {round(x, 6) for x, _ in field.points} == {round(low, 6), round(high, 6)}
    dots = np.array([m.centre[0] for m in sheet.primitives if isinstance(m, Circle)])
    assert not ((dots > low + 0.01) & (dots < high - 2.0)).any()


def test_a_gross_reading_is_cut_and_given_in_figures():
    made = nasty()["low ellipse"]
    sheet = sheet_of(made)
    assert "400" in [m.text for m in sheet.primitives if isinstance(m, Text)]


def test_what_was_not_measured_says_so():
    made = nasty()["ten to one"]
    assert not made.record.has_depth
    nothing = tuple(replace(c, face_offset_mm=math.nan) for c in made.map_.courses)
    made = replace(made, map_=replace(made.map_, courses=nothing))
    assert "Face offset, mm (positive: towards you); tolerance ± 3 – not measured" in said((sheet_of(made),))


def test_nothing_measured_at_all_is_still_a_sheet():
    made = demo("loft_window")
    names = ("deviation_mm", "lip_mm", "joint_mm", "face_offset_mm")
    bare = tuple(replace(c, **dict.fromkeys(names, math.nan)) for c in made.map_.courses)
    made = replace(made, map_=replace(made.map_, courses=bare))
    sheet = sheet_of(made)
    assert said((sheet,)).count("– not measured") == 4
    assert not [m for m in sheet.primitives if isinstance(m, Circle)]
    assert overprints(sheet) == []


def test_joints_that_overlap_are_drawn_below_zero():
    made = demo("loft_window")
    courses = (replace(made.map_.courses[0], joint_mm=-4.0), *made.map_.courses[1:])
    made = replace(made, map_=replace(made.map_, courses=courses))
    sheet = sheet_of(made)
    x = stations_at(made, sheet)(courses[0].end_mm)
    strokes = [m for m in sheet.primitives if isinstance(m, Line) and abs(m.start[0] - x) < 1e-6]
    joint = strokes[-1]
    assert joint.end[1] < joint.start[1]


def test_every_ring_with_readings_has_a_sheet_of_its_own():
    made = nasty()["160 courses, five rings"]
    sheets = soffit_sheets(made.record, made.map_)
    # Ring 3 was not surveyed.
    assert [s.title for s in sheets] == [
        "Soffit, unrolled", "Ring 2, unrolled", "Ring 4, unrolled", "Ring 5, unrolled",
    ]  # fmt: skip
    assert [s.name for s in sheets] == ["soffit_1", "soffit_2", "soffit_3", "soffit_4"]
    for sheet, ring in zip(sheets, (1, 2, 4, 5), strict=True):
        tags = {tag.rsplit("-", 2)[0] for tag in bricks(sheet)}
        assert tags == {f"ring-{ring}"}
        words = said((sheet,))
        assert f"Ring {ring}: {'the soffit' if ring == 1 else 'its inner face'} unrolled" in words
        assert f"Deviation of {'the soffit' if ring == 1 else f'ring {ring}'}, mm" in words
        assert ("over the stations of the soffit" in words) == (ring > 1)
    assert sheets[0].primitives == soffit_sheet(made.record, made.map_).primitives


def test_readings_of_an_outer_ring_are_drawn_at_its_own_courses():
    made = demo("cellar_doorway")
    sheet = soffit_sheets(made.record, made.map_)[1]
    rows = [c for c in made.map_.ring(2) if math.isfinite(c.deviation_mm)]
    drawn = bricks(sheet)
    dots = [m.centre for m in sheet.primitives if isinstance(m, Circle)][: len(rows)]
    for course, (x, _) in zip(rows, dots, strict=True):
        left, right = (drawn[f"ring-2-course-{course.course}"].points[k][0] for k in (0, 1))
        assert left < x < right
    y_of = np.polynomial.Polynomial.fit([c.deviation_mm for c in rows], [y for _, y in dots], 1)
    assert [y for _, y in dots] == pytest.approx(y_of(np.array([c.deviation_mm for c in rows])), abs=1e-9)
