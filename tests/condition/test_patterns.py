"""Patterns named on arches that have them, and kept quiet on arches that do not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, left_edges_mm, note, record_of

from survey.condition import Pattern, map_deviations
from survey.condition.noise_model import (
    course_noise,
    fit_template,
    independent_columns,
    independent_noise,
    likeliest_run,
    outliers,
)
from survey.curves import segmental, semicircular
from survey.fitting.noise import Scatter
from survey.record.model import Condition, Edge, Feature, Record

SHAPE = semicircular(1500.0)
N = 76
WOBBLE = 1.2


def wobbling(seed: int) -> dict[int, float]:
    """Deviations by course alike over about three courses."""
    rng = np.random.default_rng(seed)
    value, off = rng.normal(), {}
    for course in range(1, N + 1):
        off[course] = WOBBLE * value
        value = 0.72 * value + np.sqrt(1 - 0.72**2) * rng.normal()
    return off


def added(off: Mapping[int, float], more: Mapping[int, float]) -> dict[int, float]:
    return {c: d + more.get(c, 0.0) for c, d in off.items()}


def patterns(record: Record) -> tuple[Pattern, ...]:
    fit = fit_of(record, SHAPE, irregularity_mm=WOBBLE, correlation_length_mm=185.0)
    return map_deviations(record, fit).patterns


def laid(off: Mapping[int, float], **options: object) -> Record:
    return record_of(SHAPE, [LaidRing(N, deviation_mm=off, **options)], noise_seed=11)  # type: ignore[arg-type]


def only(found: tuple[Pattern, ...], name: str) -> Pattern:
    assert [p.name for p in found] == [name]
    return found[0]


@pytest.mark.parametrize("seed", range(6))
def test_a_rough_arch_shows_no_pattern(seed: int) -> None:
    assert patterns(laid(wobbling(seed))) == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_dropped_course_is_named(seed: int) -> None:
    pattern = only(patterns(laid(added(wobbling(seed), {40: -14.0}))), "dropped course")
    assert (pattern.first_course, pattern.last_course, pattern.ring) == (40, 40, 1)
    assert abs(pattern.size_mm.value + 14.0) < 3 * pattern.size_mm.sigma
    assert "Course 40 of ring 1 has dropped" in pattern.sentence


def test_a_course_pushed_back_is_named() -> None:
    pattern = only(patterns(laid(added(wobbling(1), {40: 14.0}))), "recessed course")
    assert "back from its neighbours" in pattern.sentence


def test_a_course_read_at_one_place_only_is_never_called_dropped() -> None:
    assert patterns(laid(added(wobbling(1), {40: -14.0}), edges=(Edge.MID,))) == ()


def test_one_misread_edge_is_not_called_a_dropped_course() -> None:
    record = laid(wobbling(1))
    xy = record.points.xy_mm.copy()
    xy[78] *= 0.98
    assert patterns(replace(record, points=replace(record.points, xy_mm=xy))) == ()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("step", [7.0, -7.0])
def test_a_patch_on_another_curve_is_named(seed: int, step: float) -> None:
    patch = dict.fromkeys(range(30, 40), step)
    pattern = only(patterns(laid(added(wobbling(seed), patch))), "repair patch")
    assert abs(pattern.first_course - 30) <= 1
    assert abs(pattern.last_course - 39) <= 1
    assert abs(pattern.size_mm.value - step) < 3 * pattern.size_mm.sigma
    assert ("inside" if step < 0 else "outside") in pattern.sentence


def test_a_run_of_wider_bricks_is_named() -> None:
    left = left_edges_mm(np.pi * 1500.0, LaidRing(N))
    record = record_of(SHAPE, [LaidRing(N, along_mm=left, deviation_mm=wobbling(2))], noise_seed=3)
    xy = record.points.xy_mm.copy()
    rng = np.random.default_rng(4)
    for course in range(50, 60):
        angle = (left[course - 1] + 55.0) / 1500.0
        off = 1500.0 + wobbling(2)[course]
        xy[2 * course - 1] = off * np.array([-np.cos(angle), np.sin(angle)]) + rng.normal(0, 1.0, 2)
    # What the bricks gained their joints lost, which is not told a second time.
    lot = only(patterns(replace(record, points=replace(record.points, xy_mm=xy))), "repair patch")
    assert (lot.first_course, lot.last_course) == (50, 59)
    assert abs(lot.size_mm.value - 5.0) < 3 * lot.size_mm.sigma
    assert "another lot" in lot.sentence


def test_a_run_of_wider_joints_is_named() -> None:
    left = left_edges_mm(np.pi * 1500.0, LaidRing(N, width_mm=50.0))
    left[20:30] += np.arange(1, 11) * 4.0
    left[30:] = left[29] + (np.arange(31, N + 1) - 30) * (np.pi * 1500.0 - 60.0 - left[29]) / 46.0
    record = record_of(SHAPE, [LaidRing(N, along_mm=left, deviation_mm=wobbling(2))], noise_seed=3)
    pattern = only(patterns(record), "change of rhythm")
    assert abs(pattern.first_course - 20) <= 1
    assert abs(pattern.last_course - 29) <= 2
    assert 3.0 < pattern.size_mm.value < 6.0


@pytest.mark.parametrize("seed", range(3))
def test_a_smooth_sag_is_named(seed: int) -> None:
    turn = 4 * np.pi * (np.arange(1, N + 1) - 0.5) / N
    sag = dict(zip(range(1, N + 1), 9.0 * np.cos(turn) * -1.0, strict=True))
    pattern = only(patterns(laid(added(wobbling(seed), sag))), "smooth sag")
    assert pattern.size_mm.value < -5.0
    assert "no hinge" in pattern.sentence


def test_a_shape_the_circle_itself_can_follow_is_no_sag() -> None:
    angle = np.pi * (np.arange(1, N + 1) - 0.5) / N
    shifted = dict(zip(range(1, N + 1), 15.0 * np.cos(angle), strict=True))
    assert patterns(laid(added(wobbling(0), shifted))) == ()


def test_a_twisted_face_is_named_and_a_leaning_one_is_not() -> None:
    angle = np.pi * (np.arange(1, N + 1) - 0.5) / N
    rng = np.random.default_rng(5)
    lean = {c: 8.0 * np.cos(a) + 5.0 * np.sin(a) + rng.normal(0, 1.0) for c, a in enumerate(angle, 1)}
    twist = {c: lean[c] - 10.0 * np.sin(2 * a) for c, a in enumerate(angle, 1)}
    assert patterns(laid(wobbling(3), w_mm=lean)) == ()
    pattern = only(patterns(laid(wobbling(3), w_mm=twist)), "twisted face")
    assert abs(abs(pattern.size_mm.value) - 20.0) < 3 * pattern.size_mm.sigma + 2.0
    # x runs from left to right, so cos falls: -sin 2a is forward on the right shoulder.
    assert "right shoulder" in pattern.sentence


@pytest.mark.parametrize(("drop", "which"), [(30.0, "right"), (-30.0, "left")])
def test_unequal_springings_are_named(drop: float, which: str) -> None:
    record = laid(wobbling(4))
    xy = record.points.xy_mm.copy()
    xy[-1, 1] -= drop
    pattern = only(patterns(replace(record, points=replace(record.points, xy_mm=xy))), "unequal springings")
    assert f"The {which} springing stands" in pattern.sentence
    assert abs(abs(pattern.size_mm.value) - 30.0) < 3 * pattern.size_mm.sigma


def test_springings_within_what_a_mason_levels_to_are_not_named() -> None:
    record = laid(wobbling(4))
    xy = record.points.xy_mm.copy()
    xy[-1, 1] -= 6.0
    assert patterns(replace(record, points=replace(record.points, xy_mm=xy))) == ()


def test_courses_noted_as_replaced_are_told() -> None:
    notes = [note(1, c, condition=Condition.REPLACED) for c in (20, 21, 22)]
    record = replace(laid(wobbling(0)), courses=tuple(notes))
    pattern = only(patterns(record), "noted repair")
    assert pattern.sentence.startswith("Courses 20 to 22 of ring 1 were replaced, as noted on site")


def test_a_noted_repair_nobody_measured_has_no_size() -> None:
    record = record_of(
        SHAPE, [LaidRing(N, surveyed=range(2, N + 1))], notes=[note(1, 1, condition=Condition.REPLACED)]
    )
    (pattern,) = patterns(record)
    assert np.isnan(pattern.size_mm.value)
    assert pattern.sentence == "Course 1 of ring 1 was replaced, as noted on site."


def test_few_courses_show_nothing() -> None:
    record = record_of(SHAPE, [LaidRing(8, width_mm=400.0, deviation_mm={4: -30.0})])
    assert patterns(record) == ()


def test_a_moved_arch_is_not_called_sagging_or_patched() -> None:
    from condition.test_movement_view import spread_movement

    turn = 4 * np.pi * (np.arange(1, N + 1) - 0.5) / N
    sag = dict(zip(range(1, N + 1), -9.0 * np.cos(turn), strict=True))
    record = laid(added(wobbling(0), sag))
    fit = fit_of(
        record, SHAPE, irregularity_mm=WOBBLE, correlation_length_mm=185.0, movement=spread_movement()
    )
    assert map_deviations(record, fit).patterns == ()


def test_the_evidence_is_the_gaussian_likelihood_ratio() -> None:
    """Against a dense Gaussian computed from its definition, one weighing at a time."""
    rng = np.random.default_rng(0)
    n = 30
    station = np.cumsum(rng.uniform(50, 70, n))
    sigma = rng.uniform(0.5, 1.5, n)
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


def test_the_likeliest_run_is_found_among_all_by_trying_each() -> None:
    rng = np.random.default_rng(1)
    values = rng.normal(0, 1.0, 24)
    noise = independent_noise(np.arange(24.0), values, np.ones((24, 1)))
    run = likeliest_run(noise, shortest=3, longest=8)
    assert run is not None
    best = (-np.inf, 0, 0)
    for length in range(3, 9):
        for first in range(24 - length + 1):
            template = np.zeros(24)
            template[first : first + length] = 1.0
            p = noise.best.project(template[:, None])[:, 0]
            gain = (p @ values) ** 2 / (template @ p)
            best = max(best, (float(gain), first, first + length - 1))
    assert (run.first, run.last) == best[1:]
    assert likeliest_run(noise, shortest=30, longest=40) is None


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


def test_a_flat_segmental_arch_with_a_back_surveyed_is_judged_without_trouble() -> None:
    shape = segmental(3000.0, 300.0)
    ring = LaidRing(50, surfaces=(Feature.INTRADOS, Feature.EXTRADOS))
    record = record_of(shape, [ring], noise_seed=1)
    assert map_deviations(record, fit_of(record, shape)).patterns == ()


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
        assert noise.run_precision(first, behind) == pytest.approx(expected, rel=1e-9, abs=1e-12)
        assert noise.own_precision == pytest.approx(np.diag(precision), rel=1e-9)
