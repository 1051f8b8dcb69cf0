"""The half-span of an arch that is taken to stand still, widened by the chance that a spread hides in it.

A small spread leaves a family's curve nearly a curve of that family, only wider, and the odds may be for
standing still though it moved. With the probability p that this family moved after all, its half-span before
the movement is told by the moved fit, and about the still fit's value the variance of the two together is

    var = (1 - p) var_still + p (var_moved + (moved - still)^2)

(an average over both hypotheses). Only the half-span is widened: it is what a spread changes, the shape's
other figures follow it by far less than their own uncertainty.

References
----------
Hoeting, J. A., Madigan, D., Raftery, A. E. and Volinsky, C. T., "Bayesian model averaging: a tutorial",
*Statistical Science* 14 (1999) 382-417, the variance of an average over models; from memory, not seen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from survey.curves.shape import Family
from survey.fitting.choosing.candidates import FinalFit
from survey.fitting.choosing.movement import HALF_SPAN, moments_of
from survey.fitting.choosing.movement_fit import MovedFit
from survey.fitting.choosing.weighed import Weighed

NO_CHANCE = 1e-6


def with_hidden_spreads(finals: Mapping[Family, FinalFit], weighed: Weighed) -> dict[Family, FinalFit]:
    """The still fits of those families that were fitted as moved arches too, each with its own odds."""
    found = {}
    for family, moved in weighed.moved.items():
        log_moved = weighed.log_moved(family)
        probability = np.exp(log_moved - np.logaddexp(log_moved, weighed.log_still(family)))
        found[family] = with_hidden_spread(finals[family], moved, float(probability))
    return found


def with_hidden_spread(final: FinalFit, moved: MovedFit, probability: float) -> FinalFit:
    """A still fit whose half-span allows for its family having moved with some probability.

    Parameters
    ----------
    final : FinalFit
    moved : MovedFit
        The same family fitted as a moved arch.
    probability : float
        That it moved, if the arch is of this family.
    """
    if probability < NO_CHANCE:
        return final
    mean, covariance = moments_of(moved)
    away = float(mean[HALF_SPAN] - final.parameters[HALF_SPAN])
    still = float(final.covariance[HALF_SPAN, HALF_SPAN])
    other = float(covariance[HALF_SPAN, HALF_SPAN]) + away**2
    both = (1 - probability) * still + probability * other
    scale = np.ones(len(final.covariance))
    # Where the moved arch knows it better, what it shares with the others shrinks too: a smaller variance
    # beside the old covariances would leave no covariance matrix.
    scale[HALF_SPAN] = np.sqrt(min(both / still, 1.0))
    widened = final.covariance * scale[:, None] * scale
    widened[HALF_SPAN, HALF_SPAN] = both
    return replace(final, covariance=widened)
