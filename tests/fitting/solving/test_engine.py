"""The engine on problems with known answers, and every way a search can end."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from survey.errors import FitError
from survey.fitting.solving.engine import EngineOptions, OutsideDomainError, Solution, minimise
from survey.fitting.solving.engine_models import blocked_model, residual_model, with_rows
from survey.fitting.solving.robust import Loss, tuned

TIMES = np.linspace(0.0, 4.0, 25)
DECAY = 3.0 * np.exp(-0.7 * TIMES) + 0.1 * np.sin(9.0 * TIMES**2)


def decay(p, rows=slice(None)):
    """Residuals and Jacobian of p0 exp(-p1 t) against noisy data."""
    t = TIMES[rows]
    curve = np.exp(-p[1] * t)
    return p[0] * curve - DECAY[rows], np.stack([curve, -p[0] * t * curve], axis=1)


def misra(p):
    """NIST StRD Misra1a: y = b1 (1 - exp(-b2 x))."""
    x = np.array(
        [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
    )
    y = np.array(
        [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
    )
    e = np.exp(-p[1] * x)
    return p[0] * (1.0 - e) - y, np.stack([1.0 - e, p[0] * x * e], axis=1)


@pytest.mark.parametrize("start", [(500.0, 0.0001), (250.0, 0.0005)])
def test_misra1a_of_the_nist_reference_datasets(start):
    """NIST Statistical Reference Datasets, Misra1a, both starts; data and certified values from memory."""
    fit = minimise(residual_model(misra, n_observations=14), start)
    assert fit.converged
    np.testing.assert_allclose(fit.parameters, [2.3894212918e02, 5.5015643181e-04], rtol=1e-9)
    assert fit.cost == pytest.approx(1.2455138894e-01, rel=1e-9)
    sigmas = np.sqrt(np.diag(fit.covariance(fit.cost / 12)))
    np.testing.assert_allclose(sigmas, [2.7070075241, 7.2668688436e-06], rtol=1e-8)


def test_rosenbrocks_valley():
    """Exact answer (1, 1) at cost 0 from the customary start."""
    model = residual_model(
        lambda p: (
            np.array([10.0 * (p[1] - p[0] ** 2), 1.0 - p[0]]),
            np.array([[-20.0 * p[0], 10.0], [-1.0, 0.0]]),
        ),
        n_observations=2,
    )
    fit = minimise(model, [-1.2, 1.0])
    assert fit.converged
    np.testing.assert_allclose(fit.parameters, [1.0, 1.0], atol=1e-10)


def test_meets_another_library_and_proves_it():
    fit = minimise(residual_model(decay, n_observations=25), [1.0, 1.0])
    other = least_squares(lambda p: decay(p)[0], [1.0, 1.0], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    np.testing.assert_allclose(fit.parameters, other.x, rtol=1e-7)
    residuals, jacobian = decay(fit.parameters)
    tangent = np.linalg.qr(jacobian)[0]
    cosine = np.linalg.norm(tangent.T @ residuals) / np.linalg.norm(residuals)
    assert cosine <= 1e-10
    assert fit.gradient_measure == pytest.approx(cosine, abs=1e-13)


def test_blocks_add_up_to_the_whole():
    whole = residual_model(decay, n_observations=25)
    blocks = blocked_model(lambda p, rows: decay(p, rows), n_observations=25, block=7)
    p = np.array([2.0, 0.5])
    for loss in (None, tuned(Loss.HUBER, 0.05), tuned(Loss.TUKEY, 0.05)):
        for a, b in zip(whole.sums(p, loss), blocks.sums(p, loss), strict=True):
            np.testing.assert_allclose(a, b, rtol=1e-13)
    np.testing.assert_allclose(whole.residuals(p), blocks.residuals(p))
    np.testing.assert_allclose(minimise(blocks, p).parameters, minimise(whole, p).parameters, rtol=1e-12)


@pytest.mark.parametrize("loss", [Loss.HUBER, Loss.TUKEY])
def test_the_gradient_of_a_robust_cost_is_the_one_in_the_sums(loss):
    model, scaled, p = residual_model(decay, n_observations=25), tuned(loss, 0.03), np.array([2.9, 0.72])
    sums = model.sums(p, scaled)
    for i, step in enumerate(np.eye(2) * 1e-6):
        slope = (model.sums(p + step, scaled).cost - model.sums(p - step, scaled).cost) / 2e-6
        assert 2.0 * sums.gradient[i] == pytest.approx(slope, rel=1e-6)


def test_further_observations_of_the_parameters():
    """A slope known to be -0.5 +- 0.01 acts like one more residual; linear algebra gives the exact answer."""
    rows = np.stack([np.ones(25), TIMES], axis=1)
    line = residual_model(lambda p: (rows @ p - DECAY, rows), n_observations=25, names=("level", "slope"))
    known = with_rows(line, lambda p: (np.array([(p[1] + 0.5) / 0.01]), np.array([[0.0, 100.0]])), n_rows=1)
    assert known.n_observations == 26
    assert known.names == ("level", "slope")
    assert known.residuals(np.zeros(2)).shape == (25,)
    fit = minimise(known, [0.0, 0.0])
    exact = np.linalg.lstsq(np.vstack([rows, [0.0, 100.0]]), np.append(DECAY, -50.0), rcond=None)[0]
    np.testing.assert_allclose(fit.parameters, exact, rtol=1e-10)


def test_a_robust_loss_leaves_further_observations_plain():
    rows = np.ones((25, 1))
    level = residual_model(lambda p: (rows @ p - DECAY, rows), n_observations=25)
    far = with_rows(level, lambda p: ((p - 100.0) / 0.001, np.array([[1000.0]])), n_rows=1)
    fit = minimise(far, [0.0], loss=tuned(Loss.TUKEY, 0.1))
    assert fit.parameters[0] == pytest.approx(100.0, abs=1e-6)


def test_units_of_the_parameters_do_not_matter():
    units = np.array([1e9, 1e-9])

    def in_units(p):
        residuals, jacobian = decay(p * units)
        return residuals, jacobian * units

    plain = minimise(residual_model(decay, n_observations=25), [1.0, 1.0])
    fit = minimise(residual_model(in_units, n_observations=25), np.array([1.0, 1.0]) / units)
    assert fit.n_evaluations == plain.n_evaluations
    np.testing.assert_allclose(fit.parameters * units, plain.parameters, rtol=1e-9)
    np.testing.assert_allclose(fit.covariance() * np.outer(units, units), plain.covariance(), rtol=1e-8)


def ends(model, start, reason, **options):
    fit = minimise(model, start, options=EngineOptions(**options))
    assert not fit.converged
    assert reason in fit.because
    assert np.isnan(fit.parameters).all()
    assert np.isnan(fit.covariance()).all()
    return fit


class TestFailures:
    def test_a_start_outside_the_domain(self):
        def nowhere(_):
            raise OutsideDomainError("the rise is not above zero")

        fit = ends(residual_model(nowhere, n_observations=9), [1.0], "there is none to start from: the rise")
        assert fit.reached.tolist() == [1.0]

    def test_a_start_without_finite_residuals(self):
        model = residual_model(lambda _: (np.full(3, np.nan), np.ones((3, 1))), n_observations=3)
        ends(model, [1.0], "the residuals are not finite numbers there")

    def test_an_optimum_beyond_the_domain(self):
        """The least of (p + 1)^2 + 1 lies at -1, but p must stay above 0."""

        def above_zero(p):
            if p[0] <= 0.0:
                raise OutsideDomainError("the radius is not above zero")
            return np.array([p[0] + 1.0, 1.0]), np.array([[1.0], [0.0]])

        model = residual_model(above_zero, n_observations=2)
        fit = ends(model, [3.0], "runs out of the domain: the radius")
        assert 0.0 < fit.reached[0] < 1e-3
        # Cut short while it creeps along the edge, the reason is the edge all the same.
        assert fit.n_evaluations > 12
        ends(model, [3.0], "runs out of the domain: the radius", max_evaluations=12)

    def test_a_step_outside_the_domain_is_shortened(self):
        def not_far(p):
            if abs(p[1]) > 0.9:
                raise OutsideDomainError("too steep")
            return decay(p)

        fit = minimise(residual_model(not_far, n_observations=25), [1.0, -0.5])
        plain = minimise(residual_model(decay, n_observations=25), [1.0, 0.5])
        np.testing.assert_allclose(fit.parameters, plain.parameters, rtol=1e-9)

    @pytest.mark.parametrize("names", [("span", "tilt"), ()])
    def test_parameters_the_observations_do_not_determine(self, names):
        rows = np.ones((9, 2))
        model = residual_model(lambda p: (rows @ p - np.arange(9.0), rows), n_observations=9, names=names)
        fit = ends(model, [1.0, 1.0], "the observations do not determine")
        assert any(name in fit.because for name in (names or ("parameter 1", "parameter 2")))

    def test_a_parameter_without_any_effect_is_named(self):
        rows = np.stack([np.ones(9), np.zeros(9)], axis=1)
        model = residual_model(
            lambda p: (rows @ p - np.arange(9.0), rows), n_observations=9, names=("level", "tilt")
        )
        ends(model, [1.0, 1.0], "the observations do not determine tilt")

    def test_too_few_evaluations(self):
        ends(
            residual_model(misra, n_observations=14),
            (500.0, 1e-4),
            "no optimum within 2 evaluations",
            max_evaluations=2,
        )

    def test_a_jacobian_that_is_wrong(self):
        model = residual_model(
            lambda p: (np.array([p[0] - 1.0, 1.0]), np.array([[-1.0], [0.0]])), n_observations=2
        )
        ends(model, [5.0], "no step lowers the cost")


@pytest.mark.parametrize(
    ("start", "n", "message"),
    [
        ([np.nan, 1.0], 25, "are not all finite numbers"),
        ([np.inf, 1.0], 25, "are not all finite numbers"),
        ([1.0, 1.0], 1, "1 observations cannot determine 2 parameters"),
    ],
)
def test_what_cannot_be_minimised(start, n, message):
    with pytest.raises(FitError, match=message):
        minimise(residual_model(decay, n_observations=n), start)


def test_the_start_is_not_modified():
    start = np.array([1.0, 1.0])
    minimise(residual_model(decay, n_observations=25), start)
    assert start.tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("matrix", "left_open"),
    [
        (np.diag([4.0, 0.0, 9.0]), "parameter 2"),
        (np.array([[1.0, 1.0], [1.0, 1.0]]), "parameter [12]"),
    ],
)
def test_a_singular_matrix_has_no_covariance(matrix, left_open):
    """Two parameters of which only the sum is known, or one without effect, in a solution made by hand."""
    k = len(matrix)
    made = Solution(np.zeros(k), matrix, 1.0, 0.0, 9, 1, True, "", np.zeros(k))
    with pytest.raises(FitError, match=f"do not determine {left_open}; no covariance"):
        made.covariance()
