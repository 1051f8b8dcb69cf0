"""A family standing still but hanging smoothly off its curve: as likely to be weighed as pieces about hinges.

Where a centre gave way while the arch was built, or it was laid by eye, the soffit leaves its curve in waves
as long as the arch. Hinged pieces follow such waves well enough to be taken for a movement, unless the waves
are weighed as well.
"""

from __future__ import annotations

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.choosing.still import Still, prior_of
from survey.fitting.families.builds import profile_of
from survey.fitting.families.priors import LOG_ROOT_TURN, SAG_RATIO
from survey.fitting.solving.evidence import Prior, average
from survey.fitting.solving.scatter_grid import ScatterGrid


def sagging_evidence(still: Still, grid: ScatterGrid) -> float:
    """Log evidence of a family with a smooth sag of any size and shape, all its numbers averaged over."""
    standing, parameters = still.standing, still.parameters
    waves = _waves(still)
    k, n_waves = len(parameters), waves.shape[1]
    m = len(still.look.rows)
    spread = SAG_RATIO * 2 * float(standing.numbers(parameters)[0])
    columns = np.column_stack([still.look.distance, still.look.slopes, waves])
    rows = np.column_stack([still.look.rows, still.look.row_slopes, np.zeros((m, n_waves))])
    grams, determinants = grid.grams(columns, rows), grid.log_determinants(m)
    loose = np.hstack([np.zeros((n_waves, k)), np.eye(n_waves) / spread])
    names = (*standing.names, *(f"wave_{i + 1}" for i in range(n_waves)))
    found = []
    for way in still.ways:
        own = prior_of(standing, parameters, way, n_waves)
        density = own.log_density - n_waves * (np.log(spread) + LOG_ROOT_TURN)
        prior = Prior(
            np.concatenate([own.rows, np.zeros(n_waves)]), np.vstack([own.slopes, loose]), float(density)
        )
        found.append(grid.log_prior + average(grams, determinants, prior, names).log_evidence)
    return float(np.logaddexp.reduce(np.stack(found), axis=None))


def _waves(still: Still) -> Floats:
    """One wave and two over the arch (n, 3), even about the crown and leaning to one side."""
    standing, parameters = still.standing, still.parameters
    profile = profile_of(standing.build, standing.numbers(parameters))
    turn = np.pi * standing.stations(parameters) / profile.half_length_mm
    return np.column_stack([np.cos(turn), np.cos(2 * turn), np.sin(turn)])
