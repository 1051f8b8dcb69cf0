"""One family fitted as an arch that has moved: where it hinged, how far, and how likely all that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.choosing.first_look import FLAT_RISE_RATIO, FirstLook, half_and_rise
from survey.fitting.choosing.held_hinges import NEGLIGIBLE, Given, Posterior, Refined, posterior_of, refined
from survey.fitting.choosing.still import Still
from survey.fitting.families.priors import LikelyMotion, likely_motions
from survey.fitting.mechanism.hinge_choices import (
    N_CROWN,
    Depths,
    HingeChoices,
    choices_at_joints,
    coarse_choices,
    finer_choices,
)
from survey.fitting.mechanism.moved import Moved
from survey.fitting.solving.noise import Scatter, Whitener
from survey.fitting.solving.scatter_grid import ScatterGrid
from survey.record.model import Ints

MOST_CHOICES = 250
MOST_LOOKED_AT = 1200
FEW_CHOICES = 60
"""Hinges that so few choices hold are placed well enough to be told joint by joint."""
MOST_STEPS = 5
MOST_ROUNDS = 3
BETTER = 2.0
"""Hinges whose log evidence seems this much better than that of those chosen are gone to."""


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
    def spread_mm(self) -> float:
        """The spread of the best fit."""
        return float(self.parameters[len(self.original.parameters)])

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

    Notes
    -----
    Joints open away from their hinge: in a spread arch the lower hinges lie on the soffit and the crown's
    mostly at the back; where springings came closer it is the other way about, and that is tried as well.
    """
    apart = _fitted_about(first, grid, metric, depths, weight)
    if apart is None or apart.spread_mm >= 0.0 or depths.arch_mm <= 0.0:
        return apart
    if apart.log_evidence < first.still.log_total:
        # Standing still is likelier: a closing that is but noise is not worth a second search.
        return apart
    closer = _fitted_about(first, grid, metric, depths._replace(lower_mm=depths.arch_mm), weight)
    return max((fit for fit in (apart, closer) if fit is not None), key=lambda fit: fit.log_evidence)


def _fitted_about(
    first: FirstLook, grid: ScatterGrid, metric: Whitener, depths: Depths, weight: Floats
) -> MovedFit | None:
    """The same with the lower hinges where the depths say."""
    standing = first.still.standing
    here = first.choices.take(np.array([first.best]))._replace(lower_mm=depths.lower_mm)
    given = Given(metric, weight, depths)
    rough = refined(standing, first.still.parameters, here, given)
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
        posterior = posterior_of(fine, original, choices, grid, likely.motions)
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
    rough: Refined, likely: _LikelyHinges, one: ScatterGrid, given: Given
) -> tuple[Refined, HingeChoices] | None:
    """The fit about the likeliest hinges, and those that matter as seen from there.

    Where they are sharply told, from joint to joint until the likeliest stays where it is.
    """
    standing, choices = rough.moved.standing, likely.choices
    fine = refined(standing, rough.parameters, choices.take(np.array([0])), given)
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
        fine = refined(standing, fine.parameters, choices.take(np.array([0])), given)
    return None if fine is None else (fine, choices)


def _those_that_matter(
    seen: Refined, choices: HingeChoices, one: ScatterGrid, motions: tuple[LikelyMotion, ...]
) -> HingeChoices:
    """The likely ones among choices, the likeliest first, under the likeliest scatter."""
    log_weight = posterior_of(seen, seen.original(one), choices, one, motions).by_choice
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


def _coarse(seen: Refined, about: Floats, one: ScatterGrid, depths: Depths, n_crowns: int) -> _Coarse:
    s, h = half_and_rise(seen.moved.standing, seen.parameters)
    flat = h < FLAT_RISE_RATIO * s
    coarse = coarse_choices(seen.joints, about, flat=flat, depths=depths, n_crowns=n_crowns)
    return _Coarse(coarse, posterior_of(seen, seen.original(one), coarse, one, _motions(s, depths)).by_choice)


def _motions(half_span_mm: float, depths: Depths) -> tuple[LikelyMotion, ...]:
    """How such an arch moves: with its lower hinges at the back its springings come closer."""
    motions = likely_motions(half_span_mm)
    if depths.lower_mm > 0.0:
        return tuple(likely for likely in motions if likely.mean_mm[0] < 0.0)
    return motions


def _best_elsewhere(fine: Refined, crown: Floats, one: ScatterGrid, depths: Depths) -> float:
    """Log evidence of the best coarse hinges about the same crown (1,), as seen from a fit with others."""
    coarse = _coarse(fine, crown, one, depths, 1)
    return float(np.max(coarse.log_weight - coarse.choices.log_prior))


def _likely_hinges(
    first: FirstLook, rough: Refined, one: ScatterGrid, depths: Depths
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
    found = posterior_of(rough, rough.original(one), finer, one, _motions(s, depths))
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
