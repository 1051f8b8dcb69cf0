"""The best a spread can be told: errors as wide as said, none without errors, refused for a still arch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.oracle import oracle_spread
from recovery.simulated import ArchSpec, TrueMovement, simulate

from survey import curves

SPEC = ArchSpec(
    curves.elliptical(2400.0, 800.0),
    n_courses=60,
    movement=TrueMovement(20.0, -8.0, 0.45, 0.0, 0.18, crown_hinge_at_back=True),
)


def test_without_errors_there_is_none() -> None:
    exact = replace(SPEC, point_sigma_mm=1e-6, irregularity_mm=1e-6, gross_ratio=0.0)
    assert abs(oracle_spread(simulate(exact, 3)).error_mm) < 1e-3


def test_errors_scatter_as_much_as_is_said() -> None:
    told = [oracle_spread(simulate(SPEC, seed)) for seed in range(150)]
    over = np.array([t.error_mm / t.sigma_mm for t in told])
    # 150 squares of unit variance: their mean lies within 4 standard deviations of 1, but rarely.
    assert np.mean(over**2) == pytest.approx(1.0, abs=4 * np.sqrt(2 / 150))
    assert abs(np.mean(over)) < 4 / np.sqrt(150)


def test_a_still_arch_has_no_spread() -> None:
    with pytest.raises(ValueError, match="no spread to tell"):
        oracle_spread(simulate(replace(SPEC, movement=None), 0))
