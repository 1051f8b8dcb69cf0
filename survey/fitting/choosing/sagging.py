"""A family standing still but hanging smoothly off its curve: as likely to be weighed as pieces about hinges.

Where a centre gave way while the arch was built, or it was laid by eye, the soffit leaves its curve in waves
as long as the arch. Hinged pieces follow such waves well enough to be taken for a movement, unless the waves
are weighed as well.
"""

from __future__ import annotations

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.choosing.departing import departing
from survey.fitting.choosing.still import Still, below_limit
from survey.fitting.families.builds import profile_of
from survey.fitting.families.priors import SAG_RATIO
from survey.fitting.solving.evidence import average
from survey.fitting.solving.scatter_grid import ScatterGrid


def sagging_evidence(still: Still, grid: ScatterGrid) -> float:
    """Log evidence of a family with a smooth sag of any size and shape, all its numbers averaged over.

    Raises
    ------
    FitError
        The points leave one of the numbers open.
    """
    standing, parameters = still.standing, still.parameters
    waves = _waves(still)
    spread = SAG_RATIO * 2 * float(standing.numbers(parameters)[0])
    sag = departing(still, waves, np.full(waves.shape[1], spread))
    grams, determinants = grid.grams(sag.columns, sag.rows), grid.log_determinants(len(sag.rows))
    found = []
    for way in still.ways:
        averaged = average(grams, determinants, sag.prior(way), sag.names)
        found.append(grid.log_prior + averaged.log_evidence + below_limit(standing, parameters, averaged))
    return float(np.logaddexp.reduce(np.stack(found), axis=None)) + still.log_share


def _waves(still: Still) -> Floats:
    """One wave and two over the arch (n, 3), even about the crown and leaning to one side."""
    standing, parameters = still.standing, still.parameters
    profile = profile_of(standing.build, standing.numbers(parameters))
    turn = np.pi * standing.stations(parameters) / profile.half_length_mm
    return np.column_stack([np.cos(turn), np.cos(2 * turn), np.sin(turn)])
