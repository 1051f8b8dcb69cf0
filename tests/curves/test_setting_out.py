"""Setting-out figures against closed forms and an independent polygon, and the words a mason reads."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from curves.cases import SHAPES, shapes
from hypothesis import given

from survey.curves import (
    ChainOfArcs,
    Ellipse,
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    setting_out,
    three_centred_sixty,
)

every_shape = pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())


@every_shape
def test_area_is_that_of_a_fine_polygon(shape):
    """Area by shapely from 20 000 chords, whose segments are of order 1e-8 of it."""
    curve = curve_of(shape)
    polygon = shapely.Polygon(curve.point(np.linspace(0.0, curve.length_mm, 20001)))
    assert setting_out(shape).area_mm2 == pytest.approx(polygon.area, rel=3e-8)


@every_shape
def test_radii_are_the_curvature(shape):
    figures, curve = setting_out(shape), curve_of(shape)
    radii = 1 / curve.curvature([0.0, curve.length_mm / 2])
    assert [figures.springing_radius_mm, figures.crown_radius_mm] == pytest.approx(radii, rel=1e-12)
    assert figures.length_mm == curve.length_mm


@given(shapes())
def test_arcs_are_struck_from_their_centres(shape):
    """Every junction is a radius from the centres of both its arcs, and in line with them."""
    figures = setting_out(shape)
    if isinstance(curve_of(shape), Ellipse):
        assert figures.centres_mm.shape == figures.junctions_mm.shape == (0, 2)
        return
    tolerance = 1e-11 * (
        shape.span_mm + max(figures.radii_mm) + abs(shape.axis_x_mm) + abs(shape.springing_y_mm)
    )
    start = np.hypot(*(figures.junctions_mm[:-1] - figures.centres_mm).T)
    end = np.hypot(*(figures.junctions_mm[1:] - figures.centres_mm).T)
    np.testing.assert_allclose(start, figures.radii_mm, rtol=0, atol=tolerance)
    np.testing.assert_allclose(end, figures.radii_mm, rtol=0, atol=tolerance)
    between = np.hypot(*np.diff(figures.centres_mm, axis=0).T)
    np.testing.assert_allclose(between, np.abs(np.diff(figures.radii_mm)), rtol=0, atol=2 * tolerance)


@pytest.mark.parametrize(
    "name", ["ellipse", "tilted ellipse", "wide ellipse", "very flat ellipse", "tall ellipse"]
)
def test_string_and_rod_draw_the_ellipse(name):
    """The two focal distances add up to the string; the rod's marks stay on the axes."""
    shape = SHAPES[name]
    figures, curve = setting_out(shape), curve_of(shape)
    assert isinstance(curve, Ellipse)
    points = curve.point(np.linspace(0.0, curve.length_mm, 40))
    to_pins = [np.hypot(*(points - pin).T) for pin in figures.foci_mm]
    np.testing.assert_allclose(sum(to_pins), figures.string_mm, rtol=1e-13)
    upright_mark, level_mark = figures.trammel_mm
    along = np.array([math.cos(shape.tilt_rad), math.sin(shape.tilt_rad)])
    up = np.array([-along[1], along[0]])
    local = points - [shape.axis_x_mm, shape.springing_y_mm]
    x, y = local @ along, local @ up
    # with the mark at half-span from the pencil on the upright axis, the other is on the springing line
    drop = np.sqrt(np.maximum(upright_mark**2 - x**2, 0.0))
    level_y = y - drop * level_mark / upright_mark
    np.testing.assert_allclose(level_y, 0.0, rtol=0, atol=1e-6 * shape.span_mm)


def test_normal_halves_the_angle_between_the_lines_to_the_pins():
    for name in ("ellipse", "tilted ellipse", "tall ellipse"):
        curve = curve_of(SHAPES[name])
        assert isinstance(curve, Ellipse)
        s = np.linspace(0.0, curve.length_mm, 21)
        to_pins = [curve.foci_mm[k] - curve.point(s) for k in (0, 1)]
        units = [v / np.hypot(*v.T)[:, None] for v in to_pins]
        bisector = units[0] + units[1]
        bisector /= np.hypot(*bisector.T)[:, None]
        np.testing.assert_allclose(bisector, -curve.normal(s), rtol=0, atol=1e-12)


@pytest.mark.parametrize("name", ["segmental", "three-centred", "five-centred", "ellipse"])
def test_placing_moves_the_points_alone(name):
    shape = SHAPES[name]
    still = setting_out(replace(shape, axis_x_mm=0.0, springing_y_mm=0.0))
    moved = setting_out(replace(shape, axis_x_mm=100.0, springing_y_mm=-20.0, tilt_rad=0.02))
    turn = np.array([[math.cos(0.02), math.sin(0.02)], [-math.sin(0.02), math.cos(0.02)]])
    for a, b in (
        (still.centres_mm, moved.centres_mm),
        (still.junctions_mm, moved.junctions_mm),
        (still.foci_mm, moved.foci_mm),
    ):
        np.testing.assert_allclose(a @ turn + np.array([100.0, -20.0]), b, rtol=0, atol=1e-9)
    assert moved.area_mm2 == pytest.approx(still.area_mm2, rel=1e-12)
    assert len(moved.sentences()) == len(still.sentences()) + 1
    assert "its right end stands" in " ".join(moved.sentences())


def test_skewback_of_a_segment():
    """53.1301 degrees: the line from the centre 1600 below to the springing 1200 out (a 3-4-5 triangle)."""
    figures = setting_out(segmental(2400.0, 400.0))
    assert math.degrees(figures.skewback_rad) == pytest.approx(math.degrees(math.atan2(4, 3)), abs=1e-12)
    assert setting_out(semicircular(1000.0)).skewback_rad == pytest.approx(0.0, abs=1e-15)
    assert setting_out(five_centred(2000.0, 700.0)).skewback_rad == pytest.approx(0.0, abs=1e-15)


def test_words_for_a_semicircle():
    assert setting_out(semicircular(1000.0)).sentences() == (
        "Draw the springing line 2000 mm long and square up its middle; the crown stands 1000 mm above it.",
        "Strike the arch with 1000 mm from the middle of the springing line.",
        "Every joint points to the centre.",
        "Check: the curve from springing to springing measures 3142 mm.",
    )


def test_words_for_a_segment():
    said = setting_out(segmental(2400.0, 400.0)).sentences()
    assert said[1:4] == (
        "Strike the arch with 2000 mm from a centre 1600 mm below the middle of the springing line.",
        "The skewbacks lie in line with the centre, 53.1 degrees above the springing line.",
        "Every joint points to the centre.",
    )


def test_words_for_three_centres():
    said = setting_out(three_centred_sixty(2000.0, 600.0, axis_x_mm=500.0)).sentences()
    assert said[1:-1] == (
        "Strike the haunch arcs with 454 mm from centres 546 mm left and right of the middle on the "
        "springing line.",
        "Strike the crown arc with 1546 mm from a centre 946 mm below the middle of the springing line.",
        "The haunch and crown arcs meet 773 mm left and right of the middle and 393 mm above the "
        "springing line, in line with both their centres.",
        "Every joint points to the centre of its own arc.",
    )


def test_words_for_five_centres_tell_every_figure():
    shape = five_centred(4000.0, 1300.0)
    figures = setting_out(shape)
    said = " ".join(figures.sentences())
    numbers = [*figures.radii_mm, *np.abs(figures.centres_mm[:, 0]), *np.abs(figures.junctions_mm[1:-1, 1])]
    for number in numbers:
        assert f"{number:.0f} mm" in said or round(number) == 0
    assert said.count("Strike the ") == 3


def test_words_for_the_ellipse():
    said = setting_out(elliptical(2000.0, 600.0)).sentences()
    assert said[1].startswith(
        "By string: drive two pins on the springing line, 800 mm left and right of the middle; tie a "
        "string of 2000 mm"
    )
    assert said[2] == (
        "By rod: mark a rod at 1000 mm and 600 mm from its pencil; keep the mark at 1000 mm on the "
        "upright axis and the mark at 600 mm on the springing line."
    )
    assert "do not point to the middle" in said[3]
    assert "halve the angle between them" in said[3]
    tall = setting_out(elliptical(1200.0, 1000.0)).sentences()
    assert (
        "drive two pins on the upright axis, 800 mm above and below the middle; tie a string of 2000 mm"
        in tall[1]
    )
    round_one = setting_out(elliptical(2000.0, 1000.0, tilt_rad=-0.01)).sentences()
    assert round_one[1].startswith("Strike the arch with 1000 mm from the middle of the springing line")
    assert round_one[3] == "The springing line is out of level: its left end stands 20 mm higher."


def test_sentences_do_not_hide_a_centre():
    """Every chain has as many striking sentences as it has arcs in one half."""
    for shape in SHAPES.values():
        curve = curve_of(shape)
        if isinstance(curve, ChainOfArcs):
            said = setting_out(shape).sentences()
            assert sum(line.startswith("Strike the ") for line in said) == len(shape.radii_mm)
