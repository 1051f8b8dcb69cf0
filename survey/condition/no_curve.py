"""What is said of an arch set out to none of the families: there is no curve to judge its courses by."""

from __future__ import annotations

import math
import sys

from survey.condition.courses.ring_table import RingTable
from survey.condition.result import Pattern
from survey.fitting.result import ArchFit, Estimate, Verdict

NO_CURVE = "no curve to judge by"
SAID = (
    "The arch keeps to none of the families, so deviations are against the nearest curve only and say "
    "nothing of damage; a dropped course cannot be told from the curve's own shape. Look over every course "
    "on site for steps, cracks and open joints."
)


def has_curve(fit: ArchFit) -> bool:
    """Whether there is a curve to judge courses by: one the arch keeps to, or one the surveyor insists on."""
    return fit.verdict.family is not None or fit.is_insisted


def nothing_to_judge_by(table: RingTable, verdict: Verdict) -> Pattern:
    """The one sentence in place of every pattern that rests on the curve, over the whole of a ring.

    Its evidence is what the verdict "none of these" rests on: the log of how unlikely all families are
    together.
    """
    families = max(math.fsum(verdict.probability.values()), sys.float_info.min)
    nothing = Estimate(math.nan, math.nan)
    first, last = int(table.course[0]), int(table.course[-1])
    return Pattern(NO_CURVE, SAID, table.ring.ring, first, last, nothing, -math.log(families))
