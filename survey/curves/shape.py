"""An arch shape: the few numbers a mason set an arch out with, for each of the five families."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from survey.errors import GeometryError


class Family(StrEnum):
    """The families of arch curve the toolkit knows."""

    SEMICIRCULAR = "semicircular"
    SEGMENTAL = "segmental"
    ELLIPTICAL = "elliptical"
    THREE_CENTRED = "three_centred"
    FIVE_CENTRED = "five_centred"


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
        When a number is not finite, or a length or sector angle not above 0. Whether the arcs fit the family
        and meet at the crown is asked where they are drawn, by :func:`survey.curves.curve_of`.
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

    @property
    def span_mm(self) -> float:
        """Clear span at the springing line."""
        return 2 * self.half_span_mm

    @property
    def rise_ratio(self) -> float:
        """Rise over span."""
        return self.rise_mm / self.span_mm
