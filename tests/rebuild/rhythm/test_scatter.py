"""Scatter of the joints about their pattern: told of the measured ones alone, with what readings hide."""

from __future__ import annotations

import numpy as np
import pytest
from rebuild.factory import edge_survey, fit, lay, notes_from, record, ring
from scipy.stats import chi2

from survey.curves import curve_of, segmental
from survey.rebuild import plan_rebuild
from survey.rebuild.rhythm.pattern import JointScatter, find_pattern
from survey.record.model import Condition

SHAPE = segmental(2400.0, 400.0)
LINE = curve_of(SHAPE)


def test_the_bounds_are_those_of_chi_squared() -> None:
    """Against scipy.stats: (s^2 + u^2) chi^2 with n - p degrees of freedom."""
    rest, sigma = np.random.default_rng(1).normal(0.0, 1.3, 20), np.full(20, 0.5)
    scatter = JointScatter.of(rest, sigma, 3)
    squares = float(rest @ rest)
    assert scatter.own_mm == pytest.approx(np.sqrt(squares / 17 - 0.25))
    assert scatter.most_mm == pytest.approx(np.sqrt(squares / chi2.ppf(0.05, 17) - 0.25))
    assert scatter.shows == (squares / chi2.ppf(0.95, 17) > 0.25)
    assert scatter.shows
    assert (scatter.reading_mm, scatter.n_joints) == (0.5, 20)


@pytest.mark.parametrize(("own", "reading"), [(1.0, 0.5), (0.5, 1.4)])
def test_the_bound_holds_and_readings_alone_do_not_show_as_scatter(own: float, reading: float) -> None:
    """Over 600 rings of 16 joints: the bound holds in 95 % of them, within three binomial deviations."""
    rng = np.random.default_rng(7)
    error = np.full(16, reading)
    joints = 10.0 + rng.normal(0.0, np.hypot(own, reading), (600, 16))
    found = [JointScatter.of(j - j.mean(), error, 1) for j in joints]
    held = np.mean([scatter.most_mm >= own for scatter in found])
    assert held == pytest.approx(0.95, abs=3.0 * np.sqrt(0.95 * 0.05 / 600))
    alike = 10.0 + rng.normal(0.0, reading, (600, 16))
    shown = np.mean([JointScatter.of(j - j.mean(), error, 1).shows for j in alike])
    assert shown == pytest.approx(0.05, abs=3.0 * np.sqrt(0.95 * 0.05 / 600))


def test_a_single_joint_has_no_scatter() -> None:
    joint = np.full(10, np.nan)
    joint[3] = 9.0
    scatter = find_pattern(joint, np.full(10, 1.0), default_mm=10.0).scatter
    assert (scatter.most_mm, scatter.shows, scatter.n_joints) == (np.inf, False, 1)


def told_of(there: np.ndarray, joint_scatter_mm: float, sigma_mm: float) -> str:
    """What is said of a ring of which some courses were surveyed, the others being there too."""
    rng = np.random.default_rng(5)
    laid = lay(LINE.length_mm, np.full(43, 50.0), 10.0 + rng.normal(0.0, joint_scatter_mm, 44))
    points = edge_survey(LINE, laid, there=there, sigma_mm=sigma_mm, noise=rng)
    rec = record((ring(1, 43),), points=points)
    return next(n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes if n.startswith("Ring 1: bricks of"))


def test_of_joints_mostly_inferred_only_the_measured_ones_are_spoken_of() -> None:
    """Read within 1.5 mm on either side, a scatter of half a millimetre cannot be seen: none is claimed."""
    there = np.arange(43) % 3 != 2
    told = told_of(there, 0.5, 1.5)
    measured = int(there[0]) + int(there[-1]) + int((there[:-1] & there[1:]).sum())
    assert f"scatter of the {measured} measured joints about that hidden by reading errors of 2.1 mm" in told
    assert f"{44 - measured} of 44 joints are inferred." in told


def test_scatter_that_shows_is_told_with_how_many_joints_tell_it() -> None:
    there = np.arange(43) % 3 != 2
    told = told_of(there, 2.0, 0.2)
    measured = int(there[0]) + int(there[-1]) + int((there[:-1] & there[1:]).sum())
    (words,) = [part for part in told.split("; ") if "measured joints" in part]
    figure = float(words.split(" mm of scatter of ")[0])
    assert words.split(" mm of scatter of ")[1].startswith(f"the {measured} measured joints about that")
    assert 1.2 < figure < 3.2  # 2 mm, by some fifteen joints


def test_two_joints_are_too_few_to_tell() -> None:
    laid = lay(LINE.length_mm, np.full(43, 50.0), np.full(44, 10.0))
    notes = notes_from(laid)[1:2]  # course 1, and the joint after it
    rec = record((ring(1, 43),), courses=notes)
    assert notes[0].condition is Condition.SOUND
    told = next(n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes if n.startswith("Ring 1: bricks of"))
    assert "too few joints were measured to tell their scatter about that" in told
