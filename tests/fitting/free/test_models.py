"""The models behind the free fits: coefficients, derivatives, and passes over few and many points."""

import numpy as np
import pytest
from fitting.free.arcs import noisy_arc
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.fitting.free.circle import fit_circle_orthogonal
from survey.fitting.free.circle_model import FLAT_CURVATURE, CircleModel, circle_place
from survey.fitting.free.ellipse import fit_ellipse_orthogonal
from survey.fitting.free.ellipse_conic import LARGEST_AXIS_RATIO, conic_derivatives, ellipse_place
from survey.fitting.free.ellipse_foot import FootWork, solve_feet, solve_feet_safely
from survey.fitting.free.ellipse_model import EllipseModel
from survey.fitting.free.points import checked_points
from survey.fitting.solving.engine import OutsideDomainError
from survey.fitting.solving.robust import Loss, tuned


def conic(x: float, y: float, a: float, b: float, angle: float) -> np.ndarray:
    """Coefficients of (u/a)^2 + (v/b)^2 - 1, fitted to its values at nine points: exact and independent."""
    px, py = np.meshgrid([-1.0, 0.5, 2.0], [-2.0, 0.3, 1.0])
    px, py = px.ravel(), py.ravel()
    u = np.cos(angle) * (px - x) + np.sin(angle) * (py - y)
    v = np.cos(angle) * (py - y) - np.sin(angle) * (px - x)
    terms = np.stack([px * px, px * py, py * py, px, py, np.ones(9)], axis=1)
    return np.linalg.lstsq(terms, (u / a) ** 2 + (v / b) ** 2 - 1.0, rcond=None)[0]


@given(
    x=st.floats(-3, 3),
    y=st.floats(-3, 3),
    a=st.floats(1.0, 5.0),
    ratio=st.floats(0.1, 0.95),
    angle=st.floats(-1.5, 1.5),
    size=st.floats(0.1, 10.0),
    sign=st.sampled_from([-1.0, 1.0]),
)
def test_a_conic_gives_back_its_ellipse(x, y, a, ratio, angle, size, sign):
    place = ellipse_place((sign * size * conic(x, y, a, a * ratio, angle)).tolist())
    np.testing.assert_allclose(
        [place.x, place.y, place.a, place.b], [x, y, a, a * ratio], rtol=1e-8, atol=1e-8
    )
    assert np.sin(place.angle_rad - angle) == pytest.approx(0.0, abs=1e-7)
    assert place.size == pytest.approx(size, rel=1e-8)


def test_derivatives_of_the_conic():
    parameters = np.array([0.3, -0.4, 2.0, 0.8, 0.5])
    derivatives = conic_derivatives(ellipse_place(conic(*parameters).tolist()))
    np.testing.assert_allclose(derivatives[0], conic(*parameters), atol=1e-12)
    flatness = (2.0**2 - 0.8**2) / (2.0 * 0.8)
    for i, step in enumerate(np.eye(5) * 1e-6):
        slope = (conic(*(parameters + step)) - conic(*(parameters - step))) / 2e-6
        np.testing.assert_allclose(derivatives[1 + i] * (flatness if i == 4 else 1.0), slope, atol=1e-8)


@pytest.mark.parametrize(
    ("coefficients", "message"),
    [
        ([1.0, 0.0, -1.0, 0.0, 0.0, -1.0], "no finite ellipse fits"),
        ([1.0, 0.0, 0.0, 0.0, 1.0, -1.0], "no finite ellipse fits"),
        ([1.0, 0.0, 0.5 / LARGEST_AXIS_RATIO**2, 0.0, 0.0, -1.0], "no finite ellipse fits"),
        ([np.nan] * 6, "no finite ellipse fits"),
        ([1.0, 0.0, 1.0, 0.0, 0.0, 1.0], "the ellipse shrinks to nothing"),
    ],
)
def test_conics_that_are_no_ellipse(coefficients, message):
    with pytest.raises(OutsideDomainError, match=message):
        ellipse_place(coefficients)


@pytest.mark.parametrize(
    ("coefficients", "message"),
    [
        ([1.0, 0.0, 0.0, 1.0], "the circle shrinks to nothing"),
        ([0.0, 0.0, 1.0, 0.0], "no finite circle fits"),
        ([1e-9, 0.0, 1.0, 0.0], "no finite circle fits"),
        ([np.nan] * 4, "the circle shrinks to nothing"),
    ],
)
def test_equations_that_are_no_circle(coefficients, message):
    with pytest.raises(OutsideDomainError, match=message):
        circle_place(coefficients)


@pytest.mark.parametrize("loss", [None, tuned(Loss.HUBER, 1e-3), tuned(Loss.TUKEY, 2e-3)])
@pytest.mark.parametrize("weights", [None, np.linspace(0.5, 2.0, 90)])
def test_ellipse_sums_are_those_of_the_cost(loss, weights):
    """Gradient by central differences of the cost, whichever coefficient is held."""
    points = checked_points(noisy_arc(90, 150.0, 1), None, weights, n_needed=5, curve="an ellipse")
    for shift in (0.0, 0.3, 1.5):  # of the centre, so that different coefficients are the largest
        model = EllipseModel(points, conic(shift, -0.5, 1.6, 0.75, 0.1))
        start = model.start
        sums = model.sums(start, loss)
        for i, step in enumerate(np.eye(5) * 1e-6):
            slope = (model.sums(start + step, loss).cost - model.sums(start - step, loss).cost) / 4e-6
            assert sums.gradient[i] == pytest.approx(slope, rel=1e-5, abs=1e-7 * np.abs(sums.gradient).max())
        residuals = model.residuals(start)
        whole = residuals @ residuals if loss is None else loss.weigh(residuals).cost
        assert sums.cost == pytest.approx(whole, rel=1e-12)


@pytest.mark.parametrize("curvature", [FLAT_CURVATURE * 0.999, FLAT_CURVATURE * 1.001, 0.5])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_circle_sums_are_those_of_the_cost_in_either_form(curvature, side):
    points = checked_points(noisy_arc(90, 80.0, 1), None, None, n_needed=3, curve="a circle")
    model = CircleModel(points, side * np.array([0.5 * curvature, 0.1, 1.0, 0.02]))
    start = model.start
    sums = model.sums(start, None)
    for i, step in enumerate(np.eye(3) * 1e-6):
        slope = (model.sums(start + step, None).cost - model.sums(start - step, None).cost) / 4e-6
        assert sums.gradient[i] == pytest.approx(slope, rel=1e-5, abs=1e-8 * np.abs(sums.gradient).max())
    assert sums.cost == pytest.approx(np.sum(model.residuals(start) ** 2), rel=1e-12)


def test_the_two_forms_of_the_circle_meet_at_their_border():
    points = checked_points(noisy_arc(90, 80.0, 1), None, None, n_needed=3, curve="a circle")
    sums = [
        CircleModel(points, np.array([0.5 * FLAT_CURVATURE * factor, 0.1, 1.0, 0.0])).sums(
            np.array([0.5 * FLAT_CURVATURE * factor, 0.1, 0.0]), None
        )
        for factor in (1.0 - 1e-9, 1.0 + 1e-9)
    ]
    np.testing.assert_allclose(sums[0].matrix, sums[1].matrix, rtol=1e-6)
    np.testing.assert_allclose(sums[0].gradient, sums[1].gradient, rtol=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    k=st.floats(1e-4, 1.0),
    noise=st.sampled_from([1e-4, 0.01, 0.3, 3.0]),
    first=st.sampled_from([0.0, 1e-3]),
)
def test_quick_feet_are_those_of_the_safe_iteration(seed, k, noise, first):
    """Points near the ellipse, and all over the plane, from a start that is right or wrong."""
    random = np.random.default_rng(seed)
    angle = random.uniform(0.0, 2.0 * np.pi, 200)
    uv = np.stack([np.cos(angle), np.sqrt(k) * np.sin(angle)]) + random.normal(0.0, noise, (2, 200))
    t, work = np.full(200, first), FootWork(*np.empty((3, 2, 200)), *np.empty((3, 200)))
    with np.errstate(all="ignore"):
        solve_feet(uv, k, t, work, 1e-12)
    expected = solve_feet_safely(uv, 1.0, np.sqrt(k))
    np.testing.assert_allclose(t, expected[0], rtol=1e-9, atol=1e-10)
    feet = work.normals * [[1.0], [np.sqrt(k)]]
    np.testing.assert_allclose(feet, expected[1:] * [[1.0], [np.sqrt(k)]], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(work.squares, work.normals**2, rtol=1e-12)
    np.testing.assert_allclose((1.0 + work.off) ** 2, feet[0] ** 2 + feet[1] ** 2, rtol=0.0, atol=1e-10)


def test_rough_sums_are_near_the_exact_ones_and_say_so():
    points = checked_points(noisy_arc(20_000, 180.0, 1), None, None, n_needed=5, curve="an ellipse")
    model = EllipseModel(points, conic(0.0, -0.5, 1.6, 0.75, 0.0))
    rough, exact = model.sums(model.start, None), model.sums(model.start, None)
    assert rough.rough
    assert not exact.rough
    np.testing.assert_allclose(rough.gradient, exact.gradient, rtol=0.02)
    np.testing.assert_allclose(rough.matrix, exact.matrix, rtol=0.02)
    assert rough.cost == pytest.approx(exact.cost, rel=1e-3)


@pytest.mark.parametrize("fit", [fit_circle_orthogonal, fit_ellipse_orthogonal])
@pytest.mark.parametrize("loss", [Loss.SQUARES, Loss.TUKEY])
def test_weights_count_alike_over_many_blocks(fit, loss):
    points = noisy_arc(10_000, 180.0, 3, a_mm=1000.0, b_mm=999.0 if fit is fit_circle_orthogonal else 700.0)
    times = np.arange(10_000) % 3
    weighted = fit(points, weights=times, loss=loss, sigma_mm=4.0)
    repeated = fit(np.repeat(points, times, axis=0), loss=loss, sigma_mm=4.0)
    if loss is Loss.SQUARES:  # a robust threshold is on the weighted residual, so the two differ there
        np.testing.assert_allclose(weighted.parameters, repeated.parameters, rtol=0.0, atol=1e-4)
        np.testing.assert_allclose(weighted.covariance, repeated.covariance, rtol=1e-5, atol=1e-10)
    assert weighted.converged
    assert repeated.converged
    assert np.abs((weighted.parameters - repeated.parameters) / repeated.sigmas).max() < 1.0
