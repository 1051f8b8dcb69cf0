"""How much larger than life small distances are drawn, and where a very large one is cut."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

FACTORS = (100, 50, 20, 10, 5, 2, 1)
"""Factors distances are drawn at."""
_TOLERANCES = 5.0
_USUAL_SHARE, _USUAL_TIMES = 0.8, 3.0


def readable_mm(values_mm: ArrayLike, tolerance_mm: float) -> float:
    """Largest distance worth drawing in full: a gross reading must not flatten all others.

    Notes
    -----
    Readings up to five tolerances, or three times what four in five stay within, set the measure; what goes
    beyond is drawn cut, with its figure.

    Examples
    --------
    >>> readable_mm([1.0, -2.0, 3.0], 5.0)
    5.0
    >>> readable_mm([1.0, -2.0, 3.0, 400.0], 5.0)
    25.0
    """
    sizes = np.abs(np.asarray(values_mm, dtype=float))
    sizes = sizes[np.isfinite(sizes)]
    largest = max(tolerance_mm, float(sizes.max(initial=0.0)))
    usual = float(np.quantile(sizes, _USUAL_SHARE, method="lower")) if len(sizes) else 0.0
    return min(largest, max(_TOLERANCES * tolerance_mm, _USUAL_TIMES * usual))


def exaggeration(largest_mm: float, scale: float, *, longest_mm: float) -> int:
    """The largest factor that keeps a distance within a length on paper at 1 : ``scale``; at least 1.

    Examples
    --------
    >>> exaggeration(6.0, 10.0, longest_mm=14.0)
    20
    """
    return next((f for f in FACTORS if f * largest_mm / scale <= longest_mm), FACTORS[-1])
