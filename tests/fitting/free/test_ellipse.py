"""Free ellipse fits against other libraries, under changes of frame, and where no ellipse fits."""

import dataclasses

import numpy as np
import pytest
from fitting.free.arcs import noisy_arc, null_space_ellipse
from fitting.free.references import (
    implicit_odr,
    least_squares_with_feet,
    nearest_distances,
    robust_ellipse_cost,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.errors import FitError
from survey.fitting.free import ellipse
from survey.fitting.free.ellipse import fit_ellipse_orthogonal
from survey.fitting.free.ellipse_conic import NO_FINITE_ELLIPSE, conic_derivatives
from survey.fitting.free.quality import OPEN_PARAMETERS
from survey.fitting.solving.robust import Loss

TRUTH = np.array([0.0, 0.0, 2000.0, 900.0, 0.0])


@pytest.mark.parametrize("arc_deg", [360.0, 180.0, 120.0, 100.0])
@pytest.mark.parametrize("seed", range(3))
def test_meets_least_squares_with_the_feet_as_unknowns(arc_deg, seed):
    points = noisy_arc(40, arc_deg, seed)
    fit = fit_ellipse_orthogonal(points)
    other = least_squares_with_feet(points, TRUTH)
    np.testing.assert_allclose(fit.parameters, other[:5], rtol=0.0, atol=1e-3)
    assert fit.ss_mm2 == pytest.approx(other[5], rel=1e-10)


@pytest.mark.parametrize("seed", range(5))
def test_meets_orthogonal_distance_regression(seed):
    """The penalty method of the other side stops a little off the least sum of squares, never below it."""
    points = noisy_arc(60, 180.0, seed)
    fit = fit_ellipse_orthogonal(points)
    other = implicit_odr(points, TRUTH)
    assert np.abs((fit.parameters - other) / fit.sigmas).max() < 0.1
    least = np.sum(nearest_distances(points, *fit.parameters) ** 2)
    assert fit.ss_mm2 == pytest.approx(least, rel=1e-11)
    assert least <= np.sum(nearest_distances(points, *other) ** 2) <= least * (1.0 + 1e-3)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), turn_rad=st.floats(-3.0, 3.0), arc_deg=st.floats(110.0, 360.0))
def test_turning_and_mirroring_commute_with_fitting(seed, turn_rad, arc_deg):
    points = noisy_arc(60, arc_deg, seed)
    fit = fit_ellipse_orthogonal(points)
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    turn = np.array([[c, -s], [s, c]])
    turned = fit_ellipse_orthogonal(points @ turn.T)
    np.testing.assert_allclose(turned.centre_mm, turn @ fit.centre_mm, rtol=0.0, atol=1e-5)
    np.testing.assert_allclose(turned.parameters[2:4], fit.parameters[2:4], rtol=1e-8)
    assert np.sin(turned.angle_rad - fit.angle_rad - turn_rad) == pytest.approx(0.0, abs=1e-8)
    assert turned.ss_mm2 == pytest.approx(fit.ss_mm2, rel=1e-10)
    corner = np.eye(5)
    corner[:2, :2] = turn
    np.testing.assert_allclose(
        np.diag(turned.covariance), np.diag(corner @ fit.covariance @ corner.T), rtol=1e-5
    )
    mirrored = fit_ellipse_orthogonal(points * [-1.0, 1.0])
    np.testing.assert_allclose(
        mirrored.parameters[:4], fit.parameters[:4] * [-1, 1, 1, 1], rtol=1e-8, atol=1e-5
    )
    assert np.sin(mirrored.angle_rad + fit.angle_rad) == pytest.approx(0.0, abs=1e-8)


def assert_scaled(points: np.ndarray, factor: float) -> None:
    """All lengths times the factor, to 1e-9 of the ellipse's size; angles and the search as they were."""
    fit, scaled = fit_ellipse_orthogonal(points), fit_ellipse_orthogonal(factor * points)
    np.testing.assert_allclose(
        scaled.parameters[:4] / factor, fit.parameters[:4], rtol=1e-9, atol=1e-9 * fit.semi_major_mm
    )
    assert scaled.angle_rad == pytest.approx(fit.angle_rad, abs=1e-9)
    assert scaled.rms_mm == pytest.approx(factor * fit.rms_mm, rel=1e-9)
    np.testing.assert_allclose(scaled.sigmas / fit.sigmas, [factor] * 4 + [1.0], rtol=1e-7)


@pytest.mark.parametrize("factor", [1e-6, 25.4, 1e5])
def test_a_change_of_unit_commutes_with_fitting(factor):
    assert_scaled(noisy_arc(60, 150.0, 7), factor)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), exponent=st.floats(-3.0, 3.0), arc_deg=st.floats(110.0, 360.0))
def test_scaling_commutes_with_fitting(seed, exponent, arc_deg):
    assert_scaled(noisy_arc(60, arc_deg, seed), 10.0**exponent)


@pytest.mark.parametrize("arc_deg", [360.0, 180.0, 120.0, 90.0])
@pytest.mark.parametrize("seed", range(5))
def test_a_map_grid_changes_nothing(arc_deg, seed):
    """Coordinates of 4.5e8 mm are themselves rounded to 6e-8 mm."""
    shift = np.array([4.5e8, 2.1e8])
    points = noisy_arc(100, arc_deg, seed)
    fit, shifted = fit_ellipse_orthogonal(points), fit_ellipse_orthogonal(points + shift)
    np.testing.assert_allclose(shifted.centre_mm - shift, fit.centre_mm, rtol=0.0, atol=1e-4)
    np.testing.assert_allclose(shifted.parameters[2:4], fit.parameters[2:4], rtol=0.0, atol=1e-4)
    assert shifted.angle_rad == pytest.approx(fit.angle_rad, abs=1e-4 / 2000.0)
    assert shifted.rms_mm == pytest.approx(fit.rms_mm, abs=1e-7)
    np.testing.assert_allclose(shifted.sigmas[:4], fit.sigmas[:4], atol=1e-4)


@pytest.mark.parametrize("times", [12, 13, 170, 171, 834])
def test_many_points_meet_the_optimum_of_few(times):
    """Points of known optimum, repeated: it stays, whatever the blocks and samples (288 to 20016 points)."""
    fit = fit_ellipse_orthogonal(np.tile(null_space_ellipse(24, 180.0), (times, 1)))
    assert fit.converged
    np.testing.assert_allclose(fit.parameters[:4], TRUTH[:4], rtol=0.0, atol=1e-5)
    assert fit.ss_mm2 == pytest.approx(16.0 * 24 * times, rel=1e-11)


def test_a_sorted_survey_of_many_points_converges_to_the_proven_optimum():
    points = noisy_arc(50_000, 180.0, 1)
    fit = fit_ellipse_orthogonal(points)
    shuffled = fit_ellipse_orthogonal(points[np.random.default_rng(0).permutation(50_000)])
    assert fit.quality.gradient_measure <= 1e-7
    np.testing.assert_allclose(fit.parameters, shuffled.parameters, rtol=0.0, atol=1e-5)
    assert fit.ss_mm2 == pytest.approx(shuffled.ss_mm2, rel=1e-13)
    assert np.sum(fit.distances(points) ** 2) == pytest.approx(fit.ss_mm2, rel=1e-11)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    ratio=st.floats(0.02, 1.0),
    reach=st.floats(0.01, 5.0),
    angle=st.floats(-1.5, 1.5),
)
def test_distances_are_those_of_the_nearest_foot(seed, ratio, reach, angle):
    """Points anywhere: deep inside, on the axes, far outside."""
    fit = dataclasses.replace(
        fit_ellipse_orthogonal(null_space_ellipse(24, 180.0)),
        centre_mm=(3.0, -4.0),
        semi_major_mm=1.0,
        semi_minor_mm=ratio,
        angle_rad=angle,
    )
    points = np.random.default_rng(seed).normal([3.0, -4.0], reach, (40, 2))
    expected = nearest_distances(points, 3.0, -4.0, 1.0, ratio, angle)
    np.testing.assert_allclose(fit.distances(points), expected, rtol=1e-9, atol=1e-9)


def test_distances_on_the_axes_and_at_the_centre():
    fit = dataclasses.replace(
        fit_ellipse_orthogonal(null_space_ellipse(24, 180.0)),
        centre_mm=(0.0, 0.0),
        semi_major_mm=2.0,
        semi_minor_mm=1.0,
        angle_rad=0.0,
    )
    points = np.array([[0, 0], [2, 0], [3, 0], [0, 1], [0, -3], [1.5, 0], [1.8, 0], [1, 0]])
    # inside the evolute (|x| < 1.5) the foot is off the long axis: x_f = 4 x / 3 and d^2 = 1 - x^2 / 3
    expected = [-1.0, 0.0, 1.0, 0.0, 2.0, -0.5, -0.2, -np.sqrt(1.0 - 1.0 / 3.0)]
    np.testing.assert_allclose(fit.distances(points), expected, atol=1e-15)
    circle = dataclasses.replace(fit, semi_minor_mm=2.0)
    np.testing.assert_allclose(circle.distances([[0.0, 0.0], [3.0, 4.0]]), [-2.0, 3.0], atol=1e-15)


def test_points_inside_and_far_off_do_not_upset_the_search():
    """Feet that the quick iteration loses are solved safely: the optimum still meets the slow formulation."""
    points = np.concatenate([noisy_arc(40, 360.0, 3), [[0.0, 0.0], [100.0, 0.0], [1300.0, 0.0], [1.0, -3.0]]])
    fit = fit_ellipse_orthogonal(points)
    assert fit.converged
    assert np.sum(nearest_distances(points, *fit.parameters) ** 2) == pytest.approx(fit.ss_mm2, rel=1e-9)
    other = least_squares_with_feet(points, fit.parameters)
    assert fit.ss_mm2 <= other[5] * (1 + 1e-9)


@pytest.mark.parametrize(
    ("n", "arc_deg", "b_mm"), [(1165, 180.0, 60.0), (2516, 75.0, 300.0), (6520, 60.0, 300.0)]
)
def test_many_points_round_a_sharp_end_or_on_a_short_arc_need_few_passes(n, arc_deg, b_mm):
    """Noise beyond the least radius of curvature, 2 mm, asks most of the feet: a cost that was not exact to
    1e-13 would stop the search."""
    for seed in range(8):
        fit = fit_ellipse_orthogonal(noisy_arc(n, arc_deg, seed, b_mm=b_mm))
        assert fit.converged
        assert fit.quality.n_evaluations <= 20


def test_one_half_of_an_arch_tells_how_little_it_knows():
    """From a springing to the crown only: truth within stated errors, four times the full arch's and more."""
    angle = np.linspace(0.0, np.pi / 2, 60)
    clean = np.stack([2000.0 * np.cos(angle), 900.0 * np.sin(angle)], axis=1)
    fits = [
        fit_ellipse_orthogonal(clean + np.random.default_rng(seed).normal(0.0, 2.0, (60, 2)))
        for seed in range(40)
    ]
    off = np.array([(fit.parameters - TRUTH) / fit.sigmas for fit in fits])
    assert 0.75 < np.sqrt(np.mean(off**2)) < 1.3
    whole = fit_ellipse_orthogonal(noisy_arc(60, 180.0, 1, sigma_mm=2.0))
    assert fits[0].sigmas[2] > 4.0 * whole.sigmas[2]


class TestWeights:
    def test_weights_repeat_points(self):
        points = noisy_arc(30, 180.0, 2)
        times = np.arange(30) % 3 + 1
        fit = fit_ellipse_orthogonal(points, weights=times)
        repeated = fit_ellipse_orthogonal(np.repeat(points, times, axis=0))
        np.testing.assert_allclose(fit.parameters, repeated.parameters, rtol=0.0, atol=1e-7)
        assert fit.quality.cost == pytest.approx(repeated.ss_mm2, rel=1e-12)
        assert fit.ss_mm2 == pytest.approx(np.sum(fit.distances(points) ** 2), rel=1e-10)

    def test_weight_zero_leaves_points_out(self):
        points = noisy_arc(30, 180.0, 2)
        weights = np.ones(30)
        weights[[3, 17]] = 0.0
        fit = fit_ellipse_orthogonal(points, weights=weights)
        without = fit_ellipse_orthogonal(points[weights > 0.0])
        np.testing.assert_allclose(fit.parameters, without.parameters, rtol=0.0, atol=1e-7)
        np.testing.assert_allclose(fit.covariance, without.covariance, rtol=1e-6, atol=1e-12)
        assert fit.quality.n_used == 28
        assert fit.rms_mm == pytest.approx(without.rms_mm, rel=1e-10)

    def test_sigma_for_each_point_and_for_all(self):
        points = noisy_arc(30, 180.0, 2)
        plain = fit_ellipse_orthogonal(points)
        for sigma in (4.0, np.full(30, 4.0)):
            fit = fit_ellipse_orthogonal(points, sigma_mm=sigma)
            np.testing.assert_allclose(fit.parameters, plain.parameters, rtol=0.0, atol=1e-7)
            np.testing.assert_allclose(
                fit.covariance, plain.covariance * (16.0 * 25.0 / plain.ss_mm2), rtol=1e-6, atol=1e-12
            )
        assert fit.quality.cost == pytest.approx(plain.ss_mm2 / 16.0, rel=1e-12)

    def test_five_points_are_met_and_leave_no_spread(self):
        points = null_space_ellipse(24, 180.0)[[0, 5, 11, 17, 23]]
        fit = fit_ellipse_orthogonal(points)
        assert fit.converged
        assert fit.rms_mm < 1e-9
        assert np.isnan(fit.covariance).all()
        assert np.isfinite(fit_ellipse_orthogonal(points, sigma_mm=1.0).covariance).all()


class TestRobust:
    def slipped(self):
        points = noisy_arc(60, 180.0, 5, sigma_mm=2.0)
        points[[10, 30]] += [[0.0, 1000.0], [-90.0, 60.0]]
        return points

    def test_huber_meets_another_library_at_a_fixed_scale(self):
        points = self.slipped()
        fit = fit_ellipse_orthogonal(points, sigma_mm=2.0, loss=Loss.HUBER)
        other = robust_ellipse_cost(
            points, fit.parameters + np.array([1.0, -2.0, 3.0, 1.0, 1e-4]), 1.345 * 2.0
        )
        np.testing.assert_allclose(fit.parameters, other, rtol=0.0, atol=1e-4)

    @pytest.mark.parametrize("loss", [Loss.HUBER, Loss.TUKEY])
    def test_a_metre_slip_does_not_move_the_curve(self, loss):
        points = self.slipped()
        fit = fit_ellipse_orthogonal(points, loss=loss)
        good = fit_ellipse_orthogonal(np.delete(points, [10, 30], axis=0))
        assert fit.converged
        assert np.abs((fit.parameters - good.parameters) / good.sigmas).max() < 1.0
        assert fit.quality.weights[[10, 30]].max() < 0.05
        plain = fit_ellipse_orthogonal(points)
        assert np.abs((plain.parameters - good.parameters) / good.sigmas).max() > 20.0

    def test_tukey_gives_gross_errors_no_weight_and_plain_points_nearly_all(self):
        fit = fit_ellipse_orthogonal(self.slipped(), loss=Loss.TUKEY)
        assert (fit.quality.weights[[10, 30]] == 0.0).all()
        assert np.median(fit.quality.weights) > 0.9


class TestNoEllipse:
    def expect(self, points):
        fit = fit_ellipse_orthogonal(points)
        assert not fit.converged
        assert fit.because == NO_FINITE_ELLIPSE
        assert np.isnan(fit.parameters).all()
        assert np.isnan(fit.covariance).all()
        assert np.isnan([fit.ss_mm2, fit.rms_mm]).all()

    def test_hyperbola(self):
        x = np.linspace(-1000.0, 1000.0, 31)
        self.expect(np.stack([x, -np.sqrt(300.0**2 + x**2)], axis=1))

    @pytest.mark.parametrize("turn_rad", [0.0, 0.4, 2.0])
    def test_parabola(self, turn_rad):
        x = np.linspace(-1000.0, 1000.0, 31)
        c, s = np.cos(turn_rad), np.sin(turn_rad)
        self.expect(np.stack([x, -(x**2) / 900.0], axis=1) @ np.array([[c, s], [-s, c]]))

    def test_nearly_straight(self):
        x = np.linspace(-1000.0, 1000.0, 31)
        fit = fit_ellipse_orthogonal(np.stack([x, np.sin(7.0 * x)], axis=1))
        assert fit.converged or np.isnan(fit.parameters).all()

    def test_a_long_but_finite_ellipse_is_found(self):
        fit = fit_ellipse_orthogonal(noisy_arc(60, 180.0, 1, a_mm=2000.0, b_mm=15.0, sigma_mm=0.1))
        assert fit.converged
        np.testing.assert_allclose(fit.parameters[2:4], [2000.0, 15.0], rtol=0.02)


def test_the_angle_of_a_circle_is_unknown():
    angle = np.linspace(0.0, 6.0, 50)
    fit = fit_ellipse_orthogonal(100.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1), sigma_mm=1.0)
    np.testing.assert_allclose(fit.parameters[:4], [0.0, 0.0, 100.0, 100.0], atol=1e-9)
    assert fit.sigmas[4] > 1e6
    assert np.isfinite(fit.sigmas[:4]).all()


def test_the_long_axis_is_named_in_the_half_turn():
    for turn_deg in (89.0, 90.0, 91.0, 179.0, -45.0):
        c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
        fit = fit_ellipse_orthogonal(null_space_ellipse(24, 180.0) @ np.array([[c, s], [-s, c]]))
        assert -np.pi / 2 < fit.angle_rad <= np.pi / 2
        assert np.sin(fit.angle_rad - np.deg2rad(turn_deg)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (np.zeros((4, 2)), "4 points cannot determine an ellipse, which has 5 freedoms"),
        (np.zeros((9, 2)), "all points lie in one spot"),
        (np.stack([np.arange(9.0), 2.0 * np.arange(9.0)], axis=1), "all points lie on one straight line"),
        (np.arange(9.0)[:, None] + np.array([4.5e8, 2.1e8]), "on one straight line"),
        ([[0, 0], [1, 0], [1, 1], [0, 1]] * 3, "the points lie at 4 different places; an ellipse needs"),
        ([[0, 0], [1, 0], [1, 1], [0, 1], [2, np.nan], [3, 3]], r"point 5 of 6 is \(2.0, nan\) mm"),
        ([[0, 0], [1, 0], [1, 1], [0, 1], [np.inf, 1], [3, 3]], r"point 5 of 6 is \(inf, 1.0\) mm"),
        (np.zeros((9, 3)), r"points of shape \(9, 3\) were given"),
    ],
)
def test_points_that_cannot_be_fitted(points, message):
    with pytest.raises(FitError, match=message):
        fit_ellipse_orthogonal(points)


def test_one_number_missing_among_many_is_named():
    points = noisy_arc(20_000, 180.0, 1)
    points[12345, 1] = np.nan
    with pytest.raises(FitError, match="point 12346 of 20000"):
        fit_ellipse_orthogonal(points)


@pytest.mark.parametrize(("n", "gradient"), [(10, 1e-11), (100, 1e-9), (700, 5e-8), (5000, 1e-7)])
def test_the_gradient_is_followed_as_far_as_the_number_of_points_asks(n, gradient):
    for seed in range(5):
        fit = fit_ellipse_orthogonal(noisy_arc(n, 180.0, seed))
        assert fit.converged
        assert fit.quality.gradient_measure <= gradient


def test_a_parameter_left_open_has_no_bound_and_says_so(monkeypatch):
    """An ellipse the conic of which would not change with its long axis."""

    def without_long_axis(place):
        derivatives = conic_derivatives(place)
        derivatives[3] = 0.0
        return derivatives

    points = noisy_arc(60, 180.0, 1)
    bounded = fit_ellipse_orthogonal(points)
    monkeypatch.setattr(ellipse, "conic_derivatives", without_long_axis)
    fit = fit_ellipse_orthogonal(points)
    np.testing.assert_array_equal(fit.parameters, bounded.parameters)
    assert np.isinf(fit.covariance).all()
    assert fit.because == OPEN_PARAMETERS
    assert bounded.because == "the gradient vanishes"


def test_points_are_not_modified():
    points = noisy_arc(60, 180.0, 1)
    before = points.copy()
    fit_ellipse_orthogonal(points, sigma_mm=np.ones(60), loss=Loss.TUKEY)
    np.testing.assert_array_equal(points, before)
