"""What a simulated arch is to be: its specification, and the sampler that draws specifications at random."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from survey.curves import (
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred,
    three_centred_least_ratio,
    three_centred_sixty,
)
from survey.curves.shape import ArchShape, Family


class Rhythm(StrEnum):
    """How bricks and joints follow one another along the soffit."""

    EVEN = "even"
    TIGHTENING = "tightening"
    ALTERNATING = "alternating"
    MIXED = "mixed"


class Other(StrEnum):
    """Curves that are none of the five families."""

    POINTED = "pointed"
    PARABOLIC = "parabolic"
    WRECKED = "wrecked"


@dataclass(frozen=True, slots=True)
class TrueMovement:
    """How the arch moved: springings apart and one of them down, turning about a crown and two lower hinges.

    Attributes
    ----------
    spread_mm, settlement_mm : float
        How much further apart the springings stand, and how much the right one sank against the left.
    crown_hinge_ratio : float
        Station of the crown hinge as a share of the intrados.
    left_hinge_ratio, right_hinge_ratio : float
        Stations of the lower hinges as shares of the intrados from their own springing; 0 is at the
        springing.
    crown_hinge_at_back : bool
        True puts the crown hinge at the extrados, as a spread arch turns; False on the soffit line.
    lower_hinges_at_back : bool
        The same of the lower hinges, as an arch turns whose springings came closer.
    """

    spread_mm: float = 0.0
    settlement_mm: float = 0.0
    crown_hinge_ratio: float = 0.5
    left_hinge_ratio: float = 0.0
    right_hinge_ratio: float = 0.0
    crown_hinge_at_back: bool = False
    lower_hinges_at_back: bool = False


@dataclass(frozen=True, slots=True)
class ArchSpec:
    """Everything that defines a simulated arch but the seed of its randomness; lengths in mm.

    Attributes
    ----------
    shape : ArchShape
        The original curve. Its axis and springing place it in the simulated wall.
    joint_ratio : float
        Mean joint as a share of the pitch.
    irregularity_mm, correlation_courses : float
        Standard deviation of the courses' departures along the normal, and over how many courses they stay
        alike (correlation ``exp(-distance / length)``).
    gross_ratio : float
        Share of edge points with a gross error of 12 to 60 mm in a random direction.
    gaps : tuple of (int, int)
        First and last missing course of each gap of ring 1.
    numbered : bool
        False leaves the course numbers out of the record.
    counted : bool
        False leaves the count out of arch.toml.
    other : Other, optional
        Replaces the shape's curve by one of no family with the same span and rise.
    """

    shape: ArchShape
    n_courses: int = 61
    rhythm: Rhythm = Rhythm.EVEN
    joint_ratio: float = 0.15
    point_sigma_mm: float = 1.5
    irregularity_mm: float = 1.0
    correlation_courses: float = 3.0
    gross_ratio: float = 0.02
    gaps: tuple[tuple[int, int], ...] = ()
    n_rings: int = 1
    depth_mm: float = 240.0
    extrados: bool = False
    springings: bool = True
    numbered: bool = True
    counted: bool = True
    movement: TrueMovement | None = None
    site_grid: bool = False
    mirrored: bool = False
    other: Other | None = None


def random_shape(rng: np.random.Generator, family: Family) -> ArchShape:
    """Draw a shape of a family: spans 0.9 to 6 m, rises and radii over the range masons used."""
    half = float(np.exp(rng.uniform(np.log(450.0), np.log(3000.0))))
    place = {"axis_x_mm": float(rng.uniform(-800, 800)), "springing_y_mm": float(rng.uniform(-800, 800))}
    if family is Family.SEMICIRCULAR:
        return semicircular(half, **place)
    if family is Family.SEGMENTAL:
        return segmental(2 * half, half * float(rng.uniform(0.25, 0.85)), **place)
    if family is Family.ELLIPTICAL:
        return elliptical(2 * half, half * float(rng.uniform(0.4, 0.85)), **place)
    if family is Family.THREE_CENTRED:
        rise = half * float(rng.uniform(0.45, 0.85))
        way = rng.integers(3)
        if way == 0:
            return three_centred_sixty(2 * half, rise, **place)
        if way == 1:
            return three_centred_least_ratio(2 * half, rise, **place)
        return three_centred(2 * half, rise, rise * float(rng.uniform(0.45, 0.8)), **place)
    rise = half * float(rng.uniform(0.55, 0.8))
    first = first_radius_mid_sector(half, rise) * float(rng.uniform(0.95, 1.05))
    return five_centred(2 * half, rise, first, **place)


def first_radius_mid_sector(half_span_mm: float, rise_mm: float) -> float:
    """Radius of curvature of the semi-ellipse where its normal stands 18 degrees above the springing line.

    The closed form that reproduces the first radii of the nineteenth-century table of five-centred arches
    credited to Michal (value from memory, computed independently).
    """
    angle = np.radians(18.0)
    a, b = half_span_mm, rise_mm
    return float(a**2 * b**2 / (a**2 * np.cos(angle) ** 2 + b**2 * np.sin(angle) ** 2) ** 1.5)


def random_movement(rng: np.random.Generator, shape: ArchShape, *, sunk: bool) -> TrueMovement:
    """Draw a spread of 0.4 to 1.5 % of the span, the crown hinge anywhere over the middle third."""
    while True:
        drawn = _any_movement(rng, shape, sunk=sunk)
        if _still_stands(shape, drawn):
            return drawn


def _any_movement(rng: np.random.Generator, shape: ArchShape, *, sunk: bool) -> TrueMovement:
    span = 2 * shape.half_span_mm
    # A flat arch has no haunch to hinge at: its lower hinges stay at the springings.
    tall = shape.rise_mm > 0.5 * shape.half_span_mm
    hinge = [float(rng.uniform(0.12, 0.24)) if tall and rng.random() < 0.5 else 0.0 for _ in range(2)]
    return TrueMovement(
        spread_mm=span * float(rng.uniform(0.004, 0.015)),
        settlement_mm=span * float(rng.uniform(0.003, 0.01)) * float(rng.choice([-1, 1])) if sunk else 0.0,
        crown_hinge_ratio=float(rng.uniform(1 / 3, 2 / 3)),
        left_hinge_ratio=hinge[0],
        right_hinge_ratio=hinge[1] if rng.random() < 0.5 else hinge[0],
        crown_hinge_at_back=bool(rng.random() < 0.5),
    )


def _still_stands(shape: ArchShape, movement: TrueMovement) -> bool:
    """Whether the crown drops by less than a third of its height over the lower hinges; else it fell in."""
    curve = curve_of(shape)
    ends = movement.left_hinge_ratio, 1 - movement.right_hinge_ratio
    left, crown, right = curve.point(
        curve.length_mm * np.array([ends[0], movement.crown_hinge_ratio, ends[1]])
    )
    height = crown[1] - max(left[1], right[1])
    push = movement.spread_mm + abs(movement.settlement_mm)
    return bool(push * (right[0] - left[0]) / (4 * height) < height / 3)


def random_gaps(rng: np.random.Generator, n_courses: int) -> tuple[tuple[int, int], ...]:
    """Draw no gap, or one near a haunch, the springing or the crown: 3 courses to a fifth of the arch."""
    if rng.random() < 0.4:
        return ()
    width = int(rng.integers(3, max(4, n_courses // 5 + 1)))
    middle = n_courses * float(rng.choice([0.12, 0.25, 0.5, 0.75, 0.88]) + rng.uniform(-0.05, 0.05))
    first = int(np.clip(round(middle - width / 2), 2, n_courses - width - 1))
    return ((first, first + width - 1),)


def random_spec(
    rng: np.random.Generator,
    family: Family | None = None,
    *,
    moved: bool = False,
    sunk: bool = False,
    other: Other | None = None,
) -> ArchSpec:
    """Draw a specification at random.

    Parameters
    ----------
    family : Family, optional
        The family, or any of the five with equal chance.
    moved, sunk : bool
        Whether the arch has spread, and whether one springing also sank.
    other : Other, optional
        A curve of no family.
    """
    families = list(Family)
    if other is Other.PARABOLIC:
        families = [Family.SEGMENTAL]
    chosen = family if family is not None else families[int(rng.integers(len(families)))]
    shape = random_shape(rng, chosen)
    length = curve_of(shape).length_mm
    pitch = float(rng.uniform(45, 85))
    n_courses = int(np.clip(round(length / pitch), 40, 160))
    return ArchSpec(
        shape=shape,
        n_courses=n_courses,
        rhythm=Rhythm(str(rng.choice([r.value for r in Rhythm]))),
        joint_ratio=float(rng.uniform(0.1, 0.2)),
        point_sigma_mm=float(rng.uniform(0.8, 2.5)),
        irregularity_mm=float(rng.uniform(0.5, 3.0)),
        correlation_courses=float(rng.uniform(0.7, 4.0)),
        gaps=random_gaps(rng, n_courses),
        depth_mm=float(rng.choice([120.0, 240.0])),
        extrados=bool(rng.random() < 0.3),
        movement=random_movement(rng, shape, sunk=sunk) if moved else None,
        site_grid=bool(rng.random() < 0.3),
        mirrored=bool(rng.random() < 0.5),
        other=other,
    )
