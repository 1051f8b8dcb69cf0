"""The soffit of a repair: smooth through the bricks that stand, flush with those beside each gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solveh_banded

from survey.curves.arcs import ChainOfArcs
from survey.curves.displaced import DisplacedCurve
from survey.curves.ellipse import Ellipse, EllipseParallel
from survey.curves.protocol import Floats
from survey.errors import PlanError

SHORTEST_WAVE_COURSES, LONGEST_WAVE_COURSES = 6.0, 30.0
"""Between these the wave is chosen below which the departures of standing bricks are taken for roughness."""
LEAST_STEP_MM = 1.0
"""Nothing fades out faster."""

Base = ChainOfArcs | Ellipse | EllipseParallel


@dataclass(frozen=True, slots=True, eq=False)
class SoffitReadings:
    """Departures (n,) of standing bricks from a base curve, by growing station, each with its uncertainty."""

    station_mm: Floats
    deviation_mm: Floats
    sigma_mm: Floats

    def noise_mm3(self, step_mm: float) -> float:
        """Spectral density of the reading errors: their variance times their spacing outside gaps."""
        steps = np.diff(self.station_mm)
        close = steps[steps <= 1.5 * step_mm]
        spacing_mm = float(close.mean()) if close.size else step_mm
        return float(np.median(self.sigma_mm**2)) * spacing_mm


@dataclass(frozen=True, slots=True)
class FlushPoint:
    """A surveyed corner beside a gap, through which the soffit passes.

    The correction that takes the smooth soffit to the corner fades out over ``before_mm`` towards smaller
    stations and over ``after_mm`` towards greater ones.
    """

    station_mm: float
    deviation_mm: float
    before_mm: float
    after_mm: float

    def share(self, station_mm: Floats) -> Floats:
        """Share (n,) of the correction at stations: 1 at the corner, 0 beyond its fading, smooth between."""
        away = station_mm - self.station_mm
        reach = np.where(away < 0.0, self.before_mm, self.after_mm)
        x = np.clip(np.abs(away) / np.maximum(reach, 1e-9), 0.0, 1.0)
        return np.asarray(1.0 - x**2 * (3.0 - 2.0 * x))


def wave_mm(pitch_mm: float, noise_mm3: float, irregularity_mm: float, correlation_length_mm: float) -> float:
    """Wavelength at which the arch's own irregularity and the reading errors are equally strong.

    Notes
    -----
    The irregularity has the spectrum ``2 t^2 l / (1 + (w l)^2)`` (standard deviation t, correlation length
    l), the readings at every pitch h the flat spectrum ``s^2 h``.
    """
    shortest, longest = SHORTEST_WAVE_COURSES * pitch_mm, LONGEST_WAVE_COURSES * pitch_mm
    if noise_mm3 <= 0.0:
        return shortest
    ratio = 2.0 * irregularity_mm**2 * correlation_length_mm / noise_mm3
    if not ratio > 1.0:
        return longest
    return float(np.clip(2.0 * np.pi * correlation_length_mm / np.sqrt(ratio - 1.0), shortest, longest))


def repair_curve(
    base: Base, readings: SoffitReadings, flush: Sequence[FlushPoint], *, wave_mm: float, step_mm: float
) -> DisplacedCurve:
    """The curve a repair is built to: the base moved smoothly to where the bricks stand.

    Parameters
    ----------
    base : ChainOfArcs, Ellipse or EllipseParallel
        The fitted inner curve of the ring.
    readings : SoffitReadings
    flush : sequence of FlushPoint
    wave_mm : float
        Departures of standing bricks shorter than this are taken for roughness and not followed.
    step_mm : float
        Greatest distance of the stations at which the displacement is given.

    Raises
    ------
    PlanError
        When fewer than three readings are given.

    Notes
    -----
    The displacement is the smoothing spline that minimises ``sum ((g - d) / s)^2 + k int g''^2``; for
    readings at every pitch h it passes a wave of angular frequency w by the share ``1 / (1 + k s^2 h w^4)``.
    Across a gap nothing is read and the spline is a cubic with the slopes of both sides. What is still
    missing to a corner beside a gap is taken in by a local correction, so that the new bricks leave no lip.
    """
    # Only a repair needs a spline; the import costs more than the rest of this room.
    from scipy.interpolate import CubicSpline

    stiffness = (wave_mm / (2.0 * np.pi)) ** 4 / readings.noise_mm3(step_mm)
    value = smooth(readings.station_mm, readings.deviation_mm, readings.sigma_mm, stiffness)
    spline = CubicSpline(readings.station_mm, value, bc_type="natural")
    ends = readings.station_mm[[0, -1]]
    stations = _knots(base.length_mm, flush, step_mm)
    offsets = spline(np.clip(stations, *ends))
    for point in flush:
        missing_mm = point.deviation_mm - float(spline(np.clip(point.station_mm, *ends)))
        offsets = offsets + missing_mm * point.share(stations)
    return _levelled(base, stations, offsets, 2.0 * step_mm)


def _knots(length_mm: float, flush: Sequence[FlushPoint], step_mm: float) -> Floats:
    """Stations about a step apart, springing to springing, through the flush corners and none close by."""
    held = np.unique(np.concatenate([[0.0, length_mm], [p.station_mm for p in flush]]))
    even = np.linspace(0.0, length_mm, max(int(length_mm / step_mm), 1) + 1)
    clear = np.abs(even[:, None] - held).min(axis=1) > 0.5 * step_mm
    return np.unique(np.concatenate([held, even[clear]]))


def _levelled(base: Base, stations: Floats, offsets: Floats, run_mm: float) -> DisplacedCurve:
    """The displaced curve, its offsets levelled out beyond the springings and not just within them."""
    first = (offsets[1] - offsets[0]) / (stations[1] - stations[0])
    last = (offsets[-1] - offsets[-2]) / (stations[-1] - stations[-2])
    before = max(stations[0] - run_mm, base.first_station_mm)
    after = min(stations[-1] + run_mm, base.last_station_mm)
    return DisplacedCurve(
        base,
        np.concatenate([[before], stations, [after]]),
        np.concatenate(
            [
                [offsets[0] + 0.5 * first * (before - stations[0])],
                offsets,
                [offsets[-1] + 0.5 * last * (after - stations[-1])],
            ]
        ),
    )


def smooth(station_mm: Floats, value_mm: Floats, sigma_mm: Floats, stiffness: float) -> Floats:
    """Values (n,) of the natural smoothing spline at its stations.

    Raises
    ------
    PlanError
        When there are fewer than three stations or they do not grow.

    References
    ----------
    C. H. Reinsch, "Smoothing by spline functions", Numerische Mathematik 10 (1967) 177-183: from memory; the
    system is solved for the second derivatives, O(n).
    """
    step = np.diff(station_mm)
    if station_mm.size < 3 or not (step > 0.0).all():
        raise PlanError(
            "a soffit needs three or more standing readings, each further along than the one before"
        )
    variance = sigma_mm**2
    a, b = 1.0 / step[:-1], 1.0 / step[1:]
    mid = -(a + b)
    n = station_mm.size - 2
    bands = np.zeros((3, n))
    bands[2] = (step[:-1] + step[1:]) / 3.0 + stiffness * (
        a**2 * variance[:-2] + mid**2 * variance[1:-1] + b**2 * variance[2:]
    )
    bands[1, 1:] = step[1:-1] / 6.0 + stiffness * (
        b[:-1] * mid[1:] * variance[2:-1] + mid[:-1] * a[1:] * variance[1:-2]
    )
    bands[0, 2:] = stiffness * b[:-2] * a[2:] * variance[2:-2]
    bend = a * value_mm[:-2] + mid * value_mm[1:-1] + b * value_mm[2:]
    second = solveh_banded(bands, bend, check_finite=False)
    pull = np.zeros_like(value_mm)
    pull[:-2] += a * second
    pull[1:-1] += mid * second
    pull[2:] += b * second
    return np.asarray(value_mm - stiffness * variance * pull)
