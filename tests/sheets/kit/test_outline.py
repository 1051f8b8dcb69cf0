"""Curves as primitives: arcs and ellipses lie on the curve, chords keep within their tolerance."""

import math

import numpy as np
import pytest

from survey.curves import (
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred_sixty,
)
from survey.sheets.drawing import Arc, EllipticArc, Layer, Polyline, Style
from survey.sheets.kit.outline import CHORD_TOLERANCE_MM, curve_primitives
from survey.sheets.kit.placing import arc_points

STYLE = Style(Layer.CURVE)
SHAPES = [
    semicircular(1000.0, tilt_rad=0.01),
    segmental(2400.0, 400.0, axis_x_mm=30.0, springing_y_mm=-20.0),
    segmental(2000.0, 20.0),
    elliptical(2000.0, 600.0, tilt_rad=-0.02),
    elliptical(1000.0, 900.0),
    three_centred_sixty(2000.0, 600.0, tilt_rad=0.02),
    five_centred(3000.0, 1000.0, 717.0),
]
PARTS = [(None, None), (100.0, 400.0), (-20.0, 700.0)]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: f"{s.family}-{s.rise_mm:.0f}")
@pytest.mark.parametrize(("start", "end"), PARTS)
def test_true_arcs_lie_on_the_curve_and_cover_it(shape, start, end):
    curve = curve_of(shape)
    arcs = curve_primitives(curve, STYLE, start_mm=start, end_mm=end)
    assert all(isinstance(arc, Arc | EllipticArc) for arc in arcs)
    points = np.vstack([arc_points(arc, 50) for arc in arcs])
    located = curve.locate(points)
    assert np.abs(located.distance_mm).max() < 1e-6
    assert located.station_mm.min() == pytest.approx(start or 0.0, abs=1e-6)
    assert located.station_mm.max() == pytest.approx(end or curve.length_mm, abs=1e-6)


def test_a_shape_is_drawn_as_its_curve():
    assert curve_primitives(SHAPES[1], STYLE) == curve_primitives(curve_of(SHAPES[1]), STYLE)


@pytest.mark.parametrize("offset", [240.0, -25.0, 600.0])
def test_parallel_of_an_ellipse_is_chords_within_a_hundredth(offset):
    parallel = curve_of(elliptical(2000.0, 600.0)).offset(offset)
    (chords,) = curve_primitives(parallel, STYLE)
    assert isinstance(chords, Polyline)
    ends = np.array(chords.points)
    shares = np.linspace(0.0, 1.0, 9)[:, None, None]
    along = (ends[:-1] + shares * (ends[1:] - ends[:-1])).reshape(-1, 2)
    assert np.abs(parallel.locate(along).distance_mm).max() <= CHORD_TOLERANCE_MM
    assert np.abs(parallel.locate(ends).distance_mm).max() < 1e-6
    assert math.dist(chords.points[0], parallel.point(0.0)) < 1e-6
    assert math.dist(chords.points[-1], parallel.point(parallel.length_mm)) < 1e-6
