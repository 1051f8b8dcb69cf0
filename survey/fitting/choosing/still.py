"""A family that has not moved: fitted, and averaged over its numbers and the scatter."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.choosing.fitted import ScatteredModel
from survey.fitting.families.priors import LIMITED, LOG_ROOT_TURN, RISE_RATIO, Proportions, proportions_of
from survey.fitting.families.standing import Look, Standing
from survey.fitting.mechanism.moved import Moved
from survey.fitting.solving.engine import EngineOptions, NormalSums, Solution, minimise
from survey.fitting.solving.evidence import Average, Prior, average, log_share_below
from survey.fitting.solving.noise import Whitener
from survey.fitting.solving.robust import ScaledLoss
from survey.fitting.solving.scatter_grid import ScatterGrid

NEAR = EngineOptions(relative_tolerance=1e-4, max_evaluations=40)
"""Enough for averages: the rest of the way is linear."""


@dataclass(frozen=True, slots=True, eq=False)
class GuidedModel:
    """A standing family whose usual proportions count as observations, so that a best fit always exists."""

    model: ScatteredModel

    @property
    def n_observations(self) -> int:
        """Points, further observations and usual proportions."""
        return self.model.n_observations + len(self.names) - 3

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters."""
        return self.model.names

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The model's sums and those of the proportions."""
        sums = self.model.sums(parameters, loss)
        standing = self.model.standing
        usual = proportions_of(standing.build, standing.numbers(parameters))[0]
        prior = prior_of(standing, parameters, usual)
        return NormalSums(
            sums.matrix + prior.slopes.T @ prior.slopes,
            sums.gradient + prior.slopes.T @ prior.rows,
            sums.cost + float(prior.rows @ prior.rows),
        )

    def residuals(self, parameters: Floats) -> Floats:
        """Distances (n,)."""
        return self.model.residuals(parameters)


def prior_of(standing: Standing | Moved, parameters: Floats, way: Proportions, n_more: int = 0) -> Prior:
    """A way of proportioning, and how level springing lines are, as prior on all parameters (k,).

    There is room for ``n_more`` further parameters.
    """
    k, usual_tilt = len(parameters), standing.usual_tilt_rad
    slopes = np.zeros((len(way.rows), k + n_more))
    slopes[:, 2 : 2 + way.slopes.shape[1]] = way.slopes
    if not np.isfinite(usual_tilt):
        return Prior(way.rows, slopes, way.log_density)
    level = np.zeros((1, k + n_more))
    level[0, k - 1] = 1 / usual_tilt
    rows = np.append(way.rows, parameters[k - 1] / usual_tilt)
    return Prior(rows, np.vstack([slopes, level]), way.log_density - np.log(usual_tilt) - LOG_ROOT_TURN)


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """A family standing as it was built.

    Attributes
    ----------
    standing : Standing
    parameters : (k,) float
        Where it was expanded: the best fit under one scatter and its usual proportions.
    look : Look
    ways : tuple of Proportions
    log_evidence : (w, g) float
        By way and scatter, the scatters' prior included.
    averages : tuple of Average, one a way
    grams : (g, 1 + k, 1 + k) float
    log_share : float
        Log of how much rarer arches so set out are than those on level springings; in ``log_evidence`` too.
    """

    standing: Standing
    parameters: Floats
    look: Look
    ways: tuple[Proportions, ...]
    log_evidence: Floats
    averages: tuple[Average, ...]
    grams: Floats
    log_share: float = 0.0

    def rarer(self, log_share: float) -> Still:
        """The same, so much rarer."""
        return replace(self, log_evidence=self.log_evidence + log_share, log_share=log_share)

    @property
    def log_total(self) -> float:
        """Log evidence over all ways and scatters."""
        return float(np.logaddexp.reduce(self.log_evidence, axis=None))


def fit_guided(standing: Standing, metric: Whitener, start: Floats) -> Solution:
    """Best fit under a scatter with the usual proportions."""
    return minimise(GuidedModel(ScatteredModel(standing, metric)), start, options=NEAR)


def stand_still(standing: Standing, parameters: Floats, grid: ScatterGrid, look: Look | None = None) -> Still:
    """Average a family, expanded about parameters (k,) near its best fit, over its numbers and the grid.

    A given look replaces the one at the parameters.
    """
    look = standing.look(parameters) if look is None else look
    rows = np.column_stack([look.rows, look.row_slopes])
    grams = grid.grams(np.column_stack([look.distance, look.slopes]), rows)
    determinants = grid.log_determinants(len(rows))
    ways = proportions_of(standing.build, standing.numbers(parameters))
    averages = tuple(
        average(grams, determinants, prior_of(standing, parameters, way), standing.names) for way in ways
    )
    log_evidence = np.stack(
        [grid.log_prior + a.log_evidence + below_limit(standing, parameters, a) for a in averages]
    )
    return Still(standing, parameters, look, ways, log_evidence, averages, grams)


def below_limit(standing: Standing, parameters: Floats, averaged: Average) -> Floats:
    """Correction (g,) for rises that must stay below the half-span."""
    if standing.build not in LIMITED:
        return np.zeros(len(averaged.log_evidence))
    s, h = standing.numbers(parameters)[:2]
    slope = np.array([-h / s**2, 1 / s])
    mean = h / s + averaged.shift[:, 2:4] @ slope
    variance = np.einsum("i,gij,j->g", slope, averaged.covariance[:, 2:4, 2:4], slope)
    return log_share_below(1.0, mean, np.sqrt(variance), RISE_RATIO[standing.build])
