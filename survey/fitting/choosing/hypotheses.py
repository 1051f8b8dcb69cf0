"""All that an arch may be, fitted to the same points and weighed against each other.

Five families standing still, the same five moved as pieces, and curves of no family: each is fitted, its free
numbers and the unknown scatter averaged over (:mod:`survey.fitting.solving.evidence`), and multiplied by how
common it is. Points are judged gross or good once, from a curve free to bend, and again from the likeliest
hypothesis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import Family
from survey.errors import FitError
from survey.fitting.choosing.fitted import fit_roughly, start_of
from survey.fitting.choosing.movement_fit import FirstLook, MovedFit, fit_moved, look_for_hinges
from survey.fitting.choosing.still import Still, fit_guided, prior_of, stand_still
from survey.fitting.choosing.weighed import Ground, Weighed
from survey.fitting.end_joints import EndJoints, end_joints, ends_told
from survey.fitting.families.builds import BUILDS, FIVE_CENTRED_FREE, OTHER_BUILDS, Build, profile_of
from survey.fitting.families.priors import LOG_ROOT_TURN
from survey.fitting.families.standing import Standing
from survey.fitting.mechanism.hinge_search import sighted
from survey.fitting.mechanism.joint_gaps import joint_gaps
from survey.fitting.options import FitOptions
from survey.fitting.sightings import Sightings
from survey.fitting.solving.evidence import Prior, average
from survey.fitting.solving.noise import Nodes, Scatter, Whitener, nodes_of, whitener
from survey.fitting.solving.scatter_grid import ScatterGrid, scatter_grid
from survey.fitting.solving.weighing import (
    GROSS_SHARE,
    GROSS_SIZE_MM,
    SMALLEST_WEIGHT,
    bends_along,
    probability_good,
    weigh_points,
)

__all__ = ["Ground", "Weighed", "weigh_hypotheses"]

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
ALONE_BEYOND = np.log(9.0)
STRANGE_JOINT = 2.0
"""A joint at the springing this many of its uncertainties off asks whether the springing point is good."""
REWEIGHED = 0.6
"""A weight that changes by more than this asks for everything to be weighed once more."""


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
    joints = end_joints(sightings, standing.stations(parameters))
    found = _Found(task, task.weigh(np.where(ends, 1.0, weight)), np.ones(len(sightings)))
    doubtful = np.any(weight[ends] < DOUBTFUL) or (_ends_disagree(sightings) and not asked.tilt)
    doubtful |= bool(np.any(joints.strange > STRANGE_JOINT))
    if doubtful or np.any(_judged_ends(found.weighed, sightings) < DOUBTFUL):
        found = _without_an_end(found, joints)
    found = _not_by_one_end(found, joints)
    weighed = replace(found.weighed, doubts=ends_told(sightings, joints, found.trust))
    again = np.where(ends, found.trust, _judged_by_best(weighed))
    now = weighed.ground.weight
    if np.max(np.abs(again - now)) <= REWEIGHED:
        return weighed
    anew = replace(found.task.weigh(again), doubts=weighed.doubts)
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


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """What was weighed, with which ends, and the trust in every point (n,) square to the curve."""

    task: _Task
    weighed: Weighed
    trust: Floats


def _without(found: _Found, joints: EndJoints, side: int) -> tuple[_Task, Floats, float] | None:
    """The task with one end taken for a gross error, the trust in all points, and what that costs.

    Such an end stands where its courses lead, if they tell; else it may stand anywhere.
    """
    task = found.task
    end = task.sightings.end == side
    if not end.any():
        return None
    trust = np.where(end, SMALLEST_WEIGHT, found.trust)
    sigma = float(np.mean(task.sightings.end_sigma_mm[end]))
    cost = float(np.log(GROSS_SHARE) + np.log(sigma / GROSS_SIZE_MM))
    which = np.flatnonzero(joints.known & (joints.side == side))
    if len(which) == 1:
        k = int(which[0])
        led = task.sightings.with_end(end, float(joints.excess_mm[k]), float(joints.sigma_mm[k]))
        cost += float(joints.log_gross[k] + np.log(sigma / joints.sigma_mm[k]))
    else:
        led = task.sightings.trusting_ends(trust)
        cost += float(np.log(sigma / GROSS_SIZE_MM))
    return replace(task, sightings=led), trust, cost


def _without_an_end(found: _Found, joints: EndJoints) -> _Found:
    """The likelier of all ends trusted and one taken for a gross error."""
    best, log_best = found, found.weighed.log_all
    for side in (-1, 1):
        other = _without(found, joints, side)
        if other is None:
            continue
        task, trust, cost = other
        points = np.minimum(found.weighed.ground.weight, trust)
        asked = task.asked
        still = replace(task, asked=replace(asked, movement=False)).weigh(points)
        if still.log_all + cost < log_best - WORTH_A_LOOK:
            continue
        weighed = task.weigh(points) if asked.movement else still
        # A movement that one good springing point more or less decides must be the likelier by far.
        alone = best.weighed.has_moved and not weighed.has_moved and joints.doubts(side)
        if weighed.log_all + cost > log_best - (ALONE_BEYOND if alone else 0.0):
            best, log_best = _Found(task, weighed, trust), weighed.log_all + cost
    return best


def _not_by_one_end(found: _Found, joints: EndJoints) -> _Found:
    """The same without an end on which alone a movement rests, its courses telling nothing of it."""
    for side in np.unique(joints.side[~joints.known]).tolist():
        other = _without(found, joints, side) if found.weighed.has_moved else None
        if other is None:
            continue
        weighed = other[0].weigh(np.minimum(found.weighed.ground.weight, other[1]))
        if not weighed.has_moved:
            return _Found(other[0], weighed, other[1])
    return found


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

    def weigh(self, weight: Floats) -> Weighed:
        """Weigh all hypotheses for weights (n,) of points square to the curve."""
        sightings = self.sightings
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
    share = grid.factor[:, None, None]
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
    still = max(
        float(np.logaddexp.reduce(s.log_evidence[:, first_scatters], axis=None)) for s in stills.values()
    )
    if top < still - NO_SIGN:
        return {}
    enough = ground.loose[ground.likely] > ground.loose.max() - SCATTER_NEGLIGIBLE
    few = ground.grid.take(ground.likely[enough][:MOST_SCATTERS])
    fits = {
        family: fit_moved(first, few, few.whitener(0), depth_mm, ground.weight)
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
        number = int(np.argmax(np.logaddexp.reduce(best.log_evidence, axis=0)))
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
    number = int(np.argmax(np.logaddexp.reduce(still.log_evidence, axis=0)))
    used = weighed.ground.sightings.end_sigma_mm[sightings.end != 0]
    slopes = still.look.row_slopes[: len(used)] * used[:, None]
    off = still.look.rows[: len(used)] * used
    known = np.einsum("ij,jk,ik->i", slopes, still.averages[0].covariance[number], slopes)
    # The fit has leaned on this end already: its share in the fit is taken out of both.
    share = known / used**2
    left = np.where(share < MOST_OWN_SHARE, 1 - share, 1.0)
    judged = probability_good(off / left, used**2 + known / left)
    return np.where(share < MOST_OWN_SHARE, judged, 1.0)
