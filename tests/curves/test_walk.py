"""Walking a curve: point, tangent, normal, curvature and length agree with one another everywhere."""

import itertools
import math
import pickle

import numpy as np
import pytest
from curves.cases import ALL, CURVES, UNEVEN, shapes
from hypothesis import given

from survey.curves import Curve, curve_of, segmental, semicircular

everywhere = pytest.mark.parametrize("curve", ALL.values(), ids=ALL.keys())


def inner_stations(curve: Curve, n: int) -> np.ndarray:
    """Stations over the curve and its continuation, none within a step of a jump of curvature."""
    first, last = curve.first_station_mm, curve.last_station_mm
    stations = np.linspace(first, last, n + 2)[1:-1]
    gaps = np.abs(stations[:, None] - np.append(curve.breaks_mm, [first, last])).min(axis=1)
    return stations[gaps > 1e-3 * (last - first) / n + 0.05]


@everywhere
def test_meets_the_protocol(curve):
    assert isinstance(curve, Curve)
    assert curve.first_station_mm < 0.0 < curve.length_mm < curve.last_station_mm


@everywhere
def test_tangent_is_the_slope_of_the_point(curve):
    """Central differences of the point over arc length: unit length says that stations are arc lengths."""
    s, step = inner_stations(curve, 101), 0.01
    slope = (curve.point(s + step) - curve.point(s - step)) / (2 * step)
    sharpest = np.abs(curve.curvature(s)).max()
    np.testing.assert_allclose(slope, curve.tangent(s), rtol=0, atol=1e-9 + (step * sharpest) ** 2)


@everywhere
def test_normal_is_square_to_the_tangent_and_outwards(curve):
    s = inner_stations(curve, 101)
    tangent, normal = curve.tangent(s), curve.normal(s)
    np.testing.assert_allclose(np.hypot(*normal.T), 1.0, rtol=1e-14)
    np.testing.assert_allclose(np.hypot(*tangent.T), 1.0, rtol=1e-14)
    np.testing.assert_allclose(tangent[:, 0] * normal[:, 1] - tangent[:, 1] * normal[:, 0], 1.0, rtol=1e-14)


@everywhere
def test_curvature_is_the_turn_of_the_tangent(curve):
    s, step = inner_stations(curve, 101), 0.01
    before, after = curve.tangent(s - step), curve.tangent(s + step)
    turn = np.arcsin(after[:, 0] * before[:, 1] - after[:, 1] * before[:, 0]) / (2 * step)
    np.testing.assert_allclose(turn, curve.curvature(s), rtol=1e-6, atol=1e-11)


@everywhere
def test_curvature_adds_up_to_the_turning(curve):
    marks = np.unique(np.concatenate([[0.0, curve.length_mm], curve.breaks_mm]))
    marks = marks[(marks >= 0.0) & (marks <= curve.length_mm)]
    node, weight = np.polynomial.legendre.leggauss(5)
    total = 0.0
    for start, end in itertools.pairwise(marks):
        half = (end - start) / 1000 / 2
        middle = start + half * (2 * np.arange(1000) + 1)
        total += half * float((curve.curvature(middle[:, None] + half * node) @ weight).sum())
    # within a spline's knots the curvature bends, which costs the quadrature some digits
    assert total == pytest.approx(curve.turning_rad, abs=1e-6)


@everywhere
def test_tangent_does_not_jump_at_junctions(curve):
    at = curve.breaks_mm
    np.testing.assert_allclose(curve.normal(np.nextafter(at, -np.inf)), curve.normal(at), rtol=0, atol=1e-13)
    np.testing.assert_allclose(curve.point(np.nextafter(at, -np.inf)), curve.point(at), rtol=0, atol=1e-11)


@everywhere
def test_single_station_gives_single_values(curve):
    s = curve.length_mm / 3
    assert curve.point(s).shape == curve.tangent(s).shape == curve.normal(s).shape == (2,)
    assert curve.curvature(s).shape == ()
    np.testing.assert_array_equal(curve.point(s), curve.point([s])[0])


@everywhere
def test_travels_between_processes(curve):
    """A campaign hands curves to other processes: the copy answers alike."""
    copy = pickle.loads(pickle.dumps(curve))
    s = np.linspace(0.0, curve.length_mm, 9)
    np.testing.assert_array_equal(copy.point(s), curve.point(s))
    np.testing.assert_array_equal(
        copy.locate(curve.point(s)).station_mm, curve.locate(curve.point(s)).station_mm
    )


@everywhere
def test_division_is_equal_and_whole(curve):
    stations = curve.divide(7)
    assert stations[0] == 0.0
    assert stations[-1] == curve.length_mm
    np.testing.assert_allclose(np.diff(stations), curve.length_mm / 7, rtol=1e-12)


@given(shapes())
def test_curve_spans_from_springing_to_springing(shape):
    """Ends on the springings, crown at the rise, all where the placing says, to a nanometre a metre."""
    curve = curve_of(shape)
    along = np.array([math.cos(shape.tilt_rad), math.sin(shape.tilt_rad)])
    up = np.array([-along[1], along[0]])
    middle = np.array([shape.axis_x_mm, shape.springing_y_mm])
    wanted = [
        middle - shape.half_span_mm * along,
        middle + shape.rise_mm * up,
        middle + shape.half_span_mm * along,
    ]
    found = curve.point([0.0, curve.length_mm / 2, curve.length_mm])
    np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-12 * shape.span_mm + 1e-11)
    np.testing.assert_allclose(curve.normal(curve.length_mm / 2), up, rtol=0, atol=1e-12)


@given(shapes())
def test_halves_mirror_each_other(shape):
    curve = curve_of(shape)
    s = np.linspace(0.0, curve.length_mm / 2, 40)
    middle = np.array([shape.axis_x_mm, shape.springing_y_mm])
    along = np.array([math.cos(shape.tilt_rad), math.sin(shape.tilt_rad)])
    left, right = curve.point(s) - middle, curve.point(curve.length_mm - s) - middle
    tolerance = 1e-12 * (shape.span_mm + abs(shape.axis_x_mm) + abs(shape.springing_y_mm))
    np.testing.assert_allclose(left @ along, -(right @ along), rtol=0, atol=tolerance)
    up = np.array([-along[1], along[0]])
    np.testing.assert_allclose(left @ up, right @ up, rtol=0, atol=tolerance)


def test_uneven_chain_turns_by_its_sweeps():
    assert pytest.approx(2.7) == UNEVEN.turning_rad
    assert pytest.approx(0.6 * 700 + 0.8 * 1500 + 1.3 * 400) == UNEVEN.length_mm
    np.testing.assert_allclose(UNEVEN.breaks_mm, [420.0, 1620.0], rtol=1e-14)
    direction = math.radians(80) - 2.7
    np.testing.assert_allclose(
        UNEVEN.tangent(UNEVEN.length_mm), [math.cos(direction), math.sin(direction)], rtol=0, atol=1e-15
    )


def test_arc_of_vanishing_curvature_keeps_its_digits():
    """A camber of 1 mm over 4 m has a radius of 2 km, one of a micrometre 2000 km: no digit is lost."""
    for rise in (1.0, 1e-3):
        curve = curve_of(segmental(4000.0, rise))
        crown = curve.point(curve.length_mm / 2)
        np.testing.assert_allclose(crown, [0.0, rise], rtol=0, atol=1e-12)
        located = curve.locate([[0.0, rise + 7.0], [1000.0, 0.75 * rise]])
        assert located.distance_mm[0] == pytest.approx(7.0, abs=1e-12)
        # the parabola of the same rise differs from the circle by rise^3 / span^2 or so
        assert located.distance_mm[1] == pytest.approx(0.0, abs=rise**3 / 4000**2 * 4 + 1e-12)


@pytest.mark.parametrize("name", [n for n in CURVES if n.startswith("round ellipse")])
def test_round_ellipse_is_the_semicircle(name):
    round_one = CURVES[name]
    offset = round_one.length_mm / math.pi - 500.0
    circle = curve_of(semicircular(500.0)).offset(offset)
    s = np.linspace(circle.first_station_mm, circle.last_station_mm, 50)
    np.testing.assert_allclose(round_one.point(s), circle.point(s), rtol=0, atol=1e-11)
    np.testing.assert_allclose(round_one.curvature(s), circle.curvature(s), rtol=1e-12)
