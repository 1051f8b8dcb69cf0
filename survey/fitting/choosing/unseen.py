"""How large a movement would have had to be to show in the points of an arch that is taken to stand still.

Suppose the arch had moved by m about certain hinges. Its distances from a curve would differ by -m M (M the
motion's columns, :mod:`~survey.fitting.mechanism.hinge_search`); what is left of that after a still family f
has fitted itself to it costs that family

    log E_f(m) = log E_f(0) + m b_f - 1/2 m^2 G_f,   G_f = M'Q_f M,  b_f = M'Q_f c_f,

Q_f the scatter's metric less what the curve's own numbers take up, c_f how far the curve of f lies from the
likeliest one. The moved arch gains by the closed form of that module. The difference of the two is what the
odds of movement come to on average; over repeated surveys it scatters with variance 2 D, D the cost to the
likeliest still curves (the log ratio of two Gaussian likelihoods, mean D, variance 2 D). So the probability
that the movement shows follows for every size and place of hinges, and the size at which it reaches 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from survey.curves.protocol import Floats
from survey.fitting.choosing.first_look import FLAT_RISE_RATIO
from survey.fitting.choosing.still import Still
from survey.fitting.choosing.weighed import MOVES_FROM, Weighed
from survey.fitting.families.priors import LikelyMotion, likely_motions
from survey.fitting.mechanism.hinge_choices import HingeChoices, first_choices
from survey.fitting.mechanism.hinge_search import motion_columns, sighted
from survey.fitting.result import UnseenMovement

SHOWS = 0.95
"""Probability from which a movement is said to show."""
MOST_PLACES = 0.7
"""Share of the places of hinges about which it must show: about some no movement ever does."""
SIZES_RATIO = np.linspace(0.0, 0.04, 21)
"""Sizes of movement that are tried, as shares of the span."""
EVERY_CROWN = 2
"""Of the crown hinges of a first look every second one is enough here."""


@dataclass(frozen=True, slots=True, eq=False)
class _Left:
    """What a still family leaves of motions: information (a, h, a, h), pull (a, h), log weight at rest."""

    information: Floats
    pull: Floats
    log_weight: float


def unseen_movement(weighed: Weighed) -> UnseenMovement:
    """The smallest spread and settlement that would show at 95 % if the arch had moved by that alone."""
    likeliest = max(weighed.stills, key=weighed.log_still)
    still = weighed.stills[likeliest]
    numbers = still.standing.numbers(still.parameters)
    rise_ratio = float(numbers[1] / numbers[0]) if len(numbers) > 1 else 1.0
    choices = first_choices(flat=rise_ratio < FLAT_RISE_RATIO)
    crowns = np.unique(choices.crown)[::EVERY_CROWN]
    choices = choices.take(np.isin(choices.crown, crowns))
    choices = choices._replace(log_prior=choices.log_prior - np.logaddexp.reduce(choices.log_prior))
    left = _left_by_families(weighed, still, choices)
    span = 2.0 * float(numbers[0])
    # Springings that came closer are too rare to change what shows of a spread.
    motions = tuple(likely for likely in likely_motions(numbers[0]) if likely.mean_mm[0] > 0)
    found = []
    for motion in (0, 1):
        shown = _probability_shown(weighed, left, choices, motions, motion, span)
        found.append(_anywhere(_reached(shown, span), choices.log_prior))
    return UnseenMovement(*found)


def _left_by_families(weighed: Weighed, still: Still, choices: HingeChoices) -> list[_Left]:
    """What every way of every still family leaves, the likeliest first, under one scatter: the likeliest."""
    number = int(np.argmax(np.logaddexp.reduce(still.log_evidence, axis=0)))
    grid = weighed.ground.grid
    metric, factor = grid.whitener(number), grid.factor[number]
    seen = sighted(still.standing, still.parameters)
    moved = motion_columns(still.standing, still.parameters, seen, choices)
    n, h = len(seen.share), len(choices.crown)
    columns = moved.points.reshape(2 * h, n).T
    rows = np.repeat(moved.rows, h, axis=0).T
    weighted = metric.apply(columns)
    own = columns.T @ weighted + factor * (rows.T @ rows)
    found = []
    for other in weighed.stills.values():
        slopes = other.look.slopes.T @ weighted + factor * (other.look.row_slopes.T @ rows)
        away = other.look.distance - still.look.distance
        row_away = other.look.rows - still.look.rows
        vector = other.look.slopes.T @ metric.apply(away[:, None])[:, 0]
        vector += factor * (other.look.row_slopes.T @ row_away)
        direct = away @ weighted + factor * (row_away @ rows)
        by_way = np.logaddexp.reduce(other.log_evidence, axis=1) + weighed.log_share(moved=False)
        for averaged, log_weight in zip(other.averages, by_way, strict=True):
            taken = averaged.covariance[number] @ slopes
            information = (own - slopes.T @ taken).reshape(2, h, 2, h)
            pull = (direct - vector @ taken).reshape(2, h)
            found.append(_Left(information, pull, float(log_weight)))
    found.sort(key=lambda part: -part.log_weight)
    return found


def _probability_shown(
    weighed: Weighed,
    left: list[_Left],
    choices: HingeChoices,
    motions: tuple[LikelyMotion, ...],
    motion: int,
    span_mm: float,
) -> Floats:
    """Probability (s, h) that a motion of every size shows, by the places of its hinges."""
    size = SIZES_RATIO * span_mm
    places = np.arange(len(choices.crown))
    stills = np.stack(
        [
            part.log_weight
            + size[:, None] * part.pull[motion]
            - 0.5 * size[:, None] ** 2 * part.information[motion, places, motion, places]
            for part in left
        ]
    )
    log_still = np.logaddexp.reduce(stills, axis=0)
    rest = float(np.logaddexp.reduce(stills[:, 0, 0]))
    information = left[0].information
    taken = 0.5 * size[:, None] ** 2 * information[motion, places, motion, places]
    gains = [_log_gains(information, likely, choices.log_prior, motion, size) for likely in motions]
    shares = weighed.log_share(moved=True) - weighed.log_share(moved=False)
    log_moved = rest + shares - taken + np.logaddexp.reduce(gains, axis=0)
    cost = np.maximum(rest - log_still, np.finfo(float).tiny)
    over = log_moved - log_still - np.log(MOVES_FROM / (1 - MOVES_FROM))
    return np.asarray(ndtr(over / np.sqrt(2 * cost)))


def _log_gains(
    information: Floats, likely: LikelyMotion, log_prior: Floats, motion: int, size: Floats
) -> Floats:
    """Log gain (s, h) over standing still of an arch moved by sizes (s,) about every choice of hinges."""
    free = np.flatnonzero(likely.sigma_mm > 0)
    places = np.arange(len(log_prior))
    power = np.diag(likely.sigma_mm[free] ** -2.0)
    usual = power @ likely.mean_mm[free]
    own = np.stack([[information[a, places, b, places] for b in free] for a in free]).transpose(2, 0, 1)
    matrix = own + power
    told = information[free][:, :, motion, :]  # what hinges h' see of a unit motion about hinges h
    solved = np.linalg.solve(matrix, told.transpose(1, 0, 2))
    first = np.linalg.solve(matrix, np.broadcast_to(usual[:, None], (len(places), len(free), 1)))[..., 0]
    none = first @ usual - usual @ likely.mean_mm[free]
    none = 0.5 * (none - np.linalg.slogdet(matrix)[1] + np.linalg.slogdet(power)[1])
    linear = np.einsum("pah,a->ph", solved, usual)
    square = 0.5 * np.einsum("aph,pah->ph", told, solved)
    log_gain = (
        none[:, None] + size[:, None, None] * linear + size[:, None, None] ** 2 * square + log_prior[:, None]
    )
    return np.asarray(np.logaddexp.reduce(log_gain, axis=1) + likely.log_share)


def _reached(shown: Floats, span_mm: float) -> Floats:
    """Sizes (h,) at which a probability (s, h) first comes to what shows; infinite if it never does."""
    enough = shown >= SHOWS
    after = np.maximum(np.argmax(enough, axis=0), 1)
    h = np.arange(shown.shape[1])
    low = shown[after - 1, h]
    shows = enough.any(axis=0)
    step = (SHOWS - low) / np.where(shows, shown[after, h] - low, 1.0)
    size = SIZES_RATIO[after - 1] + step * (SIZES_RATIO[after] - SIZES_RATIO[after - 1])
    return np.where(shows, span_mm * size, np.inf)


def _anywhere(size: Floats, log_share: Floats) -> float:
    """The size, of sizes (h,) by their shares, that is enough about most hinges."""
    order = np.argsort(size)
    at = int(np.searchsorted(np.cumsum(np.exp(log_share[order])), MOST_PLACES))
    return float(size[order[at]])


def unseen_told(unseen: UnseenMovement) -> str:
    """What size of movement the points cannot show, in a sentence."""
    sizes = (
        ("spread of the springings", unseen.spread_mm),
        ("settlement of one springing", unseen.settlement_mm),
    )
    told = [
        f"a {what} of up to {size:.0f} mm"
        if np.isfinite(size)
        else f"a {what} about certain hinges, even a large one"
        for what, size in sizes
    ]
    both = ", or ".join(told)
    return f"{both[0].upper()}{both[1:]}, might not show in these points."
