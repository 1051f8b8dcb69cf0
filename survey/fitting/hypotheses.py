"""All that an arch may be, fitted to the same points and weighed against each other.

Five families standing still, the same five moved as pieces, and curves of no family: each is fitted, its free
numbers and the unknown scatter averaged over (:mod:`survey.fitting.evidence`), and multiplied by how common
it is. Points are judged gross or good once, from a curve free to bend, and again from the likeliest
hypothesis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from survey.curves.protocol import Floats
from survey.curves.shape import Family
from survey.errors import FitError
from survey.fitting.evidence import Prior, ScatterGrid, average, scatter_grid
from survey.fitting.families import BUILDS, FIVE_CENTRED_FREE, OTHER_BUILDS, Build, profile_of
from survey.fitting.fitted import fit_roughly, start_of
from survey.fitting.hinge_search import sighted
from survey.fitting.joint_gaps import joint_gaps
from survey.fitting.movement_fit import FirstLook, MovedFit, fit_moved, look_for_hinges
from survey.fitting.noise import Nodes, Scatter, Whitener, nodes_of, whitener
from survey.fitting.options import FitOptions
from survey.fitting.priors import BENDING_SHARE, KNOWN_OTHER_SHARE, LOG_ROOT_TURN, MOVED_SHARE
from survey.fitting.sightings import Sightings
from survey.fitting.standing import Standing
from survey.fitting.still import Still, fit_guided, prior_of, stand_still
from survey.fitting.weighing import (
    GROSS_SHARE,
    GROSS_SIZE_MM,
    SMALLEST_WEIGHT,
    bends_along,
    probability_good,
    weigh_points,
)

SMOOTH = (Family.SEMICIRCULAR, Family.SEGMENTAL, Family.ELLIPTICAL)
"""Families without an arc short enough to swallow a gross error."""
USUAL_SCATTER_MM = 1.5
USUAL_CORRELATION_COURSES = 2.5
N_FIRST_SCATTERS = 3
MOST_SCATTERS = 16
SCATTER_NEGLIGIBLE = 6.0
"""Scatters whose log weight lies further below the likeliest are not averaged over where it is costly."""
NO_SIGN = 3.0
"""If at first look every moved family is this far behind the likeliest still one, nothing has moved."""
HOPELESS = 6.0
"""A moved family this far (in log evidence, at first look) behind the likeliest is not fitted any further."""
MOST_OWN_SHARE = 0.9
"""An end that alone decides where the curve ends cannot be judged by the rest."""
ENDS_DISAGREE = 5.0
WORTH_A_LOOK = 3.0
MOST_FACTOR = 1.3
DOUBTFUL = 0.5
REWEIGHED = 0.6
"""A weight that changes by more than this asks for everything to be weighed once more."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What all hypotheses share: the points, their weights, and the scatters to average over.

    ``bends`` (g,) is the log evidence, by scatter, of a curve that bends freely; ``loose`` (g,) the
    same with its ends free, by which the likely scatters are chosen.
    """

    sightings: Sightings
    nodes: Nodes
    weight: Floats
    pitch_mm: float
    grid: ScatterGrid
    bends: Floats
    loose: Floats

    @property
    def likely(self) -> np.ndarray:
        """Numbers of the scatters, the likeliest first."""
        return np.argsort(self.loose)[::-1]

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

    def _log_share(self, *, moved: bool) -> float:
        """Log share of one family, still or moved, among everything."""
        of_families = 1 - BENDING_SHARE - KNOWN_OTHER_SHARE * len(self.others)
        of_these = (MOVED_SHARE if moved else 1 - MOVED_SHARE) if self.moves else 1.0
        return float(np.log(of_families * of_these / len(self.stills)))

    def log_still(self, family: Family) -> float:
        """Log weight of a family standing still."""
        return self.stills[family].log_total + self._log_share(moved=False)

    def log_moved(self, family: Family) -> float:
        """Log weight of a family having moved; minus infinity where that is hopeless."""
        if family not in self.moved:
            return -np.inf
        return self.moved[family].log_evidence + self._log_share(moved=True)

    @property
    def is_of_a_family(self) -> bool:
        """Whether some family, still or moved, is likelier than all curves of no family."""
        return self.log_other < max(
            f(family) for f in (self.log_still, self.log_moved) for family in self.stills
        )

    @property
    def log_other(self) -> float:
        """Log weight of all curves of no family: bending freely, or one of the known ones."""
        free = float(logsumexp(self.ground.bends) + np.log(BENDING_SHARE))
        known = [still.log_total + np.log(KNOWN_OTHER_SHARE) for still in self.others.values()]
        return float(logsumexp([free, *known]))

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
    task = _Task(sightings, nodes, pitch, depth_mm, rough, failed, asked)
    ends = sightings.end != 0
    trusted = np.ones(len(sightings))
    weighed = task.weigh(np.where(ends, 1.0, weight), trusted)
    doubtful = np.any(weight[ends] < DOUBTFUL) or (_ends_disagree(sightings) and not asked.tilt)
    if doubtful or np.any(_judged_ends(weighed, sightings) < DOUBTFUL):
        weighed, trusted = _without_an_end(task, weighed)
    again = np.where(ends, trusted, _judged_by_best(weighed))
    now = weighed.ground.weight
    if np.max(np.abs(again - now)) <= REWEIGHED:
        return weighed
    anew = task.weigh(again, trusted)
    if weighed.is_of_a_family or anew.log_all + _cost_of(again, now, sightings) > weighed.log_all:
        return anew
    return weighed


def _cost_of(weight: Floats, before: Floats, sightings: Sightings) -> float:
    """What further gross errors cost in log evidence: each is rare and lies anywhere within centimetres."""
    more = np.maximum(before - weight, 0.0)
    return float(more @ np.log(GROSS_SHARE * sightings.sigma_mm / GROSS_SIZE_MM))


def _ends_disagree(sightings: Sightings) -> bool:
    """Whether the springing points differ in level far beyond their accuracy: one may be sunk, or misread."""
    left, right = sightings.end == -1, sightings.end == 1
    if not (left.any() and right.any()):
        return False
    apart = sightings.xy_mm[left, 1].mean() - sightings.xy_mm[right, 1].mean()
    sigma = np.sqrt(np.mean(sightings.end_sigma_mm[left] ** 2) + np.mean(sightings.end_sigma_mm[right] ** 2))
    return bool(abs(apart) > ENDS_DISAGREE * sigma)


def _without_an_end(task: _Task, weighed: Weighed) -> tuple[Weighed, Floats]:
    """The likelier of all ends trusted and one taken for a gross error, and the trust in every point (n,)."""
    everyone = np.ones(len(task.sightings))
    best, trusted, log_best = weighed, everyone, weighed.log_all
    for side in (-1, 1):
        end = task.sightings.end == side
        if not end.any():
            continue
        sigma = float(np.mean(task.sightings.end_sigma_mm[end]))
        # Rare, and wide both along the curve and square to it.
        cost = float(np.log(GROSS_SHARE) + 2 * np.log(sigma / GROSS_SIZE_MM))
        trust = np.where(end, SMALLEST_WEIGHT, everyone)
        points = np.minimum(weighed.ground.weight, trust)
        still = replace(task, asked=replace(task.asked, movement=False)).weigh(points, trust)
        if still.log_all + cost < log_best - WORTH_A_LOOK:
            continue
        other = task.weigh(points, trust) if task.asked.movement else still
        if other.log_all + cost > log_best:
            best, trusted, log_best = other, trust, other.log_all + cost
    return best, trusted


Rough = tuple[Standing, Floats, float]


def _fit_roughly(sightings: Sightings, asked: FitOptions) -> tuple[dict[Family, Rough], dict[Family, str]]:
    rough: dict[Family, Rough] = {}
    failed: dict[Family, str] = {}
    for family in asked.families:
        free = family is Family.FIVE_CENTRED and asked.free_sectors
        standing = Standing(sightings, FIVE_CENTRED_FREE if free else BUILDS[family], asked.tilt)
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


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """Everything but the points' weights."""

    sightings: Sightings
    nodes: Nodes
    pitch: float
    depth_mm: float
    rough: Mapping[Family, Rough]
    failed: Mapping[Family, str]
    asked: FitOptions

    def weigh(self, weight: Floats, end_weight: Floats) -> Weighed:
        """Weigh all hypotheses for weights (n,) of points square to the curve, and of ends along it."""
        sightings = self.sightings.trusting_ends(end_weight)
        grid = scatter_grid(self.nodes, sightings.sigma_mm, weight, self.pitch)
        usual = Scatter(USUAL_SCATTER_MM, USUAL_CORRELATION_COURSES * self.pitch)
        metric = whitener(self.nodes, sightings.sigma_mm, weight, usual)
        stills = {
            family: _still(replace(standing, sightings=sightings), start, metric, grid)
            for family, (standing, start, _) in self.rough.items()
        }
        smooth = [stills[f] for f in SMOOTH if f in stills] or list(stills.values())
        base = max(smooth, key=lambda still: still.log_total)
        bends, loose = _bending(base, grid)
        ground = Ground(sightings, self.nodes, weight, self.pitch, grid, bends, loose)
        moves = self.asked.movement
        moved = _look_for_movement(ground, stills, base, self.depth_mm) if moves else {}
        others: dict[Build, Still] = {}
        for build in OTHER_BUILDS:
            standing = Standing(sightings, build, self.asked.tilt)
            others[build] = _still(standing, start_of(standing), metric, grid)
        return Weighed(ground, stills, moved, others, self.failed, moves)


def _still(standing: Standing, start: Floats, metric: Whitener, grid: ScatterGrid) -> Still:
    return stand_still(standing, fit_guided(standing, metric, start).reached, grid)


def _bending(still: Still, grid: ScatterGrid) -> tuple[Floats, Floats]:
    """Log evidence (g,), (g,) of a curve free to bend away from a family, its ends held, and its ends free.

    An end that has sunk says nothing of how the courses scatter, so scatters are chosen with the ends free.
    """
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
    without = grid.grams(columns, np.zeros((0, columns.shape[1])))
    share = np.array([scatter.sigma_factor for scatter in grid.scatters])[:, None, None] ** -2.0
    determinants = grid.log_determinants(m)
    met = rows.copy()
    met[:, 0] = 0.0
    held, free = (
        grid.log_prior + average(without + share * (r.T @ r), determinants, prior).log_evidence
        for r in (rows, met)
    )
    return np.asarray(held), np.asarray(free)


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
    still = max(float(logsumexp(s.log_evidence[:, first_scatters])) for s in stills.values())
    if top < still - NO_SIGN:
        return {}
    enough = ground.loose[ground.likely] > ground.loose.max() - SCATTER_NEGLIGIBLE
    few = ground.grid.take(ground.likely[enough][:MOST_SCATTERS])
    fits = {
        family: fit_moved(first, few, few.whiteners[0], depth_mm, ground.weight)
        for family, first in firsts.items()
        if first.log_evidence > top - HOPELESS
    }
    return {family: fit for family, fit in fits.items() if fit is not None}


def _judged_by_best(weighed: Weighed) -> Floats:
    """Weights (n,) of points judged anew from the likeliest family, still or moved."""
    still = max(weighed.stills, key=weighed.log_still)
    moved = max(weighed.stills, key=weighed.log_moved)
    ground = weighed.ground
    if weighed.log_still(still) >= weighed.log_moved(moved):
        best = weighed.stills[still]
        number = int(np.argmax(logsumexp(best.log_evidence, axis=0)))
        distance = best.look.distance
    else:
        fit = weighed.moved[moved]
        number = int(ground.likely[0])
        distance = fit.moved.look(fit.parameters).distance
    scatter = ground.grid.scatters[number]
    # A gross error kept so far has widened the scatter it is now judged by.
    scatter = scatter._replace(sigma_factor=min(scatter.sigma_factor, MOST_FACTOR))
    return weigh_points(ground.nodes, ground.sightings.sigma_mm, distance, scatter)


def _judged_ends(weighed: Weighed, sightings: Sightings) -> Floats:
    """Weights (e,) of end points along the likeliest still curve, each against what all others say of it."""
    still = weighed.stills[max(weighed.stills, key=weighed.log_still)]
    number = int(np.argmax(logsumexp(still.log_evidence, axis=0)))
    used = weighed.ground.sightings.end_sigma_mm[sightings.end != 0]
    slopes = still.look.row_slopes[: len(used)] * used[:, None]
    off = still.look.rows[: len(used)] * used
    known = np.einsum("ij,jk,ik->i", slopes, still.averages[0].covariance[number], slopes)
    # The fit has leaned on this end already: its share in the fit is taken out of both.
    share = known / used**2
    left = np.where(share < MOST_OWN_SHARE, 1 - share, 1.0)
    judged = probability_good(off / left, used**2 + known / left)
    return np.where(share < MOST_OWN_SHARE, judged, 1.0)
