"""Joints that close: checked against the conditions of optimality and an independent optimiser."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from survey.errors import PlanError
from survey.rebuild.layout.spacing import spread_joints

lengths = st.floats(0.5, 40.0)


@st.composite
def problems(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, float]:
    """Target, limits, weights and a total within reach."""
    n = draw(st.integers(1, 60))
    rows = draw(st.lists(st.tuples(lengths, lengths, lengths, st.floats(0.1, 10.0)), min_size=n, max_size=n))
    target, a, b, weight = (np.array(column) for column in zip(*rows, strict=True))
    low, high = np.minimum(a, b), np.maximum(a, b)
    share = draw(st.floats(0.0, 1.0))
    return target, low, high, weight, float(low.sum() + share * (high.sum() - low.sum()))


@given(problems())
def test_spread_meets_the_conditions_of_optimality(problem: tuple) -> None:
    """Sum and limits hold, and one multiplier explains every joint."""
    target, low, high, weight, total = problem
    spread = spread_joints(target, total, min_mm=low, max_mm=high, weight=weight)
    joints = spread.joints_mm
    assert spread.fits
    assert joints.sum() == pytest.approx(total, abs=1e-8)
    assert (joints >= low).all()
    assert (joints <= high).all()
    pull = weight * (
        joints - target
    )  # equals the multiplier where free, no less at a least, no more at a greatest
    assert pull[joints > low].max(initial=-np.inf) <= pull[joints < high].min(initial=np.inf) + 1e-7


@pytest.mark.parametrize("seed", range(6))
def test_spread_agrees_with_a_general_optimiser(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = 12
    target, low, high = rng.uniform(6, 14, n), np.full(n, 4.0), np.full(n, 13.0)
    weight = rng.uniform(0.5, 3.0, n)
    total = float(rng.uniform(90, 145))
    found = minimize(
        lambda j: np.sum(weight * (j - target) ** 2),
        np.full(n, total / n),
        bounds=list(zip(low, high, strict=True)),
        constraints={"type": "eq", "fun": lambda j: j.sum() - total},
        method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 500},
    )
    ours = spread_joints(target, total, min_mm=low, max_mm=high, weight=weight).joints_mm
    assert ours == pytest.approx(found.x, abs=2e-5)  # the optimiser's own stopping tolerance


def test_mirrored_targets_give_mirrored_joints() -> None:
    target = np.array([12.0, 9.0, 7.0, 9.0, 12.0])
    joints = spread_joints(target, 55.0, min_mm=5.0, max_mm=12.5).joints_mm
    assert np.array_equal(joints, joints[::-1])


@pytest.mark.parametrize(("total", "missing"), [(30.0, 10.0), (90.0, -10.0), (-4.0, 44.0)])
def test_what_cannot_fit_is_laid_out_evenly_and_says_by_how_much(total: float, missing: float) -> None:
    spread = spread_joints(np.full(10, 6.0), total, min_mm=4.0, max_mm=8.0)
    assert not spread.fits
    assert spread.missing_mm == pytest.approx(missing)
    assert spread.joints_mm == pytest.approx(np.full(10, total / 10))


@pytest.mark.parametrize(
    ("target", "weight", "low", "message"),
    [
        ([], 1.0, 4.0, "no joint to spread"),
        ([8.0, 8.0], [1.0, 0.0], 4.0, "weight is not positive"),
        ([8.0, 8.0], 1.0, [4.0, 21.0], "joint 1: the least width 21.00 mm is above the greatest 20.00 mm"),
    ],
)
def test_refusals(target: list[float], weight: object, low: object, message: str) -> None:
    with pytest.raises(PlanError, match=message):
        spread_joints(target, 16.0, min_mm=low, max_mm=20.0, weight=weight)
