"""The flaws put into simulated arches are what they say."""

from __future__ import annotations

import numpy as np
import pytest
from recovery.flaws import (
    LENGTH,
    STEP_MM,
    Flaw,
    Flawed,
    dropped,
    flawed,
    leaning,
    rejointed,
    relaid,
    sag_mm,
    sagging,
    still_arch,
    true_curve,
)
from recovery.simulated import SimulatedArch

from survey.condition.result import Pattern
from survey.fitting.result import Estimate
from survey.record.model import Edge, Feature


def moved(arch: SimulatedArch, put: Flawed) -> tuple[np.ndarray, np.ndarray]:
    """How far every point went outwards, and along the curve."""
    curve, origin = true_curve(arch)
    a, b = (curve.locate(r.points.xy_mm - origin) for r in (arch.record, put.record))
    return b.distance_mm - a.distance_mm, b.station_mm - a.station_mm


@pytest.mark.parametrize("flaw", [Flaw.DROPPED, Flaw.PATCH, Flaw.SLIGHT_PATCH])
def test_a_patch_is_off_by_one_amount_and_nothing_else_is(flaw: Flaw) -> None:
    arch = still_arch(3)
    put = flawed(arch, flaw, 3)
    assert put.last - put.first + 1 == LENGTH[flaw]
    out, along = moved(arch, put)
    points = arch.record.points
    inside = (points.course >= put.first) & (points.course <= put.last) & (points.ring == 1)
    assert np.abs(out[inside]) == pytest.approx(STEP_MM[flaw], abs=1e-6)
    assert np.abs(out[~inside]).max() == 0.0
    assert np.abs(along).max() < 1e-6
    if flaw is Flaw.DROPPED:
        assert (out[inside] < 0).all()


def test_other_joints_leave_the_arch_closed() -> None:
    arch = still_arch(4, gaps=False)
    put = rejointed(arch, 10, 4.0, 4)
    out, along = moved(arch, put)
    points = arch.record.points
    on = points.on(Feature.INTRADOS) & (points.ring == 1)
    slid = np.array([along[on & (points.course == c)].mean() for c in range(1, arch.n_courses + 1)])
    wider = np.diff(np.concatenate([[0.0], slid, [0.0]]))
    n = arch.n_courses + 1
    expected = np.full(n, -40.0 / n)
    expected[put.first : put.last + 1] += 4.0
    assert wider == pytest.approx(expected, abs=1e-5)
    assert np.abs(out).max() < 1e-6


def test_another_lot_changes_widths_about_their_middles() -> None:
    arch = still_arch(5)
    put = flawed(arch, Flaw.LOT, 5)
    _, along = moved(arch, put)
    points = arch.record.points
    on = points.on(Feature.INTRADOS) & (points.ring == 1)
    inside = on & (points.course >= put.first) & (points.course <= put.last)
    left = np.asarray(points.edge == Edge.LEFT, dtype=bool)
    step = along[inside & ~left] - along[inside & left]
    assert np.abs(step) == pytest.approx(STEP_MM[Flaw.LOT], abs=1e-6)
    assert along[inside & ~left] == pytest.approx(-along[inside & left], abs=1e-6)
    assert np.abs(along[on & ~inside]).max() == 0.0


def test_a_sag_hangs_deepest_at_the_crown_and_meets_the_curve_without_a_kink() -> None:
    arch = still_arch(6)
    share = np.linspace(0.0, 1.0, 2001)
    hangs = sag_mm(arch, share)
    assert hangs.max() == hangs[1000] == pytest.approx(max(0.008 * arch.shape.span_mm, 12.0))
    assert hangs[share <= 0.25].max() == hangs[share >= 0.75].max() == 0.0
    slope = np.gradient(hangs, share)
    assert np.abs(np.diff(slope)).max() < 0.02 * np.abs(slope).max()
    out, _ = moved(arch, flawed(arch, Flaw.SAG, 6))
    assert out.max() <= 1e-9
    assert out.min() < -0.9 * hangs.max()


def test_a_twist_is_beyond_any_plane_and_a_lean_is_not() -> None:
    arch = still_arch(7)
    left = []
    for record in (flawed(arch, Flaw.TWIST, 7).record, leaning(arch, 7)):
        assert record.has_depth
        plane = np.column_stack([np.ones(len(record.points)), record.points.xy_mm])
        w = record.points.w_mm
        left.append(float(np.std(w - plane @ np.linalg.lstsq(plane, w, rcond=None)[0])))
    assert left[0] > 2.0
    assert left[1] == pytest.approx(1.5, rel=0.2)


def test_unlevel_springings_differ_by_what_is_said() -> None:
    arch = still_arch(8)
    points = flawed(arch, Flaw.UNLEVEL, 8).record.points
    on = points.on(Feature.SPRINGING)
    sides = (np.asarray(points.edge == edge, dtype=bool) for edge in (Edge.LEFT, Edge.RIGHT))
    left, right = (points.xy_mm[on & side][0] for side in sides)
    # Each is read to the arch's sigma and has an irregularity of its own.
    assert abs(left[1] - right[1]) == pytest.approx(max(0.012 * arch.shape.span_mm, 20.0), abs=10.0)


def test_a_course_dropped_and_bricks_relaid_are_as_large_as_asked_for() -> None:
    arch = still_arch(9, gaps=False)
    points = arch.record.points
    put = dropped(arch, -9.0, 9)
    out, _ = moved(arch, put)
    inside = (points.course == put.first) & (points.ring == 1)
    assert out[inside] == pytest.approx(np.full(np.count_nonzero(inside), -9.0), abs=1e-6)
    put = relaid(arch, 7, 3.0, 9)
    _, along = moved(arch, put)
    assert put.last - put.first == 6
    assert np.abs(along).max() == pytest.approx(1.5, abs=1e-6)
    half, _ = moved(arch, sagging(arch, 0.5))
    whole, _ = moved(arch, sagging(arch, 1.0))
    assert 2.0 * half == pytest.approx(whole, abs=1e-5)


def test_a_run_is_told_by_a_pattern_that_shares_half_of_both() -> None:
    put = Flawed(still_arch(1).record, frozenset({"repair patch"}), 20, 27)

    def named(name: str, first: int, last: int) -> Pattern:
        return Pattern(name, "", 1, first, last, Estimate(5.0, 1.0), 4.0)

    assert put.is_told_by(named("repair patch", 20, 27))
    assert put.is_told_by(named("repair patch", 22, 29))
    assert not put.is_told_by(named("repair patch", 24, 31))
    assert not put.is_told_by(named("repair patch", 1, 60))
    assert not put.is_told_by(named("smooth sag", 20, 27))
    single = Flawed(put.record, frozenset({"dropped course"}), 20, 20)
    assert single.is_told_by(named("dropped course", 22, 22))
    assert not single.is_told_by(named("dropped course", 23, 23))
    assert Flawed(put.record, frozenset({"smooth sag"})).is_told_by(named("smooth sag", 5, 9))
