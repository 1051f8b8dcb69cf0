"""Elevation, setting-out and template sheets of many arches: legible, complete, cautioned, repeatable."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sheets.cases import REFUSALS, cases
from sheets.handmade import CAUTIONS
from sheets.legibility import outside, overprints, said, sheet_texts

from survey.curves import curve_of
from survey.sheets.drawing import Circle, Layer, Polyline, Text
from survey.sheets.fit.facts import shape_facts
from survey.sheets.fit.setting_out_sheet import courses_schedule, points_schedule, setting_out_pages
from survey.sheets.fit.striking import striking
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import plain_text
from survey.sheets.kit.page import TitleBlock, finish
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
