"""The soffit of a repair: the smoothing spline against an independent one, and the choice of its wave."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_smoothing_spline

from survey.curves import curve_of, segmental
from survey.errors import PlanError
from survey.rebuild.repair.soffit import (
    FlushPoint,
    OldWork,
    SmoothSoffit,
    SoffitReadings,
    repair_curve,
    smooth,
)

BASE = curve_of(segmental(2400.0, 400.0))


@pytest.mark.parametrize("stiffness", [1.0, 1e4, 1e9])
def test_smoothing_agrees_with_an_independent_spline(stiffness: float) -> None:
    rng = np.random.default_rng(0)
    station = np.sort(rng.uniform(0.0, 2574.0, 40))
    value, sigma = rng.normal(0.0, 3.0, 40), rng.uniform(0.5, 2.0, 40)
    independent = make_smoothing_spline(station, value, w=sigma**-2.0, lam=stiffness)(station)
    assert smooth(station, value, sigma, stiffness) == pytest.approx(independent, abs=1e-6)


def test_a_straight_departure_is_not_bent() -> None:
    station = np.linspace(0.0, 2574.0, 30)
    value = 2.0 + 0.003 * station
    assert smooth(station, value, np.ones(30), 1e8) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize("station", [[0.0, 1.0], [0.0, 2.0, 2.0, 3.0]])
def test_too_little_to_smooth(station: list[float]) -> None:
    at = np.array(station)
    with pytest.raises(PlanError, match="three or more standing readings"):
        smooth(at, at, np.ones(at.size), 1.0)


OLD = OldWork(1.2, 150.0, 2.5, 640.0)


def test_one_exact_reading_is_met_and_forgotten_far_away() -> None:
    one = SoffitReadings(np.array([1000.0]), np.array([4.0]), np.array([1e-6]))
    at = np.array([1000.0, 1150.0, 60000.0])
    x = np.sqrt(5.0) * 150.0 / 640.0
    alike = (2.5**2 * (1.0 + x + x * x / 3.0) * np.exp(-x) + 1.2**2 * np.exp(-1.0)) / (2.5**2 + 1.2**2)
    assert one.expected_at(at, OLD) == pytest.approx([4.0, 4.0 * alike, 0.0], abs=1e-6)


def test_expected_departures_minimise_what_they_should() -> None:
    """The likeliest values at the readings themselves minimise misfit plus the prior's quadratic form."""
    rng = np.random.default_rng(3)
    station = np.sort(rng.uniform(0.0, 2574.0, 25))
    value, sigma = rng.normal(0.0, 3.0, 25), rng.uniform(0.5, 2.0, 25)
    found = SoffitReadings(station, value, sigma).expected_at(station, OLD)
    pull = np.linalg.solve(OLD.covariance(station, station), found) + (found - value) / sigma**2
    assert pull == pytest.approx(np.zeros(25), abs=1e-8)


@pytest.mark.parametrize(
    ("deviation", "bend"), [(np.full(9, 0.5), 0.3), (np.array([5.0, -5.0] * 6), np.sqrt(7.413**2 - 1.25))]
)
def test_what_the_irregularity_does_not_explain_is_a_bend(deviation: np.ndarray, bend: float) -> None:
    n = deviation.size
    old = SoffitReadings(np.arange(float(n)), deviation, np.full(n, 0.5)).old_work(1.0, 150.0, 2400.0)
    assert (old.irregularity_mm, old.reach_mm, old.bend_reach_mm) == (1.0, 150.0, 600.0)
    assert old.bend_mm == pytest.approx(bend)


def test_the_soffit_passes_through_the_corners_beside_a_gap() -> None:
    rng = np.random.default_rng(1)
    station = np.concatenate([np.arange(30.0, 900.0, 60.0), np.arange(1500.0, 2560.0, 60.0)])
    deviation = 4.0 * np.sin(station / 800.0) + rng.normal(0.0, 1.0, station.size)
    readings = SoffitReadings(station, deviation, np.ones(station.size))
    soffit = SmoothSoffit.of(readings, OLD, length_mm=BASE.length_mm, pitch_mm=60.0)
    flush = (FlushPoint(895.0, 5.5, 50.0, 180.0), FlushPoint(1475.0, 2.0, 180.0, 50.0))
    curve = repair_curve(BASE, soffit, flush)
    for point in flush:
        corner = BASE.point(point.station_mm) + point.deviation_mm * BASE.normal(point.station_mm)
        assert curve.locate(corner[None]).distance_mm == pytest.approx([0.0], abs=1e-6)
    middle = np.linspace(1100.0, 1270.0, 50)
    off = BASE.locate(curve.point(curve.station_over(middle))).distance_mm
    assert np.abs(off - 4.0 * np.sin(middle / 800.0)).max() < 2.0


def test_a_gap_keeps_the_long_bend_and_drops_the_roughness() -> None:
    """Half a wave of 6 mm over the arch is carried across a gap; a course out of line fades in it."""
    station = np.concatenate([np.arange(30.0, 900.0, 60.0), np.arange(1500.0, 2560.0, 60.0)])
    deviation = 6.0 * np.sin(np.pi * station / 2574.0)
    rough = deviation + 3.0 * (station == 870.0)
    even, lifted = (
        SmoothSoffit.of(
            SoffitReadings(station, d, np.full(station.size, 0.7)),
            OldWork(1.0, 60.0, 4.0, 640.0),
            length_mm=BASE.length_mm,
            pitch_mm=60.0,
        )
        for d in (deviation, rough)
    )
    middle = np.linspace(1000.0, 1400.0, 20)
    assert even.at(middle) == pytest.approx(6.0 * np.sin(np.pi * middle / 2574.0), abs=0.4)
    change = lifted.at(middle) - even.at(middle)
    assert 0.0 < change[-1] < change[0] < 2.0


def test_a_correction_fades_smoothly() -> None:
    point = FlushPoint(100.0, 1.0, 50.0, 200.0)
    at = np.array([49.0, 50.0, 75.0, 100.0, 200.0, 300.0, 301.0])
    assert point.share(at) == pytest.approx([0.0, 0.0, 0.5, 1.0, 0.5, 0.0, 0.0])
