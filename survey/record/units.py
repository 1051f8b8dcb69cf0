"""The units a record may be written in. Beyond the record room every length is in millimetres."""

from __future__ import annotations

from enum import StrEnum


class Unit(StrEnum):
    """Unit of every length in a record folder; the foot is the international one of 304.8 mm.

    Examples
    --------
    >>> Unit("cm").in_mm
    10.0
    >>> Unit("ft").in_mm
    304.8
    """

    MM = "mm"
    CM = "cm"
    M = "m"
    IN = "in"
    FT = "ft"

    @property
    def in_mm(self) -> float:
        """Millimetres in one of this unit, exact by definition."""
        return _MILLIMETRES[self]

    @property
    def is_coarse(self) -> bool:
        """Whether no arch is measured in whole ones of this unit."""
        return self in (Unit.M, Unit.FT)


_MILLIMETRES = {Unit.MM: 1.0, Unit.CM: 10.0, Unit.M: 1000.0, Unit.IN: 25.4, Unit.FT: 304.8}
