"""Half profiles: distances against the curves' own and against search; derivatives against differences."""

from __future__ import annotations

import numpy as np
import pytest
from fitting.builds import EXAMPLES, FAMILY_EXAMPLES, on_profile, points_beside
from scipy.optimize import minimize_scalar

from survey.curves import curve_of
from survey.errors import FitError
from survey.fitting.families.builds import HalfParabola, profile_of, shape_of
from survey.fitting.families.profile import HalfEllipse
from survey.fitting.solving.engine import OutsideDomainError


@pytest.mark.parametrize("name", FAMILY_EXAMPLES)
def test_distances_and_stations_are_those_of_the_curve(name: str) -> None:
    build, numbers = EXAMPLES[name]
    curve = curve_of(shape_of(build, numbers))
    u, v = points_beside(name)
    located = curve.locate(np.column_stack([u, v]))
    profile = profile_of(build, numbers)
    assert profile.sight(u, v).distance == pytest.approx(located.distance_mm, abs=1e-8)
    station = 2 * profile.half_length_mm - profile.stations(u, v)
    assert station == pytest.approx(located.station_mm, abs=1e-6)
    assert 2 * profile.half_length_mm == pytest.approx(curve.length_mm, abs=1e-7)


@pytest.mark.parametrize("name", EXAMPLES)
def test_no_point_of_the_curve_is_nearer(name: str) -> None:
    build, numbers = EXAMPLES[name]
    profile = profile_of(build, numbers)
    u, v = points_beside(name, n=12)
    for x, y, distance in zip(u, v, profile.sight(u, v).distance, strict=True):

        def apart(share: float, x: float = x, y: float = y) -> float:
            p, q = on_profile(profile, np.array([share]))
            return float(np.hypot(p[0] - x, q[0] - y))

        found = min(
            minimize_scalar(apart, bounds=(k / 8, (k + 1) / 8), method="bounded").fun for k in range(8)
        )
        assert abs(distance) <= found + 1e-6


@pytest.mark.parametrize("name", EXAMPLES)
def test_slopes_are_the_distances_derivatives(name: str) -> None:
    build, numbers = EXAMPLES[name]
    u, v = points_beside(name)
    seen = profile_of(build, numbers).sight(u, v)
    for k, size in enumerate(numbers):
        step = np.zeros(len(numbers))
        step[k] = 1e-6 * max(size, 1.0)
        up, down = (profile_of(build, numbers + sign * step).sight(u, v).distance for sign in (1, -1))
        slope = (up - down) / (2 * step[k])
        assert seen.slopes[:, k] == pytest.approx(slope, abs=1e-6 * max(1.0, np.abs(slope).max()))


@pytest.mark.parametrize("name", EXAMPLES)
def test_end_and_length_slopes_are_derivatives(name: str) -> None:
    build, numbers = EXAMPLES[name]
    profile = profile_of(build, numbers)
    for k, size in enumerate(numbers):
        step = np.zeros(len(numbers))
        step[k] = 1e-5 * max(size, 1.0)
        up, down = profile_of(build, numbers + step), profile_of(build, numbers - step)
        by_length = (up.half_length_mm - down.half_length_mm) / (2 * step[k])
        by_angle = (up.end.angle_rad - down.end.angle_rad) / (2 * step[k])
        assert profile.half_length_slopes[k] == pytest.approx(by_length, rel=1e-6, abs=1e-7)
        assert profile.end.slopes[k] == pytest.approx(by_angle, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("name", [n for n in EXAMPLES if n != "parabolic"])
def test_places_by_angle_lie_on_the_curve_and_move_as_told(name: str) -> None:
    build, numbers = EXAMPLES[name]
    profile = profile_of(build, numbers)
    angle = profile.end.angle_rad + 0.4
    place = profile.at_angle(angle)
    seen = profile.sight(place.point_mm[:1], place.point_mm[1:])
    assert seen.distance[0] == pytest.approx(0.0, abs=1e-9)
    assert [seen.normal_u[0], seen.normal_v[0]] == pytest.approx([np.cos(angle), np.sin(angle)], abs=1e-9)
    for k, size in enumerate(numbers):
        step = np.zeros(len(numbers))
        step[k] = 1e-6 * max(size, 1.0)
        up, down = (profile_of(build, numbers + sign * step).at_angle(angle).point_mm for sign in (1, -1))
        assert place.slopes[:, k] == pytest.approx((up - down) / (2 * step[k]), rel=1e-5, abs=1e-6)


def test_a_circular_ellipse_is_a_semicircle() -> None:
    profile = HalfEllipse(1000.0, 1000.0)
    assert profile.half_length_mm == pytest.approx(500 * np.pi, rel=1e-14)
    assert profile.half_length_slopes == pytest.approx([np.pi / 4, np.pi / 4], rel=1e-6)


def test_a_parabola_has_no_hinges() -> None:
    with pytest.raises(FitError, match="only the families move"):
        HalfParabola(1000.0, 500.0).at_angle(1.0)


def test_the_middle_of_an_ellipse_has_no_foot() -> None:
    with pytest.raises(OutsideDomainError, match="very middle"):
        HalfEllipse(1000.0, 600.0).sight(np.array([0.0]), np.array([0.0]))
