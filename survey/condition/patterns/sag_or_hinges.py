"""Whether a soffit hangs smoothly, stands as it was, or moved in pieces: pieces leave kinks, a sag none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.ring_table import RingTable
from survey.condition.hinged import hinged_deviation, off_neighbours
from survey.condition.patterns.hinge_shapes import Courses, hinge_shapes
from survey.condition.patterns.metrics import alike_nearby
from survey.condition.patterns.noise_model import (
    LENGTH_FACTORS,
    CourseNoise,
    independent_columns,
    longest_alike_mm,
)
from survey.condition.patterns.sag import Sag, sag_of, sag_pattern, sag_shapes
from survey.condition.patterns.shapes import gain_under_best, likeliest_shape, log_shaped, log_still
from survey.condition.patterns.weighings import Weighings, weighings_of
from survey.condition.result import Pattern
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit
from survey.record.model import Tolerances

SAG_ABOVE = 2.0
"""Evidence a sag needs against an arch as it was, and to be told where no movement is: it must be deeper than
the tolerance as well."""
NO_HINGES_ABOVE = 2.0
"""Evidence it needs against hinged pieces where no movement is told."""
DOUBT_ABOVE = 3.5
"""The same where one is. Of 480 simulated arches that did move none was told to hang smoothly."""
SURE_TO_HANG = 0.9
"""From this probability the fit has found the sag by itself: it need only be deeper than the tolerance."""
IRREGULARITIES_MM = (0.5, 0.9, 1.6, 2.8, 4.5)
HOPELESS_BELOW = 0.0
"""What the best sag gains at least, under the scatter likeliest without any, where there is one (of 91 found
in simulated arches none gained less than 0.6)."""
WILD_MM = 8.0
"""A course further than this from the median of its neighbours has moved by itself."""
FEWEST_COURSES = 12
NO_KINK = " There is no kink, so no hinge: it was built so, or its centre gave way while building."
OTHER_CURVE = " It may also have been set out to another curve than the one fitted."
NO_CRACKS = (
    " A smooth line explains the readings better than pieces turned about hinges: it may have been built so, "
    "or its centre gave way while building. Look for cracks at the hinges before the movement is believed."
)


@dataclass(frozen=True, slots=True, eq=False)
class ToldSag:
    """A sag, in words, and the courses (mask) it was seen in."""

    pattern: Pattern
    sag: Sag
    known: np.ndarray


def smooth_sag(
    fit: ArchFit,
    table: RingTable,
    slopes: Floats,
    *,
    known: np.ndarray,
    noise: CourseNoise,
    tolerances: Tolerances,
) -> ToldSag | None:
    """The smooth sag of one ring that explains it better than anything else does, or None.

    Parameters
    ----------
    fit : ArchFit
        Where it tells a movement, a sag puts it in doubt.
    table : RingTable
    slopes : (n, k) float
        How far the courses follow the fitted curve's parameters.
    known : (n,) bool
        Courses to judge by, where no movement is told.
    noise : CourseNoise
        Their deviations, weighed: where no sag gains anything none is looked for further.
    tolerances : Tolerances

    Notes
    -----
    Three explanations are weighed by their mean likelihood over the same scatters and over all they leave
    open: the curve itself; a smooth sag (waves, or one place that hangs, alike beforehand); pieces turned
    about hinges at every place hinges may have, not the fit's alone, with a spread, or a spread and a
    settlement. What the curve can follow is left out of all three.
    """
    hangs = fit.hangs_smoothly > SURE_TO_HANG
    if fit.movement is None and not hangs and _is_hopeless(noise):
        return None
    tame = known if fit.movement is None else _tame(table, fit)
    at = np.flatnonzero(tame)
    if len(at) < FEWEST_COURSES:
        return None
    follow = independent_columns(slopes[at])
    weighings = _weighings(table, at, follow)
    families = sag_shapes(table.station_mm[at])
    sagging = float(np.logaddexp.reduce([log_shaped(weighings, f) for f in families])) - np.log(len(families))
    evident = float(sagging - log_still(weighings))
    if evident < SAG_ABOVE and not hangs:
        return None
    sag = sag_of(likeliest_shape(weighings, families), follow, evident)
    if sag.depth_mm <= tolerances.intrados_mm:
        return None
    # Where a movement came near, the fit has weighed hinged pieces against a sag with all their freedoms.
    smoother = np.inf if hangs else sagging - _log_hinged(fit, table, at, weighings)
    if fit.movement is None:
        if smoother < NO_HINGES_ABOVE:
            return None
        unclear = not fit.verdict.clear or fit.verdict.family is None
        meaning = NO_KINK + (OTHER_CURVE if unclear else "")
        return ToldSag(sag_pattern(table, tame, sag, meaning), sag, tame)
    if smoother < DOUBT_ABOVE:
        return None
    return ToldSag(sag_pattern(table, tame, sag, NO_CRACKS), sag, tame)


def _is_hopeless(noise: CourseNoise) -> bool:
    families = sag_shapes(noise.station_mm)
    return max(gain_under_best(noise.weighings, family) for family in families) < HOPELESS_BELOW


def _tame(table: RingTable, fit: ArchFit) -> np.ndarray:
    """Courses that did not move by themselves, out of their piece."""
    assert fit.movement is not None
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(off_neighbours(hinged_deviation(table, fit.movement))) <= WILD_MM)


def _weighings(table: RingTable, at: np.ndarray, follow: Floats) -> Weighings:
    """Deviations of courses under all scatters tried, what the curve can follow projected out."""
    station, sigma = table.station_mm[at], np.sqrt(table.reading_variance_mm2[at])
    factor, irregularity = np.meshgrid(LENGTH_FACTORS, IRREGULARITIES_MM, indexing="ij")
    alike = factor.ravel() * longest_alike_mm(station)
    return weighings_of(
        alike_nearby(station, sigma, irregularity.ravel(), alike), table.deviation_mm[at], follow
    )


def _log_hinged(fit: ArchFit, table: RingTable, at: np.ndarray, weighings: Weighings) -> float:
    """Log of the mean likelihood of hinged pieces, with a spread, or a spread and a settlement."""
    curve = curve_of(fit.best.shape)
    share = table.station_mm[at] / curve.length_mm
    courses = Courses(table.foot_mm[at], table.normal[at], share)
    return log_shaped(weighings, hinge_shapes(curve, table.ring.depth_mm, courses))
