"""The soffit of a repair: the smoothing spline against an independent one, and the choice of its wave."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_smoothing_spline

from survey.curves import curve_of, segmental
from survey.errors import PlanError
from survey.rebuild.repair_soffit import FlushPoint, SoffitReadings, repair_curve, smooth, wave_mm

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


@pytest.mark.parametrize(
    ("sigma", "irregularity", "expected"),
    [(0.0, 1.0, 360.0), (1.0, 0.0, 1800.0), (5.0, 0.1, 1800.0), (0.1, 3.0, 360.0)],
)
def test_the_wave_stays_between_its_bounds(sigma: float, irregularity: float, expected: float) -> None:
    assert wave_mm(60.0, sigma**2 * 60.0, irregularity, 180.0) == expected


def test_the_wave_is_where_irregularity_and_errors_are_equally_strong() -> None:
    pitch, sigma, sd, length = 60.0, 1.06, 1.0, 180.0
    w = 2.0 * np.pi / wave_mm(pitch, sigma**2 * pitch, sd, length)
    assert 2.0 * sd**2 * length / (1.0 + (w * length) ** 2) == pytest.approx(sigma**2 * pitch)


def test_the_soffit_passes_through_the_corners_beside_a_gap() -> None:
    rng = np.random.default_rng(1)
    station = np.concatenate([np.arange(30.0, 900.0, 60.0), np.arange(1500.0, 2560.0, 60.0)])
    deviation = 4.0 * np.sin(station / 800.0) + rng.normal(0.0, 1.0, station.size)
    readings = SoffitReadings(station, deviation, np.ones(station.size))
    flush = (FlushPoint(895.0, 5.5, 50.0, 240.0), FlushPoint(1475.0, 2.0, 240.0, 50.0))
    curve = repair_curve(BASE, readings, flush, wave_mm=540.0, step_mm=30.0)
    for point in flush:
        corner = BASE.point(point.station_mm) + point.deviation_mm * BASE.normal(point.station_mm)
        assert curve.locate(corner[None]).distance_mm == pytest.approx([0.0], abs=1e-6)
    middle = np.linspace(900.0, 1470.0, 50)
    off = BASE.locate(curve.point(np.linspace(900.0, 1470.0, 50))).distance_mm
    assert np.abs(off - 4.0 * np.sin(middle / 800.0)).max() < 3.0


def test_a_correction_fades_smoothly() -> None:
    point = FlushPoint(100.0, 1.0, 50.0, 200.0)
    at = np.array([49.0, 50.0, 75.0, 100.0, 200.0, 300.0, 301.0])
    assert point.share(at) == pytest.approx([0.0, 0.0, 0.5, 1.0, 0.5, 0.0, 0.0])
