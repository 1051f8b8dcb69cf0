"""Elevation, setting-out and template sheets of many arches: legible, complete, cautioned, repeatable."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sheets.cases import REFUSALS, cases
from sheets.handmade import CAUTIONS
from sheets.legibility import outside, overprints, said, sheet_texts

from survey.curves import curve_of, segmental, semicircular
from survey.sheets.drawing import Circle, Dash, Layer, Line, Polyline, Text
from survey.sheets.fit.facts import shape_facts
from survey.sheets.fit.setting_out_sheet import (
    courses_schedule,
    points_schedule,
    setting_out_pages,
    striking_drawing,
)
from survey.sheets.fit.striking import striking
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import plain_text
from survey.sheets.kit.page import TitleBlock, finish
from survey.sheets.kit.placing import mark_box, on_paper, touches
from survey.sheets.rebuild.elevation import elevation_drawing
from survey.sheets.rebuild.elevation_sheet import elevation_pages
from survey.sheets.rebuild.template import template_pages

CASES = cases()
EVERY = pytest.mark.parametrize("made", CASES.values(), ids=list(CASES))


def elevation(made):
    return finish(elevation_pages(made.record, made.fit, made.plan), TitleBlock.of(made.record))


def setting_out(made):
    return finish(setting_out_pages(made.fit, made.plan), TitleBlock.of(made.record))


def template(made):
    return finish(template_pages(made.record, made.plan, "A4"), TitleBlock.of(made.record))


@EVERY
@pytest.mark.parametrize("sheets", [elevation, setting_out, template])
def test_no_text_over_another_and_none_off_the_paper(made, sheets):
    for sheet in sheets(made):
        assert overprints(sheet) == []
        assert outside(sheet, 5.0) == []


@EVERY
@pytest.mark.parametrize("sheets", [elevation, setting_out, template])
def test_all_cautions_and_refusals_are_printed(made, sheets):
    words = said(sheets(made))
    assert all(caution in words for caution in CAUTIONS)
    for refusal in made.plan.refusals:
        assert refusal in words
    assert ("NOT TO BE BUILT:" in words) == bool(made.plan.refusals)


def test_a_refused_plan_says_so_in_large_print_on_every_sheet():
    made = CASES["five-centred, refused"]
    for sheet in (*elevation(made), *setting_out(made), *template(made)):
        heads = [t for t in sheet_texts(sheet) if t.text == "NOT TO BE BUILT:"]
        assert [t.height_mm >= 5.0 for t in heads] == [True], sheet.title
        assert {t.style.colour for t in heads} == {ink.WHITE}
    for sheet in (*elevation(made), *setting_out(made), template(made)[0]):
        assert all(refusal in said((sheet,)) for refusal in REFUSALS)
    whole = CASES["elliptical, three rings"]
    assert "NOT TO BE BUILT" not in said((*elevation(whole), *setting_out(whole), *template(whole)))


@EVERY
@pytest.mark.parametrize("pages", [elevation_pages, lambda _, fit, plan: setting_out_pages(fit, plan)])
def test_scale_bar_and_orientation_mark_keep_clear_of_the_drawing(made, pages):
    page = pages(made.record, made.fit, made.plan)[0]
    furniture = [mark_box(m) for m in page.primitives if m.style.layer is Layer.FRAME]
    assert len(furniture) > 10
    for mark in on_paper(page.placed[0]):
        assert not any(touches(mark, box) for box in furniture), mark


@EVERY
def test_a_springing_line_out_of_level_is_told_and_its_level_drawn(made):
    inner = made.plan.rings[0].inner
    left, right = inner.point(np.array([0.0, inner.length_mm]))
    fall = float(right[1] - left[1])
    for drawing in (elevation_drawing(made.record, made.plan, 10.0), striking_drawing(made.plan, 10.0)):
        dotted = [m for m in drawing.primitives if isinstance(m, Line) and m.style.dash is Dash.DOTTED]
        told = [m.text for m in drawing.primitives if isinstance(m, Text) and "level" in m.text]
        if abs(fall) < 0.5:
            assert (dotted, told) == ([], [])
            continue
        assert [(m.start[1], m.end[1]) for m in dotted] == [(pytest.approx(min(left[1], right[1])),) * 2]
        side = "right" if fall > 0.0 else "left"
        assert told == [f"dotted: level; {side} springing {abs(fall):.0f} higher over the span"]


def test_radii_of_a_round_arch_stand_well_up_from_its_springing_line():
    for shape in (semicircular(1500.0), semicircular(1500.0, tilt_rad=0.01)):
        lines = [
            m for m in striking(shape, 10.0).marks if isinstance(m, Line) and m.style.dash is Dash.DASHED
        ]
        for line in lines:
            assert math.dist(line.start, line.end) == pytest.approx(1500.0)
            turn = math.atan2(line.end[1] - line.start[1], line.end[0] - line.start[0]) - shape.tilt_rad
            assert math.radians(30.0) < turn < math.radians(150.0)
        assert len(lines) == 2
    (left, right) = [
        m for m in striking(segmental(2000.0, 300.0), 10.0).marks
        if isinstance(m, Line) and m.style.dash is Dash.DASHED
    ]  # fmt: skip
    assert left.end == pytest.approx((-1000.0, 0.0), abs=1e-6)
    assert right.end == pytest.approx((1000.0, 0.0), abs=1e-6)


@EVERY
def test_every_brick_is_drawn_once_in_its_place(made):
    drawing = elevation_drawing(made.record, made.plan, 10.0)
    bricks = [m for m in drawing.primitives if isinstance(m, Polyline) and m.tag]
    assert len(bricks) == len(made.plan.bricks)
    for mark, brick in zip(bricks, made.plan.bricks, strict=True):
        assert mark.tag == f"ring-{brick.ring}-course-{brick.course}"
        assert np.array(mark.points) == pytest.approx(brick.corners_mm)


@EVERY
def test_every_course_has_its_row(made):
    rows = courses_schedule(made.plan).rows
    assert [r[0] for r in rows] == [
        f"{ring.ring}/{course}" for ring in made.plan.rings for course in range(ring.count + 1)
    ]
    words = said(setting_out(made))
    brick = made.plan.rings[-1].bricks[-1]
    assert f"{brick.station_end_mm:.1f}" in words


@EVERY
def test_running_lengths_are_rounded_on_their_own_and_close(made):
    """Tenths printed for the last course end where the curve does: no rounding is carried along."""
    ring = made.plan.rings[0]
    last = [r for r in courses_schedule(made.plan).rows if r[0].startswith("1/")][-1]
    assert float(last[4]) + float(last[11]) == pytest.approx(ring.inner.length_mm, abs=0.1001)


def mirrored(shape, xy):
    """A point seen in the arch's axis of symmetry."""
    axis = np.array([-math.sin(shape.tilt_rad), math.cos(shape.tilt_rad)])
    from_middle = np.asarray(xy) - (shape.axis_x_mm, shape.springing_y_mm)
    return 2 * axis * (from_middle @ axis) - from_middle + (shape.axis_x_mm, shape.springing_y_mm)


@EVERY
def test_centres_are_as_far_from_the_curve_as_their_radii_say(made):
    shape, curve = made.plan.shape, curve_of(made.plan.shape)
    at = np.array([m.centre for m in striking(shape, 10.0).marks if isinstance(m, Circle)])
    if not shape.radii_mm:
        points = curve.point(np.linspace(0.0, curve.length_mm, 7))
        string = np.linalg.norm(points[:, None] - at, axis=2).sum(axis=1)
        assert string == pytest.approx(2 * max(shape.half_span_mm, shape.rise_mm))
        return
    sweeps = [*shape.sector_angles_rad[:-1], 2 * shape.sector_angles_rad[-1]]
    station = 0.0
    for centre, radius, sweep in zip(at, shape.radii_mm, sweeps, strict=False):
        points = curve.point(station + radius * np.linspace(0.0, sweep, 5))
        assert np.linalg.norm(points - centre, axis=1) == pytest.approx(radius, rel=1e-9)
        station += radius * sweep
    assert at[::-1] == pytest.approx(np.array([mirrored(shape, xy) for xy in at]), abs=1e-6)


@EVERY
def test_points_table_stands_on_the_curve(made):
    rows = {name: (x, y) for name, x, y in points_schedule(made.plan).rows}
    curve = curve_of(made.plan.shape)
    for name, station in (("left springing", 0.0), ("crown", 0.5), ("right springing", 1.0)):
        x, y = (float(v.replace("−", "-")) for v in rows[name])
        assert math.dist((x, y), curve.point(station * curve.length_mm)) < 0.071


def test_uncertainties_are_printed_only_for_the_fitted_curve():
    made = CASES["segmental, one ring"]
    assert [f.sigma for f in shape_facts(made.fit, made.plan)][:3] == ["1.6", "0.9", "4.0"]
    other = CASES["very flat"].plan
    assert not any(f.sigma for f in shape_facts(made.fit, other))


def test_names_of_any_kind_reach_the_sheet_as_words():
    made = CASES["nasty name"]
    (sheet,) = elevation(made)
    shown = next(t.text for t in sheet.primitives if isinstance(t, Text) and "script" in t.text)
    assert plain_text(made.record.name).startswith(shown.removesuffix("…"))


@EVERY
def test_subjects_have_their_own_layers(made):
    layers = {m.style.layer for m in elevation_drawing(made.record, made.plan, 10.0).primitives}
    assert {Layer.BRICK, Layer.CURVE, Layer.SETTING_OUT, Layer.DIMENSION, Layer.JOINT, Layer.TEXT} <= layers


def test_same_plan_same_sheets():
    made = CASES["elliptical, three rings"]
    assert elevation(made) == elevation(made)
    assert setting_out(made) == setting_out(made)
    assert template(made) == template(made)
