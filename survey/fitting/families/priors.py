"""What is known of arches before any is measured: the proportions masons used, and how arches move.

Every density here is this project's judgement (common practice, no source), kept broad on purpose: it only
sets how much a family must pay for the freedoms it has, so that a semicircle is not called an ellipse for a
millimetre. Proportions are Gaussian in the numbers named below, which keeps every integral over them closed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import Family
from survey.fitting.families.builds import (
    ELLIPTICAL,
    FIVE_CENTRED,
    FIVE_CENTRED_FREE,
    PARABOLIC,
    POINTED,
    QUARTER_TURN_RAD,
    SEGMENTAL,
    THREE_CENTRED,
    Build,
    profile_of,
    usual_first_radius,
)
from survey.fitting.families.profile import HalfArcs

SIXTY = "three arcs of 60 degrees"
LEAST_RATIO = "chord construction of least ratio of radii"
MID_SECTOR = "first radius from the ellipse's curvature at mid sector"

LOG_ROOT_TURN = 0.5 * np.log(2 * np.pi)


MOVED_SHARE = 0.2
"""Share of surveyed arches that have moved as pieces, before anything is measured."""
SETTLES_SHARE = 0.4
"""Share of those with one springing sunk as well."""
CLOSING_SHARE = 0.04
"""Share of those whose springings came closer."""
SPREAD_RATIO = (0.008, 0.006)
"""Mean and standard deviation of a spread, as shares of the span, in a moved arch that still stands."""
SETTLEMENT_RATIO = 0.006
"""Standard deviation of a settlement, as a share of the span."""
TILTED_SHARE = 0.08
"""Share of arches set out on springings that are out of level by more than can be overlooked."""
USUAL_TILT_RAD = 0.002
"""Standard deviation of their slope: masons levelled both springings with a long straight-edge or water."""
SAGGING_SHARE = 0.04
"""Share of still arches that hang smoothly off their curve: the centre gave way, or they were built so."""
SAG_RATIO = 0.004
"""Standard deviation of the waves such a sag is made of, as a share of the span."""
BENDING_SHARE = 0.007
"""Share of arches that follow no curve at all."""
KNOWN_OTHER_SHARE = 0.02
"""Share of pointed arches, and of parabolic ones."""


class LikelyMotion(NamedTuple):
    """One way arches move: mean and standard deviation (2,) of spread and settlement, and its log share.

    A standard deviation of 0 holds a motion at nothing.
    """

    mean_mm: Floats
    sigma_mm: Floats
    log_share: float

    @property
    def settles(self) -> bool:
        """Whether one springing sinks."""
        return bool(self.sigma_mm[1] > 0)


def likely_motions(half_span_mm: float) -> tuple[LikelyMotion, ...]:
    """The ways an arch of this size moves: springings apart or, seldom, closer; one sunk or not."""
    span = 2 * half_span_mm
    mean, sigma = span * SPREAD_RATIO[0], span * SPREAD_RATIO[1]
    return tuple(
        LikelyMotion(
            np.array([sign * mean, 0.0]),
            np.array([sigma, span * SETTLEMENT_RATIO * settles]),
            float(np.log(way * (SETTLES_SHARE if settles else 1 - SETTLES_SHARE))),
        )
        for sign, way in ((1, 1 - CLOSING_SHARE), (-1, CLOSING_SHARE))
        for settles in (False, True)
    )


@dataclass(frozen=True, slots=True, eq=False)
class Proportions:
    """One Gaussian way a family was proportioned, linear about given shape numbers.

    Attributes
    ----------
    construction : str
        The handbook's name for it, blank for no construction.
    log_density : float
        Log of its share of the family and of all factors but the exponential.
    rows : (r,) float, slopes : (r, q) float
        Departures from the usual over their spread, and their derivatives by the shape numbers. The first row
        is the rise ratio where there is one.
    """

    construction: str
    log_density: float
    rows: Floats
    slopes: Floats


RISE_RATIO = {
    SEGMENTAL: (0.5, 0.25),
    ELLIPTICAL: (0.65, 0.22),
    THREE_CENTRED: (0.65, 0.2),
    FIVE_CENTRED: (0.65, 0.15),
    FIVE_CENTRED_FREE: (0.65, 0.15),
    POINTED: (1.4, 0.35),
    PARABOLIC: (0.6, 0.35),
}
"""Mean and spread of rise over half-span."""
LIMITED = frozenset({SEGMENTAL, THREE_CENTRED, FIVE_CENTRED, FIVE_CENTRED_FREE})
"""Builds whose rise stays below the half-span."""
HAUNCH_ANGLE_RAD = (np.radians(56.0), np.radians(12.0))
SET_OUT_RAD = np.radians(0.8)
"""How closely a construction with string and pegs was followed."""
FIRST_RADIUS_LOG = 0.1
SET_OUT_LOG = 0.02
LEAST_FIRST_RADIUS = 0.15
"""First radius over half-span below which an arc is hardly struck as one."""
LEAST_FIRST_SPREAD = 0.03


def proportions_of(build: Build, numbers: Floats) -> tuple[Proportions, ...]:
    """The ways a family was proportioned, about shape numbers (q,)."""
    s = numbers[0]
    q = len(numbers)
    if q == 1:
        return (Proportions("", -np.log(s), np.empty(0), np.empty((0, 1))),)
    h = numbers[1]
    mean, spread = RISE_RATIO[build]
    rise = np.zeros(q)
    rise[:2] = -h / s**2 / spread, 1 / s / spread
    ratio = (h / s - mean) / spread
    base = -2 * np.log(s) - np.log(spread) - LOG_ROOT_TURN
    if q == 2:
        return (Proportions("", base, np.array([ratio]), rise[None]),)
    ways = _haunch_ways(numbers) if build.family is Family.THREE_CENTRED else _first_radius_ways(numbers)
    corner = _cornered(build, numbers)
    found = []
    for name, share, row, slope, width in ways:
        rows, slopes = [ratio, row / width, corner[0]], [rise, slope / width, corner[1]]
        density = base + np.log(share) - np.log(width) - LOG_ROOT_TURN
        if build.family is Family.FIVE_CENTRED:
            density -= np.log(numbers[2])
        if q > len(FIVE_CENTRED.numbers):
            for k in (3, 4):
                unit = np.zeros(q)
                unit[k] = 1 / np.radians(6.0)
                rows.append((numbers[k] - np.pi / 5) * unit[k])
                slopes.append(unit)
                density += np.log(unit[k]) - LOG_ROOT_TURN
        found.append(Proportions(name, float(density), np.array(rows), np.array(slopes)))
    return tuple(found)


def _cornered(build: Build, numbers: Floats) -> tuple[float, Floats]:
    """Departure (and its slopes) of a first radius too small for an arc: nothing for any usual radius.

    Without it a segmental arch passes for a basket-handle arch whose haunch arc has shrunk to a corner.
    """
    profile = profile_of(build, numbers)
    if not isinstance(profile, HalfArcs):
        return 0.0, np.zeros(len(numbers))
    ratio = float(profile.radius_mm[0] / numbers[0])
    short = (LEAST_FIRST_RADIUS - ratio) / LEAST_FIRST_SPREAD
    if short <= 0.0:
        return 0.0, np.zeros(len(numbers))
    slope = profile.radius_slope[0] / numbers[0]
    slope = slope - ratio / numbers[0] * np.eye(len(numbers))[0]
    return short, -slope / LEAST_FIRST_SPREAD


_Way = tuple[str, float, float, Floats, float]


def _haunch_ways(numbers: Floats) -> list[_Way]:
    s, h, f = numbers
    unit = np.array([0.0, 0.0, 1.0])
    mean, spread = HAUNCH_ANGLE_RAD
    least = QUARTER_TURN_RAD - np.arctan2(h, s)
    by_shape = np.array([h, -s, 0.0]) / (s * s + h * h)
    return [
        ("", 0.5, f - mean, unit, spread),
        (SIXTY, 0.25, f - np.pi / 3, unit, SET_OUT_RAD),
        (LEAST_RATIO, 0.25, f - least, unit - by_shape, SET_OUT_RAD),
    ]


def _first_radius_ways(numbers: Floats) -> list[_Way]:
    s, h, first = numbers[:3]
    slope = np.zeros(len(numbers))
    slope[2] = 1 / first
    usual = np.log(usual_first_radius(s, h))
    for k, size in ((0, s), (1, h)):
        bumped = [s, h]
        bumped[k] = size * (1 + 1e-6)
        slope[k] = -(np.log(usual_first_radius(*bumped)) - usual) / (size * 1e-6)
    row = np.log(first) - usual
    return [("", 0.5, row, slope, FIRST_RADIUS_LOG), (MID_SECTOR, 0.5, row, slope, SET_OUT_LOG)]
