"""A family's curve free to leave itself by given shapes of unknown size: columns and prior for that."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.choosing.still import Still, prior_of
from survey.fitting.families.priors import LOG_ROOT_TURN, Proportions
from survey.fitting.solving.evidence import Prior


class Departing(NamedTuple):
    """A still family beside shapes it may depart by.

    ``columns`` (n, 1 + k + b) are its distances, their slopes and the shapes, ``rows`` (m, 1 + k + b) the
    further observations, which depart by nothing; ``spread_mm`` (b,) is how large the shapes usually are.
    """

    still: Still
    columns: Floats
    rows: Floats
    spread_mm: Floats

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters and of the sizes of the shapes."""
        return (*self.still.standing.names, *(f"departure_{i + 1}" for i in range(len(self.spread_mm))))

    def prior(self, way: Proportions) -> Prior:
        """A way of proportioning, and the usual sizes of the shapes."""
        still, b = self.still, len(self.spread_mm)
        own = prior_of(still.standing, still.parameters, way, b)
        loose = np.hstack([np.zeros((b, len(still.parameters))), np.diag(1 / self.spread_mm)])
        density = own.log_density - float(np.sum(np.log(self.spread_mm))) - b * LOG_ROOT_TURN
        return Prior(np.append(own.rows, np.zeros(b)), np.vstack([own.slopes, loose]), float(density))


def departing(still: Still, shapes: Floats, spread_mm: Floats) -> Departing:
    """A still family that may depart by shapes (n, b), each by a size of spread (b,)."""
    look = still.look
    columns = np.column_stack([look.distance, look.slopes, shapes])
    rows = np.column_stack([look.rows, look.row_slopes, np.zeros((len(look.rows), shapes.shape[1]))])
    return Departing(still, columns, rows, spread_mm)
