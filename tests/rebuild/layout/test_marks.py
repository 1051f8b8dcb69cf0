"""Ordinates and course marks of the centring, by the closed forms of circle and ellipse."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rebuild.works_factory import ring_of

from survey.curves import DisplacedCurve, curve_of, elliptical, segmental, semicircular, three_centred_sixty
from survey.rebuild.layout.marks import (
    Profile,
    course_marks,
    crown_station_mm,
    heights_at,
    rib_marks,
    soffit_of,
    stations_at,
)


def profile_of(shape, inwards=25.0) -> Profile:
    soffit = curve_of(shape)
    return Profile(soffit, crown_station_mm(shape, soffit), soffit.offset(-inwards))


def ordinates(profile: Profile):
    return rib_marks(profile, ())


def test_ordinates_of_a_circle():
    """Soffit and rib share their centre, 1600 below the springing line; the rib's feet have theirs too."""
    marks = ordinates(profile_of(segmental(2400, 400)))
    x = np.array([m.x_mm for m in marks])
    feet = 1975 * 0.6  # half the span is 0.6 of the radius
    np.testing.assert_allclose(x, np.sort([*np.arange(-1200, 1201, 100), -feet, feet]), atol=1e-9)
    np.testing.assert_allclose([m.soffit_y_mm for m in marks], np.sqrt(2000**2 - x**2) - 1600, atol=1e-6)
    reached = np.abs(x) <= 1975 * math.sin(math.asin(0.6)) + 1e-9
    rib = np.array([m.rib_y_mm for m in marks])
    np.testing.assert_allclose(rib[reached], np.sqrt(1975**2 - x[reached] ** 2) - 1600, atol=1e-6)
    assert np.isnan(rib[~reached]).all()
    assert (~reached).sum() == 2
    assert {(m.what, m.ring, m.course, m.edge) for m in marks} == {("ordinate", 0, 0, "")}


@pytest.mark.parametrize(
    "shape", [semicircular(1000), elliptical(1400, 560), three_centred_sixty(3200, 1050), semicircular(300)]
)
def test_no_long_run_of_the_rib_is_without_an_ordinate(shape):
    """Even steps of span leave hundreds of millimetres of rib bare at its feet; steps along it do not."""
    profile = profile_of(shape)
    xy = np.array([(m.x_mm, m.rib_y_mm) for m in ordinates(profile) if math.isfinite(m.rib_y_mm)])
    stations = np.sort(profile.rib.locate(xy).station_mm)
    assert stations[[0, -1]] == pytest.approx([0.0, profile.rib.length_mm], abs=1e-3)
    assert np.diff(stations).max() <= 100.0 * math.sqrt(2.0) + 2.0


def test_steep_ordinates_of_a_semicircle_stand_every_fifty_along_it():
    """On a rib of radius 975 the foot's ordinates are R cos(s / R), R sin(s / R) at s = 0, 50, 100 ..."""
    marks = [m for m in ordinates(profile_of(semicircular(1000))) if math.isfinite(m.rib_y_mm)]
    steep = [m for m in marks if abs(m.x_mm / 100.0 - round(m.x_mm / 100.0)) > 1e-6]
    right = sorted(((m.x_mm, m.rib_y_mm) for m in steep if m.x_mm > 0), key=lambda xy: xy[1])
    s = np.arange(0.0, 975 * math.pi / 4, 50.0)
    on_arc = np.column_stack([975 * np.cos(s / 975), 975 * np.sin(s / 975)])
    clear = np.abs(on_arc[:, 0] / 100.0 - np.round(on_arc[:, 0] / 100.0)) > 0.02
    np.testing.assert_allclose(right, on_arc[clear], atol=1e-4)
    assert len(right) > 10


def test_heights_of_an_ellipse_and_beyond_its_reach():
    heights = heights_at(curve_of(elliptical(2000, 600)), [-1000.0, 0.0, 500.0, 900.0, 1000.0, 1000.1])
    expected = [600 * math.sqrt(max(0.0, 1 - (x / 1000) ** 2)) for x in (-1000, 0, 500, 900, 1000)]
    np.testing.assert_allclose(heights[:5], expected, atol=1e-5)
    assert np.isnan(heights[5])
    assert np.isnan(stations_at(curve_of(semicircular(1000)), [1500.0, -1500.0])).all()


def test_the_parallel_of_an_ellipse_lies_at_its_distance():
    """The rib's ordinates are not those of a smaller ellipse: each is 25 mm from the soffit, square to it."""
    profile = profile_of(elliptical(2000, 600))
    marks = [m for m in ordinates(profile) if math.isfinite(m.rib_y_mm)]
    xy = np.array([(m.x_mm, m.rib_y_mm) for m in marks])
    np.testing.assert_allclose(profile.soffit.locate(xy).distance_mm, -25.0, atol=1e-6)
    smaller = 575 * np.sqrt(1 - (xy[:, 0] / 975) ** 2)
    assert np.abs(xy[:, 1] - smaller).max() > 1.0


@settings(max_examples=40, deadline=None)
@given(
    tilt=st.floats(-0.1, 0.1),
    at=st.lists(st.floats(0.03, 0.97), min_size=1, max_size=8),
    shape=st.sampled_from([semicircular, elliptical, three_centred_sixty]),
)
def test_a_station_stands_over_its_x(tilt, at, shape):
    given_shape = shape(1000, tilt_rad=tilt) if shape is semicircular else shape(2000, 600, tilt_rad=tilt)
    curve = curve_of(given_shape)
    first, last = curve.point(np.linspace(0, curve.length_mm, 2000))[:, 0][[0, -1]]
    x = first + (last - first) * np.array(at)
    station = stations_at(curve, x)
    np.testing.assert_allclose(curve.point(station)[:, 0], x, atol=1e-6)
    assert np.all(curve.point(station)[:, 1] > -100)


def test_course_marks_run_both_ways_and_along_the_chord():
    shape = segmental(2400, 400)
    ring = ring_of(shape, np.full(43, 50.0))
    marks = course_marks(profile_of(shape), (ring,))
    length = curve_of(shape).length_mm
    edges = np.array([(b.station_start_mm, b.station_end_mm) for b in ring.bricks]).ravel()
    along = np.array([m.along_left_mm for m in marks])
    np.testing.assert_allclose(along, edges, atol=1e-7)
    np.testing.assert_allclose(along + [m.along_right_mm for m in marks], length, atol=1e-9)
    np.testing.assert_allclose(along - [m.along_crown_mm for m in marks], length / 2, atol=1e-7)
    np.testing.assert_allclose([m.chord_left_mm for m in marks], 4000 * np.sin(along / 4000), atol=1e-6)
    assert [(m.course, m.edge) for m in marks[:4]] == [(1, "left"), (1, "right"), (2, "left"), (2, "right")]


def test_marks_of_an_outer_ring_are_the_feet_of_its_normals():
    shape = semicircular(1000)
    rings = (ring_of(shape, np.full(39, 65.0), depth=215.0),
             ring_of(shape, np.full(50, 65.0), ring=2, depth=215.0, inner_mm=225.0))  # fmt: skip
    marks = [m for m in course_marks(profile_of(shape), rings) if m.ring == 2]
    for brick, mark in zip(rings[1].bricks, marks[::2], strict=True):
        x, y = brick.corners_mm[0]
        assert mark.along_left_mm == pytest.approx(1000 * (math.pi - math.atan2(y, x)), abs=1e-6)


def test_ordinates_come_before_the_courses():
    shape = segmental(2400, 400)
    ring = ring_of(shape, np.full(43, 50.0))
    marks = rib_marks(profile_of(shape), (ring,))
    assert [m.what for m in marks] == ["ordinate"] * 27 + ["mark"] * 86
    courses = course_marks(profile_of(shape), (ring,))
    for mark, alone in zip(marks[27:], courses, strict=True):
        assert (mark.ring, mark.course, mark.edge) == (alone.ring, alone.course, alone.edge)
        assert mark.along_left_mm == alone.along_left_mm
        assert mark.rib_y_mm == pytest.approx(alone.rib_y_mm, nan_ok=True)


def test_mirror_marks():
    shape = elliptical(2000, 600)
    ring = ring_of(shape, np.full(39, 52.0))
    marks = course_marks(profile_of(shape), (ring,))
    for mark, image in zip(marks, marks[::-1], strict=True):
        assert mark.along_left_mm == pytest.approx(image.along_right_mm, abs=1e-6)
        assert mark.rib_y_mm == pytest.approx(image.rib_y_mm, abs=1e-6, nan_ok=True)


def test_in_a_repair_the_soffit_is_the_one_that_stands():
    shape = segmental(2400, 400)
    drawn = curve_of(shape)
    standing = DisplacedCurve(drawn, (0.0, 900.0, drawn.length_mm), (0.0, 8.0, 0.0))
    ring = replace(ring_of(shape, np.full(43, 50.0)), inner=standing)
    assert soffit_of(shape, (ring,)) is standing
    assert soffit_of(shape, ()).length_mm == drawn.length_mm
    crown = standing.point(crown_station_mm(shape, standing))
    foot = drawn.locate(crown[None, :])
    assert foot.station_mm[0] == pytest.approx(drawn.length_mm / 2, abs=0.2)
    assert foot.distance_mm[0] > 5.0
    assert course_marks(Profile(standing, 0.0, drawn), (replace(ring, bricks=()),)) == ()
