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


FLAT_RATIO = 0.03
"""Only rows of points flatter than this (about rise to span) are asked whether they are curved at all."""
CURVED_FROM = 3.0
"""Standard uncertainties the rise of a flat row must come to before it is called an arch."""
FAR_SHARE = 10.0
"""A point this many times further from the middle than half of all says nothing of the row's straightness."""
GREATEST_EXTENT_MM = 400_000.0
"""Ten times the widest brick vaults there are; what reaches further was not measured in the unit given."""


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


def shortfall_of(xy_mm: Floats, sigma_mm: Floats | None = None) -> Shortfall | None:
    """What points (n, 2) of a soffit, mm, lack before a curve can be fitted; None when nothing.

    Parameters
    ----------
    xy_mm : (n, 2) float
    sigma_mm : (n,) float, optional
        Standard uncertainties; without them the points' own scatter alone says whether they are curved.

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
    low, high = np.quantile(xy_mm, [0.05, 0.95], axis=0)
    extent_mm = float(np.max(high - low))
    if extent_mm > GREATEST_EXTENT_MM:
        return Shortfall(
            f"the intrados points reach over {extent_mm / 1000.0:.0f} m, further than any brick arch",
            "correct measure.unit in arch.toml, or the coordinates",
        )
    near = _together(xy_mm)
    return _straight(xy_mm[near], None if sigma_mm is None else sigma_mm[near])


def _together(xy_mm: Floats) -> NDArray[np.bool_]:
    """Mask (n,) of the points without those so far off that they were misread."""
    away = np.linalg.norm(xy_mm - np.median(xy_mm, axis=0), axis=1)
    return np.asarray(away <= FAR_SHARE * np.median(away))


def _straight(xy_mm: Floats, sigma_mm: Floats | None) -> Shortfall | None:
    """Why flat rows of points (n, 2) are no arch: the rise of a parabola through them is nothing but error.

    With t from -1 to 1 along the row the parabola a + b t + c t^2 rises by c; its variance is that of
    the scatter times its element of the inverse normal matrix, doubled since both edges of a brick lie alike.
    """
    centred = xy_mm - xy_mm.mean(axis=0)
    _, size, axes = np.linalg.svd(centred, full_matrices=False)
    if size[1] >= FLAT_RATIO * size[0] or len(xy_mm) < FEWEST_POINTS:
        return None
    along, across = centred @ axes[0], centred @ axes[1]
    half_mm = 0.5 * float(np.ptp(along))
    columns = np.vander((along - along.min()) / half_mm - 1.0, 3)
    numbers = np.linalg.lstsq(columns, across, rcond=None)[0]
    left = across - columns @ numbers
    scatter = float(np.sqrt(left @ left / (len(left) - 3)))
    if sigma_mm is not None:
        scatter = max(scatter, float(np.sqrt(np.mean(np.square(sigma_mm)))))
    rise_mm = abs(float(numbers[0]))
    sigma = scatter * float(np.sqrt(2.0 * np.linalg.inv(columns.T @ columns)[0, 0]))
    if rise_mm >= CURVED_FROM * sigma:
        return None
    return Shortfall(
        f"the intrados is straight within the measuring error (rise {rise_mm:.1f} ± {sigma:.1f} mm over "
        f"{2.0 * half_mm:.0f} mm): a flat arch or lintel, which this tool has no family for",
        "if it is an arch, survey edges from springing to springing",
    )
