"""An arch moved about held hinges, fitted exactly; and how likely others are, as seen from there.

About the exact fit every motion is linear, so that hundreds of other hinges are weighed at once
(:mod:`~survey.fitting.mechanism.hinge_search`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.choosing.first_look import columns_of
from survey.fitting.choosing.fitted import ScatteredModel
from survey.fitting.choosing.still import NEAR, Still, prior_of, stand_still
from survey.fitting.families.builds import shape_of
from survey.fitting.families.priors import LikelyMotion, likely_motions, proportions_of
from survey.fitting.families.standing import Look, Standing
from survey.fitting.mechanism.hinge_choices import Depths, HingeChoices
from survey.fitting.mechanism.hinge_search import (
    Gains,
    brought_back,
    motion_columns,
    motion_gains,
    motion_products,
    sighted,
)
from survey.fitting.mechanism.joint_gaps import JointGaps, Sighted, back_joint_gaps, joint_gaps
from survey.fitting.mechanism.moved import HingePlace, Moved
from survey.fitting.solving.engine import NormalSums, minimise
from survey.fitting.solving.noise import Whitener
from survey.fitting.solving.robust import ScaledLoss
from survey.fitting.solving.scatter_grid import ScatterGrid

NEGLIGIBLE = 7.0
"""Hinges whose log weight lies further below the best are left out."""


@dataclass(frozen=True, slots=True, eq=False)
class GuidedMoved:
    """A moved family with its usual proportions and likely motions as observations."""

    moved: Moved
    metric: Whitener
    likely: LikelyMotion

    @property
    def n_observations(self) -> int:
        """Points, further observations, proportions and motions."""
        return len(self.moved.sightings) + self.moved.n_rows + len(self.names) - 3

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters."""
        return self.moved.names

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The engine's sums."""
        sums = ScatteredModel(self.moved, self.metric).sums(parameters, loss)
        k = self.moved.n_standing
        usual = proportions_of(self.moved.build, self.moved.numbers(parameters))[0]
        prior = prior_of(self.moved, parameters[:k], usual, len(parameters) - k)
        matrix = sums.matrix + prior.slopes.T @ prior.slopes
        gradient = sums.gradient + prior.slopes.T @ prior.rows
        n_motions = len(parameters) - k
        off = parameters[k:] - self.likely.mean_mm[:n_motions]
        power = self.likely.sigma_mm[:n_motions] ** -2.0
        matrix[k:, k:] += np.diag(power)
        gradient[k:] += power * off
        cost = sums.cost + float(prior.rows @ prior.rows + power @ off**2)
        return NormalSums(matrix, gradient, cost)

    def residuals(self, parameters: Floats) -> Floats:
        """Distances (n,)."""
        return self.moved.look(parameters).distance


def hinged(
    standing: Standing,
    parameters: Floats,
    seen: Sighted,
    choices: HingeChoices,
    i: int,
    *,
    settles: bool = True,
) -> Moved:
    """The moved arch of one choice of hinges, pieces taken from where the points lie."""
    numbers = standing.numbers(parameters)
    curve = curve_of(shape_of(standing.build, numbers))
    left, crown, right = choices.left[i], choices.crown[i], choices.right[i]
    hinges = (
        _place(curve, left, choices.lower_mm),
        _place(curve, crown, float(choices.depth_mm[i])),
        _place(curve, right, choices.lower_mm),
    )
    piece = np.where(
        seen.share < crown, np.where(seen.share < left, 0, 1), np.where(seen.share > right, 3, 2)
    )
    return Moved(standing, hinges, piece, settles)


def _place(curve: Curve, share: float, depth_mm: float) -> HingePlace:
    if share <= 0.0 or share >= 1.0:
        return HingePlace(-1.0 if share <= 0.0 else 1.0, None, depth_mm)
    normal = curve.normal(share * curve.length_mm)
    side = -1.0 if normal[0] < 0 else 1.0
    return HingePlace(side, float(np.arctan2(normal[1], abs(normal[0]))), depth_mm)


class Posterior(NamedTuple):
    """Log weights (w, v, g, h) by way, motion, scatter and hinges; gains (w, v) and motions (v,)."""

    log_weight: Floats
    gains: tuple[tuple[Gains, ...], ...]
    motions: tuple[LikelyMotion, ...]

    @property
    def likely_motions(self) -> tuple[LikelyMotion, ...]:
        """The motions that are not negligible."""
        by_motion = np.asarray(np.logaddexp.reduce(self.log_weight, axis=(0, 2, 3)))
        likely = by_motion > by_motion.max() - NEGLIGIBLE
        return tuple(motion for motion, kept in zip(self.motions, likely, strict=True) if kept)

    @property
    def by_choice(self) -> Floats:
        """Log weights (h,) of the hinges alone."""
        return np.asarray(np.logaddexp.reduce(self.log_weight, axis=(0, 1, 2)))


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """A moved arch with held hinges at its best fit, and what is seen from there."""

    moved: Moved
    parameters: Floats
    look: Look
    seen: Sighted
    joints: JointGaps
    back: JointGaps

    def original(self, grid: ScatterGrid) -> Still:
        """The original before its motion: exact distances less the linear part of the motion."""
        k = self.moved.n_standing
        return stand_still(self.moved.standing, self.parameters[:k], grid, self.look)


def _either_way(half_span_mm: float) -> LikelyMotion:
    """A prior that takes no side, to find where the points lead."""
    apart = likely_motions(half_span_mm)[1]
    wide = np.hypot(apart.mean_mm, apart.sigma_mm)
    return LikelyMotion(np.zeros(2), wide, 0.0)


class Given(NamedTuple):
    """A metric of the points, their robust weights (n,), and the depths of the rings."""

    metric: Whitener
    weight: Floats
    depths: Depths


def refined(standing: Standing, start: Floats, here: HingeChoices, given: Given) -> Refined | None:
    """The best fit about one choice of hinges, from a start (k,) or (k + 2,); None where there is none."""
    k = len(standing.names)
    moved = hinged(standing, start[:k], sighted(standing, start[:k]), here, 0)
    first = start if len(start) == k + 2 else np.concatenate([start, [0.0, 0.0]])
    solution = minimise(GuidedMoved(moved, given.metric, _either_way(start[2])), first, options=NEAR)
    if not np.isfinite(solution.cost):
        return None
    parameters = solution.reached
    look = moved.look(parameters)
    seen = brought_back(moved, parameters)
    columns = motion_columns(standing, parameters[:k], seen, here)
    motion = parameters[k:]
    before = Look(
        look.distance - motion @ columns.points[:, 0],
        look.slopes[:, :k],
        look.rows - motion @ columns.rows,
        look.row_slopes[:, :k],
    )
    joints = joint_gaps(standing.sightings, seen, given.weight)
    back = back_joint_gaps(standing.sightings, seen, given.depths.ring_mm)
    return Refined(moved, parameters, before, seen, joints, back)


def posterior_of(
    seen_from: Refined,
    original: Still,
    choices: HingeChoices,
    grid: ScatterGrid,
    motions: tuple[LikelyMotion, ...],
) -> Posterior:
    """How likely hinges and motions are, seen from a fit, its original averaged over the grid's scatters."""
    standing, parameters = original.standing, original.parameters
    moved = motion_columns(standing, parameters, seen_from.seen, choices)
    curve = columns_of(original.look, len(parameters))
    products = motion_products(grid, curve, moved, (seen_from.joints, seen_from.back), choices)
    weights, all_gains = [], []
    for way, averaged in enumerate(original.averages):
        gains = tuple(motion_gains(products, averaged, likely) for likely in motions)
        weights.append(
            [
                original.log_evidence[way][:, None] + g.log_gain + likely.log_share + choices.log_prior
                for g, likely in zip(gains, motions, strict=True)
            ]
        )
        all_gains.append(gains)
    return Posterior(np.array(weights), tuple(all_gains), motions)
