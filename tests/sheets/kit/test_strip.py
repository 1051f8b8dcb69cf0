"""Strips: values land where the scale says, and missing readings leave a gap."""

import numpy as np
import pytest

from survey.sheets.drawing import Anchor, Box, Circle, Dash, Layer, Line, Polyline, Text
from survey.sheets.kit import ink, strip

WINDOW = strip.Strip(Box(10.0, 20.0, 100.0, 40.0), (0.0, 2000.0), (-8.0, 8.0))
PEN = ink.pen(Layer.DEVIATION)


def test_corners_of_the_box_are_the_ends_of_the_ranges():
    assert WINDOW.at(0.0, -8.0) == (10.0, 20.0)
    assert WINDOW.at(2000.0, 8.0) == (110.0, 60.0)


def test_a_missing_reading_breaks_the_trace():
    marks = strip.trace(WINDOW, [0, 1, 2, 3, 4, 5], [0, 1, np.nan, 1, 2, 1], PEN)
    assert [len(m.points) for m in marks if isinstance(m, Polyline)] == [2, 3]


def test_every_known_reading_has_its_dot():
    marks = strip.dots(WINDOW, [0.0, 500.0, np.nan], [1.0, np.nan, 2.0], PEN)
    assert [m.centre for m in marks if isinstance(m, Circle)] == [WINDOW.at(0.0, 1.0)]


def test_whiskers_stay_inside_the_strip():
    (mark,) = strip.whiskers(WINDOW, [500.0], [7.0], [3.0], PEN)
    assert isinstance(mark, Line)
    assert mark.start == WINDOW.at(500.0, 4.0)
    assert mark.end == WINDOW.at(500.0, 8.0)


def test_band_is_cut_at_the_strip():
    (mark,) = strip.band(WINDOW, -50.0, 5.0)
    ys = [y for _, y in mark.points]
    assert min(ys) == pytest.approx(WINDOW.box.bottom)
    assert max(ys) == pytest.approx(WINDOW.y_at(5.0))


@pytest.mark.parametrize(("low", "high", "most"), [(0.0, 1980.0, 12), (-7.0, 7.0, 4), (0.0, 0.03, 5)])
def test_ticks_are_round_and_few(low, high, most):
    step = strip.tick_step(low, high, most)
    values = strip.ticks(low, high, step)
    assert 1 <= len(values) - 1 <= most
    assert min(values) >= low - 1e-12
    assert max(values) <= high + 1e-12


def test_symmetric_range_holds_every_reading_and_its_mirror():
    low, high = strip.symmetric_range([-3.0, np.nan, 7.0], 2.0)
    assert low == -high
    assert high > 7.0
    assert strip.symmetric_range([np.nan], 2.0) == pytest.approx((-2.2, 2.2))


def test_values_outside_the_strip_are_taken_out():
    kept = WINDOW.within([-9.0, -8.0, 0.0, np.nan, 8.0, 8.1])
    assert kept[[1, 2, 4]].tolist() == [-8.0, 0.0, 8.0]
    assert np.isnan(kept[[0, 3, 5]]).all()


def test_a_reading_beyond_the_strip_is_an_arrowhead_at_its_edge_with_its_figure():
    marks = strip.beyond(WINDOW, [500.0, 900.0, 1000.0, np.nan], [40.0, 3.0, -12.0, 90.0], PEN)
    heads = [m for m in marks if isinstance(m, Polyline)]
    assert [m.points[0] for m in heads] == [WINDOW.at(500.0, 8.0), WINDOW.at(1000.0, -8.0)]
    assert [m.text for m in marks if isinstance(m, Text)] == ["40", "−12"]


def test_a_figure_at_the_right_edge_stands_left_of_its_arrowhead():
    end = WINDOW.x_range[1]
    figures = [m for m in strip.beyond(WINDOW, [0.0, end], [40.0, 40.0], PEN) if isinstance(m, Text)]
    assert [m.anchor for m in figures] == [Anchor.LEFT, Anchor.RIGHT]
    assert all(WINDOW.box.left <= m.at[0] <= WINDOW.box.right for m in figures)


def test_an_envelope_runs_along_both_lines_and_is_cut_at_the_strip():
    (field,) = strip.envelope(WINDOW, [0.0, 1000.0], [-2.0, -20.0], [2.0, 6.0], PEN)
    assert field.points == (
        WINDOW.at(0.0, 2.0),
        WINDOW.at(1000.0, 6.0),
        WINDOW.at(1000.0, -8.0),
        WINDOW.at(0.0, -2.0),
    )


def test_an_envelope_with_a_missing_value_is_not_drawn():
    assert strip.envelope(WINDOW, [0.0, 1.0], [np.nan, 0.0], [1.0, 1.0], PEN) == []


def test_a_blank_covers_the_whole_height_between_two_stations():
    field = strip.blank(WINDOW, 200.0, 400.0)
    assert {x for x, _ in field.points} == {WINDOW.x_at(200.0), WINDOW.x_at(400.0)}
    assert {y for _, y in field.points} == {WINDOW.box.bottom, WINDOW.box.top}
    assert field.style.dash is Dash.DASHED
