"""All that an arch may be, fitted to the same points and weighed against each other.

Five families standing still, the same five moved as pieces, and curves of no family: each is fitted, its free
numbers and the unknown scatter averaged over (:mod:`survey.fitting.evidence`), and multiplied by how common
it is. Points are judged gross or good once, from a curve free to bend, and again from the likeliest
hypothesis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from survey.curves.protocol import Floats
from survey.curves.shape import Family
from survey.errors import FitError
from survey.fitting.evidence import Prior, ScatterGrid, average, scatter_grid
from survey.fitting.families import BUILDS, OTHER_BUILDS, Build, profile_of
from survey.fitting.fitted import fit_roughly, start_of
from survey.fitting.hinge_search import sighted
from survey.fitting.joint_gaps import joint_gaps
from survey.fitting.movement_fit import FirstLook, MovedFit, fit_moved, look_for_hinges
from survey.fitting.noise import Nodes, Scatter, Whitener, nodes_of, whitener
from survey.fitting.options import FitOptions
from survey.fitting.priors import LOG_ROOT_TURN, MOVED_SHARE, OTHER_SHARE
from survey.fitting.sightings import Sightings
from survey.fitting.standing import Standing
from survey.fitting.still import Still, fit_guided, prior_of, stand_still
from survey.fitting.weighing import bends_along, weigh_points

SMOOTH = (Family.SEMICIRCULAR, Family.SEGMENTAL, Family.ELLIPTICAL)
"""Families without an arc short enough to swallow a gross error."""
USUAL_SCATTER_MM = 1.5
USUAL_CORRELATION_COURSES = 2.5
N_FIRST_SCATTERS = 3
MOST_SCATTERS = 16
SCATTER_NEGLIGIBLE = 6.0
"""Scatters whose log weight lies further below the likeliest are not averaged over where it is costly."""
HOPELESS = 8.0
"""A moved family this far (in log evidence, at first look) behind the likeliest is not fitted any further."""
REWEIGHED = 0.3
"""A weight that changes by more than this asks for everything to be weighed once more."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What all hypotheses share: the points, their weights, and the scatters to average over.

    ``bends`` (g,) is the log evidence, by scatter, of a curve that bends freely; ``likely`` lists the
    likeliest scatters by it.
    """

    sightings: Sightings
    nodes: Nodes
    weight: Floats
    pitch_mm: float
    grid: ScatterGrid
    bends: Floats
    likely: np.ndarray

    def whitener_of(self, scatter: Scatter) -> Whitener:
        """Whitener of these points under any scatter."""
        return whitener(self.nodes, self.sightings.sigma_mm, self.weight, scatter)


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Every hypothesis with its log evidence, the shares included.

    Attributes
    ----------
    ground : Ground
    stills : mapping of Family to Still
    moved : mapping of Family to MovedFit
        Only those not hopeless.
    others : mapping of Build to Still
    failed : mapping of Family to str
        Families that could not be fitted, with the reason.
    """

    ground: Ground
    stills: Mapping[Family, Still]
    moved: Mapping[Family, MovedFit]
    others: Mapping[Build, Still]
    failed: Mapping[Family, str]
    moves: bool

    def log_still(self, family: Family) -> float:
        """Log weight of a family standing still."""
        share = 1 - MOVED_SHARE if self.moves else 1.0
        return self.stills[family].log_total + float(np.log(share * (1 - OTHER_SHARE) / len(self.stills)))

    def log_moved(self, family: Family) -> float:
        """Log weight of a family having moved; minus infinity where that is hopeless."""
        if family not in self.moved:
            return -np.inf
        share = MOVED_SHARE * (1 - OTHER_SHARE) / len(self.stills)
        return self.moved[family].log_evidence + float(np.log(share))

    @property
    def log_other(self) -> float:
        """Log weight of all curves of no family: bending freely, or one of the known ones."""
        known = [still.log_total for still in self.others.values()]
        return float(
            logsumexp([logsumexp(self.ground.bends), *known]) + np.log(OTHER_SHARE / (1 + len(known)))
        )

    @property
    def log_all(self) -> float:
        """Log weight of everything."""
        every = [f(family) for f in (self.log_still, self.log_moved) for family in self.stills]
        return float(logsumexp([*every, self.log_other]))


def weigh_hypotheses(
    sightings: Sightings, pitch_mm: float | None, depth_mm: float, asked: FitOptions
) -> Weighed:
    """Fit and weigh everything.

    Parameters
    ----------
    sightings : Sightings
    pitch_mm : float or None
        Usual distance from course to course; None takes it from the points.
    depth_mm : float
        Depth of the ring.
    asked : FitOptions

    Raises
    ------
    FitError
        No family fits.
    """
    rough, failed = _fit_roughly(sightings, asked)
    base = min((rough[f] for f in SMOOTH if f in rough), key=lambda r: r[2], default=None)
    if base is None:
        base = min(rough.values(), key=lambda r: r[2])
    standing, parameters, _ = base
    nodes = nodes_of(standing.stations(parameters), sightings.course)
    pitch = pitch_mm if pitch_mm is not None else max(2 * float(np.median(nodes.step_mm)), 20.0)
    usual = Scatter(USUAL_SCATTER_MM, USUAL_CORRELATION_COURSES * pitch)
    bends = bends_along(_shares(standing, parameters), standing.numbers(parameters)[0])
    distance = standing.look(parameters).distance
    weight = weigh_points(nodes, sightings.sigma_mm, distance, usual, bends)
    weighed = _weigh(sightings, nodes, weight, pitch, depth_mm, rough, failed, asked)
    again = _judged_by_best(weighed)
    if again is not None and np.max(np.abs(again - weight)) > REWEIGHED:
        weighed = _weigh(sightings, nodes, again, pitch, depth_mm, rough, failed, asked)
    return weighed


Rough = tuple[Standing, Floats, float]


def _fit_roughly(sightings: Sightings, asked: FitOptions) -> tuple[dict[Family, Rough], dict[Family, str]]:
    rough: dict[Family, Rough] = {}
    failed: dict[Family, str] = {}
    for family in asked.families:
        standing = Standing(sightings, BUILDS[family], asked.tilt)
        solution = fit_roughly(standing, start_of(standing))
        if np.isfinite(solution.cost):
            rough[family] = (standing, solution.reached, solution.cost)
        else:
            failed[family] = solution.because
    if not rough:
        reasons = "; ".join(f"{family.value}: {why}" for family, why in failed.items())
        raise FitError(f"no family fits the surveyed points ({reasons})")
    return rough, failed


def _shares(standing: Standing, parameters: Floats) -> Floats:
    profile = profile_of(standing.build, standing.numbers(parameters))
    return np.asarray(standing.stations(parameters) / (2 * profile.half_length_mm))


def _weigh(
    sightings: Sightings,
    nodes: Nodes,
    weight: Floats,
    pitch: float,
    depth_mm: float,
    rough: Mapping[Family, Rough],
    failed: Mapping[Family, str],
    asked: FitOptions,
) -> Weighed:
    grid = scatter_grid(nodes, sightings.sigma_mm, weight, pitch)
    usual = Scatter(USUAL_SCATTER_MM, USUAL_CORRELATION_COURSES * pitch)
    metric = whitener(nodes, sightings.sigma_mm, weight, usual)
    stills = {family: _still(standing, start, metric, grid) for family, (standing, start, _) in rough.items()}
    smooth = [stills[f] for f in SMOOTH if f in stills] or list(stills.values())
    base = max(smooth, key=lambda still: still.log_total)
    bends = _bending(base, grid)
    likely = np.argsort(bends)[::-1]
    ground = Ground(sightings, nodes, weight, pitch, grid, bends, likely)
    moved = _look_for_movement(ground, stills, base, depth_mm) if asked.movement else {}
    others: dict[Build, Still] = {}
    for build in OTHER_BUILDS:
        standing = Standing(sightings, build, asked.tilt)
        others[build] = _still(standing, start_of(standing), metric, grid)
    return Weighed(ground, stills, moved, others, failed, asked.movement)


def _still(standing: Standing, start: Floats, metric: Whitener, grid: ScatterGrid) -> Still:
    return stand_still(standing, fit_guided(standing, metric, start).reached, grid)


def _bending(still: Still, grid: ScatterGrid) -> Floats:
    """Log evidence (g,) of a curve free to bend smoothly away from a family."""
    bends = bends_along(_shares(still.standing, still.parameters), still.parameters[2])
    n_bends, k, m = len(bends.spread_mm), len(still.parameters), len(still.look.rows)
    columns = np.column_stack([still.look.distance, still.look.slopes, bends.columns])
    rows = np.column_stack([still.look.rows, still.look.row_slopes, np.zeros((m, n_bends))])
    own = prior_of(still.parameters, still.ways[0], n_bends)
    loose = np.hstack([np.zeros((n_bends, k)), np.diag(1 / bends.spread_mm)])
    density = own.log_density - float(np.sum(np.log(bends.spread_mm))) - n_bends * LOG_ROOT_TURN
    prior = Prior(
        np.concatenate([own.rows, np.zeros(n_bends)]), np.vstack([own.slopes, loose]), float(density)
    )
    averaged = average(grid.grams(columns, rows), grid.log_determinants(m), prior)
    return np.asarray(grid.log_prior + averaged.log_evidence)


def _look_for_movement(
    ground: Ground, stills: Mapping[Family, Still], base: Still, depth_mm: float
) -> dict[Family, MovedFit]:
    seen = sighted(base.standing, base.parameters)
    joints = joint_gaps(ground.sightings, seen, ground.weight)
    first_scatters = ground.likely[:N_FIRST_SCATTERS]
    firsts: dict[Family, FirstLook] = {
        family: look_for_hinges(still, ground.grid, first_scatters, joints)
        for family, still in stills.items()
    }
    top = max(first.log_evidence for first in firsts.values())
    enough = ground.bends[ground.likely] > ground.bends.max() - SCATTER_NEGLIGIBLE
    few = ground.grid.take(ground.likely[enough][:MOST_SCATTERS])
    fits = {
        family: fit_moved(first, few, few.whiteners[0], depth_mm, ground.weight)
        for family, first in firsts.items()
        if first.log_evidence > top - HOPELESS
    }
    return {family: fit for family, fit in fits.items() if fit is not None}


def _judged_by_best(weighed: Weighed) -> Floats | None:
    """Weights (n,) judged anew from the likeliest hypothesis; None where that is of no family."""
    still = max(weighed.stills, key=weighed.log_still)
    moved = max(weighed.stills, key=weighed.log_moved)
    ground = weighed.ground
    if weighed.log_other > max(weighed.log_still(still), weighed.log_moved(moved)):
        return None
    if weighed.log_still(still) >= weighed.log_moved(moved):
        best = weighed.stills[still]
        distance, by_scatter = best.look.distance, logsumexp(best.log_evidence, axis=0)
        scatter = ground.grid.scatters[int(np.argmax(by_scatter))]
    else:
        fit = weighed.moved[moved]
        distance = fit.moved.look(fit.parameters).distance
        scatter = ground.grid.scatters[int(ground.likely[0])]
    return weigh_points(ground.nodes, ground.sightings.sigma_mm, distance, scatter)
