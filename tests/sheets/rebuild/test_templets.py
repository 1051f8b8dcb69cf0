"""Cutting list and templet sheets: pieces at full size, every course once, nothing lost."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from rebuild.works_factory import record_of, ring_of, ring_record
from sheets.legibility import outside, overprints, said
from sheets.worked import worked, works

from survey.curves import semicircular
from survey.sheets.drawing import Dimension, Layer, Line, Polyline
from survey.sheets.kit.page import Paper
from survey.sheets.rebuild.cutting import cutting_schedule, cutting_sheets, what_it_is
from survey.sheets.rebuild.templets import templet_drawing, templet_sheets
from survey.sheets.report.tables import templets_schedule

WORKS = works()
EVERY = pytest.mark.parametrize("made", WORKS.values(), ids=list(WORKS))


def outline(drawing):
    (mark,) = (m for m in drawing.primitives if isinstance(m, Polyline) and m.closed)
    return np.array(mark.points)


@EVERY
def test_pieces_are_drawn_at_full_size(made):
    sheets = templet_sheets(made.record, made.fit, made.plan)
    placed = [p for sheet in sheets for p in sheet.placed]
    assert [p.drawing.name for p in placed] == [f"templet_{t.name}" for t in made.plan.templets]
    assert {p.scale for p in placed} == {1.0}
    for part, templet in zip(placed, made.plan.templets, strict=True):
        a, b, c, d = outline(part.drawing)
        assert math.dist(a, b) == pytest.approx(templet.width_intrados_mm)
        assert math.dist(c, d) == pytest.approx(templet.width_extrados_mm)
        assert c[1] - b[1] == pytest.approx(templet.depth_mm)
        assert math.atan2(c[0] - b[0], c[1] - b[1]) == pytest.approx(templet.bevel_rad, abs=1e-12)
        paper = outline(part.drawing) - part.origin_model + part.origin_paper
        sheet = next(s for s in sheets if part in s.placed)
        assert paper.min() > 10.0
        assert np.all(paper < (sheet.width_mm, sheet.height_mm))


@EVERY
def test_pieces_lie_clear_of_each_other(made):
    for sheet in templet_sheets(made.record, made.fit, made.plan):
        boxes = [
            (*(o := outline(p.drawing) + p.origin_paper).min(axis=0), *o.max(axis=0)) for p in sheet.placed
        ]
        for i, a in enumerate(boxes):
            for b in boxes[i + 1 :]:
                assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]


@EVERY
def test_every_new_brick_is_in_the_cutting_list_once(made):
    rows = cutting_schedule(made.plan).rows
    n_new = sum(b.source == "new" and b.kind != "in_situ" for b in made.plan.bricks)
    assert sum(int(row[1]) for row in rows) == n_new
    listed = []
    for row in rows:
        for part in row[-1].split("; "):
            ring, runs = part.split(": ")
            for run in runs.split(", "):
                low, _, high = run.partition("–")
                listed += [(int(ring), c) for c in range(int(low), int(high or low) + 1)]
    assert sorted(listed) == sorted((b.ring, b.course) for b in made.plan.bricks if b.templet)


@EVERY
def test_pieces_laid_already_are_not_cut_again(made):
    first = made.plan.templets[0]
    ring, last = first.courses[-1]
    for gone in (first.courses[:-1], first.courses):
        rings = tuple(
            replace(r, bricks=tuple(replace(b, laid=(b.ring, b.course) in gone) for b in r.bricks))
            for r in made.plan.rings
        )
        plan = replace(made.plan, rings=rings)
        row = cutting_schedule(plan).rows[0]
        left = first.count - len(gone)
        assert row[:3] == (first.name, f"{left}", f"{len(gone)}")
        assert row[-1] == (f"{ring}: {last}" if left else "all laid")
        report = templets_schedule(plan)
        assert (report.rows[0][1:3], report.rows[0][-1]) == (row[1:3], row[-1])
        words = said(templet_sheets(made.record, made.fit, plan))
        told = f"1 piece, {what_it_is(first)}; ring {ring}: courses {last}" if left else "none to cut:"
        assert told in words
        assert (f"{len(gone)} laid already" in words) == bool(gone)
        assert len(cutting_schedule(plan).columns) == len(cutting_schedule(made.plan).columns) + bool(gone)


@EVERY
def test_words_below_a_piece_name_its_courses_and_bevel(made):
    words = said(templet_sheets(made.record, made.fit, made.plan))
    for templet in made.plan.templets:
        piece = "piece" if templet.count == 1 else "pieces"
        assert (
            f"{templet.count} {piece}, {what_it_is(templet)}; ring {templet.courses[0][0]}: courses" in words
        )
        if templet.bevel_rad > 1e-3:
            assert f"bevel {math.degrees(templet.bevel_rad):.2f}°" in words
            assert f"{100 * math.tan(templet.bevel_rad):.1f} off square over 100" in words


def test_a_tapered_piece_shows_the_square_it_leaves():
    (templet,) = WORKS["window"].plan.templets
    marks = templet_drawing(templet).primitives
    assert len([m for m in marks if isinstance(m, Dimension)]) == 3
    square = next(m for m in marks if isinstance(m, Line) and m.style.layer is Layer.DIMENSION)
    assert square.start[0] == square.end[0] == pytest.approx(templet.width_intrados_mm / 2)


def test_small_pieces_come_on_a4_and_deep_ones_on_a3():
    def paper(made):
        sheet = templet_sheets(made.record, made.fit, made.plan)[0]
        return sheet.width_mm, sheet.height_mm

    assert paper(WORKS["gateway"]) == Paper.A4_PORTRAIT.value
    assert paper(WORKS["doorway"]) == Paper.A3_PORTRAIT.value


def test_a_piece_longer_than_the_paper_is_tiled():
    shape = semicircular(2000.0)
    made = worked(
        shape,
        ring_of(shape, np.full(90, 65.0), depth=420.0, cut=True),
        record=record_of(ring_record(depth=420.0)),
    )
    sheets = templet_sheets(made.record, made.fit, made.plan)
    assert len(sheets) > 2
    shown = [p for sheet in sheets for p in sheet.placed]
    assert {p.drawing.name for p in shown} == {"templet_A"}
    assert {p.scale for p in shown} == {1.0}
    assert all(not overprints(sheet) and not outside(sheet) for sheet in sheets)


def test_a_plan_without_new_bricks_says_so():
    made = WORKS["doorway"]
    none = replace(made.plan, templets=())
    assert "No new brick is needed" in said(templet_sheets(made.record, made.fit, none))
    assert "no new bricks" in said(cutting_sheets(made.record, made.fit, none))


def test_quantities_follow_the_cutting_list_or_start_a_sheet():
    made = WORKS["gateway"]
    (sheet,) = cutting_sheets(made.record, made.fit, made.plan)
    words = said((sheet,))
    for quantity in made.plan.quantities:
        assert quantity.item in re.sub(r"\s+", " ", words)
    many = replace(made.plan, templets=made.plan.templets * 12)
    assert [s.title for s in cutting_sheets(made.record, made.fit, many)] == ["Cutting list", "Quantities"]


def test_a_grouping_that_is_not_proven_is_said_not_to_be():
    made = WORKS["window"]
    assert "fewer templets than these might do" not in said(cutting_sheets(made.record, made.fit, made.plan))
    loose = replace(made.plan, templets=tuple(replace(t, fewest=False) for t in made.plan.templets))
    assert "fewer templets than these might do" in said(cutting_sheets(made.record, made.fit, loose))


def test_kinds_of_pieces_in_words():
    whole = WORKS["gateway"].plan.templets[0]
    assert what_it_is(whole) == "whole brick"
    assert what_it_is(replace(whole, cut=True)) == "sawn to width"
    assert what_it_is(replace(whole, cut=True, bevel_rad=0.02)) == "tapered"
