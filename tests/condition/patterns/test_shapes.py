"""Likelihoods of families of shapes, written out."""

from __future__ import annotations

import numpy as np
import pytest

from survey.condition.patterns.noise_model import CourseNoise, course_noise
from survey.condition.patterns.shapes import (
    Shapes,
    gain_under_best,
    likeliest_shape,
    log_shaped,
    log_still,
    single_shapes,
)
from survey.curves.protocol import Floats
from survey.fitting.solving.noise import Scatter

N = 30


def noise_of(values: Floats) -> CourseNoise:
    station = 60.0 * np.arange(N)
    return course_noise(station, values, np.full(N, 0.8), np.ones((N, 1)), Scatter(1.2, 100.0))


def log_with(noise: CourseNoise, columns: Floats) -> list[float]:
    """Log likelihood with columns (N, k) under every weighing, their numbers paid for."""
    found = []
    for weighing in noise.weighings:
        p = weighing.project(np.eye(N))
        coefficient = np.linalg.lstsq(columns.T @ p @ columns, columns.T @ p @ noise.values, rcond=None)[0]
        left = noise.values - columns @ coefficient
        gain = 0.5 * (noise.values @ p @ noise.values - left @ p @ left)
        found.append(weighing.log_likelihood + gain - 0.5 * columns.shape[1] * np.log(N))
    return found


def test_a_family_is_as_likely_as_its_members_in_the_mean() -> None:
    rng = np.random.default_rng(0)
    noise = noise_of(rng.normal(0, 2.0, N))
    members = rng.normal(size=(N, 4, 2))
    logs = [log for m in range(4) for log in log_with(noise, members[:, m])]
    expected = np.logaddexp.reduce(logs) - np.log(len(logs))
    assert log_shaped(noise.weighings, single_shapes(members)) == pytest.approx(expected, abs=1e-5)
    logs += [log for m in range(4) for log in log_with(noise, members[:, m, :1])]
    expected = np.logaddexp.reduce(logs) - np.log(len(logs))
    assert log_shaped(noise.weighings, single_shapes(members, nested=True)) == pytest.approx(
        expected, abs=1e-5
    )
    own = [weighing.log_likelihood for weighing in noise.weighings]
    assert log_still(noise.weighings) == pytest.approx(np.logaddexp.reduce(own) - np.log(len(own)))


def test_members_of_a_group_are_mixed_from_its_atoms() -> None:
    """As likely as the same columns with a group each."""
    rng = np.random.default_rng(4)
    noise = noise_of(rng.normal(0, 2.0, N))
    atoms, mixing = rng.normal(size=(N, 3, 4)), rng.normal(size=(3, 5, 4, 2))
    mixed = Shapes(atoms, mixing, nested=True)
    columns = np.einsum("nsa,sqak->nsqk", atoms, mixing).reshape(N, 15, 2)
    assert mixed.member(7) == pytest.approx(columns[:, 7])
    alone = single_shapes(columns, nested=True)
    assert log_shaped(noise.weighings, mixed) == pytest.approx(log_shaped(noise.weighings, alone), rel=1e-9)


def test_what_can_only_hang_gains_nothing_where_the_soffit_stands_high() -> None:
    dent = np.zeros(N)
    dent[10:20] = -1.0
    rng = np.random.default_rng(1)
    hanging, high = (noise_of(step * dent + rng.normal(0, 0.5, N)) for step in (6.0, -6.0))
    one_way = single_shapes(dent[:, None, None], one_way=True)
    assert log_shaped(hanging.weighings, one_way) > log_still(hanging.weighings) + 5.0
    price = 0.5 * np.log(N)
    assert log_shaped(high.weighings, one_way) == pytest.approx(log_still(high.weighings) - price)
    assert gain_under_best(high.weighings, one_way) == pytest.approx(-price)


def test_the_likeliest_of_several_families_is_told_with_its_coefficients() -> None:
    x = np.linspace(-1.0, 1.0, N)
    families = (
        single_shapes(np.stack([x**2, x**3], axis=1)[:, :, None]),
        single_shapes(np.cos(3 * x)[:, None, None]),
    )
    noise = noise_of(7.0 * x**3 + np.random.default_rng(2).normal(0, 0.4, N))
    told = likeliest_shape(noise.weighings, families)
    assert told.columns[:, 0] == pytest.approx(x**3)
    assert abs(told.coefficient[0] - 7.0) < 3 * np.sqrt(told.covariance[0, 0])


def test_a_shape_the_curve_itself_can_follow_gains_nothing_and_costs_its_price() -> None:
    noise = noise_of(np.random.default_rng(3).normal(0, 1.0, N))
    followed = np.ones((N, 1, 2))
    price = np.log(N)
    assert log_shaped(noise.weighings, single_shapes(followed)) == pytest.approx(
        log_still(noise.weighings) - price
    )
    twice = single_shapes(np.repeat(np.sin(np.arange(N))[:, None, None], 2, axis=2))
    once = single_shapes(np.sin(np.arange(N))[:, None, None])
    found = log_shaped(noise.weighings, twice)
    assert found == pytest.approx(log_shaped(noise.weighings, once) - 0.5 * price, abs=1e-4)
