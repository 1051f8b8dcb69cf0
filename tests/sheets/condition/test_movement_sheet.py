"""The movement sheet read back: pieces through the surveyed points, cracks, figures."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, Point, Polygon
from sheets.condition_cases import DEMOS, MOVES, demo, moved, simulated
from sheets.legibility import outside, overprints, said
from sheets.pictures import NASTY

from survey.condition import view_movement
from survey.curves import curve_of
from survey.fitting.result import Estimate, Opens
from survey.record.model import Feature
from survey.sheets.condition.movement_drawing import exaggerated, movement_drawing, told
from survey.sheets.condition.movement_sheet import MOVING, hinge_table, motion_table, movement_sheet
from survey.sheets.drawing import (
    Arc,
    Circle,
    Dash,
    Dimension,
    Drawing,
    EllipticArc,
    Layer,
    Line,
    Placed,
    Polyline,
    Text,
)
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import text_corners
from survey.sheets.kit.placing import on_paper

EVERY = pytest.mark.parametrize("name", list(MOVES))
DEPTH = 240.0
ARROW = ink.pen(Layer.DIMENSION, ink.MEDIUM_MM, ink.ACCENT)


def view_of(made, factor=None):
    return view_movement(made.record, made.map_.movement, made.map_.ring(1), factor=factor)


def drawn(made, factor=None, scale=10.0):
    view = view_of(made, factor)
    return movement_drawing(made.record, made.map_, made.map_.movement, view, scale).primitives


def tagged(marks, tag):
    return [
        m
        for m in marks
        if not isinstance(m, Line | Text | Dimension | Arc | EllipticArc) and m.tag.startswith(tag)
    ]


def sheets_of(made):
    return movement_sheet(made.record, made.fit, made.map_)


def test_an_arch_that_stands_still_has_no_sheet():
    made = demo("loft_window")
    assert made.map_.movement is None
    assert sheets_of(made) == ()


@EVERY
def test_no_text_over_another_and_all_inside_the_frame(name):
    for sheet in sheets_of(moved(name)):
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


@EVERY
@pytest.mark.parametrize("scale", [10.0, 20.0, 50.0])
@pytest.mark.parametrize("factor", [1, 5, 20])
def test_no_arrow_runs_through_a_figure_or_number(name, scale, factor):
    placed = Placed(Drawing("drawn", drawn(moved(name), factor, scale)), (0.0, 0.0), (0.0, 0.0), scale)
    marks = on_paper(placed)
    arrows = [Polygon(m.points) for m in tagged(marks, "arrow")]
    arrows += [LineString((m.start, m.end)) for m in marks if isinstance(m, Line) and m.style == ARROW]
    texts = [m for m in marks if isinstance(m, Text)]
    hinges = moved(name).map_.movement.hinges
    assert {str(n) for n in range(1, len(hinges) + 1)} <= {text.text for text in texts}
    for text in texts:
        ground = Polygon(text_corners(text))
        assert not any(ground.intersects(arrow) for arrow in arrows), text.text


@pytest.mark.parametrize("name", DEMOS)
def test_the_demo_records_are_legible_whether_they_moved_or_not(name):
    made = demo(name)
    sheets = sheets_of(made)
    assert bool(sheets) == (made.map_.movement is not None)
    for sheet in sheets:
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


@EVERY
def test_unexaggerated_the_pieces_pass_through_what_was_surveyed(name):
    """The survey is without noise: every soffit point lies on the rim of a piece."""
    made = moved(name)
    solids = [Polygon(m.points).exterior for m in tagged(drawn(made, factor=1), "piece")]
    xy = made.fit.to_arch(made.record.points.xy_mm[made.record.points.on(Feature.INTRADOS)])
    off = [min(rim.distance(Point(p)) for rim in solids) for p in xy]
    assert max(off) < 0.2  # chords of the outline


@EVERY
def test_pieces_touch_where_they_turn_and_gape_on_the_side_that_opens(name):
    made = moved(name)
    marks, view = drawn(made), view_of(made)
    pivots = [np.array(m.centre) for m in tagged(marks, "hinge")]
    cracks = [np.array(m.points) for m in tagged(marks, "crack")]
    solids = [Polygon(m.points) for m in (*tagged(marks, "piece"), *tagged(marks, "abutment"))]
    assert len(pivots) == len(cracks) == len(made.map_.movement.hinges)
    for pivot, crack, seen in zip(pivots, cracks, view.hinges, strict=True):
        hinge = seen.hinge
        assert crack[0] == pytest.approx(pivot)
        assert sum(solid.distance(Point(pivot)) < 1e-6 for solid in solids) == 2
        width = math.dist(crack[1], crack[2])
        normal = curve_of(made.map_.movement.original.shape).normal(hinge.station_mm.value)
        deep = (crack[1:].mean(axis=0) - pivot) @ normal * (-1.0 if hinge.opens is Opens.INTRADOS else 1.0)
        assert -1e-6 <= deep <= DEPTH * 1.02
        assert width == pytest.approx(view.factor * hinge.rotation_rad.value * deep, rel=0.08, abs=1e-3)
        assert width == pytest.approx(view.factor * seen.crack_mm.value, rel=0.08, abs=1e-3)
        if "springing" in hinge.where or name != "hinge on the soffit line":
            assert deep > 0.95 * DEPTH


@EVERY
def test_solids_do_not_run_into_each_other(name):
    marks = drawn(moved(name))
    solids = [Polygon(m.points) for m in (*tagged(marks, "piece"), *tagged(marks, "abutment"))]
    for k, first in enumerate(solids):
        for second in solids[k + 1 :]:
            assert first.intersection(second).area < 0.01 * min(first.area, second.area)


@EVERY
def test_the_original_is_drawn_dashed_where_it_was(name):
    made = moved(name)
    curve = curve_of(made.map_.movement.original.shape)
    dashed = [m for m in drawn(made) if m.style.dash is Dash.DASHED]
    ends = [m for m in dashed if isinstance(m, Arc | EllipticArc | Polyline)]
    assert len(ends) >= 2
    if isinstance(ends[0], Arc):
        assert ends[0].radius == pytest.approx(1.0 / curve.curvature(curve.length_mm / 2))


@EVERY
def test_spread_settlement_and_drop_are_written_true_and_drawn_exaggerated(name):
    made = moved(name)
    movement, view, marks = made.map_.movement, view_of(made), drawn(made)
    before, now = (m for m in marks if isinstance(m, Dimension))
    wide = [abs(d.end[0] - d.start[0]) for d in (before, now)]
    assert wide[0] == pytest.approx(movement.original.shape.span_mm)
    assert wide[1] - wide[0] == pytest.approx(view.factor * movement.spread_mm.value, abs=1e-6)
    way = "further apart" if movement.spread_mm.value > 0 else "closer together"
    assert now.text.endswith(f"springings {told(movement.spread_mm)} {way}")
    texts = [m.text for m in marks if isinstance(m, Text)]
    true = simulated(name).movement
    sunk = [t for t in texts if t.endswith("lower")]
    if true.settlement_mm == 0.0:
        assert sunk == []
    else:
        side = "right" if true.settlement_mm > 0 else "left"
        assert sunk == [f"{side} springing {told(movement.settlement_mm)} lower"]
    verb = "dropped" if movement.crown_drop_mm.value > 0 else "risen"
    assert f"crown {verb} {told(movement.crown_drop_mm)}" in texts
    assert len(tagged(marks, "arrow")) == 3 + len(sunk)


@EVERY
def test_everything_a_reader_needs_is_said(name):
    made = moved(name)
    view = view_of(made)
    sheets = sheets_of(made)
    words = said(sheets)
    assert f"movement drawn × {view.factor}" in words
    for sentence in view.sentences:
        assert " ".join(sentence.split()) in words
    assert MOVING in words
    assert "Crown: against the mean level of the springings." in words
    for number, hinge in enumerate(made.map_.movement.hinges, start=1):
        assert f"{number} {hinge.where}" in words
    assert f"of all families, here {made.fit.best.family.value}, mm; rms 5.00" in words
    assert "rms 1.00" in words


@EVERY
def test_the_table_of_hinges_says_where_which_side_and_how_far(name):
    made = moved(name)
    view = view_of(made)
    for row, seen in zip(hinge_table(view).rows, view.hinges, strict=True):
        hinge = seen.hinge
        assert row[1] == hinge.where
        left, right = seen.between
        at_ends = {"left springing": f"below {right}", "right springing": f"below {left}"}
        assert row[2] == at_ends.get(seen.hinge.where, f"{left} | {right}")
        assert row[3] == f"{hinge.station_mm.value:.0f} ± {2 * hinge.station_mm.sigma:.0f}"
        assert row[4] == hinge.opens.value
        turn = math.degrees(hinge.rotation_rad.value)
        assert row[5].startswith(f"{turn:.2f} ± ")


def test_the_table_of_motion_is_signed():
    movement = replace(moved("pushed together").map_.movement, settlement_mm=Estimate(-3.0, 1.0))
    rows = motion_table(movement).rows
    assert rows[0] == ("springings further apart", "−15.0", "1.5", "−18.0 to −12.0")
    assert rows[1] == ("right springing lower than left", "−3.0", "1.0", "−5.0 to −1.0")


@EVERY
def test_residuals_are_dots_at_their_stations_before_and_after(name):
    made = moved(name)
    (sheet, *_) = sheets_of(made)
    dots = [m for m in sheet.primitives if isinstance(m, Circle)]
    heads = [m for m in sheet.primitives if isinstance(m, Polyline) and len(m.points) == 3]
    n = len(made.fit.points.name)
    assert 2 * n <= len(dots) + len(heads) <= 2 * n + 4
    after = np.array([m.centre for m in dots[-n:]])
    assert np.ptp(after[:, 1]) < 0.05  # the pieces explain a survey without noise wholly
    assert np.diff(after[:, 0]).min() > -1e-9


def test_hinges_are_ruled_over_both_strips():
    made = moved("haunch hinges, sunk")
    (sheet, *_) = sheets_of(made)
    bars = [m for m in sheet.primitives if isinstance(m, Line) and m.style.dash is Dash.DASHED]
    assert len(bars) == 2 * 3
    assert len({round(bar.start[0], 6) for bar in bars}) == 3
    assert all(bar.start[0] == bar.end[0] for bar in bars)


def test_a_movement_without_hinges_still_has_its_sheet():
    made = moved("spread semicircle")
    movement = replace(made.map_.movement, hinges=())
    map_ = replace(made.map_, movement=movement)
    sheets = movement_sheet(made.record, made.fit, map_)
    assert overprints(sheets[0]) == []
    words = said(sheets)
    assert "Hinges, mm" not in words
    assert "Put tell-tales over the cracks" in words


def test_points_go_the_factor_times_as_far_and_similar_figures_stay_similar():
    """An exaggerated turn is a similarity: ratios of lengths and angles between them are kept."""
    piece = moved("spread semicircle").map_.movement.pieces[0]
    corners = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 50.0]])
    moved_by = exaggerated(corners, piece, 1.0) - corners
    assert exaggerated(corners, piece, 7.0) - corners == pytest.approx(7.0 * moved_by)
    big = exaggerated(corners, piece, 20.0)
    sides = np.hypot(*np.diff(big, axis=0).T)
    assert sides[0] / sides[1] == pytest.approx(2.0)
    assert (big[1] - big[0]) @ (big[2] - big[1]) == pytest.approx(0.0, abs=1e-6)


def test_five_rings_and_names_of_any_kind_are_legible():
    made = moved("haunch hinges, sunk")
    first = made.record.rings[0]
    rings = tuple(replace(first, ring=k, depth_mm=102.0, collar_mm=10.0) for k in range(1, 6))
    record = replace(made.record, rings=rings, name=NASTY * 5, place=NASTY * 5)
    (sheet, *_) = movement_sheet(record, made.fit, made.map_)
    assert overprints(sheet) == []
    assert outside(sheet, 10.5) == []
    seams = [m for m in sheet.placed[0].drawing.primitives if isinstance(m, Polyline) and not m.closed]
    assert len(seams) == 4 * len(made.map_.movement.pieces)
