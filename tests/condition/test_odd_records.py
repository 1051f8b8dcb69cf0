"""Records with next to nothing in them, all alike, all exact, or of an arch without measure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from condition.factory import BOTH, LaidRing, fit_of, record_of

from survey.condition import map_deviations
from survey.condition.patterns.patterns import FEWEST_COURSES
from survey.curves import curve_of, elliptical, segmental, semicircular
from survey.curves.shape import ArchShape
from survey.record.model import Edge

SHAPES = [semicircular(1200.0), segmental(100_000.0, 16_000.0), elliptical(3000.0, 1100.0)]


def laid(shape: ArchShape, n_courses: int, edges: tuple[Edge, ...]) -> LaidRing:
    pitch = curve_of(shape).length_mm / n_courses
    return LaidRing(n_courses, width_mm=0.8 * pitch, edges=edges)


@pytest.mark.parametrize("edges", [BOTH, (Edge.LEFT,), (Edge.RIGHT,), (Edge.MID,)])
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("n_courses", [4, 5, 7, 10, 13, 36, 72])
def test_courses_laid_all_alike_show_nothing(
    shape: ArchShape, n_courses: int, edges: tuple[Edge, ...]
) -> None:
    record = record_of(shape, [laid(shape, n_courses, edges)])
    map_ = map_deviations(record, fit_of(record, shape))
    assert len(map_.courses) == n_courses
    assert np.abs(map_.column(1, "deviation_mm")).max() < 1e-6
    assert map_.patterns == ()
    assert map_.worst == ()


@pytest.mark.parametrize("sigma_mm", [1e-6, 1.0])
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("n_courses", [4, 10, 13, 18, 36])
def test_scattered_courses_are_weighed_by_finite_evidence(
    shape: ArchShape, n_courses: int, sigma_mm: float
) -> None:
    rng = np.random.default_rng(n_courses)
    off = dict(enumerate(rng.normal(0, 30.0, n_courses).tolist(), 1))
    ring = replace(laid(shape, n_courses, BOTH), deviation_mm=off, w_mm=off)
    record = record_of(shape, [ring], sigma_mm=sigma_mm)
    patterns = map_deviations(record, fit_of(record, shape)).patterns
    assert all(np.isfinite([p.evidence, p.size_mm.value, p.size_mm.sigma]).all() for p in patterns)
    if n_courses < FEWEST_COURSES:
        assert patterns == ()
