"""A first look at where each family may have hinged: a few places all over the arch, under a few scatters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.choosing.still import Still
from survey.fitting.families.priors import likely_motions
from survey.fitting.families.standing import Look, Standing
from survey.fitting.mechanism.hinge_choices import HingeChoices, first_choices
from survey.fitting.mechanism.hinge_search import motion_columns, motion_gains, motion_products, sighted
from survey.fitting.mechanism.joint_gaps import JointGaps
from survey.fitting.solving.evidence import Average
from survey.fitting.solving.scatter_grid import ScatterGrid

CROWN_DOUBT = 5.0
CROWN_APART = 0.1
MOST_CROWNS = 2
FLAT_RISE_RATIO = 0.4
"""A flatter arch (rise over half-span) has no haunch to hinge at."""


@dataclass(frozen=True, slots=True, eq=False)
class FirstLook:
    """A family's likeliest hinges among a few, and its log evidence as a moved arch."""

    still: Still
    choices: HingeChoices
    best: int
    crowns: Floats
    log_evidence: float


def look_for_hinges(still: Still, grid: ScatterGrid, which: np.ndarray, joints: JointGaps) -> FirstLook:
    """Try a few hinges for a family, under some of the grid's scatters."""
    standing, parameters = still.standing, still.parameters
    seen = sighted(standing, parameters)
    s, h = half_and_rise(standing, parameters)
    choices = first_choices(flat=h < FLAT_RISE_RATIO * s)
    curve = columns_of(still.look, len(parameters))
    moved = motion_columns(standing, parameters, seen, choices)
    products = motion_products(grid.take(which), curve, moved, (joints,), choices)
    total = np.full(len(choices.crown), -np.inf)
    for way, averaged in enumerate(still.averages):
        part = Average(*(column[which] for column in averaged))
        for likely in likely_motions(s):
            gains = motion_gains(products, part, likely)
            weight = still.log_evidence[way, which][:, None] + gains.log_gain + likely.log_share
            total = np.logaddexp(total, np.logaddexp.reduce(weight, axis=0))
    total += choices.log_prior
    return FirstLook(
        still, choices, int(np.argmax(total)), _crowns(choices, total), float(np.logaddexp.reduce(total))
    )


def _crowns(choices: HingeChoices, log_weight: Floats) -> Floats:
    """Places of the crown hinge worth a closer look: the best, and others that may turn out better."""
    found: list[float] = []
    for i in np.argsort(log_weight)[::-1].tolist():
        if log_weight[i] < log_weight.max() - CROWN_DOUBT or len(found) == MOST_CROWNS:
            break
        if all(abs(choices.crown[i] - other) > CROWN_APART for other in found):
            found.append(float(choices.crown[i]))
    return np.array(found)


def half_and_rise(standing: Standing, parameters: Floats) -> tuple[float, float]:
    """Half-span and rise of a family at parameters (k,)."""
    numbers = standing.numbers(parameters)
    return float(numbers[0]), float(numbers[1] if len(numbers) > 1 else numbers[0])


def columns_of(look: Look, k: int) -> tuple[Floats, Floats]:
    """Distances and their slopes by the first k parameters (n, 1 + k), and the rows and theirs (m, 1 + k)."""
    return (
        np.column_stack([look.distance, look.slopes[:, :k]]),
        np.column_stack([look.rows, look.row_slopes[:, :k]]),
    )
