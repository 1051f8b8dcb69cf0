"""Likelihoods of templates and runs, against their definitions written out."""

from __future__ import annotations

import numpy as np
import pytest

from survey.condition.patterns.noise_model import (
    CourseNoise,
    course_noise,
    fit_template,
    independent_columns,
    independent_noise,
    likeliest_template,
    outliers,
)
from survey.condition.patterns.run_search import likeliest_run, windows_of
from survey.fitting.solving.noise import Scatter


@pytest.mark.parametrize("exact", [1.0, 1e-6])
def test_the_evidence_is_the_gaussian_likelihood_ratio(exact: float) -> None:
    """Against a dense Gaussian computed from its definition, one weighing at a time."""
    rng = np.random.default_rng(0)
    n = 30
    station = np.cumsum(rng.uniform(50, 70, n))
    sigma = exact * rng.uniform(0.5, 1.5, n)
    values = rng.normal(0, 2.0, n)
    nuisance = np.column_stack([np.ones(n), station])
    noise = course_noise(station, values, sigma, nuisance, Scatter(1.5, 100.0))
    template = np.zeros((n, 1))
    template[10:16] = 1.0
    best_without, best_with = -np.inf, -np.inf
    for length in (50.0, 180.0):
        for irregularity in (0.9, 1.5, 2.55):
            apart = np.abs(station[:, None] - station[None, :])
            cov = np.diag(sigma**2) + irregularity**2 * np.exp(-apart / length)
            inverse = np.linalg.inv(cov)
            basis = independent_columns(nuisance)
            inner = basis.T @ inverse @ basis
            p = inverse - inverse @ basis @ np.linalg.solve(inner, basis.T @ inverse)
            log = -0.5 * (np.linalg.slogdet(cov)[1] + np.linalg.slogdet(inner)[1] + values @ p @ values)
            gain = 0.5 * (template[:, 0] @ p @ values) ** 2 / (template[:, 0] @ p @ template[:, 0])
            best_without, best_with = max(best_without, log), max(best_with, log + gain)
    expected = best_with - best_without - 0.5 * np.log(n)
    assert fit_template(noise, template).evidence == pytest.approx(expected, rel=1e-8)


def tried_each(noise: CourseNoise, shortest: int, longest: int, usual_step: float) -> tuple[float, int, int]:
    """Log of the mean likelihood ratio over runs, steps and weighings, by quadrature over the step; and the
    likeliest run, first and last."""
    n = len(noise.values)
    steps = np.linspace(-9.0, 9.0, 3601)
    log_share = -0.5 * steps**2 - np.log(np.exp(-0.5 * steps**2).sum())
    logs: list[float] = []
    best = (-np.inf, 0, 0)
    lengths = np.arange(shortest, longest + 1)
    priors = np.log((lengths + 1) / lengths)
    for weighing in noise.weighings:
        precision = weighing.project(np.eye(n))
        for length, prior in zip(lengths, priors / priors.sum(), strict=True):
            for first in range(n - length + 1):
                template = np.zeros(n)
                template[first : first + length] = usual_step
                gain = steps * (template @ precision @ noise.values)
                gain = gain - 0.5 * steps**2 * (template @ precision @ template)
                log = np.logaddexp.reduce(gain + log_share) + np.log(prior / (n - length + 1))
                logs.append(weighing.log_likelihood + float(log))
                best = max(best, (logs[-1], first, first + length - 1))
    own = np.logaddexp.reduce([weighing.log_likelihood for weighing in noise.weighings])
    return float(np.logaddexp.reduce(logs) - own), best[1], best[2]


@pytest.mark.parametrize("correlated", [True, False])
def test_the_evidence_of_a_run_is_the_mean_over_all_runs_and_steps(correlated: bool) -> None:
    rng = np.random.default_rng(1)
    values = rng.normal(0, 1.0, 24)
    values[9:14] += 3.0
    station, ones = 60.0 * np.arange(24.0), np.ones((24, 1))
    if correlated:
        noise = course_noise(station, values, np.full(24, 0.7), ones, Scatter(0.8, 100.0))
    else:
        noise = independent_noise(station, values, ones)
    run = likeliest_run(noise, shortest=3, longest=8, usual_step=2.0, named_above=-np.inf)
    assert run is not None
    evidence, first, last = tried_each(noise, 3, 8, 2.0)
    assert run.evidence == pytest.approx(evidence, abs=1e-6)
    assert (run.first, run.last) == (first, last) == (9, 13)
    assert abs(run.step.value - 3.0) < 3 * run.step.sigma
    assert likeliest_run(noise, shortest=3, longest=8, usual_step=2.0, named_above=evidence + 0.01) is None
    assert likeliest_run(noise, shortest=30, longest=40, usual_step=2.0, named_above=-np.inf) is None


def test_every_run_is_tried_once_and_their_chances_add_up_to_one() -> None:
    windows = windows_of(12, 3, 5)
    pairs = set(zip(windows.first.tolist(), windows.behind.tolist(), strict=True))
    assert pairs == {(a, a + k) for k in (3, 4, 5) for a in range(12 - k + 1)}
    assert len(windows.first) == len(pairs)
    assert np.exp(windows.log_prior).sum() == pytest.approx(1.0)
    with pytest.raises(ValueError, match="read-only"):
        windows.first[0] = 1


@pytest.mark.parametrize(("first", "last"), [(20, 46), (31, 62), (5, 30)])
def test_the_ends_of_a_long_run_are_found_though_not_every_length_is_tried(first: int, last: int) -> None:
    values = np.random.default_rng(first).normal(0, 1.0, 90)
    values[first : last + 1] += 6.0
    noise = independent_noise(np.arange(90.0), values, np.ones((90, 1)))
    run = likeliest_run(noise, shortest=3, longest=40, usual_step=5.0, named_above=0.0)
    assert run is not None
    assert (run.first, run.last) == (first, last)


def test_outliers_are_those_that_all_others_contradict() -> None:
    values = np.random.default_rng(2).normal(0, 1.0, 40)
    values[17] += 12.0
    noise = course_noise(60.0 * np.arange(40), values, np.ones(40), np.ones((40, 1)), Scatter(0.5, 100.0))
    assert np.flatnonzero(outliers(noise)).tolist() == [17]


def test_columns_that_repeat_others_are_dropped() -> None:
    x = np.linspace(0, 1, 9)
    basis = independent_columns(np.column_stack([np.ones(9), x, 3.0 - 2.0 * x]))
    assert basis.shape == (9, 2)
    assert basis.T @ basis == pytest.approx(np.eye(2), abs=1e-12)


@pytest.mark.parametrize("gap_mm", [60.0, 1e-9])
@pytest.mark.parametrize("sigma_mm", [1e-6, 1.0, 1e3])
def test_sums_are_right_however_exact_the_readings_and_near_the_courses(
    sigma_mm: float, gap_mm: float
) -> None:
    rng = np.random.default_rng(4)
    station, values = 60.0 * np.arange(20.0), rng.normal(0, 1, 20)
    station[9] = station[8] + gap_mm
    noise = course_noise(station, values, np.full(20, sigma_mm), np.ones((20, 1)), Scatter(1.0, 100.0))
    precision = noise.best.project(np.eye(20))
    first, behind = np.array([0, 3, 7]), np.array([6, 8, 18])
    expected = [precision[a:b, a:b].sum() for a, b in zip(first, behind, strict=True)]
    assert noise.best.run_precision(first, behind) == pytest.approx(expected, rel=1e-5)
    assert noise.own_precision == pytest.approx(np.diag(precision), rel=1e-5)


@pytest.mark.parametrize("column", [np.ones(20), np.zeros(20), 2.0 + 0.5 * np.arange(20)])
def test_a_template_the_curve_can_follow_has_no_evidence(column: np.ndarray) -> None:
    rng = np.random.default_rng(5)
    nuisance = np.column_stack([np.ones(20), np.arange(20.0)])
    noise = course_noise(
        60.0 * np.arange(20), rng.normal(0, 1, 20), np.ones(20), nuisance, Scatter(1.0, 100.0)
    )
    assert fit_template(noise, column[:, None]).evidence == -np.inf
    step = np.where(np.arange(20) < 12, 0.0, 1.0)
    assert fit_template(noise, np.column_stack([step, step])).evidence == -np.inf
    number, found = likeliest_template(noise, np.stack([column, step], axis=1)[:, :, None])
    assert number == 1
    assert found.evidence == fit_template(noise, step[:, None]).evidence


def test_sums_over_runs_are_those_of_the_precision_written_out() -> None:
    rng = np.random.default_rng(3)
    station, values = np.cumsum(rng.uniform(50, 70, 20)), rng.normal(0, 1, 20)
    nuisance = np.column_stack([np.ones(20), station])
    first, behind = np.array([0, 3, 7, 12]), np.array([20, 8, 9, 20])
    for noise in (
        independent_noise(station, values, nuisance),
        course_noise(station, values, np.ones(20), nuisance, Scatter(1.0, 100.0)),
    ):
        precision = noise.best.project(np.eye(20))
        expected = [precision[a:b, a:b].sum() for a, b in zip(first, behind, strict=True)]
        assert noise.best.run_precision(first, behind) == pytest.approx(expected, rel=1e-9, abs=1e-12)
        assert noise.own_precision == pytest.approx(np.diag(precision), rel=1e-9)


def test_courses_misread_into_one_place_are_weighed_all_the_same() -> None:
    station = np.where(np.arange(20) < 15, 600.0, 60.0 * np.arange(20))
    values = np.random.default_rng(6).normal(0, 1, 20)
    noise = course_noise(station, values, np.ones(20), np.ones((20, 1)), Scatter(1.0, 100.0))
    template = np.where(np.arange(20) < 5, 0.0, 1.0)[:, None]
    assert np.isfinite(fit_template(noise, template).evidence)
