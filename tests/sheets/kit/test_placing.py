"""From model to paper: dimensions, bounds of arcs, and the sums that must hold."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.errors import DrawingError
from survey.sheets.drawing import (
    Arc,
    Box,
    Circle,
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
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.placing import arc_points, explode, extent, mark_box, on_paper, sweep_rad

PEN = ink.pen(Layer.DIMENSION)


def test_dimension_line_stands_off_to_the_left_at_any_scale():
    for scale in (1.0, 10.0):
        marks = explode(Dimension((0.0, 0.0), (1000.0, 0.0), "1000", 8.0, PEN), scale)
        line = marks[0]
        assert isinstance(line, Line)
        assert line.start == (0.0, 8.0 * scale)
        assert line.end == (1000.0, 8.0 * scale)


@pytest.mark.parametrize("turn", np.linspace(-math.pi, math.pi, 17))
def test_dimension_figure_reads_from_below_or_from_the_right(turn):
    end = (1000 * math.cos(turn), 1000 * math.sin(turn))
    text = explode(Dimension((0.0, 0.0), end, "1000", 8.0, PEN), 10.0)[-1]
    assert isinstance(text, Text)
    assert -math.pi / 2 < text.turn_rad <= math.pi / 2 + 1e-9


@pytest.mark.parametrize("turn", np.linspace(-math.pi, math.pi, 17))
def test_dimension_figure_does_not_touch_its_own_line(turn):
    dimension = Dimension((0.0, 0.0), (100 * math.cos(turn), 100 * math.sin(turn)), "100", 8.0, PEN)
    *_, text = explode(dimension)
    line = explode(dimension)[0]
    assert isinstance(text, Text)
    assert isinstance(line, Line)
    up = (-math.sin(text.turn_rad), math.cos(text.turn_rad))
    lift = (text.at[0] - line.start[0]) * up[0] + (text.at[1] - line.start[1]) * up[1]
    assert lift == pytest.approx(1.0)


def test_figure_of_a_short_dimension_goes_outside():
    text = explode(Dimension((0.0, 0.0), (30.0, 0.0), "30", 6.0, PEN), 10.0)[-1]
    assert isinstance(text, Text)
    assert text_box(Text((text.at[0] / 10, 0.0), "30", 2.5, text.style, text.anchor)).left > 3.0


def test_dimension_without_length_is_refused():
    with pytest.raises(DrawingError, match="'0' has no length; give two different points"):
        explode(Dimension((1.0, 1.0), (1.0, 1.0), "0", 5.0, PEN))


def test_placed_drawing_is_scaled_and_shifted_but_not_its_lettering():
    drawing = Drawing(
        "d",
        (
            Line((0.0, 0.0), (100.0, 50.0), PEN),
            Polyline(((0.0, 0.0), (10.0, 0.0)), PEN),
            Arc((0.0, 0.0), 500.0, 0.0, 1.0, PEN),
            EllipticArc((10.0, 0.0), 500.0, 300.0, 0.1, 0.0, 1.0, PEN),
            Circle((20.0, 0.0), 0.7, PEN),
            Text((0.0, 30.0), "x", 2.0, PEN),
        ),
    )
    line, polyline, arc, ellipse, circle, text = on_paper(Placed(drawing, (0.0, 10.0), (40.0, 60.0), 10.0))
    assert (line.start, line.end) == ((40.0, 59.0), (50.0, 64.0))
    assert polyline.points == ((40.0, 59.0), (41.0, 59.0))
    assert (arc.centre, arc.radius) == ((40.0, 59.0), 50.0)
    assert (ellipse.centre, ellipse.semi_x, ellipse.semi_y) == ((41.0, 59.0), 50.0, 30.0)
    assert (circle.centre, circle.radius_paper_mm) == ((42.0, 59.0), 0.7)
    assert (text.at, text.height_mm) == ((40.0, 62.0), 2.0)


angles = st.floats(-7.0, 7.0)


@given(st.floats(1.0, 1e3), st.floats(1.0, 1e3), st.floats(-3.0, 3.0), angles, st.floats(0.01, 6.2))
def test_bounds_of_arcs_hold_and_touch(semi_x, semi_y, tilt, start, sweep):
    for arc in (
        EllipticArc((5.0, -3.0), semi_x, semi_y, tilt, start, start + sweep, PEN),
        Arc((5.0, -3.0), semi_x, start, start + sweep, PEN),
    ):
        box = mark_box(arc)
        points = np.array(arc_points(arc, 2000))
        slack = 1e-9 * max(semi_x, semi_y)
        assert points[:, 0].min() >= box.left - slack
        assert points[:, 0].max() <= box.right + slack
        assert points[:, 1].min() >= box.bottom - slack
        assert points[:, 1].max() <= box.top + slack
        near = 1e-5 * max(semi_x, semi_y)  # the sagitta of a two-thousandth of a turn
        assert points[:, 0].max() == pytest.approx(box.right, abs=near)
        assert points[:, 1].min() == pytest.approx(box.bottom, abs=near)


def test_sweep_is_anticlockwise_and_never_zero():
    assert sweep_rad(Arc((0, 0), 1.0, 3.0, 1.0, PEN)) == pytest.approx(2 * math.pi - 2.0)
    assert sweep_rad(Arc((0, 0), 1.0, 0.5, 0.5, PEN)) == pytest.approx(2 * math.pi)


def test_nothing_has_no_extent():
    with pytest.raises(DrawingError, match="empty drawing has no extent"):
        extent(())


def test_boxes_meet_and_hold():
    box = Box(0.0, 0.0, 10.0, 5.0)
    assert box.meets(Box(9.0, 4.0, 5.0, 5.0))
    assert not box.meets(Box(10.0, 0.0, 5.0, 5.0))
    assert box.holds(Box(1.0, 1.0, 9.0, 4.0))
    assert not box.holds(Box(1.0, 1.0, 9.1, 4.0))
    assert box.grown(1.0) == Box(-1.0, -1.0, 12.0, 7.0)
