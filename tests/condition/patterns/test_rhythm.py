"""Runs of other bricks and joints found in a chain of edges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from condition.patterns.chains import N, chain_of, edges_of, written_out

from survey.condition.patterns import rhythm
from survey.condition.patterns.edge_chain import EdgeChain, weighed_chain
from survey.condition.patterns.noise_model import independent_noise
from survey.condition.patterns.rhythm import (
    LONGEST_SHARE,
    NAMED_ABOVE,
    SHORTEST,
    USUAL_STEP_MM,
    Laid,
    other_rhythms,
)
from survey.condition.patterns.run_search import likeliest_run, windows_of

FIRST, LAST = 12, 21


def laid_otherwise(seed: int, laid: Laid, size_mm: float, *, sigma_mm: float = 1.0) -> EdgeChain:
    """Courses 12 to 21 with bricks, or joints after them, wider by so much."""
    edges = edges_of(seed, sigma_mm=sigma_mm)
    left, right = 2 * np.arange(FIRST - 1, LAST), 2 * np.arange(FIRST - 1, LAST) + 1
    if laid is Laid.BRICKS_IN_PITCH:
        edges[left] -= size_mm / 2
        edges[right] += size_mm / 2
    else:
        first = right if laid is Laid.BRICKS else right + 1
        for k in first:
            edges[k:] += size_mm
    return chain_of(edges, sigma_mm)


@pytest.mark.parametrize("laid", list(Laid))
@pytest.mark.parametrize("size_mm", [4.5, -4.5])
@pytest.mark.parametrize("seed", range(3))
def test_what_differs_is_found_where_it_is(laid: Laid, size_mm: float, seed: int) -> None:
    (found,) = other_rhythms(laid_otherwise(seed, laid, size_mm, sigma_mm=0.7))
    assert found.laid is laid
    assert abs(found.first - FIRST) <= 2
    assert abs(found.last - LAST) <= 1
    assert abs(found.size.value - size_mm) < 3 * found.size.sigma + 0.2


@pytest.mark.parametrize("seed", range(12))
def test_a_sound_chain_has_no_run(seed: int) -> None:
    assert other_rhythms(chain_of(edges_of(seed, sigma_mm=1.5), 1.5)) == ()


@pytest.mark.parametrize("seed", range(4))
def test_one_brick_far_out_makes_no_run(seed: int) -> None:
    edges = edges_of(seed)
    edges[51:] += 7.0
    assert other_rhythms(chain_of(edges)) == ()


def test_a_second_run_is_found_beside_the_first() -> None:
    edges = edges_of(5)
    edges[20:40:2] -= 3.0
    edges[21:41:2] += 3.0
    for k in range(86, 104, 2):
        edges[k:] += 4.0
    found = other_rhythms(chain_of(edges))
    assert {run.laid for run in found} == {Laid.BRICKS_IN_PITCH, Laid.JOINTS}


def test_misread_edges_do_not_hide_a_run() -> None:
    """Five edges of a hundred and twenty misread, and bricks that alternate, against the widths alone."""
    found, alone = 0, 0
    for seed in range(20):
        edges = edges_of(seed, sigma_mm=1.2)
        edges += np.repeat(np.where(np.arange(N) % 2 == 0, 0.0, 1.5), 2) * np.tile([-1.0, 1.0], N)
        edges[2 * FIRST - 2 : 2 * LAST : 2] -= 2.0
        edges[2 * FIRST - 1 : 2 * LAST : 2] += 2.0
        edges[[5, 31, 58, 77, 100]] += [18.0, -25.0, 30.0, -15.0, 22.0]
        chain = chain_of(edges, 1.2)
        found += any(run.first <= LAST and run.last >= FIRST for run in other_rhythms(chain))
        noise = independent_noise(62.0 * np.arange(N), chain.step_mm[::2], np.ones((N, 1)))
        longest = int(N * LONGEST_SHARE)
        run = likeliest_run(
            noise, shortest=SHORTEST, longest=longest, usual_step=USUAL_STEP_MM, named_above=NAMED_ABOVE
        )
        alone += run is not None and run.first < LAST and run.last >= FIRST - 1
    assert found >= 12
    assert alone <= 5


def test_the_evidence_is_the_mean_over_runs_steps_scatters_and_what_differs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """By a dense Gaussian for every run and scatter, the step integrated out by quadrature."""
    monkeypatch.setattr(rhythm, "WIDTH_SCATTERS_MM", (0.8, 1.6))
    monkeypatch.setattr(rhythm, "JOINT_SCATTERS_MM", (1.2,))
    chain = laid_otherwise(1, Laid.JOINTS, 4.0)
    (found,) = other_rhythms(chain)
    windows = windows_of(N, SHORTEST, int(N * LONGEST_SHARE))
    differences = np.diff(np.eye(2 * N), axis=0)
    steps = np.linspace(-12.0, 12.0, 481)
    share = -0.5 * (steps / USUAL_STEP_MM) ** 2
    share -= np.logaddexp.reduce(share)
    with_run, without = [], []
    for width in (0.8, 1.6):
        own = np.where(np.arange(2 * N - 1) % 2 == 0, width**2, 1.2**2)
        inverse = np.linalg.inv(np.diag(own) + differences @ np.diag(chain.edge_mm2) @ differences.T)
        inner = chain.usual.T @ inverse @ chain.usual + np.diag(chain.stiffness)
        p = inverse - inverse @ chain.usual @ np.linalg.solve(inner, chain.usual.T @ inverse)
        log = 0.5 * (np.linalg.slogdet(inverse)[1] - np.linalg.slogdet(inner)[1])
        log -= 0.5 * float(chain.step_mm @ p @ chain.step_mm)
        without.append(log)
        for first, behind, prior in zip(windows.first, windows.behind, windows.log_prior, strict=True):
            for template in templates(int(first), int(behind)):
                weighed = p @ template
                gain = steps * (weighed @ chain.step_mm) - 0.5 * steps**2 * (weighed @ template)
                with_run.append(log + prior + np.logaddexp.reduce(gain + share) - np.log(3))
    expected = np.logaddexp.reduce(with_run) - np.logaddexp.reduce(without)
    assert found.evidence == pytest.approx(expected, abs=0.02)


def test_runs_are_weighed_by_what_they_change() -> None:
    """Precision and pull of every run by its template, courses read in part left out."""
    chain = chain_of(edges_of(4))
    chain = replace(chain, whole=np.delete(chain.whole, [0, 17, 40]))
    weighed = weighed_chain(chain, 0.8, 1.2)
    followed = weighed.weighed @ weighed.inverse @ weighed.weighed.T
    precision = written_out(weighed.without_usual()) - followed
    first, behind = np.array([0, 3, 8, 14, 50]), np.array([6, 6, 30, 50, N - 3])
    for k, weighing in enumerate(rhythm._by_courses(chain, weighed)):
        expected, pulled = [], []
        for a, b in zip(first, behind, strict=True):
            changed = sum(templates(int(c), int(c) + 1)[k] for c in chain.whole[a:b])
            expected.append(changed @ precision @ changed)
            pulled.append(changed @ weighed.pull)
        assert weighing.run_precision(first, behind) == pytest.approx(expected, rel=1e-8)
        sums = [weighing.pull[a:b].sum() for a, b in zip(first, behind, strict=True)]
        assert sums == pytest.approx(pulled, rel=1e-8)


def templates(first: int, behind: int) -> list[np.ndarray]:
    """Steps changed by a run of courses from 0: wider bricks, joints, or bricks about their middles."""
    edges = np.zeros(2 * N)
    edges[2 * first : 2 * behind : 2] = -0.5
    edges[2 * first + 1 : 2 * behind : 2] = 0.5
    bricks, joints = np.zeros(2 * N - 1), np.zeros(2 * N - 1)
    bricks[2 * first : 2 * behind : 2] = 1.0
    joints[2 * first + 1 : 2 * behind : 2] = 1.0
    return [bricks, joints, np.diff(edges)]


def test_few_courses_show_no_rhythm() -> None:
    chain = chain_of(edges_of(0))
    few = EdgeChain(
        chain.step_mm, chain.edge_mm2, chain.own_mm2, chain.usual, chain.stiffness, chain.whole[:11]
    )
    assert other_rhythms(few) == ()


@pytest.mark.parametrize("laid", [Laid.BRICKS, Laid.BRICKS_IN_PITCH])
def test_a_run_at_the_end_of_the_chain_is_found(laid: Laid) -> None:
    edges = edges_of(2, sigma_mm=0.7)
    for course in range(N - 10, N):
        if laid is Laid.BRICKS_IN_PITCH:
            edges[2 * course : 2 * course + 2] += [-2.5, 2.5]
        else:
            edges[2 * course + 1 :] += 5.0
    (found,) = other_rhythms(chain_of(edges, 0.7))
    assert found.laid is laid
    assert abs(found.first - (N - 9)) <= 1
    assert found.last >= N - 2


def test_the_last_course_has_no_joint_to_share_in_a_run_of_joints() -> None:
    edges = edges_of(3, sigma_mm=0.5)
    for course in range(N - 6, N - 1):
        edges[2 * course + 2 :] += 14.0
    found = other_rhythms(chain_of(edges, 0.5))
    assert [(run.laid, run.first) for run in found] == [(Laid.JOINTS, N - 5)]


@pytest.mark.parametrize("seed", range(8))
def test_several_joints_very_wide_in_a_row_are_a_run_and_not_misreadings(seed: int) -> None:
    edges = edges_of(seed, sigma_mm=0.5)
    for course in range(50, 55):
        edges[2 * course + 2 :] += 14.0
    (found,) = other_rhythms(chain_of(edges))
    assert (found.laid, found.first) == (Laid.JOINTS, 51)
    assert 55 <= found.last <= 57
