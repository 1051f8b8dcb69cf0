"""Free circle fits against other libraries, under changes of frame, and on points flatter than a circle."""

import numpy as np
import pytest
from fitting.free.arcs import arc_angles, noisy_arc, null_space_circle
from hypothesis import given, settings
from hypothesis import strategies as st
from odrpack import odr_fit
from scipy.optimize import least_squares

from survey.errors import FitError
from survey.fitting.free.circle import fit_circle_orthogonal
from survey.fitting.free.circle_model import NO_FINITE_CIRCLE
from survey.fitting.solving.robust import Loss


def arc(n: int, arc_deg: float, seed: int, radius_mm: float = 2000.0) -> np.ndarray:
    """A circular arc with 4 mm of noise."""
    return noisy_arc(n, arc_deg, seed, a_mm=radius_mm, b_mm=radius_mm)


def reference(points: np.ndarray, start: np.ndarray, **options: object) -> np.ndarray:
    """Centre and radius of least squares (or of a loss) by another library, (3,)."""

    def residuals(p):
        return np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2]

    return least_squares(residuals, start, x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-12, **options).x


@pytest.mark.parametrize("arc_deg", [360.0, 180.0, 90.0, 60.0])
@pytest.mark.parametrize("seed", range(4))
def test_meets_least_squares(arc_deg, seed):
    points = arc(50, arc_deg, seed)
    fit = fit_circle_orthogonal(points)
    other = reference(points, np.array([0.0, 0.0, 2000.0]))
    np.testing.assert_allclose(fit.parameters, other, rtol=0.0, atol=2e-4)
    assert fit.ss_mm2 <= np.sum((np.hypot(*(points - other[:2]).T) - other[2]) ** 2) * (1.0 + 1e-12)


def test_meets_orthogonal_distance_regression_and_its_standard_errors():
    points = arc(80, 150.0, 1)

    def implicit(xy, beta):
        return np.hypot(xy[0] - beta[0], xy[1] - beta[1]) - beta[2]

    other = odr_fit(
        implicit, points.T.copy(), np.zeros(80), np.array([0.0, 0.0, 2000.0]), task="implicit-ODR", maxit=500
    )
    fit = fit_circle_orthogonal(points)
    assert np.abs((fit.parameters - other.beta) / fit.sigmas).max() < 0.02
    np.testing.assert_allclose(fit.sigmas, other.sd_beta, rtol=0.01)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), turn_rad=st.floats(-3.0, 3.0), arc_deg=st.floats(30.0, 360.0))
def test_turning_mirroring_and_scaling_commute_with_fitting(seed, turn_rad, arc_deg):
    points = arc(50, arc_deg, seed)
    fit = fit_circle_orthogonal(points)
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    change = 2.5 * np.array([[c, s], [s, -c]])
    moved = fit_circle_orthogonal(points @ change.T)
    np.testing.assert_allclose(moved.centre_mm, change @ fit.centre_mm, rtol=0.0, atol=1e-5)
    assert moved.radius_mm == pytest.approx(2.5 * fit.radius_mm, rel=1e-9)
    assert moved.sigmas[2] == pytest.approx(2.5 * fit.sigmas[2], rel=1e-7)
    np.testing.assert_allclose(
        moved.covariance[:2, :2], change @ fit.covariance[:2, :2] @ change.T, rtol=1e-6, atol=1e-9
    )


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), exponent=st.floats(-3.0, 3.0), arc_deg=st.floats(30.0, 360.0))
def test_scaling_commutes_with_fitting(seed, exponent, arc_deg):
    points, factor = arc(50, arc_deg, seed), 10.0**exponent
    fit, scaled = fit_circle_orthogonal(points), fit_circle_orthogonal(factor * points)
    np.testing.assert_allclose(
        scaled.parameters / factor, fit.parameters, rtol=1e-9, atol=1e-9 * fit.radius_mm
    )
    assert scaled.rms_mm == pytest.approx(factor * fit.rms_mm, rel=1e-9)
    np.testing.assert_allclose(scaled.sigmas / fit.sigmas, factor, rtol=1e-7)


@pytest.mark.parametrize("arc_deg", [360.0, 180.0, 60.0])
def test_a_map_grid_changes_nothing(arc_deg):
    shift = np.array([4.5e8, 2.1e8])
    for seed in range(5):
        points = arc(100, arc_deg, seed)
        fit, shifted = fit_circle_orthogonal(points), fit_circle_orthogonal(points + shift)
        np.testing.assert_allclose(shifted.centre_mm - shift, fit.centre_mm, rtol=0.0, atol=1e-4)
        assert shifted.radius_mm == pytest.approx(fit.radius_mm, abs=1e-4)
        assert shifted.rms_mm == pytest.approx(fit.rms_mm, abs=1e-7)


@pytest.mark.parametrize("times", [12, 13, 682, 683, 2000])
def test_many_points_meet_the_optimum_of_few(times):
    """Points of known optimum, repeated: it stays, whatever the blocks and samples (288 to 48000 points)."""
    fit = fit_circle_orthogonal(np.tile(null_space_circle(24, 120.0), (times, 1)))
    assert fit.converged
    np.testing.assert_allclose(fit.parameters, [0.0, 0.0, 2000.0], rtol=0.0, atol=1e-6)
    assert fit.ss_mm2 == pytest.approx(16.0 * 24 * times, rel=1e-11)


@pytest.mark.parametrize("radius_mm", [3e3, 1.9e4, 2.1e4, 1e6, 1e8])
def test_a_flat_arc_keeps_its_bend(radius_mm):
    """Exact points over a 2 m chord, down to a rise of 5 micrometres, whichever side it bulges."""
    x = np.linspace(-1000.0, 1000.0, 41)
    rise = x**2 / (radius_mm + np.sqrt(radius_mm**2 - x**2))
    for side in (1.0, -1.0):
        fit = fit_circle_orthogonal(np.stack([x, side * rise], axis=1))
        assert fit.converged
        assert fit.radius_mm == pytest.approx(radius_mm, rel=1e-5 if radius_mm > 1e7 else 1e-7)
        assert fit.centre_mm[1] == pytest.approx(side * radius_mm, rel=1e-5)
        np.testing.assert_allclose(fit.distances([[0.0, -side * 5.0]]), [5.0], atol=1e-6)


@pytest.mark.parametrize("radius_mm", [1e5, 1e6, 1e8])
def test_the_bend_of_a_flat_arc_is_known_as_well_as_that_of_any_other(radius_mm):
    """The standard uncertainty of 1 / R, which the same chord and accuracy give whatever R is."""
    x = np.linspace(-1000.0, 1000.0, 41)
    fits = [
        fit_circle_orthogonal(np.stack([x, x**2 / (r + np.sqrt(r**2 - x**2))], axis=1), sigma_mm=1e-3)
        for r in (3e4, radius_mm)
    ]
    first, other = (fit.sigmas[2] / fit.radius_mm**2 for fit in fits)
    assert other == pytest.approx(first, rel=2e-3)


def test_the_arc_within_the_noise_of_a_line_has_a_huge_uncertain_radius():
    x = np.linspace(-1000.0, 1000.0, 41)
    fit = fit_circle_orthogonal(np.stack([x, np.random.default_rng(4).normal(0.0, 1.0, 41)], axis=1))
    assert fit.converged
    assert fit.radius_mm > 1e5
    assert fit.sigmas[2] > 0.2 * fit.radius_mm


def test_no_finite_circle():
    x = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    fit = fit_circle_orthogonal(np.stack([x, [1.0, -1.0, 0.0, 1.0, -1.0]], axis=1) * [1000.0, 1.0])
    assert not fit.converged
    assert fit.because == NO_FINITE_CIRCLE
    assert np.isnan(fit.parameters).all()
    assert np.isnan(fit.covariance).all()


def test_a_point_at_the_centre_is_borne():
    angle = arc_angles(40, 360.0)
    points = np.concatenate([100.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1), [[0.0, 0.0]]])
    fit = fit_circle_orthogonal(points, weights=np.append(np.ones(40), 1e-6))
    assert fit.converged
    np.testing.assert_allclose(fit.parameters, [0.0, 0.0, 100.0], atol=1e-2)


def test_three_points_are_met_and_leave_no_spread():
    points = [[0.0, 0.0], [2.0, 0.0], [1.0, 1.0]]
    fit = fit_circle_orthogonal(points)
    np.testing.assert_allclose(fit.parameters, [1.0, 0.0, 1.0], atol=1e-12)
    assert np.isnan(fit.covariance).all()
    assert np.isfinite(fit_circle_orthogonal(points, sigma_mm=0.1).covariance).all()


def test_huber_meets_another_library_at_a_fixed_scale():
    points = arc(60, 120.0, 3)
    points[[7, 40]] += [[500.0, 0.0], [-60.0, 80.0]]
    fit = fit_circle_orthogonal(points, sigma_mm=4.0, loss=Loss.HUBER)
    other = reference(points, np.array([0.0, 0.0, 2000.0]), loss="huber", f_scale=4.0 * 1.345)
    np.testing.assert_allclose(fit.parameters, other, rtol=0.0, atol=1e-3)


def test_tukey_sets_gross_errors_aside():
    points = arc(60, 120.0, 3)
    good = fit_circle_orthogonal(np.delete(points, [7, 40], axis=0))
    points[[7, 40]] += [[500.0, 0.0], [-60.0, 80.0]]
    fit = fit_circle_orthogonal(points, loss=Loss.TUKEY)
    assert (fit.quality.weights[[7, 40]] == 0.0).all()
    assert np.abs((fit.parameters - good.parameters) / good.sigmas).max() < 1.0
    np.testing.assert_allclose(fit.sigmas, good.sigmas, rtol=0.3)


def test_weights_repeat_points():
    points, times = arc(30, 180.0, 2), np.arange(30) % 3 + 1
    fit = fit_circle_orthogonal(points, weights=times)
    repeated = fit_circle_orthogonal(np.repeat(points, times, axis=0))
    np.testing.assert_allclose(fit.parameters, repeated.parameters, rtol=0.0, atol=1e-7)
    assert fit.ss_mm2 == pytest.approx(np.sum(fit.distances(points) ** 2), rel=1e-10)


@pytest.mark.parametrize(
    ("points", "options", "message"),
    [
        (np.zeros((2, 2)), {}, "2 points cannot determine a circle, which has 3 freedoms"),
        (np.ones((7, 2)), {}, "all points lie in one spot"),
        (np.full((7, 2), 4.5e8), {}, "all points lie in one spot"),
        ([[0, 0], [1, 1]] * 4, {}, "all points lie on one straight line"),
        ([[0, 0], [1, 1], [np.nan, 0], [1, 0]], {}, r"point 3 of 4 is \(nan, 0.0\) mm"),
        (np.full((5, 2), 1e200) * np.eye(5)[:, :2], {}, "too large to be squared"),
        ([1.0, 2.0, 3.0], {}, r"points of shape \(3,\) were given"),
        (np.eye(4)[:, :2], {"sigma_mm": 0.0}, "sigma_mm was given that is not above 0 mm"),
        (np.eye(4)[:, :2], {"sigma_mm": [1.0, 1.0, -1.0, 1.0]}, "sigma_mm was given that is not above 0 mm"),
        (np.eye(4)[:, :2], {"sigma_mm": [1.0, 1.0]}, r"sigma_mm of shape \(2,\) was given for 4 points"),
        (np.eye(4)[:, :2], {"weights": [1.0, 1.0]}, r"weights of shape \(2,\) was given for 4 points"),
        (np.eye(4)[:, :2], {"weights": [1.0, 1.0, -1.0, 1.0]}, "weights were given that are negative"),
        (np.eye(4)[:, :2], {"weights": [1.0, 1.0, 0.0, 0.0]}, "2 points cannot determine a circle"),
    ],
)
def test_what_cannot_be_fitted(points, options, message):
    with pytest.raises(FitError, match=message):
        fit_circle_orthogonal(points, **options)
