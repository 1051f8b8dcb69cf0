"""Parallel curves: an even distance everywhere, exact length, and composition."""

import math

import numpy as np
import pytest
from curves.cases import ALL, CURVES, UNEVEN, shapes
from hypothesis import given
from hypothesis import strategies as st

from survey.curves import ChainOfArcs, Ellipse, EllipseParallel, curve_of, elliptical, segmental
from survey.errors import GeometryError

everywhere = pytest.mark.parametrize("curve", ALL.values(), ids=ALL.keys())


@everywhere
@pytest.mark.parametrize("distance", [65.0, -3.0])
def test_parallel_keeps_its_distance_both_ways(curve, distance):
    """Every point of the parallel is at the distance from the curve, and every point of the curve from it."""
    parallel = curve.offset(distance)
    s = np.linspace(0.0, parallel.length_mm, 200)
    located = curve.locate(parallel.point(s))
    np.testing.assert_allclose(located.distance_mm, distance, rtol=0, atol=1e-9)
    back = parallel.locate(curve.point(located.station_mm))
    np.testing.assert_allclose(back.distance_mm, -distance, rtol=0, atol=1e-9)
    np.testing.assert_allclose(back.station_mm, s, rtol=0, atol=1e-8)
    np.testing.assert_allclose(parallel.normal(s), curve.normal(located.station_mm), rtol=0, atol=1e-9)


@everywhere
@pytest.mark.parametrize("distance", [65.0, -3.0])
def test_parallel_is_longer_by_distance_times_turning(curve, distance):
    """J. Steiner's formula for parallel curves."""
    grown = curve.offset(distance).length_mm - curve.length_mm
    assert grown == pytest.approx(distance * curve.turning_rad, abs=1e-8)


@everywhere
def test_length_of_the_parallel_is_that_of_its_own_fine_polygon(curve):
    """Independent of any formula: chords of the points, with Richardson's step at 40 000 of them."""
    parallel = curve.offset(31.0)
    points = parallel.point(np.linspace(0.0, parallel.length_mm, 40001))
    fine = np.hypot(*np.diff(points, axis=0).T).sum()
    coarse = np.hypot(*np.diff(points[::2], axis=0).T).sum()
    assert fine + (fine - coarse) / 3 == pytest.approx(parallel.length_mm, abs=1e-6)


@everywhere
def test_parallels_compose(curve):
    twice, once = curve.offset(100.0).offset(-60.0), curve.offset(40.0)
    s = np.linspace(0.0, once.length_mm, 50)
    assert twice.length_mm == pytest.approx(once.length_mm, abs=1e-9)
    np.testing.assert_allclose(twice.point(s), once.point(s), rtol=0, atol=1e-9)


@everywhere
def test_out_and_back_is_the_curve_again(curve):
    again = curve.offset(77.0).offset(-77.0)
    s = np.linspace(0.0, curve.length_mm, 50)
    np.testing.assert_allclose(again.point(s), curve.point(s), rtol=0, atol=1e-9)


def test_parallel_of_the_ellipse_back_to_nothing_is_the_ellipse():
    ellipse = Ellipse((0.0, 0.0), 2000.0, 900.0)
    assert ellipse.offset(0.0) is ellipse
    assert ellipse.offset(240.0).offset(-240.0) is ellipse
    assert ellipse.offset(240.0).offset(-40.0) == EllipseParallel(ellipse, 200.0)


def test_parallel_of_a_chain_keeps_centres_and_sweeps():
    outer = UNEVEN.offset(240.0)
    np.testing.assert_allclose(outer.centres_mm, UNEVEN.centres_mm, rtol=0, atol=1e-9)
    assert outer.sweeps_rad == UNEVEN.sweeps_rad
    assert outer.radii_mm == tuple(r + 240.0 for r in UNEVEN.radii_mm)


@given(shapes(), st.floats(-0.9, 3.0))
def test_curvature_of_the_parallel(shape, share):
    """One over the radius of curvature plus the distance, from nine tenths of it inwards."""
    curve = curve_of(shape)
    ends = curve.curvature([0.0, curve.length_mm / 2])
    distance = share / float(ends.max())
    parallel = curve.offset(distance)
    np.testing.assert_allclose(
        1 / parallel.curvature([0.0, parallel.length_mm / 2]), 1 / ends + distance, rtol=1e-9
    )


@pytest.mark.parametrize(
    ("curve", "limit"),
    [
        (curve_of(segmental(2400.0, 400.0)), 2000.0),
        (UNEVEN, 400.0),
        (CURVES["three-centred, intrados"], 500.0),
        (curve_of(elliptical(4000.0, 900.0)), 405.0),
        (curve_of(elliptical(4000.0, 900.0)).offset(45.0), 450.0),
        (curve_of(elliptical(1800.0, 2000.0)), 405.0),
    ],
)
def test_inwards_up_to_the_least_radius_and_no_farther(curve, limit):
    inside = curve.offset(-limit + 1e-6)
    assert inside.length_mm == pytest.approx(curve.length_mm - limit * curve.turning_rad, abs=1e-5)
    for beyond in (-limit, -limit - 1.0, -math.inf, math.nan):
        with pytest.raises(GeometryError):
            curve.offset(beyond)


def test_extrados_of_an_even_ring_is_a_chain_but_not_an_ellipse():
    assert isinstance(CURVES["three-centred, extrados"], ChainOfArcs)
    outer = CURVES["ellipse, extrados"]
    x, y = outer.point(np.linspace(0.0, outer.length_mm, 9)).T
    inside = (x / 2240.0) ** 2 + (y / 1140.0) ** 2
    np.testing.assert_allclose(inside[[0, 4, 8]], 1.0, rtol=1e-12)
    assert (inside[[1, 2, 3]] > 1.005).all()
