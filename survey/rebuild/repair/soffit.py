"""The soffit of a repair: smooth through the bricks that stand, flush with those beside each gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from survey.curves.arcs import ChainOfArcs
from survey.curves.displaced import DisplacedCurve
from survey.curves.ellipse import Ellipse, EllipseParallel
from survey.curves.protocol import Floats
from survey.errors import GeometryError, PlanError
from survey.rebuild.repair.moved_line import LEVEL, KnownLine

WAVE_COURSES = 4.0
"""Shorter waves of the old work are taken for its roughness: the soffit of a repair does not follow them."""
BEND_SHARE = 0.25
"""Share of the curve's length over which it may depart from the fitted one by one and the same amount."""
LEAST_BEND_MM = 0.3
"""The fitted curve is never trusted better than this."""
LEAST_IRREGULARITY_MM = 0.1
KNOT_STEPS = 1.5
"""Courses from knot to knot of the curve: some three to the shortest wave it follows."""
LEAST_RADIUS_SHARE = 0.2
"""A soffit that has less left of the fitted radius has been misread (judgement); at 0 it would fold up."""
FOLD_STEPS = 257
"""Stations at which that is looked at: a few to every wave the curve can follow."""
LEAST_STEP_MM = 1.0
"""Nothing fades out faster."""

Base = ChainOfArcs | Ellipse | EllipseParallel


@dataclass(frozen=True, slots=True)
class OldWork:
    """How old work departs from a fitted curve along the normal: standard deviations and reaches, mm.

    Attributes
    ----------
    irregularity_mm, reach_mm : float
        Of course against course: correlation ``exp(-ds / reach)`` between stations ds apart.
    bend_mm, bend_reach_mm : float
        Of the smooth departure of the whole: Matern correlation of order 5/2.
    """

    irregularity_mm: float
    reach_mm: float
    bend_mm: float
    bend_reach_mm: float

    def covariance(self, a_mm: Floats, b_mm: Floats) -> Floats:
        """Covariance (n, m) of the departures at stations (n,) and (m,)."""
        away = np.abs(a_mm[:, None] - b_mm)
        x = np.sqrt(5.0) / self.bend_reach_mm * away
        smooth = self.bend_mm**2 * (1.0 + x + x**2 / 3.0) * np.exp(-x)
        return np.asarray(smooth + self.irregularity_mm**2 * np.exp(-away / self.reach_mm))


@dataclass(frozen=True, slots=True, eq=False)
class SoffitReadings:
    """Departures (n,) of standing bricks from a base curve, by growing station, each with its uncertainty.

    ``known`` is where the arch is known to lie beside the base before anything is read.
    """

    station_mm: Floats
    deviation_mm: Floats
    sigma_mm: Floats
    known: KnownLine = LEVEL

    @property
    def unknown_mm(self) -> Floats:
        """Departures (n,) from the known line."""
        return np.asarray(self.deviation_mm - self.known.at(self.station_mm))

    def only(self, kept: NDArray[np.bool_]) -> SoffitReadings:
        """Some (n,) of the readings."""
        return SoffitReadings(self.station_mm[kept], self.deviation_mm[kept], self.sigma_mm[kept], self.known)

    def old_work(self, irregularity_mm: float, reach_mm: float, length_mm: float) -> OldWork:
        """The scatter of the old work: its known irregularity, and as much smooth departure as is left over.

        Parameters
        ----------
        irregularity_mm, reach_mm : float
            As found with the fit.
        length_mm : float
            Of the base curve.

        Notes
        -----
        An arch moved otherwise than was found leaves its curve by far more than its irregularity.
        """
        own = max(irregularity_mm, LEAST_IRREGULARITY_MM)
        spread = 1.4826 * float(np.median(np.abs(self.unknown_mm)))
        left_over = spread**2 - own**2 - float(np.median(self.sigma_mm**2))
        bend = float(np.sqrt(max(left_over, LEAST_BEND_MM**2)))
        return OldWork(own, reach_mm, bend, BEND_SHARE * length_mm)

    def expected_at(self, station_mm: Floats, old_work: OldWork) -> Floats:
        """Most likely departures (m,) at stations (m,), given the readings and how old work scatters.

        Notes
        -----
        The conditional mean of a Gaussian process, ``k(at, read) (K + diag(sigma^2))^-1 d``. Far from every
        reading it goes back to the known line.

        References
        ----------
        C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning (2006), equation 2.23:
        from memory, not seen.
        """
        known = old_work.covariance(self.station_mm, self.station_mm)
        known[np.diag_indices_from(known)] += self.sigma_mm**2
        weight = np.linalg.solve(known, self.unknown_mm)
        return np.asarray(
            self.known.at(station_mm) + old_work.covariance(station_mm, self.station_mm) @ weight
        )


@dataclass(frozen=True, slots=True)
class FlushPoint:
    """A corner beside a gap, through which the soffit passes.

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


@dataclass(frozen=True, slots=True, eq=False)
class SmoothSoffit:
    """Offsets from the base as a smooth line, before it is made flush with what stands beside the gaps."""

    station_mm: Floats
    offset_mm: Floats
    step_mm: float

    @classmethod
    def of(
        cls, readings: SoffitReadings, old_work: OldWork, *, length_mm: float, pitch_mm: float
    ) -> SmoothSoffit:
        """The likeliest soffit without its roughness.

        Notes
        -----
        The likeliest departures, a course apart or nearer, go through the smoothing spline that minimises
        ``sum (g - d)^2 + k int g''^2``: at every pitch h it passes a wave of angular frequency w by the share
        ``1 / (1 + k h w^4)``, a half at ``WAVE_COURSES``.
        """
        station = np.linspace(0.0, length_mm, max(round(length_mm / pitch_mm), 3) + 1)
        likely = readings.expected_at(station, old_work)
        step = float(station[1])
        stiffness = (WAVE_COURSES * pitch_mm / (2.0 * np.pi)) ** 4 / step
        return cls(station, smooth(station, likely, np.ones(station.size), stiffness), step)

    def at(self, station_mm: Floats) -> Floats:
        """Offsets (n,) at stations, level beyond the springings."""
        # Only a repair needs a spline; the import costs more than the rest of this room.
        from scipy.interpolate import CubicSpline

        spline = CubicSpline(self.station_mm, self.offset_mm, bc_type="natural")
        return np.asarray(spline(np.clip(station_mm, self.station_mm[0], self.station_mm[-1])))


def repair_curve(base: Base, soffit: SmoothSoffit, flush: Sequence[FlushPoint]) -> DisplacedCurve:
    """The curve a repair is built to: the base moved smoothly to where the bricks stand.

    Parameters
    ----------
    base : ChainOfArcs, Ellipse or EllipseParallel
        The fitted inner curve of the ring.
    soffit : SmoothSoffit
    flush : sequence of FlushPoint
        What is still missing to a corner beside a gap is taken in by a local correction, so that the new
        bricks leave no lip.

    Raises
    ------
    GeometryError
        When the readings lie so far inside a small radius that the curve would fold up.
    """
    stations = _knots(base.length_mm, flush, KNOT_STEPS * soffit.step_mm)
    offsets = soffit.at(stations)
    if flush:
        wanted = np.array([p.deviation_mm for p in flush])
        missing = wanted - soffit.at(np.array([p.station_mm for p in flush]))
        for point, missing_mm in zip(flush, missing.tolist(), strict=True):
            offsets = offsets + missing_mm * point.share(stations)
    return _levelled(base, stations, offsets, 2.0 * soffit.step_mm)


def _knots(length_mm: float, flush: Sequence[FlushPoint], step_mm: float) -> Floats:
    """Stations about a step apart, springing to springing, through the flush corners and none close by."""
    held = np.unique(np.concatenate([[0.0, length_mm], [p.station_mm for p in flush]]))
    even = np.linspace(0.0, length_mm, max(int(length_mm / step_mm), 1) + 1)
    clear = np.abs(even[:, None] - held).min(axis=1) > 0.5 * step_mm
    return np.unique(np.concatenate([held, even[clear]]))


def _refuse_fold(base: Base, stations: Floats, offsets: Floats) -> None:
    """Refuse offsets that leave the base's radius hardly anything, between the knots too."""
    from scipy.interpolate import CubicSpline  # see SmoothSoffit.at

    breaks = base.breaks_mm
    at = np.concatenate(
        [np.linspace(stations[0], stations[-1], FOLD_STEPS), breaks, np.nextafter(breaks, 0.0)]
    )
    left = 1.0 + base.curvature(at) * CubicSpline(stations, offsets, bc_type="clamped")(at)
    worst = int(np.argmin(left))
    if left[worst] < LEAST_RADIUS_SHARE:
        raise GeometryError(
            f"the soffit of what stands would lie {(1.0 - left[worst]) / base.curvature(at[worst]):.0f} mm "
            f"inside a radius of {1.0 / base.curvature(at[worst]):.0f} mm at station {at[worst]:.0f} mm; "
            "measure there again"
        )


def _levelled(base: Base, stations: Floats, offsets: Floats, run_mm: float) -> DisplacedCurve:
    """The displaced curve, its offsets levelled out beyond the springings and not just within them."""
    first = (offsets[1] - offsets[0]) / (stations[1] - stations[0])
    last = (offsets[-1] - offsets[-2]) / (stations[-1] - stations[-2])
    before = max(stations[0] - run_mm, base.first_station_mm)
    after = min(stations[-1] + run_mm, base.last_station_mm)
    outer = (
        offsets[0] + 0.5 * first * (before - stations[0]),
        offsets[-1] + 0.5 * last * (after - stations[-1]),
    )
    stations = np.concatenate([[before], stations, [after]])
    offsets = np.concatenate([outer[:1], offsets, outer[1:]])
    _refuse_fold(base, stations, offsets)
    return DisplacedCurve(base, stations, offsets)


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
