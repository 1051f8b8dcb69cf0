"""Single courses that stand apart."""

from __future__ import annotations

import numpy as np
import pytest

from survey.condition.patterns.noise_model import CourseNoise, course_noise, outliers
from survey.condition.patterns.singles import courses_apart
from survey.fitting.solving.noise import Scatter

N = 40


def noise_of(values: np.ndarray, irregularity_mm: float = 1.5) -> CourseNoise:
    station = 60.0 * np.arange(N)
    ones = np.column_stack([np.ones(N), station])
    return course_noise(station, values, np.full(N, 0.8), ones, Scatter(irregularity_mm, 100.0))


def rough(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    value, rows = rng.normal(), []
    for _ in range(N):
        rows.append(1.5 * value)
        value = 0.55 * value + np.sqrt(1 - 0.55**2) * rng.normal()
    return np.array(rows) + rng.normal(0, 0.8, N)


@pytest.mark.parametrize("seed", range(8))
def test_a_rough_row_has_no_course_apart(seed: int) -> None:
    assert all(single.evidence < 3.0 for single in courses_apart(noise_of(rough(seed))))


def test_courses_apart_are_told_with_their_steps() -> None:
    values = rough(3)
    values[[11, 25]] += [-12.0, 14.0]
    found = [single for single in courses_apart(noise_of(values)) if single.evidence > 3.0]
    assert [single.index for single in found] == [25, 11]
    for single, step in zip(found, (14.0, -12.0), strict=True):
        assert abs(single.step.value - step) < 3 * single.step.sigma


def test_a_course_does_not_hide_behind_the_irregularity_it_swells() -> None:
    """With the course counted in, the likeliest scatter is so wide that it lies within four sigmas of it."""
    hidden = 0
    for seed in range(30):
        values = rough(seed)
        values[20] -= 8.5
        noise = noise_of(values)
        if not outliers(noise)[20]:
            hidden += any(s.index == 20 and s.evidence > 3.0 for s in courses_apart(noise))
    assert hidden >= 3


def test_the_evidence_is_the_likelihood_ratio_less_the_price_of_size_and_place() -> None:
    values = rough(4)
    values[17] += 11.0
    noise = noise_of(values)
    (single,) = [s for s in courses_apart(noise) if s.index == 17]
    best_with = -np.inf
    for weighing in noise.weighings:
        p = weighing.project(np.eye(N))
        gain = 0.5 * (p[17] @ values) ** 2 / p[17, 17]
        best_with = max(best_with, weighing.log_likelihood + gain)
    expected = best_with - max(w.log_likelihood for w in noise.weighings) - 1.5 * np.log(N)
    assert single.evidence == pytest.approx(expected, rel=1e-9)
