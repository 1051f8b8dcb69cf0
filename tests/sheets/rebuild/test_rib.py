"""The rib sheets: boards on the curve, ordinates and marks as planned, and the words that go with them."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import numpy as np
import pytest
from sheets.condition_cases import DEMOS, demo
from sheets.legibility import outside, overprints, said
from sheets.worked import works

from survey.rebuild import plan_rebuild
from survey.rebuild.plan import Scope
from survey.sheets.drawing import Dash, Layer, Line, Placed, Polyline, Text
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.placing import on_paper
from survey.sheets.rebuild.rib import boards_schedule, facts, marks_schedule, ordinates_schedule, rib_sheets
from survey.sheets.rebuild.rib_drawing import board_name, rib_drawing
from survey.sheets.results.tables import centring_csv

WORKS = works()
EVERY = pytest.mark.parametrize("made", WORKS.values(), ids=list(WORKS))


def number(text: str) -> float:
    return float(text.replace("−", "-"))


@EVERY
def test_boards_lie_under_the_rib_and_hold_half_their_width(made):
    drawing = rib_drawing(made.plan, made.record.centring, 10.0)
    rib = made.plan.centring.rib
    front = [b for b in made.plan.centring.boards if b.layer == 1]
    fields = [
        np.array(m.points)
        for m in drawing.primitives
        if isinstance(m, Polyline)
        and m.closed
        and m.style.fill == "#efefed"
        and m.style.layer is Layer.CENTRING
    ]
    assert len(fields) == len(front)
    for points, board in zip(fields, front, strict=True):
        curve, feet = points[:-2], points[-2:]
        assert np.abs(rib.locate(curve).distance_mm).max() < 1e-6
        chord = curve[-1] - curve[0]
        out = np.array([-chord[1], chord[0]]) / np.hypot(*chord)
        below = (feet - curve[0]) @ out
        assert below == pytest.approx(-made.record.centring.board_width_mm / 2)
        assert board.width_needed_mm <= made.record.centring.board_width_mm


@EVERY
def test_ordinates_reach_from_the_springing_line_to_the_rib(made):
    drawing = rib_drawing(made.plan, made.record.centring, 10.0)
    upright = [
        m
        for m in drawing.primitives
        if isinstance(m, Line) and m.style.layer is Layer.SETTING_OUT and m.start[0] == m.end[0]
    ]
    reached = [m for m in made.plan.centring.marks if m.what == "ordinate" and math.isfinite(m.rib_y_mm)]
    tops = {(m.end[0], m.end[1]) for m in upright}
    assert tops <= {(m.x_mm, m.rib_y_mm) for m in reached}
    middle = made.plan.shape.axis_x_mm
    even = {(m.x_mm, m.rib_y_mm) for m in reached if abs((m.x_mm - middle) / 100.0 % 1.0 - 0.5) > 0.499}
    assert even <= tops
    apart = np.diff([m.start[0] for m in upright])
    assert apart.min() >= 45.0  # 4.5 mm on paper, so that each figure stands clear of the next line
    assert {m.start[1] for m in upright} == {made.plan.shape.springing_y_mm}
    heights = {t.text for t in lettered(drawing, Layer.SETTING_OUT) if t.turn_rad}
    assert heights <= {f"{m.end[1] - m.start[1]:.0f}" for m in upright}
    listed = [number(row[2]) for row in ordinates_schedule(made.plan).rows if row[2]]
    assert all(min(abs(float(words) - height) for height in listed) <= 0.551 for words in heights)


def lettered(drawing, layer):
    return [t for t in drawing.primitives if isinstance(t, Text) and t.style.layer is layer]


@EVERY
def test_a_springing_line_out_of_level_has_the_level_drawn_and_its_fall_told(made):
    soffit = made.plan.rings[0].inner
    left, right = soffit.point(np.array([0.0, soffit.length_mm]))
    fall = float(right[1] - left[1])
    drawing = rib_drawing(made.plan, made.record.centring, 10.0)
    dotted = [m for m in drawing.primitives if isinstance(m, Line) and m.style.dash is Dash.DOTTED]
    words = [t.text for t in lettered(drawing, Layer.SETTING_OUT) if "level" in t.text]
    if abs(fall) < 0.5:
        assert dotted == []
        assert words == []
        return
    (line,) = dotted
    assert line.start[1] == line.end[1] == made.plan.shape.springing_y_mm
    side = "right" if fall > 0 else "left"
    assert words == [
        f"dotted: level, from which the ordinates rise; {side} springing {abs(fall):.0f} higher over the span"
    ]


@EVERY
def test_tables_hold_every_ordinate_and_course(made):
    ordinates = ordinates_schedule(made.plan).rows
    given = [m for m in made.plan.centring.marks if m.what == "ordinate"]
    assert [number(r[1]) for r in ordinates] == pytest.approx(
        [m.soffit_y_mm - made.plan.shape.springing_y_mm for m in given], abs=0.051
    )
    assert [r[2] == "" for r in ordinates] == [math.isnan(m.rib_y_mm) for m in given]
    rows = marks_schedule(made.plan).rows
    assert [r[0] for r in rows] == [f"{b.ring}/{b.course}" for b in made.plan.bricks]
    length = made.plan.rings[0].inner.length_mm
    for row in rows:
        assert number(row[1]) + number(row[3]) == pytest.approx(length, abs=0.11)
        assert number(row[2]) + number(row[4]) == pytest.approx(length, abs=0.11)


@EVERY
def test_boards_are_named_and_listed(made):
    boards = made.plan.centring.boards
    names = [board_name(boards, k) for k in range(len(boards))]
    assert len(set(names)) == len(names)
    assert [r[0] for r in boards_schedule(made.plan).rows] == names
    shown = {
        m.text for m in rib_drawing(made.plan, made.record.centring, 10.0).primitives if isinstance(m, Text)
    }
    assert {n for n in names if n.startswith("1.")} <= shown


@EVERY
def test_the_sheet_says_how_the_rib_is_struck_and_what_is_not_known(made):
    words = said(rib_sheets(made.record, made.fit, made.plan)[:1])
    for sentence in (*made.plan.centring.setting_out, *made.plan.centring.notes, *facts(made.plan)):
        assert sentence in words


def test_lagging_of_an_unmeasured_wall_has_no_invented_length():
    plan = WORKS["gateway"].plan
    unknown = replace(plan, centring=replace(plan.centring, has_wall=False))
    assert f"{plan.centring.lagging_length_mm:.0f} mm long" in " ".join(facts(plan))
    assert "mm long" not in " ".join(facts(unknown))
    assert "as long as the wall is thick: measure it" in " ".join(facts(unknown))


def test_close_boards_are_said_to_be_close():
    assert "laid close" in " ".join(facts(WORKS["window"].plan))
    assert "from middle to middle" in " ".join(facts(WORKS["gateway"].plan))


@EVERY
@pytest.mark.parametrize("scale", [5.0, 10.0, 20.0, 50.0])
def test_no_figure_touches_the_props_or_their_break_lines(made, scale):
    """The span of the rib stands clear below the lowest point of every prop."""
    drawing = rib_drawing(made.plan, made.record.centring, scale)
    placed = on_paper(Placed(drawing, (0.0, 0.0), (0.0, 0.0), scale))
    (span,) = (text_box(m) for m in placed if isinstance(m, Text) and m.text.startswith("rib, foot to foot"))
    lines = [m for m in drawing.primitives if isinstance(m, Line | Polyline)]
    points = [p for m in lines for p in (m.points if isinstance(m, Polyline) else (m.start, m.end))]
    lowest = min(y for _, y in points) / scale
    assert span.top < lowest - 0.5


@pytest.mark.parametrize("scale", [4.0, 10.0, 25.0])
def test_heads_of_the_props_take_little_of_the_sheet(scale):
    """They are broken off, and end alike: how long props are the site decides."""
    made = WORKS["gateway"]
    drawing = rib_drawing(made.plan, made.record.centring, scale)
    sides = [
        m
        for m in drawing.primitives
        if isinstance(m, Line) and m.style.layer is Layer.CENTRING and m.start[0] == m.end[0]
    ]
    assert len(sides) == 2 * len(made.plan.centring.props_x_mm)
    lengths = {round(m.start[1] - m.end[1], 6) for m in sides}
    assert lengths == {min(260.0, 14.0 * scale)}


@pytest.mark.parametrize("name", DEMOS)
def test_ordinates_are_those_of_the_csv_to_the_printed_digit(name):
    """In a repair too, where the rib's axis is not that of the frame: from_axis_mm, not x_mm, is printed."""
    made = demo(name)
    plan = plan_rebuild(made.record, made.fit)
    rows = [r for r in csv.DictReader(io.StringIO(centring_csv(plan))) if r["what"] == "ordinate"]
    printed = ordinates_schedule(plan).rows
    assert len(printed) == len(rows)
    level = plan.shape.springing_y_mm
    for cells, row in zip(printed, rows, strict=True):
        assert number(cells[0]) == pytest.approx(float(row["from_axis_mm"]), abs=0.0551)
        assert number(cells[1]) == pytest.approx(float(row["soffit_y_mm"]) - level, abs=0.0551)
        assert number(cells[3]) == pytest.approx(float(row["along_left_mm"]), abs=0.0551)
    off = [abs(float(row["x_mm"]) - float(row["from_axis_mm"])) for row in rows]
    assert max(off) > 0.2 or plan.scope is Scope.WHOLE


@EVERY
def test_short_tables_share_a_page(made):
    sheets = rib_sheets(made.record, made.fit, made.plan)
    words = said(sheets)
    assert words.count("Ordinates, mm") >= 1
    assert words.count("Course marks, mm") >= 1
    titles = [sheet.title for sheet in sheets[1:]]
    if len(marks_schedule(made.plan).rows) <= 42:
        assert titles == ["Centring: ordinates and course marks"]
    else:
        assert {"Centring: ordinates of the rib", "Centring: course marks"} == set(titles)
    assert all(overprints(sheet) == [] and outside(sheet, 10.0) == [] for sheet in sheets)
