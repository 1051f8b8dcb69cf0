"""How large the cautions of a sheet are printed: as large as costs the sheet nothing else."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from survey.errors import DrawingError
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import CAUTION_MM

CAUTION_PRINTS_MM = (CAUTION_MM, 2.2, ink.SMALL_TEXT_MM)
"""Capital heights tried for cautions, the largest first."""

Made = TypeVar("Made")


def in_caution_print(make: Callable[[float], Made], cost: Callable[[Made], tuple[float, ...]]) -> Made:
    """What is made with its cautions in the largest print at which it costs no more than in the least.

    Parameters
    ----------
    make : callable
        Makes a sheet, or a set of them, for a capital height of the cautions in mm.
    cost : callable
        What may not grow, the most important first: the plot scale 1 : n, the number of sheets.

    Raises
    ------
    DrawingError
        When not even the least print fits.

    Examples
    --------
    >>> in_caution_print(lambda height_mm: height_mm, lambda height_mm: (3 if height_mm > 2.3 else 2,))
    2.2
    """
    *larger, least = CAUTION_PRINTS_MM
    fallback = make(least)
    for height_mm in larger:
        try:
            made = make(height_mm)
        except DrawingError:
            continue  # it does not fit in this print; the least one, which does, is at hand
        if cost(made) <= cost(fallback):
            return made
    return fallback
