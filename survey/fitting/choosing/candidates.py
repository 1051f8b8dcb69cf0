"""A family's final fit to the surveyed shape: the exact optimum, and its covariance under unknown scatter.

The curve is fitted under its likeliest scatter. Its covariance is that of generalised least squares, averaged
over all scatters by how likely they are, together with how far the optimum moves from one to the next.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.errors import FitError
from survey.fitting.choosing.fitted import ScatteredModel, figures_of
from survey.fitting.choosing.hypotheses import Ground
from survey.fitting.choosing.still import Still, fit_guided, stand_still
from survey.fitting.families.builds import SEMICIRCULAR
from survey.fitting.families.priors import LIMITED
from survey.fitting.families.standing import Standing
from survey.fitting.result import Candidate
from survey.fitting.solving.engine import OUT_OF_DOMAIN, EngineOptions, OutsideDomainError, minimise
from survey.fitting.solving.evidence import Prior, average
from survey.fitting.solving.noise import Scatter, Whitener

EXACT = EngineOptions(max_evaluations=60)
NEAR_LIMIT = 0.97
"""Rise over half-span from which a search that strays is taken to run into the semicircle."""
AGREES = 0.5
"""A construction is named when it is likelier than this among the ways its family was proportioned."""


@dataclass(frozen=True, slots=True, eq=False)
class FinalFit:
    """A family's final fit in the sightings' frame.

    ``because`` is blank, or says what the points leave open; ``converged`` is False where the family's usual
    proportions had to stand in for what the points do not tell.
    """

    still: Still
    parameters: Floats
    covariance: Floats
    distance: Floats
    converged: bool
    because: str

    def shape(self, origin_mm: Floats) -> ArchShape:
        """The shape seen from an origin (2,)."""
        return self.still.standing.shape(self.parameters, origin_mm=origin_mm)


def likeliest_scatter(still: Still) -> int:
    """Number of the scatter under which a family is likeliest."""
    return int(np.argmax(np.logaddexp.reduce(still.log_evidence, axis=0)))


def final_fit(still: Still, ground: Ground) -> FinalFit:
    """Fit a family exactly, from where it was weighed."""
    standing = still.standing
    best = likeliest_scatter(still)
    metric = ground.grid.whitener(best)
    way = int(np.argmax(still.log_evidence[:, best]))
    guided = still.parameters + still.averages[way].shift[best]
    start = guided if _exists(standing, guided) else still.parameters
    solution = minimise(ScatteredModel(standing, metric), start, options=EXACT)
    why = solution.because
    try:
        if solution.converged and not _beyond_limit(standing, solution.parameters):
            parameters = solution.parameters
            return FinalFit(
                still, parameters, _covariance(still, None), standing.look(parameters).distance, True, ""
            )
        if solution.converged or _near_limit(standing, start):
            limit = _at_limit(still, metric, ground)
            if limit is not None:
                return limit
    except FitError as left_open:
        why = str(left_open)
    settled = f"the points alone do not settle it ({why})"
    if why.startswith(OUT_OF_DOMAIN):
        settled = f"by the points alone {why.removeprefix(OUT_OF_DOMAIN)}"
    because = f"{settled}; its usual proportions were added"
    usual = fit_guided(standing, metric, still.parameters).reached
    return FinalFit(still, usual, _covariance(still, way), standing.look(usual).distance, False, because)


def _exists(standing: Standing, parameters: Floats) -> bool:
    try:
        standing.look(parameters)
    except OutsideDomainError:
        return False
    return True


def _beyond_limit(standing: Standing, parameters: Floats) -> bool:
    s, h = (*standing.numbers(parameters)[:2], 0.0)[:2]
    return standing.build in LIMITED and bool(h > s)


def _near_limit(standing: Standing, parameters: Floats) -> bool:
    s, h = (*standing.numbers(parameters)[:2], 0.0)[:2]
    return standing.build in LIMITED and bool(h > NEAR_LIMIT * s)


def _at_limit(still: Still, metric: Whitener, ground: Ground) -> FinalFit | None:
    """The semicircle written as the family whose rise would exceed its half-span."""
    standing = still.standing
    if standing.build not in LIMITED:
        return None
    half = Standing(standing.sightings, SEMICIRCULAR, standing.tilt)
    first = np.delete(still.parameters, np.arange(3, 2 + len(standing.build.numbers)))
    solution = minimise(ScatteredModel(half, metric), first, options=EXACT)
    if not solution.converged:
        return None
    spread = np.zeros((len(still.parameters), len(solution.parameters)))
    rows = [0, 1, 2, *([len(still.parameters) - 1] if standing.tilt else [])]
    spread[rows, np.arange(len(rows))] = 1.0
    spread[3, 2] = 1.0
    parameters = spread @ solution.parameters
    if standing.build.family is Family.THREE_CENTRED:
        parameters[4] = np.pi / 4
    elif standing.build.family is Family.FIVE_CENTRED:
        spread[4, 2] = 1.0
        parameters[4] = parameters[2]
        parameters[5 : 2 + len(standing.build.numbers)] = np.pi / 5
    exact = stand_still(half, solution.parameters, ground.grid)
    covariance = spread @ _covariance(exact, None) @ spread.T
    because = "its rise would exceed half its span; it fits best as the semicircle, where it ends"
    return FinalFit(still, parameters, covariance, standing.look(parameters).distance, True, because)


def _covariance(still: Still, way: int | None) -> Floats:
    """Covariance (k, k) averaged over the scatters; with a way of proportioning, or by the points alone."""
    log_weight = np.logaddexp.reduce(still.log_evidence, axis=0)
    weight = np.exp(log_weight - np.logaddexp.reduce(log_weight))
    if way is None:
        nothing = Prior(np.empty(0), np.empty((0, len(still.parameters))), 0.0)
        averaged = average(still.grams, np.zeros(len(weight)), nothing, still.standing.names)
    else:
        averaged = still.averages[way]
    middle = weight @ averaged.shift
    off = averaged.shift - middle
    return np.asarray(
        np.einsum("g,gij->ij", weight, averaged.covariance) + np.einsum("g,gi,gj->ij", weight, off, off)
    )


def candidate_of(fit: FinalFit, ground: Ground, origin_mm: Floats) -> Candidate:
    """The contract's candidate, in the arch frame of an origin (2,) of the sightings' frame."""
    standing = fit.still.standing
    placed = fit.parameters.copy()
    placed[:2] -= origin_mm
    return Candidate(
        family=standing.family,
        shape=fit.shape(origin_mm),
        parameters=standing.names,
        covariance=fit.covariance,
        figures=MappingProxyType(figures_of(standing, placed, fit.covariance)),
        rms_mm=rms_of(fit.distance, ground),
        converged=fit.converged,
        because=fit.because,
        log_evidence=fit.still.log_total,
        construction=construction_of(fit.still.log_evidence, fit.still),
    )


def construction_of(log_weight: Floats, still: Still) -> str:
    """The handbook construction a shape agrees with, from log weights (w, ...) by way; blank if none."""
    by_way = np.logaddexp.reduce(log_weight.reshape(len(still.ways), -1), axis=1)
    share = np.exp(by_way - np.logaddexp.reduce(by_way))
    best = int(np.argmax(share))
    return still.ways[best].construction if share[best] > AGREES else ""


def rms_of(distance: Floats, ground: Ground) -> float:
    """RMS of distances (n,) over the points by their weights."""
    return float(np.sqrt(np.average(distance**2, weights=ground.weight)))


def mean_scatter(log_weight: Floats, scatters: tuple[Scatter, ...]) -> Scatter:
    """Geometric mean of scatters by log weights (g,)."""
    weight = np.exp(log_weight - np.logaddexp.reduce(log_weight))
    logs = np.log(np.array([tuple(s) for s in scatters]))
    return Scatter(*(float(x) for x in np.exp(weight @ logs)))
