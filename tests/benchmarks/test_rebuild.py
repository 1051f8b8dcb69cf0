"""How long a plan takes: 160 courses and three rings, and replanning after one laid brick."""

from __future__ import annotations

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from rebuild.factory import edge_survey, fit, joined, lay, lines_of, notes_from, record, ring

from survey.curves import elliptical
from survey.fitting.result import ArchFit
from survey.rebuild import plan_rebuild, replan
from survey.record.model import Edge, JointLimits, LaidMark, Record

COURSES = 160


def large_arch(*, edges: bool = False, missing: tuple[int, ...] = ()) -> tuple[Record, ArchFit]:
    """An ellipse of 8 m with three rings of 160 courses each, noted course by course."""
    shape = elliptical(8000.0, 2800.0)
    rings = tuple(
        ring(k, COURSES, depth_mm=120.0, brick_width_mm=52.0 + 2.0 * k, collar_mm=10.0) for k in (1, 2, 3)
    )
    lines = lines_of(shape, rings)
    along = 1.0 + 0.3 * np.abs(np.linspace(-1.0, 1.0, COURSES + 1))
    laid = [
        lay(line.length_mm, np.full(COURSES, one.brick_width_mm), along)
        for one, line in zip(rings, lines, strict=True)
    ]
    notes = tuple(
        n
        for one, built in zip(rings, laid, strict=True)
        for n in notes_from(built, ring=one.ring, missing=missing)
    )
    there = ~np.isin(np.arange(1, COURSES + 1), missing)
    surveys = [
        edge_survey(line, built, ring=one.ring, there=there, noise=np.random.default_rng(one.ring))
        for one, line, built in zip(rings, lines, laid, strict=True)
    ]
    rec = record(
        rings,
        courses=notes,
        points=joined(*surveys) if edges else None,
        joints=JointLimits(3.0, 24.0, 60.0),
    )
    return rec, fit(shape, rec)


@pytest.mark.parametrize("edges", [False, True], ids=["by rule", "by rule and survey"])
def test_whole_plan(benchmark: BenchmarkFixture, edges: bool) -> None:
    rec, arch_fit = large_arch(edges=edges)
    plan = benchmark(plan_rebuild, rec, arch_fit)
    assert not plan.refusals
    assert len(plan.bricks) == 3 * COURSES


def test_repair_plan(benchmark: BenchmarkFixture) -> None:
    rec, arch_fit = large_arch(edges=True, missing=tuple(range(40, 55)))
    plan = benchmark(plan_rebuild, rec, arch_fit)
    assert sum(b.source == "new" for b in plan.bricks) == 3 * 15


def test_replanning_after_one_brick(benchmark: BenchmarkFixture) -> None:
    rec, arch_fit = large_arch()
    plan = plan_rebuild(rec, arch_fit)
    mark = LaidMark(1, 1, Edge.RIGHT, plan.bricks[0].station_end_mm + 1.0, 2)
    again = benchmark(replan, plan, [mark])
    assert [b.course for b in again.bricks if b.laid] == [1]
