"""How long the whole fit of one arch takes: five families, movement, verdict, module and count.

The goal is 250 ms for an arch of 120 points. Times are shown, not asserted (``pytest --benchmark-only``).
"""

from __future__ import annotations

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from recovery.simulated import ArchSpec, TrueMovement, simulate

from survey import curves
from survey.fitting import FitOptions, fit_arch
from survey.record.model import Feature, Record

SHAPES = {
    "semicircular": curves.semicircular(1200.0),
    "segmental": curves.segmental(2400.0, 600.0),
    "elliptical": curves.elliptical(2400.0, 800.0),
    "three-centred": curves.three_centred_sixty(2400.0, 850.0),
    "five-centred": curves.five_centred(2400.0, 850.0, 650.0),
}
SPREAD = TrueMovement(spread_mm=24.0, crown_hinge_ratio=0.45)
SUNK = TrueMovement(24.0, -12.0, 0.45, 0.18, 0.0)


def record_of(name: str, movement: TrueMovement | None) -> Record:
    """An arch of 60 courses: 120 edges and two springing points."""
    record = simulate(ArchSpec(SHAPES[name], n_courses=60, movement=movement), seed=3).record
    assert record.points.on(Feature.INTRADOS).sum() == 120
    return record


@pytest.mark.parametrize("movement", [None, SPREAD, SUNK], ids=["still", "spread", "sunk"])
@pytest.mark.parametrize("name", SHAPES)
def test_fit_arch(benchmark: BenchmarkFixture, name: str, movement: TrueMovement | None) -> None:
    fit = benchmark(fit_arch, record_of(name, movement))
    assert fit.verdict.family is SHAPES[name].family


def test_fit_without_movement(benchmark: BenchmarkFixture) -> None:
    fit = benchmark(fit_arch, record_of("elliptical", None), FitOptions(movement=False))
    assert fit.verdict.family is SHAPES["elliptical"].family
