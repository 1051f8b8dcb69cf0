"""The five families as the fits know them: their free numbers, their half profiles and their limits.

Every family is told by shape numbers, the half-span first; where the arch stands (axis, springing level,
tilt) is told apart from them. The basket-handle arches are told by the angles of their arcs, not by their
radii: the radii then follow from closure by a linear system that stays well behaved through the semicircle,
where all radii agree and junctions mean nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.errors import FitError
from survey.fitting.families.other_curves import HalfParabola, pointed_profile
from survey.fitting.families.profile import HalfArcs, HalfEllipse, HalfProfile
from survey.fitting.solving.engine import OutsideDomainError

EQUAL_SECTORS_RAD = (np.pi / 5, np.pi / 5, np.pi / 10)
"""Five equal sectors of 36 degrees over the whole arch: two and a half on each side."""

QUARTER_TURN_RAD = np.pi / 2
SMALLEST_RADIUS_RATIO = 0.02
"""A first radius below this share of the half-span is a corner."""
SMALLEST_SECTOR_RAD = np.radians(2.0)
"""An arc of less than two degrees is no arc a mason would strike."""


@dataclass(frozen=True, slots=True)
class Build:
    """One way of setting out a curve: its name in words, its shape numbers' names, and its family if any."""

    name: str
    numbers: tuple[str, ...]
    family: Family | None = None


SIZE = ("half_span_mm", "rise_mm")
SEMICIRCULAR = Build("semicircular", SIZE[:1], Family.SEMICIRCULAR)
SEGMENTAL = Build("segmental", SIZE, Family.SEGMENTAL)
ELLIPTICAL = Build("elliptical", SIZE, Family.ELLIPTICAL)
THREE_CENTRED = Build("three-centred", (*SIZE, "sector_1_rad"), Family.THREE_CENTRED)
FIVE_CENTRED = Build("five-centred", (*SIZE, "radius_1_mm"), Family.FIVE_CENTRED)
FIVE_CENTRED_FREE = Build(
    "free five-centred", (*SIZE, "radius_1_mm", "sector_1_rad", "sector_2_rad"), Family.FIVE_CENTRED
)
POINTED = Build("pointed", SIZE)
PARABOLIC = Build("parabolic", SIZE)

BUILDS: Mapping[Family, Build] = MappingProxyType(
    {
        Family.SEMICIRCULAR: SEMICIRCULAR,
        Family.SEGMENTAL: SEGMENTAL,
        Family.ELLIPTICAL: ELLIPTICAL,
        Family.THREE_CENTRED: THREE_CENTRED,
        Family.FIVE_CENTRED: FIVE_CENTRED,
    }
)
"""How each family is fitted unless asked otherwise."""
OTHER_BUILDS = (POINTED, PARABOLIC)
"""Curves of no family."""


def profile_of(build: Build, numbers: Floats) -> HalfProfile:
    """Half profile of a family at its shape numbers (q,).

    Raises
    ------
    OutsideDomainError
        No such curve exists; the message says why.
    """
    if not (numbers[0] > 0.0 and (len(numbers) == 1 or numbers[1] > 0.0)):
        raise OutsideDomainError("span and rise must be above 0")
    if build.family is Family.SEMICIRCULAR:
        return _semicircular(numbers)
    if build.family is Family.SEGMENTAL:
        return _segmental(numbers)
    if build.family is Family.ELLIPTICAL:
        return HalfEllipse(float(numbers[0]), float(numbers[1]))
    if build.family is Family.THREE_CENTRED:
        return _three_centred(numbers)
    if build is POINTED:
        return pointed_profile(numbers)
    if build is PARABOLIC:
        return HalfParabola(float(numbers[0]), float(numbers[1]))
    return _five_centred(numbers)


def _semicircular(numbers: Floats) -> HalfArcs:
    return HalfArcs(
        centre_mm=np.zeros((1, 2)),
        radius_mm=numbers[:1].copy(),
        bound_rad=np.array([0.0, QUARTER_TURN_RAD]),
        centre_slope=np.zeros((1, 2, 1)),
        radius_slope=np.ones((1, 1)),
        bound_slope=np.zeros((2, 1)),
    )


def _segmental(numbers: Floats) -> HalfArcs:
    s, h = numbers
    radius = (s * s + h * h) / (2 * h)
    by_s, by_h = s / h, 0.5 * (1.0 - (s / h) ** 2)
    squared = s * s + h * h
    return HalfArcs(
        centre_mm=np.array([[0.0, h - radius]]),
        radius_mm=np.array([radius]),
        bound_rad=np.array([np.arctan2(s * s - h * h, 2 * h * s), QUARTER_TURN_RAD]),
        centre_slope=np.array([[[0.0, 0.0], [-by_s, 1.0 - by_h]]]),
        radius_slope=np.array([[by_s, by_h]]),
        bound_slope=np.array([[2 * h / squared, -2 * s / squared], [0.0, 0.0]]),
    )


def _three_centred(numbers: Floats) -> HalfArcs:
    """Closure s - r + (r - R) cos f = 0 and (r - R) sin f + R = h: linear in r and R for a haunch angle f."""
    s, h, f = numbers
    if not SMALLEST_SECTOR_RAD <= f <= QUARTER_TURN_RAD - SMALLEST_SECTOR_RAD:
        raise OutsideDomainError("one of the two arcs vanishes")
    c, n = np.cos(f), np.sin(f)
    closure = np.array([[c - 1.0, -c], [n, 1.0 - n]])
    radius = np.linalg.solve(closure, [-s, h])
    small, large = radius
    if small < SMALLEST_RADIUS_RATIO * s or large <= 0.0:
        raise OutsideDomainError("the haunch arc shrinks to a corner")
    by = np.linalg.solve(closure, [[-1.0, 0.0, (small - large) * n], [0.0, 1.0, -(small - large) * c]])
    zero = np.zeros(3)
    return HalfArcs(
        centre_mm=np.array([[s - small, 0.0], [0.0, h - large]]),
        radius_mm=radius,
        bound_rad=np.array([0.0, f, QUARTER_TURN_RAD]),
        centre_slope=np.array([[[1.0, 0.0, 0.0] - by[0], zero], [zero, [0.0, 1.0, 0.0] - by[1]]]),
        radius_slope=by,
        bound_slope=np.array([zero, [0.0, 0.0, 1.0], zero]),
    )


def _five_centred(numbers: Floats) -> HalfArcs:
    """Closure of three arcs, linear in the second and third radius; q is 3 (equal sectors) or 5."""
    s, h, first = numbers[:3]
    q = len(numbers)
    sectors = numbers[3:] if q == 5 else np.array(EQUAL_SECTORS_RAD[:2])
    f1, f2 = np.cumsum(sectors)
    if min(*sectors, QUARTER_TURN_RAD - f2) < SMALLEST_SECTOR_RAD:
        raise OutsideDomainError("one of the three arcs vanishes")
    c, n = np.cos([f1, f2]), np.sin([f1, f2])
    closure = np.array([[c[1] - c[0], -c[1]], [n[1] - n[0], 1.0 - n[1]]])
    second, third = np.linalg.solve(closure, [first - s - first * c[0], h - first * n[0]])
    if first < SMALLEST_RADIUS_RATIO * s or min(second, third) <= 0.0:
        raise OutsideDomainError("an arc shrinks to a corner")
    right = np.zeros((2, q))
    right[:, :3] = [[-1.0, 0.0, 1.0 - c[0]], [0.0, 1.0, -n[0]]]
    turn = np.zeros((2, q))  # derivatives of f1 and f2
    if q == 5:
        turn[:, 3:] = [[1.0, 0.0], [1.0, 1.0]]
    steps = np.array([first - second, second - third])
    right += (steps * n) @ turn * [[1.0], [0.0]] - (steps * c) @ turn * [[0.0], [1.0]]
    unit = np.eye(q)
    by = np.vstack([unit[2], np.linalg.solve(closure, right)])
    centre = np.array([[s - first, 0.0], [0.0, 0.0], [0.0, h - third]])
    centre[1] = centre[0] + steps[0] * np.array([c[0], n[0]])
    slope = np.zeros((3, 2, q))
    slope[0, 0] = unit[0] - unit[2]
    across = (by[0] - by[1]) * np.array([[c[0]], [n[0]]]) + steps[0] * np.array([[-n[0]], [c[0]]]) * turn[0]
    slope[1] = slope[0] + across
    slope[2, 1] = unit[1] - by[2]
    return HalfArcs(
        centre_mm=centre,
        radius_mm=np.array([first, second, third]),
        bound_rad=np.array([0.0, f1, f2, QUARTER_TURN_RAD]),
        centre_slope=slope,
        radius_slope=by,
        bound_slope=np.vstack([np.zeros(q), turn, np.zeros(q)]),
    )


def shape_of(
    build: Build,
    numbers: Floats,
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Arch shape of a family at shape numbers (q,), with its radii and sectors.

    Raises
    ------
    FitError
        The build is of no family.
    """
    if build.family is None:
        raise FitError(f"a {build.name} curve was asked for as an arch shape; it is of none of the families")
    profile = profile_of(build, numbers)
    radii: tuple[float, ...] = ()
    sectors: tuple[float, ...] = ()
    if isinstance(profile, HalfArcs):
        radii = tuple(float(r) for r in profile.radius_mm)
        sectors = tuple(float(a) for a in np.diff(profile.bound_rad))
    rise = numbers[0] if build.family is Family.SEMICIRCULAR else numbers[1]
    return ArchShape(
        build.family, float(numbers[0]), float(rise), radii, sectors, axis_x_mm, springing_y_mm, tilt_rad
    )


def numbers_of(build: Build, shape: ArchShape) -> Floats:
    """Shape numbers (q,) of a shape of the build's family."""
    if build.family is Family.SEMICIRCULAR:
        return np.array([shape.half_span_mm])
    both = [shape.half_span_mm, shape.rise_mm]
    if build.family is Family.THREE_CENTRED:
        return np.array([*both, shape.sector_angles_rad[0]])
    if build is FIVE_CENTRED:
        return np.array([*both, shape.radii_mm[0]])
    if build is FIVE_CENTRED_FREE:
        return np.array([*both, shape.radii_mm[0], *shape.sector_angles_rad[:2]])
    return np.array(both)


def usual_first_radius(half_span_mm: float, rise_mm: float) -> float:
    """First radius of a five-centred arch as the tables give it.

    The radius of curvature of the semi-ellipse where its normal stands 18 degrees above the springing line,
    in the middle of the first of five equal sectors. It reproduces the first radii of the nineteenth-century
    table credited to Michal to three figures (table from memory, computed independently).

    Examples
    --------
    >>> round(usual_first_radius(500.0, 330.0) / 1000.0, 4)
    0.2367
    """
    s, h = half_span_mm, rise_mm
    angle = EQUAL_SECTORS_RAD[0] / 2
    return float(s * s * h * h / (s * s * np.cos(angle) ** 2 + h * h * np.sin(angle) ** 2) ** 1.5)


def first_numbers(build: Build, half_span_mm: float, rise_mm: float) -> Floats:
    """Start values (q,) from a rough half-span and rise: the handbook's shape of that family."""
    s, h = half_span_mm, rise_mm
    if build is SEMICIRCULAR:
        return np.array([s])
    if build is POINTED:
        return np.array([s, max(h, 1.05 * s)])
    if build.family is Family.THREE_CENTRED:
        return np.array([s, h, np.arctan2(s, h)])
    if build.family is Family.FIVE_CENTRED:
        start = np.array([s, h, usual_first_radius(s, h)])
        return start if build is FIVE_CENTRED else np.append(start, EQUAL_SECTORS_RAD[:2])
    return np.array([s, h])
