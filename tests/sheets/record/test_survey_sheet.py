"""The survey sheet read back: every point in its place by its mark, counts, span, datums; always legible."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from sheets.condition_cases import DEMOS, demo, nasty, with_datums
from sheets.legibility import outside, overprints, said
from sheets.pictures import NASTY

from survey.record.model import Edge, Feature
from survey.sheets.drawing import Circle, Dimension, Text
from survey.sheets.kit.lettering import plain_text
from survey.sheets.record.survey_sheet import POINT_STYLES, survey_drawing, survey_sheet, survey_sheets


def any_record(name):
    return demo(name).record if name in DEMOS else nasty()[name].record


EVERY = pytest.mark.parametrize("name", [*DEMOS, *nasty()])


@EVERY
def test_no_text_over_another_and_all_inside_the_frame(name):
    for sheet in survey_sheets(any_record(name)):
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


@EVERY
def test_every_point_is_drawn_in_its_place_by_its_mark(name):
    record = any_record(name)
    dots = [m for m in survey_drawing(record, 1.0).primitives if isinstance(m, Circle)]
    assert len(dots) == len(record.points)
    assert np.array([d.centre for d in dots]) == pytest.approx(record.points.xy_mm)
    for dot, feature in zip(dots, record.points.feature, strict=True):
        assert dot.style == POINT_STYLES[feature]


def test_marks_of_features_differ_in_black_and_white():
    """Grey value of fill and rim, and the pen, tell any two features apart (radius tells the large ones)."""
    looks = {
        f: (s.fill, s.colour, s.width_mm, f in (Feature.SPRINGING, Feature.DATUM, Feature.CRACK))
        for f, s in POINT_STYLES.items()
    }
    assert len(set(looks.values())) == len(Feature)


def test_points_that_print_as_one_are_drawn_once():
    record = demo("cellar_doorway").record
    twice = record.points.take(np.repeat(np.arange(len(record.points)), 3))
    dots = [
        m for m in survey_drawing(replace(record, points=twice), 10.0).primitives if isinstance(m, Circle)
    ]
    assert len(dots) <= len(record.points)
    at = np.array([d.centre for d in dots])
    apart = np.abs(at[:, None] - record.points.xy_mm).max(axis=2).min(axis=0)
    assert apart.max() <= 10.0 * 0.25


@EVERY
def test_the_count_by_feature_and_the_span_are_printed(name):
    record = any_record(name)
    words = said(survey_sheets(record))
    for feature in Feature:
        n = int(record.points.on(feature).sum())
        assert not n or f"{feature} {n}" in words
    ends = [
        record.points.xy_mm[record.points.on(Feature.SPRINGING) & (record.points.edge == side)][0]
        for side in (Edge.LEFT, Edge.RIGHT)
    ]
    assert f"as surveyed {math.dist(*ends):.1f}" in words


def test_the_samples_stand_beside_their_names():
    record = demo("cellar_doorway").record
    sheet = survey_sheet(record)
    samples = [m for m in sheet.primitives if isinstance(m, Circle)]
    names = {m.text: m for m in sheet.primitives if isinstance(m, Text)}
    present = [f for f in Feature if record.points.on(f).any()]
    assert [s.style for s in samples] == [POINT_STYLES[f] for f in present]
    for sample, feature in zip(samples, present, strict=True):
        name = names[str(feature)]
        assert abs(sample.centre[1] - name.at[1] - name.height_mm / 2) < 0.1
        assert 0.0 < name.at[0] - sample.centre[0] < 12.0


def test_no_springings_no_span():
    record = demo("loft_window").record
    without = replace(record, points=record.points.take(~record.points.on(Feature.SPRINGING)))
    assert not [m for m in survey_drawing(without, 5.0).primitives if isinstance(m, Dimension)]
    assert overprints(survey_sheet(without)) == []


def test_springings_in_one_spot_have_no_span():
    record = demo("loft_window").record
    xy = record.points.xy_mm.copy()
    xy[record.points.on(Feature.SPRINGING)] = 0.0
    same = replace(record, points=replace(record.points, xy_mm=xy))
    assert not [m for m in survey_drawing(same, 5.0).primitives if isinstance(m, Dimension)]


def test_datum_points_are_named_and_their_distances_printed():
    record = with_datums(nasty()["gap"].record)
    words = said(survey_sheets(record))
    xy = record.points.xy_mm[record.points.on(Feature.DATUM)]
    assert f"D1 D2 {math.dist(xy[0], xy[1]):.1f}" in words
    assert f"D3 D4 {math.dist(xy[2], xy[3]):.1f}" in words
    names = [m.text for m in survey_drawing(record, 10.0).primitives if isinstance(m, Text)]
    assert {"D1", "D2", "D3", "D4"} <= set(names)


def test_names_of_any_kind_are_shortened_words():
    record = with_datums(nasty()["gap"].record)
    named = replace(record.points, name=(NASTY * 3,) * len(record.points))
    (sheet,) = survey_sheets(replace(record, points=named))
    assert overprints(sheet) == []
    assert outside(sheet, 10.5) == []
    shown = {m.text for m in sheet.primitives if isinstance(m, Text) and m.text.startswith("<script>")}
    assert shown
    assert all(plain_text(NASTY).startswith(text.removesuffix("…")) for text in shown)


def test_what_was_noted_on_site_is_said_ring_by_ring():
    words = said(survey_sheets(demo("cellar_doorway").record))
    assert "Ring 1, missing: 7 to 10." in words
    assert "Ring 2, missing: 7 to 8." in words
    assert "sawtooth, turned 45°" in words


def test_doubts_go_on_to_a_second_sheet_and_the_rest_is_counted():
    record = nasty()["many words"].record
    sheets = survey_sheets(record)
    assert len(sheets) > 1
    assert "… and 20 more: run check to read them all." in said(sheets)
    assert survey_sheet(record) == sheets[0]


def test_course_numbers_stand_inside_the_opening():
    record = demo("loft_window").record
    points = record.points
    inner = points.on(Feature.INTRADOS)
    numbers = [m for m in survey_drawing(record, 5.0).primitives if isinstance(m, Text) and m.text.isdigit()]
    assert [int(t.text) for t in numbers] == list(range(1, 14))
    for text in numbers:
        above = points.xy_mm[inner & (points.course == int(text.text))].mean(axis=0)
        assert text.at[1] < above[1] - 5.0 * 2.0


def test_courses_read_once_or_not_numbered_do_not_stop_the_sheet():
    record = demo("loft_window").record
    first = replace(record, points=record.points.take(np.arange(len(record.points)) < 4))
    assert overprints(survey_sheet(first)) == []
    unnumbered = replace(record.points, course=np.full(len(record.points), -1))
    assert overprints(survey_sheet(replace(record, points=unnumbered))) == []
