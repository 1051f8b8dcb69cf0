"""Middle and scatter of values of which a few may be far out."""

from __future__ import annotations

import numpy as np

from survey.curves.protocol import Floats

NORMAL_SCALE = 1.4826
"""Standard deviation of normal values over their median absolute deviation."""


def middle_of(values: Floats) -> float:
    """Median of the known ones of values (n,); NaN where none is known.

    Notes
    -----
    For the few values of a ring several times as fast as the general one.

    Examples
    --------
    >>> middle_of(np.array([3.0, np.nan, 1.0, 2.0, 50.0])), middle_of(np.array([np.nan]))
    (2.5, nan)
    """
    known = np.sort(values[values == values])
    n = len(known)
    return float(0.5 * (known[(n - 1) // 2] + known[n // 2])) if n else float("nan")


def scatter_of(values: Floats, about: float = 0.0) -> float:
    """Standard deviation of values (n,) about a place, from their median absolute deviation; NaN without any.

    Examples
    --------
    >>> round(scatter_of(np.array([-1.0, 1.0, 2.0, -80.0, np.nan])), 4)
    2.2239
    """
    return NORMAL_SCALE * middle_of(np.abs(values - about))
