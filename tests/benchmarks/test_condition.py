"""Speed of the deviation map: 160 courses, three rings, soffit and back."""

from __future__ import annotations

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, record_of
from pytest_benchmark.fixture import BenchmarkFixture

from survey.condition import map_deviations
from survey.curves import curve_of, elliptical, semicircular
from survey.curves.shape import ArchShape
from survey.fitting.counting.count import count_courses
from survey.record.model import Feature

BOTH_SURFACES = (Feature.INTRADOS, Feature.EXTRADOS)


@pytest.mark.parametrize(
    "shape", [semicircular(3000.0), elliptical(6200.0, 2600.0)], ids=["circle", "ellipse"]
)
def test_map_of_three_rings_of_160_courses(benchmark: BenchmarkFixture, shape: ArchShape) -> None:
    rings = [
        LaidRing(160, deviation_mm={20: -12.0}),
        LaidRing(160, ring=2, depth_mm=120.0, collar_mm=10.0, surfaces=BOTH_SURFACES),
        LaidRing(160, ring=3, depth_mm=120.0, collar_mm=10.0, surfaces=BOTH_SURFACES),
    ]
    record = record_of(shape, rings, noise_seed=1)
    fit = fit_of(record, shape)
    map_ = benchmark(map_deviations, record, fit)
    assert len(map_.courses) == 480
    assert np.isfinite([c.deviation_mm for c in map_.courses]).all()


def test_count_across_a_gap_of_30_courses(benchmark: BenchmarkFixture) -> None:
    shape = semicircular(3000.0)
    record = record_of(
        shape, [LaidRing(160, surveyed=[c for c in range(1, 161) if not 60 <= c < 90])], noise_seed=1
    )
    (count,) = benchmark(count_courses, record, curve_of(shape), (0.0, 0.0))
    assert count.count == 160
