"""One family fitted as an arch that has moved: where it hinged, how far, and how likely all that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.choosing.first_look import FLAT_RISE_RATIO, FirstLook, columns_of, half_and_rise
from survey.fitting.choosing.fitted import ScatteredModel
from survey.fitting.choosing.still import NEAR, Still, prior_of, stand_still
from survey.fitting.families.builds import shape_of
from survey.fitting.families.priors import LikelyMotion, likely_motions, proportions_of
from survey.fitting.families.standing import Look, Standing
from survey.fitting.mechanism.hinge_choices import (
    N_CROWN,
    Depths,
    HingeChoices,
    choices_at_joints,
    coarse_choices,
    finer_choices,
)
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
from survey.fitting.solving.noise import Scatter, Whitener
from survey.fitting.solving.robust import ScaledLoss
from survey.fitting.solving.scatter_grid import ScatterGrid
from survey.record.model import Ints

NEGLIGIBLE = 7.0
"""Hinges whose log weight lies further below the best are left out."""
MOST_CHOICES = 250
MOST_LOOKED_AT = 1200
FEW_CHOICES = 60
"""Hinges that so few choices hold are placed well enough to be told joint by joint."""
MOST_STEPS = 5
MOST_ROUNDS = 3
BETTER = 2.0
"""Hinges whose log evidence seems this much better than that of those chosen are gone to."""


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
        _place(curve, left),
        _place(curve, crown, float(choices.depth_mm[i])),
        _place(curve, right),
    )
    piece = np.where(
        seen.share < crown, np.where(seen.share < left, 0, 1), np.where(seen.share > right, 3, 2)
    )
    return Moved(standing, hinges, piece, settles)


def _place(curve: Curve, share: float, depth_mm: float = 0.0) -> HingePlace:
    if share <= 0.0 or share >= 1.0:
        return HingePlace(-1.0 if share <= 0.0 else 1.0, None)
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
class MovedFit:
    """A family fitted as a moved arch.

    Attributes
    ----------
    moved : Moved
        With its likeliest hinges.
    parameters : (k + 2,) float
        Best fit under one scatter: the original, then spread and settlement.
    original : Still
        The original expanded about ``parameters``, its distances before any motion.
    choices : HingeChoices
        All hinges averaged over.
    posterior : Posterior
    log_evidence : float
        Without the share of arches that have moved.
    scatters : tuple of Scatter, length g
        The scatters averaged over.
    """

    moved: Moved
    parameters: Floats
    original: Still
    choices: HingeChoices
    posterior: Posterior
    log_evidence: float
    scatters: tuple[Scatter, ...]

    @property
    def settles(self) -> float:
        """Share of the motions by which one springing sank."""
        weight = np.exp(self.posterior.log_weight - self.log_evidence).sum(axis=(0, 2, 3))
        return float(weight[[likely.settles for likely in self.posterior.motions]].sum())


def fit_moved(
    first: FirstLook, grid: ScatterGrid, metric: Whitener, depths: Depths, weight: Floats
) -> MovedFit | None:
    """Fit a family as a moved arch from a first look; None where no such arch holds together.

    Parameters
    ----------
    first : FirstLook
    grid : ScatterGrid
        The scatters worth averaging over, the likeliest first.
    metric : Whitener
        Of the likeliest one.
    depths : Depths
        Of the innermost ring and of the arch.
    weight : (n,) float
        Robust weights of the points.
    """
    standing = first.still.standing
    here = first.choices.take(np.array([first.best]))
    given = _Given(metric, weight, depths)
    rough = _refined(standing, first.still.parameters, here, given)
    one = grid.take(np.arange(1))
    found: list[MovedFit] = []
    for _ in range(MOST_ROUNDS):
        likely = None if rough is None else _likely_hinges(first, rough, one, depths)
        if rough is None or likely is None:
            break
        settled = _settled(rough, likely, one, given)
        if settled is None:
            break
        fine, choices = settled
        original = fine.original(grid)
        posterior = _posterior(fine, original, choices, grid, likely.motions)
        log_evidence = float(np.logaddexp.reduce(posterior.log_weight, axis=None))
        found.append(
            MovedFit(fine.moved, fine.parameters, original, choices, posterior, log_evidence, grid.scatters)
        )
        # From afar, hinges are told apart by a motion that is not linear: look again from here.
        best = choices.take(np.array([0]))
        now = float(np.logaddexp.reduce(posterior.log_weight[:, :, 0, 0], axis=None) - best.log_prior[0])
        if _best_elsewhere(fine, best.crown, one, depths) < now + BETTER:
            break
        rough = fine
    return max(found, key=lambda fit: fit.log_evidence, default=None)


def _settled(
    rough: _Refined, likely: _LikelyHinges, one: ScatterGrid, given: _Given
) -> tuple[_Refined, HingeChoices] | None:
    """The fit about the likeliest hinges, and those that matter as seen from there.

    Where they are sharply told, from joint to joint until the likeliest stays where it is.
    """
    standing, choices = rough.moved.standing, likely.choices
    fine = _refined(standing, rough.parameters, choices.take(np.array([0])), given)
    for _ in range(MOST_STEPS if likely.is_sharp else 0):
        if fine is None:
            return None
        near = choices_at_joints(likely.coarse, choices, fine.joints, flat=likely.flat)
        told = (
            _those_that_matter(fine, near, one, likely.motions)
            if 0 < len(near.crown) <= MOST_LOOKED_AT
            else None
        )
        if told is None or len(told.crown) == 0:
            break
        before, choices = choices, told
        if choices.same_places(before):
            break
        fine = _refined(standing, fine.parameters, choices.take(np.array([0])), given)
    return None if fine is None else (fine, choices)


def _those_that_matter(
    seen: _Refined, choices: HingeChoices, one: ScatterGrid, motions: tuple[LikelyMotion, ...]
) -> HingeChoices:
    """The likely ones among choices, the likeliest first, under the likeliest scatter."""
    log_weight = _posterior(seen, seen.original(one), choices, one, motions).by_choice
    return choices.take(_likeliest_first(log_weight))


def _likeliest_first(log_weight: Floats) -> Ints:
    kept = np.flatnonzero(log_weight > log_weight.max() - NEGLIGIBLE)
    return kept[np.argsort(log_weight[kept])[::-1][:MOST_CHOICES]]


class _LikelyHinges(NamedTuple):
    """The hinges that matter, the likeliest first, and the motions that matter.

    ``is_sharp`` where few hinges matter, haunches among them; ``coarse`` are those it began with.
    """

    choices: HingeChoices
    motions: tuple[LikelyMotion, ...]
    coarse: HingeChoices
    is_sharp: bool
    flat: bool


class _Coarse(NamedTuple):
    """Hinges here and there, with their log weights (h,) under the likeliest scatter."""

    choices: HingeChoices
    log_weight: Floats


def _coarse(seen: _Refined, about: Floats, one: ScatterGrid, depths: Depths, n_crowns: int) -> _Coarse:
    s, h = half_and_rise(seen.moved.standing, seen.parameters)
    flat = h < FLAT_RISE_RATIO * s
    coarse = coarse_choices(seen.joints, about, flat=flat, depths=depths, n_crowns=n_crowns)
    return _Coarse(coarse, _posterior(seen, seen.original(one), coarse, one, likely_motions(s)).by_choice)


def _best_elsewhere(fine: _Refined, crown: Floats, one: ScatterGrid, depths: Depths) -> float:
    """Log evidence of the best coarse hinges about the same crown (1,), as seen from a fit with others."""
    coarse = _coarse(fine, crown, one, depths, 1)
    return float(np.max(coarse.log_weight - coarse.choices.log_prior))


def _likely_hinges(
    first: FirstLook, rough: _Refined, one: ScatterGrid, depths: Depths
) -> _LikelyHinges | None:
    """The likely hinges by two rounds over ever closer ones, under the likeliest scatter.

    None if about none of the hinges the points tell a motion from rounding.
    """
    coarse = _coarse(rough, first.crowns, one, depths, N_CROWN)
    if not np.isfinite(coarse.log_weight.max()):
        return None
    s, h = half_and_rise(first.still.standing, rough.parameters)
    finer = finer_choices(coarse.choices, coarse.log_weight)
    if len(finer.crown) > MOST_LOOKED_AT:
        # The points tell so little of the hinges that a coarse average over them is as good.
        finer = coarse.choices
    found = _posterior(rough, rough.original(one), finer, one, likely_motions(s))
    kept = _likeliest_first(found.by_choice)
    choices = finer.take(kept)
    at_haunches = bool(choices.left.any() or (choices.right < 1).any())
    return _LikelyHinges(
        choices,
        found.likely_motions,
        coarse.choices,
        at_haunches and len(kept) <= FEW_CHOICES,
        h < FLAT_RISE_RATIO * s,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Refined:
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


class _Given(NamedTuple):
    """A metric of the points, their robust weights (n,), and the depths of the rings."""

    metric: Whitener
    weight: Floats
    depths: Depths


def _refined(standing: Standing, start: Floats, here: HingeChoices, given: _Given) -> _Refined | None:
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
    return _Refined(moved, parameters, before, seen, joints, back)


def _posterior(
    refined: _Refined,
    original: Still,
    choices: HingeChoices,
    grid: ScatterGrid,
    motions: tuple[LikelyMotion, ...],
) -> Posterior:
    standing, parameters = original.standing, original.parameters
    moved = motion_columns(standing, parameters, refined.seen, choices)
    curve = columns_of(original.look, len(parameters))
    products = motion_products(grid, curve, moved, (refined.joints, refined.back), choices)
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
