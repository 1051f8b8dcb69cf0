"""Collar joints: estimated where arch.toml gives none, told where they cannot be, doubted if they clash."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, record_of

from survey.condition import map_deviations
from survey.curves import semicircular
from survey.fitting import fit_arch
from survey.fitting.collars import FittedIntrados, find_collars, with_collars, with_found_collars
from survey.fitting.result import Collar
from survey.fitting.solving.noise import Scatter
from survey.rebuild import plan_rebuild
from survey.record.model import Edge, Feature, Record

SHAPE = semicircular(1500.0)
DEPTH_MM = 230.0


def two_rings(*, true_mm: float, given_mm: float | None, noise_seed: int | None = None, **of_ring_2: object):
    """A semicircle with a second ring ``true_mm`` of mortar outside the first."""
    rings = [
        LaidRing(73, 55.0, depth_mm=DEPTH_MM),
        LaidRing(83, 55.0, ring=2, depth_mm=DEPTH_MM, collar_mm=true_mm, **of_ring_2),
    ]
    return given(record_of(SHAPE, rings, sigma_mm=1.5, noise_seed=noise_seed), given_mm)


def given(record: Record, *collars_mm: float | None) -> Record:
    """The record with what arch.toml gives of the collar joints from ring 2 outwards."""
    rings = [record.rings[0]]
    for ring, mm in zip(record.rings[1:], collars_mm, strict=True):
        rings.append(dataclasses.replace(ring, collar_mm=mm or 0.0, collar_given=mm is not None))
    return dataclasses.replace(record, rings=tuple(rings))


def collars_of(record: Record) -> tuple[Collar, ...]:
    """By the true curve, known to half a millimetre."""
    fit = fit_of(record, SHAPE)
    return find_collars(record, FittedIntrados(fit.best, None, fit.origin_mm, Scatter(1.0, 150.0)))


@pytest.fixture(scope="module")
def measured() -> Record:
    return two_rings(true_mm=10.0, given_mm=None, noise_seed=4)


def test_a_collar_joint_not_given_is_found_and_used_in_every_room(measured: Record) -> None:
    fit = fit_arch(measured)
    (collar,) = fit.collars
    assert collar.measured is not None
    assert abs(collar.used_mm - 10.0) < 3.0 * collar.measured.sigma < 3.0
    assert (collar.given_mm, collar.n_points, collar.doubtful) == (None, 166, False)
    told = f"collar_joint of ring 2 is not given: {collar.used_mm:.1f} mm"
    assert sum(note.startswith(told) for note in fit.notes) == 1
    off = np.array([c.deviation_mm for c in map_deviations(measured, fit).ring(2)])
    assert abs(off.mean()) < 1.0
    plan = plan_rebuild(measured, fit)
    assert plan.rings[1].depth_gauge_mm == pytest.approx(2 * DEPTH_MM + collar.used_mm)
    mortar = next(q for q in plan.quantities if "collar" in q.item)
    assert mortar.amount > 0.0
    assert f"{collar.used_mm:.1f} mm thick by the survey, not recorded" in mortar.note
    assert not any("collar" in warning for warning in plan.warnings)


def test_one_given_stands_and_changes_nothing(measured: Record) -> None:
    record = given(measured, 10.0)
    (collar,) = collars_of(record)
    assert (collar.used_mm, collar.given_mm, collar.told, collar.doubtful) == (10.0, 10.0, "", False)
    assert with_collars(record, (collar,)) is record


def test_one_the_survey_contradicts_stands_with_a_doubt() -> None:
    record = two_rings(true_mm=22.0, given_mm=10.0)
    fit = fit_arch(record)
    (collar,) = fit.collars
    assert collar.doubtful
    assert collar.used_mm == 10.0
    assert (
        "gives ring 2 a collar_joint of 10.0 mm, but 166 points of that ring make it 22.0 mm" in collar.told
    )
    assert collar.told in fit.notes
    assert collar.told in plan_rebuild(record, fit).warnings


def test_a_difference_within_the_uncertainty_is_no_doubt() -> None:
    (collar,) = collars_of(two_rings(true_mm=12.5, given_mm=10.0))
    assert (collar.told, collar.doubtful) == ("", False)


@pytest.mark.parametrize("surveyed", [[], [40]])
def test_one_that_cannot_be_told_is_nought_with_a_warning(surveyed: list[int]) -> None:
    record = two_rings(true_mm=10.0, given_mm=None, surveyed=surveyed)
    (collar,) = collars_of(record)
    assert (collar.used_mm, collar.measured, collar.doubtful) == (0.0, None, True)
    assert f"{2 * len(surveyed)} points surveyed of that ring cannot tell it: taken as 0 mm" in collar.told


def test_an_estimate_too_vague_is_none() -> None:
    far = {k: 40.0 * (-1) ** k for k in range(38, 42)}
    record = two_rings(true_mm=10.0, given_mm=None, surveyed=[38, 39, 40, 41], deviation_mm=far)
    (collar,) = collars_of(record)
    assert (collar.used_mm, collar.measured, collar.doubtful) == (0.0, None, True)


@pytest.mark.parametrize("true_mm", [-30.0, 70.0])
def test_what_is_no_collar_joint_is_not_taken_for_one(true_mm: float) -> None:
    (collar,) = collars_of(two_rings(true_mm=true_mm, given_mm=None))
    assert (collar.used_mm, collar.doubtful) == (0.0, True)
    assert f"it would be {true_mm:.1f} mm, which is no collar joint" in collar.told


def test_a_joint_a_little_below_nought_is_nought_and_its_measure_told() -> None:
    (collar,) = collars_of(two_rings(true_mm=-0.5, given_mm=None))
    assert (collar.used_mm, collar.doubtful) == (0.0, False)
    assert "0.0 mm (-0.5 mm by measurement)" in collar.told


def test_gross_points_do_not_draw_the_estimate(measured: Record) -> None:
    of_ring = np.flatnonzero(measured.points.ring == 2)[::6]
    xy = measured.points.xy_mm.copy()
    xy[of_ring] *= 1.1
    record = dataclasses.replace(measured, points=dataclasses.replace(measured.points, xy_mm=xy))
    assert collars_of(record)[0].used_mm == pytest.approx(collars_of(measured)[0].used_mm, abs=0.6)


def test_the_back_of_a_ring_tells_it_where_the_soffit_was_not_surveyed() -> None:
    record = two_rings(true_mm=9.0, given_mm=None, surfaces=[Feature.EXTRADOS], edges=(Edge.MID,))
    (collar,) = collars_of(record)
    assert (collar.used_mm, collar.n_points) == (pytest.approx(9.0, abs=1e-6), 83)


def test_a_third_ring_is_measured_from_the_second_as_it_was_found() -> None:
    rings = [
        LaidRing(73, 55.0, depth_mm=DEPTH_MM),
        LaidRing(83, 55.0, ring=2, depth_mm=DEPTH_MM, collar_mm=10.0),
        LaidRing(93, 55.0, ring=3, depth_mm=120.0, collar_mm=14.0),
    ]
    record = given(record_of(SHAPE, rings), None, None)
    second, third = collars_of(record)
    assert (second.used_mm, third.used_mm) == pytest.approx((10.0, 14.0), abs=1e-6)
    assert second.measured is not None
    assert third.measured is not None
    assert third.measured.sigma > second.measured.sigma
    fit = dataclasses.replace(fit_of(record, SHAPE), collars=(second, third))
    assert [r.collar_mm for r in with_found_collars(record, fit).rings] == pytest.approx([0.0, 10.0, 14.0])


def test_the_uncertainty_holds_over_noise() -> None:
    """Estimates of many surveys scatter as much as is said of the points alone, within a third."""
    found = [collars_of(two_rings(true_mm=10.0, given_mm=None, noise_seed=seed))[0] for seed in range(60)]
    off = np.array([c.used_mm - 10.0 for c in found])
    # the curve is the true one in every survey: only the points' own share of the variance is at work
    own = np.sqrt(np.pi / 2.0 / 166.0) * 1.5
    assert off.std() == pytest.approx(own, rel=1 / 3)
    assert all(c.measured is not None and c.measured.sigma > own for c in found)


def test_an_arch_of_one_ring_has_none() -> None:
    record = record_of(SHAPE, [LaidRing(73, 55.0, depth_mm=DEPTH_MM)])
    assert collars_of(record) == ()
