"""How an arch of two rigid halves moves about three hinges when its springings go apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.errors import GeometryError


@dataclass(frozen=True, slots=True)
class ThreeHinges:
    """Two straight links from the lower hinges up to the crown hinge, alike on both sides.

    Attributes
    ----------
    between_mm : float
        From the left lower hinge to the right one, before the movement.
    height_mm : float
        Of the crown hinge over them.

    Raises
    ------
    GeometryError
        A distance that is not above 0.

    Notes
    -----
    A link keeps its length ``sqrt(height^2 + (between / 2)^2)``; with the lower hinges a spread further
    apart the crown hinge stands at ``sqrt(length^2 - ((between + spread) / 2)^2)``. To the first order the
    drop is ``spread * between / (4 * height)`` and each half turns by ``spread / (2 * height)``.

    Examples
    --------
    >>> arch = ThreeHinges(2000.0, 500.0)
    >>> round(arch.drop_mm(10.0), 3), arch.drop_per_spread
    (10.128, 1.0)
    """

    between_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        for name, value in (("between", self.between_mm), ("height", self.height_mm)):
            if not value > 0:
                raise GeometryError(f"hinges {name} {value} mm: give a distance above 0 mm")

    @property
    def drop_per_spread(self) -> float:
        """Drop of the crown hinge over the spread, at the first movement."""
        return self.between_mm / (4 * self.height_mm)

    def drop_mm(self, spread_mm: float) -> float:
        """How far the crown hinge sinks; negative for a spread below 0, when it rises.

        Raises
        ------
        GeometryError
            The spread lets the crown fall through.
        """
        return self.height_mm - self._height_mm(spread_mm)

    def turn_rad(self, spread_mm: float) -> float:
        """How far each half turns, its springing end inwards over its crown end; positive for a spread."""
        low = np.arctan2(self._height_mm(spread_mm), (self.between_mm + spread_mm) / 2)
        return float(np.arctan2(self.height_mm, self.between_mm / 2) - low)

    def crown_crack_mm(self, spread_mm: float, depth_mm: float) -> float:
        """Width of the open joint at the crown's soffit, the hinge being on the back of a ring so deep."""
        return float(2 * depth_mm * np.tan(self.turn_rad(spread_mm)))

    def _height_mm(self, spread_mm: float) -> float:
        half = (self.between_mm + spread_mm) / 2
        squared = self.height_mm**2 + (self.between_mm / 2) ** 2 - half**2
        if squared <= 0 or half <= 0:
            raise GeometryError(
                f"hinges {self.between_mm:.0f} mm apart and {self.height_mm:.0f} mm below the crown cannot "
                f"go {spread_mm:.0f} mm further apart: the crown falls through"
            )
        return float(np.sqrt(squared))
