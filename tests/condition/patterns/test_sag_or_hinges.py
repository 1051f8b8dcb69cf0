"""A smooth sag told from pieces turned about hinges, whatever the fit tells of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, record_of
from condition.test_movement_view import SHAPE as SMALL
from condition.test_movement_view import moved_record, spread_movement
from recovery.flaws import Flaw, flawed
from recovery.simulated import ArchSpec, simulate

from survey.condition import Pattern, map_deviations
from survey.condition.patterns.sag import sag_shapes
from survey.curves import segmental, semicircular
from survey.curves.protocol import Floats
from survey.fitting import fit_arch

SHAPE = semicircular(1500.0)
N = 76


def rough(seed: int, n: int) -> Floats:
    rng = np.random.default_rng(seed)
    value, off = rng.normal(), []
    for _ in range(n):
        off.append(1.2 * value)
        value = 0.72 * value + np.sqrt(1 - 0.72**2) * rng.normal()
    return np.array(off)


def named(off: Mapping[int, float], *, moved: bool) -> list[Pattern]:
    record = record_of(SHAPE, [LaidRing(N, deviation_mm=off)], noise_seed=11)
    movement = replace(spread_movement(), original=replace(spread_movement().original, shape=SHAPE))
    fit = fit_of(
        record,
        SHAPE,
        irregularity_mm=1.2,
        correlation_length_mm=185.0,
        movement=movement if moved else None,
    )
    return [p for p in map_deviations(record, fit).patterns if p.name == "smooth sag"]


@pytest.mark.parametrize("moved", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_a_soffit_that_hangs_at_one_place_is_named_with_or_without_a_movement(seed: int, moved: bool) -> None:
    share = (np.arange(N) + 0.5) / N
    dent = np.where(np.abs(share - 0.5) < 0.25, -7.0 * (1 + np.cos(4 * np.pi * (share - 0.5))), 0.0)
    (pattern,) = named(dict(enumerate(dent + rough(seed, N), 1)), moved=moved)
    assert ("Look for cracks" in pattern.sentence) == moved
    assert ("no kink, so no hinge" in pattern.sentence) != moved
    assert abs((pattern.first_course + pattern.last_course) / 2 - 38.5) < 4


@pytest.mark.parametrize("seed", range(4))
def test_pieces_that_moved_further_than_the_fit_tells_are_no_sag(seed: int) -> None:
    """The fit has their hinge at the wrong place and the movement too small: other places are tried."""
    true = spread_movement(50.0)
    record = moved_record(true)
    off = np.repeat(rough(seed, 51), 2)
    away = record.points.xy_mm[:102] / np.hypot(*record.points.xy_mm[:102].T)[:, None]
    xy = record.points.xy_mm + np.random.default_rng(seed).normal(0, 1.0, record.points.xy_mm.shape)
    xy[:102] += off[:, None] * away
    record = replace(record, points=replace(record.points, xy_mm=xy))
    for told in (spread_movement(15.0), None):
        fit = fit_of(record, SMALL, irregularity_mm=3.0, correlation_length_mm=300.0, movement=told)
        assert [p for p in map_deviations(record, fit).patterns if p.name == "smooth sag"] == []


def test_dents_hang_by_one_and_meet_the_curve_without_a_kink() -> None:
    station = np.linspace(0.0, 3000.0, 601)
    _, dents = sag_shapes(station)
    assert dents.one_way
    dent = dents.atoms[:, :, 0]
    assert dent.min(axis=0) == pytest.approx(-1.0, abs=1e-3)
    assert dent.max() == 0.0
    slope = np.gradient(dent, station, axis=0)
    assert np.abs(np.diff(slope, axis=0)).max() < 0.05 * np.abs(slope).max()


def test_a_sag_the_fit_has_found_is_named_if_it_is_deep_enough() -> None:
    spec = ArchSpec(segmental(2600.0, 700.0), n_courses=61, gross_ratio=0.0, irregularity_mm=0.8)
    record = flawed(simulate(spec, 1), Flaw.SAG, 1).record
    fit = fit_arch(record)
    assert fit.hangs_smoothly > 0.9
    named = [p for p in map_deviations(record, fit).patterns if p.name == "smooth sag"]
    assert len(named) == 1
    shallow = replace(record, tolerances=replace(record.tolerances, intrados_mm=60.0))
    assert not [p for p in map_deviations(shallow, fit).patterns if p.name == "smooth sag"]
