"""How far a lot of bought bricks may be off its declared size: the classes of EN 771-1."""

from __future__ import annotations

import math
from enum import Enum

from survey.errors import PlanError


class SizeClass(Enum):
    """Tolerance classes of mean sizes and ranges: the least tolerance and the factor of the root, mm.

    T1 and T2 bound the mean of ten bricks against the declared size, R1 and R2 the spread within the ten.
    """

    T1 = (3.0, 0.40)
    T2 = (2.0, 0.25)
    R1 = (0.0, 0.60)
    R2 = (0.0, 0.30)


def size_tolerance_mm(size_mm: float, size_class: SizeClass) -> float:
    r"""Tolerance on a brick's size, mm, unrounded.

    Raises
    ------
    PlanError
        When the size is not above 0.

    Notes
    -----
    :math:`\max(t, f \sqrt{s})` with size :math:`s` in mm: EN 771-1:2011+A1, tolerances on mean values and
    ranges (formulae from memory; a table of rounded values seen on two makers' sheets). Old bricks were made
    to no such class; of them measure the lot.

    Examples
    --------
    >>> size_tolerance_mm(65.0, SizeClass.T1).__round__(3)
    3.225
    """
    if not size_mm > 0.0:
        raise PlanError(f"a brick size of {size_mm:g} mm was given; give a length above 0 mm")
    least, factor = size_class.value
    return max(least, factor * math.sqrt(size_mm))
