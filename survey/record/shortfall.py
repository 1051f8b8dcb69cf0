"""The least that must be measured before a curve can be fitted: told by a check and held to by the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.record.model import UNKNOWN, Feature, Floats, SurveyPoints

FEWEST_POINTS = 4
"""One more than fix a circle, so that something is left to judge the fit by."""
IN_A_SPOT_MM = 10.0
"""Points spread less than this about their middle (root mean square) are one place measured several times."""
ON_A_LINE_RATIO = 1e-3
"""Points spread square to their best line by less than this share of their spread along it show no curve."""


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Why no curve can be fitted to the points, and what to measure."""

    reason: str
    remedy: str

    def __str__(self) -> str:
        """Both in one sentence."""
        return f"{self.reason}; {self.remedy}"


def soffit_of(points: SurveyPoints) -> NDArray[np.int64]:
    """Counts (n,) of the points a fit is made to: on the intrados, of ring 1 or of no recorded ring."""
    first_ring = (points.ring == 1) | (points.ring == UNKNOWN)
    return np.flatnonzero(points.on(Feature.INTRADOS) & first_ring)


def shortfall_of(xy_mm: Floats) -> Shortfall | None:
    """What points (n, 2) of a soffit, mm, lack before a curve can be fitted; None when nothing.

    Examples
    --------
    >>> print(shortfall_of(np.zeros((6, 2))))
    all intrados points lie within about 0.0 mm of one spot; survey edges from springing to springing
    """
    if len(xy_mm) < FEWEST_POINTS:
        return Shortfall(
            f"{len(xy_mm)} intrados points of ring 1 were surveyed",
            f"at least {FEWEST_POINTS} are needed, better three times that, "
            "spread from springing to springing",
        )
    size = np.linalg.svd(xy_mm - xy_mm.mean(axis=0), compute_uv=False) / np.sqrt(len(xy_mm))
    if size[0] < IN_A_SPOT_MM:
        return Shortfall(
            f"all intrados points lie within about {size[0]:.1f} mm of one spot",
            "survey edges from springing to springing",
        )
    if size[1] < ON_A_LINE_RATIO * size[0]:
        return Shortfall(
            f"all intrados points lie on a straight line within {size[1]:.1f} mm over {2 * size[0]:.0f} mm",
            "they show no curve: survey edges from springing to springing",
        )
    return None
