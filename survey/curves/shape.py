"""An arch shape: the few numbers a mason set an arch out with, for each of the five families."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from survey.errors import GeometryError

CLOSURE = 1e-6
"""Share of the half-span by which arcs may miss the crown: far below anything measured."""


class Family(StrEnum):
    """The families of arch curve the toolkit knows."""

    SEMICIRCULAR = "semicircular"
    SEGMENTAL = "segmental"
    ELLIPTICAL = "elliptical"
    THREE_CENTRED = "three_centred"
    FIVE_CENTRED = "five_centred"


N_ARCS = {
    Family.SEMICIRCULAR: 1,
    Family.SEGMENTAL: 1,
    Family.ELLIPTICAL: 0,
    Family.THREE_CENTRED: 2,
    Family.FIVE_CENTRED: 3,
}
"""How many arcs one half of each family has."""


@dataclass(frozen=True, slots=True)
class ArchShape:
    """One arch curve by its setting-out numbers, placed in a face plane.

    Attributes
    ----------
    family : Family
    half_span_mm, rise_mm : float
        Half the clear span at the springing line, and the height of the crown of the intrados above it.
    radii_mm : tuple of float
        Radii from the springing to the crown: one for semicircular and segmental, none for elliptical, two
        for three-centred, three for five-centred.
    sector_angles_rad : tuple of float
        Angles of the arcs of one half from the springing to the crown, as many as radii; they add up to a
        quarter turn but for a segmental arch, where the only one is the half-angle at its centre.
    axis_x_mm, springing_y_mm : float
        Middle of the springing line.
    tilt_rad : float
        Turn of the whole arch about the middle of its springing line, anticlockwise.

    Raises
    ------
    GeometryError
        When the numbers describe no arch: not finite, not positive, the wrong count of arcs for the family,
        or arcs that miss the crown.
    """

    family: Family
    half_span_mm: float
    rise_mm: float
    radii_mm: tuple[float, ...] = ()
    sector_angles_rad: tuple[float, ...] = ()
    axis_x_mm: float = 0.0
    springing_y_mm: float = 0.0
    tilt_rad: float = 0.0

    def __post_init__(self) -> None:
        """Refuse numbers that describe no arch."""
        numbers = (self.half_span_mm, self.rise_mm, *self.radii_mm, *self.sector_angles_rad)
        if not all(math.isfinite(n) for n in (*numbers, self.axis_x_mm, self.springing_y_mm, self.tilt_rad)):
            raise GeometryError("an arch shape was given a number that is not finite; give finite mm and rad")
        if min(numbers) <= 0.0:
            raise GeometryError(
                f"an arch shape was given {min(numbers):g} for a half-span, rise, radius or sector angle; "
                "all must be above 0"
            )
        n_arcs = N_ARCS[self.family]
        if (len(self.radii_mm), len(self.sector_angles_rad)) != (n_arcs, n_arcs):
            raise GeometryError(
                f"a {self.family.value} shape was given {len(self.radii_mm)} radii and "
                f"{len(self.sector_angles_rad)} sector angles; it takes {n_arcs} of each (the functions of "
                "survey.curves build it whole)"
            )
        if n_arcs:
            self._check_closure()

    def _check_closure(self) -> None:
        """Refuse arcs that do not lead from the springing to the crown."""
        # direction of the tangent against the springing line, from the springing down to 0 at the crown
        start = math.fsum(self.sector_angles_rad)
        across = up = 0.0
        for radius, angle in zip(self.radii_mm, self.sector_angles_rad, strict=True):
            chord = 2 * radius * math.sin(angle / 2)
            across += chord * math.cos(start - angle / 2)
            up += chord * math.sin(start - angle / 2)
            start -= angle
        miss = math.hypot(across - self.half_span_mm, up - self.rise_mm)
        if miss > CLOSURE * self.half_span_mm:
            raise GeometryError(
                f"the arcs of a {self.family.value} shape lead to a half-span of {across:.4f} mm and a "
                f"rise of {up:.4f} mm, but {self.half_span_mm:.4f} and {self.rise_mm:.4f} mm were given; "
                "let the functions of survey.curves work out radii and angles from the span and the rise"
            )

    @property
    def span_mm(self) -> float:
        """Clear span at the springing line."""
        return 2 * self.half_span_mm

    @property
    def rise_ratio(self) -> float:
        """Rise over span."""
        return self.rise_mm / self.span_mm
