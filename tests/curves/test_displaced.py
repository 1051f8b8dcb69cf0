"""Curves led beside a base: through their offsets, smooth, measured, and level beyond the ends."""

import itertools
import math

import numpy as np
import pytest
from curves.cases import CURVES, DISPLACED, SHAPES
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import CubicSpline

from survey.curves import DisplacedCurve, curve_of, five_centred, semicircular

BASES = {name: curve_of(shape) for name, shape in SHAPES.items() if name != "very flat ellipse"}
BASES["parallel of an ellipse"] = CURVES["ellipse, extrados"]
BASES["parallel of a five-centred chain"] = CURVES["five-centred, extrados"]
STATIONS = (0.1, 0.25, 0.3, 0.5, 0.62, 0.7, 0.9)
OFFSETS = np.array([4.0, 1.0, -3.0, -5.0, 0.0, 2.0, 2.0])


@pytest.mark.parametrize("base", BASES.values(), ids=BASES.keys())
def test_runs_through_its_offsets(base):
    stations = base.length_mm * np.array(STATIONS)
    curve = DisplacedCurve(base, stations, OFFSETS)
    wanted = base.point(stations) + OFFSETS[:, None] * base.normal(stations)
    located = curve.locate(wanted)
    np.testing.assert_allclose(located.distance_mm, 0.0, rtol=0, atol=1e-10)
    np.testing.assert_allclose(curve.base_station(located.station_mm), stations, rtol=0, atol=1e-8)
    np.testing.assert_allclose(curve.point(located.station_mm), wanted, rtol=0, atol=1e-9)


@pytest.mark.parametrize("base", BASES.values(), ids=BASES.keys())
def test_no_offset_is_the_base_itself(base):
    curve = DisplacedCurve(base, (0.0, base.length_mm), (0.0, 0.0))
    s = np.linspace(0.0, base.length_mm, 60)
    assert curve.length_mm == pytest.approx(base.length_mm, abs=1e-9)
    np.testing.assert_allclose(curve.point(s), base.point(s), rtol=0, atol=1e-9)
    np.testing.assert_allclose(curve.curvature(s), base.curvature(s), rtol=1e-9)


@pytest.mark.parametrize("base", BASES.values(), ids=BASES.keys())
def test_even_offset_is_the_parallel(base):
    for curve in (
        DisplacedCurve(base, 0.4 * base.length_mm, 9.0),
        DisplacedCurve(base, (1.0, 2.0), (9.0, 9.0)),
    ):
        parallel = base.offset(9.0)
        s = np.linspace(parallel.first_station_mm, parallel.last_station_mm, 60)
        assert curve.length_mm == pytest.approx(parallel.length_mm, abs=1e-8)
        np.testing.assert_allclose(curve.point(np.clip(s, curve.first_station_mm, curve.last_station_mm)),
                                   parallel.point(s), rtol=0, atol=1e-7)  # fmt: skip
        np.testing.assert_allclose(curve.curvature(s[1:-1]), parallel.curvature(s[1:-1]), rtol=1e-8)


def test_offset_stays_what_it_is_beyond_the_ends():
    base = curve_of(SHAPES["ellipse"])
    curve = DisplacedCurve(base, (1000.0, 3000.0), (8.0, -2.0))
    for stations, offset in ((np.linspace(-500.0, 1000.0, 7), 8.0), (np.linspace(3000.0, 5000.0, 7), -2.0)):
        located = curve.locate(base.point(stations) + offset * base.normal(stations))
        np.testing.assert_allclose(located.distance_mm, 0.0, rtol=0, atol=1e-10)
        np.testing.assert_allclose(
            curve.normal(located.station_mm), base.normal(stations), rtol=0, atol=1e-11
        )


def test_two_offsets_are_joined_by_a_level_cubic():
    """On a straight enough base the path is 3 t^2 - 2 t^3 between its ends."""
    base = curve_of(semicircular(1000.0))
    curve = DisplacedCurve(base, (1000.0, 2000.0), (0.0, 10.0))
    t = np.linspace(0.0, 1.0, 21)
    stations = 1000.0 + 1000.0 * t
    offsets = 10.0 * (3 * t**2 - 2 * t**3)
    located = curve.locate(base.point(stations) + offsets[:, None] * base.normal(stations))
    np.testing.assert_allclose(located.distance_mm, 0.0, rtol=0, atol=1e-10)


@pytest.mark.parametrize("name", ["semicircular", "ellipse", "tilted ellipse"])
def test_length_against_adaptive_quadrature(name):
    """Arc length integrated by QUADPACK from the formula of the speed, with an independent spline."""
    base = curve_of(SHAPES[name])
    stations = base.length_mm * np.array(STATIONS)
    path = CubicSpline(stations, OFFSETS, bc_type="clamped")

    def speed(u):
        offset = path(np.clip(u, stations[0], stations[-1]))
        slope = path(u, 1) if stations[0] < u < stations[-1] else 0.0
        return math.hypot(1 + float(base.curvature(u)) * float(offset), float(slope))

    marks = [0.0, *stations, base.length_mm]
    wanted = sum(quad(speed, a, b, epsabs=1e-9, epsrel=1e-11)[0] for a, b in itertools.pairwise(marks))
    assert DisplacedCurve(base, stations, OFFSETS).length_mm == pytest.approx(wanted, abs=1e-7)


@given(st.lists(st.floats(-8.0, 8.0), min_size=2, max_size=12), st.integers(0, 2**32 - 1))
def test_tangent_is_continuous_over_every_junction(offsets, seed):
    """The junctions of the base's arcs lie anywhere among the offsets."""
    base = curve_of(five_centred(4000.0, 1300.0))
    rng = np.random.default_rng(seed)
    stations = np.linspace(50.0, base.length_mm - 50.0, len(offsets)) + rng.uniform(-40.0, 40.0, len(offsets))
    for parallel in (0.0, 120.0):
        curve = DisplacedCurve(base, stations, offsets, parallel)
        at = curve.breaks_mm
        assert len(at) == 6
        jump = curve.normal(at + 1e-9) - curve.normal(at - 1e-9)
        np.testing.assert_allclose(jump, 0.0, rtol=0, atol=1e-10)
        gap = curve.point(at + 1e-9) - curve.point(at - 1e-9)
        np.testing.assert_allclose(gap, 0.0, rtol=0, atol=1e-8)


def test_parallel_is_measured_along_its_own_normals():
    curve = DISPLACED["ellipse displaced, parallel 0"]
    outer = curve.offset(120.0)
    s = np.linspace(0.0, outer.length_mm, 80)
    np.testing.assert_allclose(curve.locate(outer.point(s)).distance_mm, 120.0, rtol=0, atol=1e-9)


def test_arrays_given_are_not_kept():
    base = curve_of(semicircular(1000.0))
    stations, offsets = np.array([1000.0, 2000.0]), np.array([0.0, 10.0])
    curve = DisplacedCurve(base, stations, offsets)
    before = curve.point(1500.0)
    stations += 300.0
    offsets *= 2.0
    np.testing.assert_array_equal(curve.point(1500.0), before)
    np.testing.assert_array_equal(curve.offset(0.0).point(1500.0), before)
    np.testing.assert_array_equal(curve.stations_mm, [1000.0, 2000.0])
    with pytest.raises(ValueError, match="read-only"):
        curve.offsets_mm[0] = 1.0
