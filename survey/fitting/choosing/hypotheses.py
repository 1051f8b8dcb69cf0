"""All that an arch may be, fitted to the same points and weighed against each other.

Five families standing still, the same five moved as pieces, and curves of no family: each is fitted, its free
numbers and the unknown scatter averaged over (:mod:`survey.fitting.solving.evidence`), and multiplied by how
common it is. Points are judged gross or good once, from a curve free to bend, and again from the likeliest
hypothesis.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.choosing.task import SMOOTH, Task, fit_all_roughly, shares_of, usual_scatter
from survey.fitting.choosing.weighed import Ground, Weighed
from survey.fitting.end_joints import EndJoints, end_joints, ends_told
from survey.fitting.mechanism.hinge_choices import Depths
from survey.fitting.options import FitOptions
from survey.fitting.sightings import Sightings
from survey.fitting.solving.noise import nodes_of
from survey.fitting.solving.weighing import (
    GROSS_SHARE,
    GROSS_SIZE_MM,
    SMALLEST_WEIGHT,
    bends_along,
    probability_good,
    weigh_points,
)

__all__ = ["Ground", "Weighed", "weigh_hypotheses"]

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
    sightings: Sightings, pitch_mm: float | None, depths: Depths, asked: FitOptions
) -> Weighed:
    """Fit and weigh everything.

    Parameters
    ----------
    sightings : Sightings
    pitch_mm : float or None
        Usual distance from course to course; None takes it from the points.
    depths : Depths
        Of the innermost ring and of the arch.
    asked : FitOptions

    Raises
    ------
    FitError
        No family fits.
    """
    rough, failed = fit_all_roughly(sightings, asked)
    base = min((rough[f] for f in SMOOTH if f in rough), key=lambda r: r[2], default=None)
    if base is None:
        base = min(rough.values(), key=lambda r: r[2])
    standing, parameters, _ = base
    nodes = nodes_of(standing.stations(parameters), sightings.course)
    pitch = pitch_mm if pitch_mm is not None else max(2 * float(np.median(nodes.step_mm)), 20.0)
    usual = usual_scatter(pitch)
    bends = bends_along(shares_of(standing, parameters), standing.numbers(parameters)[0])
    distance = standing.look(parameters).distance
    weight = weigh_points(nodes, sightings.sigma_mm, distance, usual, bends)
    task = Task(sightings, nodes, pitch, depths, rough, failed, asked)
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

    task: Task
    weighed: Weighed
    trust: Floats


def _without(found: _Found, joints: EndJoints, side: int) -> tuple[Task, Floats, float] | None:
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
        # Curves of no family are no help to an end: they are left for where it is found to matter.
        quick = replace(task, asked=replace(asked, movement=False), others=()) if asked.movement else task
        still = quick.weigh(points)
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
