"""Station and signed distance of points, against walking out and back and against a plain search."""

import math
from dataclasses import replace

import numpy as np
import pytest
from curves.cases import ALL, CURVES, SHAPES, UNEVEN, shapes
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from survey.curves import (
    ArchShape,
    ChainOfArcs,
    Curve,
    Ellipse,
    EllipseParallel,
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred,
)

everywhere = pytest.mark.parametrize("curve", ALL.values(), ids=ALL.keys())


def searched(curve: Curve, point: np.ndarray) -> float:
    """Least distance to a perpendicular foot on the curve and its continuation, by sampling and Brent's
    search.

    Where the distance falls towards both ends of the continuation, the distance from the nearer end.
    """
    s = np.linspace(curve.first_station_mm, curve.last_station_mm, 2001)
    away = np.hypot(*(curve.point(s) - point).T)
    dips = np.flatnonzero((away[1:-1] <= away[:-2]) & (away[1:-1] <= away[2:])) + 1
    if not len(dips):
        return min(away[0], away[-1])
    return min(
        minimize_scalar(
            lambda x: float(np.hypot(*(curve.point(x) - point))),
            bounds=(s[j - 1], s[j + 1]),
            method="bounded",
            options={"xatol": 1e-7},
        ).fun
        for j in dips
    )


@everywhere
def test_out_and_back(curve):
    """A point stood off by less than the least radius is found again where it was stood, to 1e-9 mm."""
    rng = np.random.default_rng(7)
    reach = curve.last_station_mm - curve.first_station_mm
    s = rng.uniform(curve.first_station_mm + 0.01 * reach, curve.last_station_mm - 0.01 * reach, 300)
    curvature = curve.curvature(np.linspace(curve.first_station_mm, curve.last_station_mm, 400))
    inwards = 0.3 / max(curvature.max(), 1e-9)
    outwards = 0.3 / max(-curvature.min(), 1e-3)
    d = rng.uniform(-min(inwards, 300.0), outwards, 300)
    located = curve.locate(curve.point(s) + d[:, None] * curve.normal(s))
    np.testing.assert_allclose(located.distance_mm, d, rtol=0, atol=1e-9)
    np.testing.assert_allclose(located.station_mm, s, rtol=0, atol=1e-9 * max(1.0, reach / 1000))


@everywhere
def test_foot_is_perpendicular(curve):
    """Anywhere near or far: point = foot + distance times normal, unless the continuation ends before."""
    rng = np.random.default_rng(11)
    size = curve.length_mm
    xy = curve.point(size / 2) + rng.uniform(-2 * size, 2 * size, (400, 2))
    located = curve.locate(xy)
    foot, normal = curve.point(located.station_mm), curve.normal(located.station_mm)
    gap = np.hypot(*(foot + located.distance_mm[:, None] * normal - xy).T)
    span = curve.last_station_mm - curve.first_station_mm
    ended = (
        np.minimum(located.station_mm - curve.first_station_mm, curve.last_station_mm - located.station_mm)
        < 1e-9 * span
    )
    assert gap[~ended].max() < 1e-9 * size / 1000 + 1e-9
    away = np.hypot(*(xy - foot).T)
    np.testing.assert_allclose(np.abs(located.distance_mm), away, rtol=1e-12, atol=1e-9)


@everywhere
def test_no_other_foot_is_nearer(curve):
    rng = np.random.default_rng(5)
    size = curve.length_mm
    spread = np.array([0.7 * size, 0.5 * size])
    xy = curve.point(size / 2) - [0.0, 0.1 * size] + rng.uniform(-1.0, 1.0, (25, 2)) * spread
    found = np.abs(curve.locate(xy).distance_mm)
    wanted = [searched(curve, point) for point in xy]
    np.testing.assert_allclose(found, wanted, rtol=1e-7, atol=1e-6)


@everywhere
def test_sign_is_the_side(curve):
    s = np.linspace(0.0, curve.length_mm, 31)
    assert (curve.locate(curve.point(s) + curve.normal(s)).distance_mm > 0.999).all()
    assert (curve.locate(curve.point(s) - curve.normal(s)).distance_mm < -0.999).all()


@everywhere
def test_ten_kilometres_off(curve):
    angle = np.linspace(0.0, 2 * math.pi, 20)
    far = 1e7 * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    located = curve.locate(far)
    assert np.isfinite(located.station_mm).all()
    assert (located.station_mm >= curve.first_station_mm - 1e-9).all()
    assert (located.station_mm <= curve.last_station_mm + 1e-9).all()
    wanted = [searched(curve, point) for point in far]
    np.testing.assert_allclose(np.abs(located.distance_mm), wanted, rtol=1e-12, atol=1e-4)


@everywhere
def test_springings_and_crown_are_found_exactly(curve):
    s = np.array([0.0, curve.length_mm / 2, curve.length_mm])
    located = curve.locate(curve.point(s))
    np.testing.assert_allclose(located.station_mm, s, rtol=0, atol=1e-9)
    np.testing.assert_allclose(located.distance_mm, 0.0, rtol=0, atol=1e-10)


@everywhere
def test_junctions_belong_to_no_gap(curve):
    """Rays through the junctions, where the sectors of two arcs meet: found there on either side."""
    for station in curve.breaks_mm:
        d = np.array([-40.0, -1e-9, 0.0, 1e-9, 300.0])
        located = curve.locate(curve.point(station) + d[:, None] * curve.normal(station))
        np.testing.assert_allclose(located.station_mm, station, rtol=0, atol=1e-8)
        np.testing.assert_allclose(located.distance_mm, d, rtol=0, atol=1e-10)


@given(shapes(), st.floats(-0.4, 1.4), st.floats(-0.25, 2.0))
def test_out_and_back_on_any_shape(shape, share, off):
    """Stood off by up to a quarter of the least radius inwards, twice the rise outwards."""
    curve = curve_of(shape)
    least = 1.0 / float(curve.curvature([0.0, curve.length_mm / 2]).max())
    s = share * curve.length_mm if share * curve.length_mm > curve.first_station_mm else 0.0
    s = min(s, curve.last_station_mm)
    d = off * least if off < 0.0 else off * shape.rise_mm
    located = curve.locate(curve.point(s) + d * curve.normal(s))
    scale = shape.span_mm + abs(shape.axis_x_mm) + abs(shape.springing_y_mm)
    assert float(located.distance_mm) == pytest.approx(d, abs=1e-12 * scale)
    assert float(located.station_mm) == pytest.approx(s, abs=4e-12 * scale)


def scaled(shape: ArchShape, factor: float) -> ArchShape:
    return replace(
        shape,
        half_span_mm=factor * shape.half_span_mm,
        rise_mm=factor * shape.rise_mm,
        radii_mm=tuple(factor * r for r in shape.radii_mm),
        axis_x_mm=factor * shape.axis_x_mm,
        springing_y_mm=factor * shape.springing_y_mm,
    )


@given(shapes(), st.floats(-0.6, 0.6), st.floats(0.05, 20.0), st.integers(0, 2**32 - 1))
def test_turn_shift_and_scale_change_nothing(shape, turn, factor, seed):
    still = replace(shape, axis_x_mm=0.0, springing_y_mm=0.0, tilt_rad=0.0)
    s, h = shape.half_span_mm, shape.rise_mm
    xy = np.random.default_rng(seed).uniform([-1.6 * s, 0.0], [1.6 * s, 2.0 * h], (40, 2))
    cos, sin = math.cos(turn), math.sin(turn)
    moved_xy = xy @ np.array([[cos, sin], [-sin, cos]]) + [shape.axis_x_mm, shape.springing_y_mm]
    moved = curve_of(replace(shape, tilt_rad=turn)).locate(moved_xy)
    plain = curve_of(still).locate(xy)
    larger = curve_of(scaled(still, factor)).locate(factor * xy)
    tolerance = 1e-9 * s + 1e-12 * (abs(shape.axis_x_mm) + abs(shape.springing_y_mm))
    np.testing.assert_allclose(moved.distance_mm, plain.distance_mm, rtol=0, atol=tolerance)
    np.testing.assert_allclose(
        larger.distance_mm, factor * plain.distance_mm, rtol=0, atol=factor * tolerance
    )
    # A station is as loose as the point is near the centre of curvature of its foot, and there alone.
    feet = curve_of(still)
    play = 1.0 + feet.curvature(plain.station_mm) * plain.distance_mm
    firm = play > 1e-3
    np.testing.assert_allclose(moved.station_mm[firm], plain.station_mm[firm], rtol=0, atol=tolerance / 1e-3)


@given(shapes(), st.integers(0, 2**32 - 1))
def test_mirrored_points_mirror(shape, seed):
    curve = curve_of(replace(shape, axis_x_mm=0.0, springing_y_mm=0.0, tilt_rad=0.0))
    s, h = shape.half_span_mm, shape.rise_mm
    xy = np.random.default_rng(seed).uniform([0.01 * s, -0.5 * h], [1.6 * s, 2.0 * h], (40, 2))
    right, left = curve.locate(xy), curve.locate(xy * [-1.0, 1.0])
    np.testing.assert_allclose(left.distance_mm, right.distance_mm, rtol=0, atol=1e-10 * s)
    firm = 1.0 + curve.curvature(right.station_mm) * right.distance_mm > 1e-3
    np.testing.assert_allclose(
        left.station_mm[firm], curve.length_mm - right.station_mm[firm], rtol=0, atol=1e-8 * s
    )


def test_centre_of_an_arc_is_given_its_middle():
    for name in ("semicircular", "segmental", "three-centred"):
        chain = curve_of(SHAPES[name])
        assert isinstance(chain, ChainOfArcs)
        middle = len(chain.radii_mm) // 2
        located = chain.locate(chain.centres_mm[middle])
        assert float(located.station_mm) == pytest.approx(chain.length_mm / 2, abs=1e-9)
        assert float(located.distance_mm) == pytest.approx(-chain.radii_mm[middle], abs=1e-9)


def test_centre_of_a_haunch_arc():
    """All of the haunch arc is equally near its own centre: any station on it will do."""
    chain = curve_of(SHAPES["five-centred"])
    for arc, (centre, radius) in enumerate(zip(chain.centres_mm, chain.radii_mm, strict=True)):
        located = chain.locate(centre)
        assert float(located.distance_mm) == pytest.approx(-radius, abs=1e-9), arc


def test_axis_of_the_ellipse_within_its_evolute():
    """On the longer axis within the evolute two feet tie; the upper, or for a tall ellipse the left one is
    given.

    Closed form: the foot of (x, 0) is at (a^2 x / (a^2 - b^2), y) for |x| < (a^2 - b^2) / a.
    """
    a, b = 2000.0, 900.0
    flat = Ellipse((0.0, 0.0), a, b)
    edge = (a * a - b * b) / a
    x = np.array([-0.999, -0.5, 0.0, 0.3, 0.999]) * edge
    located = flat.locate(np.stack([x, 0 * x], axis=-1))
    foot_x = a * a * x / (a * a - b * b)
    foot_y = b * np.sqrt(1 - (foot_x / a) ** 2)
    np.testing.assert_allclose(flat.point(located.station_mm), np.stack([foot_x, foot_y], axis=-1), atol=1e-9)
    np.testing.assert_allclose(located.distance_mm, -np.hypot(foot_x - x, foot_y), rtol=1e-13)
    tall = Ellipse((0.0, 0.0), b, a)
    y = np.array([0.0, 0.3, 0.999]) * edge
    located = tall.locate(np.stack([0 * y, y], axis=-1))
    foot_y = a * a * y / (a * a - b * b)
    foot_x = -b * np.sqrt(1 - (foot_y / a) ** 2)
    np.testing.assert_allclose(tall.point(located.station_mm), np.stack([foot_x, foot_y], axis=-1), atol=1e-9)
    np.testing.assert_allclose(located.distance_mm, -np.hypot(foot_x, foot_y - y), rtol=1e-13)


def test_axis_of_the_ellipse_beyond_its_evolute():
    """Outside the evolute the foot of a point on the springing line is the springing."""
    a, b = 2000.0, 900.0
    edge = (a * a - b * b) / a
    x = np.array([edge, edge * (1 + 1e-15), edge + 1.0, a, 3 * a])
    located = Ellipse((0.0, 0.0), a, b).locate(np.stack([x, 0 * x], axis=-1))
    np.testing.assert_allclose(located.distance_mm, x - a, rtol=0, atol=1e-10)
    # at the centre of curvature itself 1e-16 of the foot's cosine is 1e-8 of its angle
    np.testing.assert_allclose(located.station_mm, Ellipse((0.0, 0.0), a, b).length_mm, rtol=0, atol=1e-4)


@pytest.mark.parametrize("ratio", [0.02, 0.45, 0.999999, 1.0, 1.000001, 2.5])
def test_a_hair_off_the_axis(ratio):
    """Points from 1e-300 to 1e-3 mm off either axis, inside and outside the evolute."""
    ellipse = Ellipse((0.0, 0.0), 1000.0, 1000.0 * ratio)
    hair = 10.0 ** np.arange(-300, -2, 7.0)
    along = np.linspace(0.0, 1500.0, 61)
    x, y = (grid.ravel() for grid in np.meshgrid(along, hair))
    for xy in (np.stack([x, y], axis=-1), np.stack([y, x], axis=-1), np.stack([-x, y], axis=-1)):
        located = ellipse.locate(xy)
        back = ellipse.point(located.station_mm) + located.distance_mm[:, None] * ellipse.normal(
            located.station_mm
        )
        np.testing.assert_allclose(back, xy, rtol=0, atol=2e-9)
        lengthwise = np.abs(located.distance_mm)
        np.testing.assert_allclose(
            lengthwise, np.hypot(*(ellipse.point(located.station_mm) - xy).T), rtol=0, atol=2e-9
        )


def test_below_the_springings():
    """The end arcs go on: a point plumb below a springing lies out by what the curve has drawn in."""
    circle = curve_of(semicircular(1000.0))
    located = circle.locate([[-1000.0, -100.0], [1000.0, -100.0]])
    out = math.hypot(1000.0, 100.0) - 1000.0
    np.testing.assert_allclose(located.distance_mm, out, rtol=1e-12)
    beyond = 1000.0 * math.atan(0.1)
    np.testing.assert_allclose(located.station_mm, [-beyond, circle.length_mm + beyond], rtol=1e-12)
    for shape in (elliptical(4000.0, 900.0), three_centred(4000.0, 900.0, 500.0)):
        curve = curve_of(shape)
        located = curve.locate([[-2000.0, -50.0], [2000.0, -50.0]])
        assert located.station_mm[0] == pytest.approx(-50.0, abs=3.0)
        assert located.station_mm[1] == pytest.approx(curve.length_mm + 50.0, abs=3.0)
        assert (located.distance_mm > 0.0).all()


def test_where_no_perpendicular_reaches():
    """Straight below a flat basket handle, under the crown's centre: the nearer end, outwards."""
    chain = curve_of(three_centred(4000.0, 900.0, 500.0))
    assert isinstance(chain, ChainOfArcs)
    below = np.array([[-300.0, -9000.0], [300.0, -9000.0]])
    located = chain.locate(below)
    ends = chain.point([chain.first_station_mm, chain.last_station_mm])
    np.testing.assert_allclose(
        located.station_mm, [chain.first_station_mm, chain.last_station_mm], rtol=1e-14
    )
    np.testing.assert_allclose(located.distance_mm, np.hypot(*(below - ends).T), rtol=1e-14)
    np.testing.assert_allclose(ends, [[-1500.0, -500.0], [1500.0, -500.0]], rtol=0, atol=1e-9)


def test_ends_of_an_uneven_chain():
    """Where no perpendicular reaches, the plain distance from the nearer end, signed by its side."""
    angle = np.linspace(0.0, 2 * math.pi, 721)
    ends = UNEVEN.point([UNEVEN.first_station_mm, UNEVEN.last_station_mm])
    normals = UNEVEN.normal([UNEVEN.first_station_mm, UNEVEN.last_station_mm])
    ring = 3000.0 * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    located = UNEVEN.locate(ring)
    at_end = np.isclose(located.station_mm, UNEVEN.first_station_mm) | np.isclose(
        located.station_mm, UNEVEN.last_station_mm
    )
    assert at_end.any()
    for xy, station, distance in zip(
        ring[at_end], located.station_mm[at_end], located.distance_mm[at_end], strict=True
    ):
        which = 0 if station < 0.0 else 1
        away = xy - ends[which]
        assert abs(distance) == pytest.approx(math.hypot(*away), rel=1e-12)
        assert (distance < 0.0) == (float(away @ normals[which]) < 0.0)


@everywhere
def test_shapes_of_input_are_kept(curve):
    near = curve.point(curve.length_mm * 0.4) + 3.0
    single, row, grid = curve.locate(near), curve.locate([near, near]), curve.locate([[near], [near]])
    none = curve.locate(np.empty((0, 2)))
    assert single.station_mm.shape == single.distance_mm.shape == ()
    assert row.station_mm.shape == (2,)
    assert grid.distance_mm.shape == (2, 1)
    assert none.station_mm.shape == none.distance_mm.shape == (0,)
    assert float(single.station_mm) == row.station_mm[1] == grid.station_mm[1, 0]


@pytest.mark.parametrize("name", ["ellipse, extrados", "five-centred, intrados"])
def test_input_is_not_changed(name):
    xy = np.random.default_rng(0).uniform(-3000.0, 3000.0, (50, 2))
    before = xy.copy()
    CURVES[name].locate(xy)
    np.testing.assert_array_equal(xy, before)


def test_many_points_are_one_by_one():
    """More points than one block holds, cut anywhere, are located as they are alone."""
    parallel = EllipseParallel(Ellipse((10.0, 20.0), 2000.0, 900.0, 0.02), 240.0)
    xy = np.random.default_rng(2).uniform(-4000.0, 4000.0, (40000, 2))
    together = parallel.locate(xy)
    for k in (0, 16383, 16384, 39999):
        alone = parallel.locate(xy[k])
        assert float(alone.station_mm) == pytest.approx(together.station_mm[k], abs=1e-9)
        assert float(alone.distance_mm) == pytest.approx(together.distance_mm[k], abs=1e-9)


def test_large_grid_coordinates_lose_nothing_but_their_own_rounding():
    """A site grid half a million metres off has steps of 6e-8 mm; nothing worse may come of it."""
    east, north = 4.5e8, 2.1e8
    for shape in (segmental(2400.0, 400.0), elliptical(4000.0, 900.0), five_centred(4000.0, 1300.0)):
        near = curve_of(shape)
        far = curve_of(replace(shape, axis_x_mm=east, springing_y_mm=north))
        s = np.linspace(0.0, near.length_mm, 30)
        xy = near.point(s) + 25.0 * near.normal(s)
        located = far.locate(xy + np.array([east, north]))
        np.testing.assert_allclose(located.distance_mm, 25.0, rtol=0, atol=2e-7)
        np.testing.assert_allclose(located.station_mm, s, rtol=0, atol=2e-7)
