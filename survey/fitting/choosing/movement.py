"""What moved and how, as the record of rigid pieces the other rooms read.

The original, the spread and the settlement stated come from all hinges, scatters and ways of proportioning:
which hinges are the likeliest changes them by more than the points' scatter does, and no one set of hinges is
likely enough to be taken for all. The spread stated is the middle of what all of these make of it, as likely
to be too large as too small (a crown hinge on the soffit and one at the back tell two spreads, and their mean
lies where neither does); all else is the average, brought along with the spread as it varies with it.
Uncertainties are those of the same average about what is stated. The movement is drawn by the likeliest
hinges near it, the depth of the crown hinge averaged over what the points allow.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape
from survey.fitting.choosing.candidates import EXACT, construction_of, rms_of
from survey.fitting.choosing.fitted import figures_of
from survey.fitting.choosing.held_hinges import GuidedMoved, hinged
from survey.fitting.choosing.hypotheses import Ground
from survey.fitting.choosing.movement_fit import MovedFit
from survey.fitting.choosing.movement_words import movement_told
from survey.fitting.families.builds import shape_of
from survey.fitting.families.priors import LikelyMotion
from survey.fitting.mechanism.hinge_search import brought_back
from survey.fitting.mechanism.moved import Moved
from survey.fitting.mechanism.pieces import Motion, turned
from survey.fitting.result import Candidate, Estimate, Hinge, Movement, Opens, Piece
from survey.fitting.solving.engine import OutsideDomainError, minimise
from survey.record.model import Ints

AGREEING = 0.3
"""How near, in standard deviations of the spread, the hinges stated come to the average over all hinges."""
HELD = 0.02
"""How closely the motion is held to its average while the original is fitted, in its standard deviations."""
LIGHT = 1e-5
"""Parts of an average lighter than this change no digit that is stated."""
CROWN = (0.4, 0.6)
"""Shares of the intrados between which an upper hinge is called the crown's."""
HALF_SPAN = 2
"""Place of the half-span among the parameters of every build."""
HALVINGS = 40
"""Halvings that narrow metres down to less than a nanometre."""
HINGE_SPOT = 0.2
"""How closely a hinge can be placed within its joint and the bricks beside it, as a share of the pitch."""


@dataclass(frozen=True, slots=True, eq=False)
class FinalMoved:
    """A moved family's final fit in the sightings' frame.

    ``parameters`` (k + 2,) and ``covariance`` end with spread and settlement; ``share`` (3,) are the hinges'
    places along the original and ``share_sigma`` (3,) their standard uncertainties.
    """

    fit: MovedFit
    moved: Moved
    parameters: Floats
    covariance: Floats
    share: Floats
    share_sigma: Floats
    distance: Floats

    @property
    def motion(self) -> Motion:
        """Motion of the pieces in the original's own frame."""
        return self.moved.motion(self.parameters)


def final_moved(fit: MovedFit, ground: Ground, depth_mm: float) -> FinalMoved:
    """Settle a moved family on its likeliest hinges; the arch is so deep."""
    k = len(fit.original.parameters)
    weight = np.exp(fit.posterior.log_weight - fit.log_evidence)
    by_choice = weight.sum(axis=(0, 1, 2))
    mean, covariance = about_the_middle_spread(fit)
    covariance = covariance + _by_unknown_pivots(fit, mean, depth_mm)
    choices = fit.choices
    depth = float(by_choice @ choices.depth_mm)
    settles = fit.settles > 0.5
    standing = fit.original.standing
    seen = brought_back(fit.moved, fit.parameters)
    likeliest = fit.scatters[int(np.argmax(weight.sum(axis=(0, 1, 3))))]
    held = LikelyMotion(mean[k:], HELD * np.sqrt(np.diag(covariance)[k:]), 0.0)
    order = _middling(fit, weight, by_choice, float(mean[k]), float(np.sqrt(covariance[k, k])))
    for best in order:
        here = choices.take(np.array([best]))._replace(depth_mm=np.array([depth]))
        moved, free = (
            hinged(standing, fit.parameters[:k], seen, here, 0, settles=so) for so in (settles, True)
        )
        best_fit = _optimum(fit, GuidedMoved(moved, ground.whitener_of(likeliest), held))
        # The pieces of a flat arch that spread far may not meet about hinges that are likely by themselves.
        if _exists(free, best_fit):
            break
    parameters = mean.copy()
    # The average of many hinges may lie where no single curve does; a best fit never does.
    if not _exists(free, parameters):
        parameters = best_fit
    # The average is linear about one optimum: how far the exact one lies from it is owned to as well.
    off = mean - best_fit
    share = np.array([here.left[0], here.crown[0], here.right[0]])
    places = np.stack([choices.left, choices.crown, choices.right])
    spot = (
        HINGE_SPOT
        * ground.pitch_mm
        / curve_of(shape_of(standing.build, standing.numbers(parameters))).length_mm
    )
    sigma = np.sqrt(_scatter_of(places, share, by_choice) + spot**2)
    return FinalMoved(
        fit, free, parameters, covariance + np.outer(off, off), share, sigma, free.look(parameters).distance
    )


def _exists(moved: Moved, parameters: Floats) -> bool:
    """Whether there is a curve of parameters (k + 2,), and pieces of it that meet."""
    try:
        moved.look(parameters)
    except OutsideDomainError:
        return False
    return True


def _optimum(fit: MovedFit, model: GuidedMoved) -> Floats:
    """Best parameters (k + 2,) about one set of hinges."""
    size = len(model.names)
    parameters = np.zeros(len(fit.parameters))
    parameters[:size] = minimise(model, fit.parameters[:size], options=EXACT).reached
    return parameters


def _middling(fit: MovedFit, weight: Floats, by_choice: Floats, spread_mm: float, sigma_mm: float) -> Ints:
    """Hinges, those first that are likely and whose own spread agrees with the average over all hinges."""
    own = np.zeros(len(by_choice))
    for way, variants in enumerate(fit.posterior.gains):
        for variant, gains in enumerate(variants):
            own += np.sum(weight[way, variant] * gains.motion[..., 0], axis=0)
    own /= np.maximum(by_choice, np.finfo(float).tiny)
    away = (own - spread_mm) / (AGREEING * sigma_mm)
    return np.argsort(0.5 * away**2 - np.log(np.maximum(by_choice, np.finfo(float).tiny)), kind="stable")


def _scatter_of(places: Floats, share: Floats, by_choice: Floats) -> Floats:
    """Mean square departure (3,) of hinge places (3, h), by their weights, from the chosen ones."""
    return np.asarray((places - share[:, None]) ** 2 @ by_choice / np.sum(by_choice))


class _Told(NamedTuple):
    """What every part of an average tells of original, spread and settlement.

    Values (i, k + 2) about ``from_mm`` (k + 2,), covariances (i, k + 2, k + 2), shares (i,) that add up to 1.
    """

    from_mm: Floats
    value: Floats
    covariance: Floats
    share: Floats

    @property
    def moments(self) -> tuple[Floats, Floats]:
        """Mean (k + 2,) and covariance of the whole average."""
        mean = self.share @ self.value
        off = self.value - mean
        covariance = np.einsum("i,ijk->jk", self.share, self.covariance) + (off * self.share[:, None]).T @ off
        return self.from_mm + mean, covariance


def _told_by(fit: MovedFit) -> _Told:
    weight = np.exp(fit.posterior.log_weight - fit.log_evidence)
    k = len(fit.original.parameters)
    values, spreads, shares = [], [], []
    for way, averaged in enumerate(fit.original.averages):
        for variant, gains in enumerate(fit.posterior.gains[way]):
            g, h = np.nonzero(weight[way, variant] > LIGHT)
            motion, pull = gains.motion[g, h], gains.pull[g, h]
            curve = averaged.shift[g] + (pull @ motion[..., None])[..., 0]
            give = np.concatenate([pull, np.broadcast_to(np.eye(2), (len(g), 2, 2))], axis=1)
            spread = give @ gains.covariance[g, h] @ give.transpose(0, 2, 1)
            spread[:, :k, :k] += averaged.covariance[g]
            values.append(np.concatenate([curve, motion], axis=1))
            spreads.append(spread)
            shares.append(weight[way, variant][g, h])
    share = np.concatenate(shares)
    place = np.concatenate([fit.original.parameters, [0.0, 0.0]])
    return _Told(place, np.concatenate(values), np.concatenate(spreads), share / share.sum())


def moments_of(fit: MovedFit) -> tuple[Floats, Floats]:
    """Mean (k + 2,) and covariance of original, spread and settlement over the whole average."""
    return _told_by(fit).moments


def about_the_middle_spread(fit: MovedFit) -> tuple[Floats, Floats]:
    """Original, spread and settlement (k + 2,) at the middle of the spread, and their covariance about that.

    All else follows the spread from its mean to its middle by its regression on it.
    """
    told = _told_by(fit)
    mean, covariance = told.moments
    k = len(mean) - 2
    value = told.from_mm[k] + told.value[:, k]
    sigma = np.sqrt(np.maximum(told.covariance[:, k, k], np.finfo(float).tiny))
    middle = _middle(value, sigma, told.share)
    away = covariance[:, k] * (middle - mean[k]) / covariance[k, k]
    return mean + away, covariance + np.outer(away, away)


def _by_unknown_pivots(fit: MovedFit, mean: Floats, depth_mm: float) -> Floats:
    """What springings that came closer leave open (k + 2, k + 2): whether pieces turned at soffit or back.

    Joints that open on the soffit turn about the back. Where the points put them on the soffit all the same,
    the movement may be other by as much as the lever may.
    """
    k = len(mean) - 2
    way = np.zeros(k + 2)
    if mean[k] < 0.0 and fit.choices.lower_mm == 0.0:
        numbers = fit.original.standing.numbers(mean[:k])
        rise = float(numbers[1] if len(numbers) > 1 else numbers[0])
        way[k] = float(mean[k]) * depth_mm / rise
        way[HALF_SPAN] = -way[k] / 2
    return np.outer(way, way)


def _middle(value: Floats, sigma: Floats, share: Floats) -> float:
    """Where half of a mixture of normal distributions (i,), by their shares, lies on either side."""
    low, high = float(np.min(value - sigma)), float(np.max(value + sigma))
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if share @ ndtr((middle - value) / sigma) < 0.5:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def movement_of(
    final: FinalMoved, ground: Ground, origin_mm: Floats, probability: float, rms_before_mm: float
) -> Movement:
    """The contract's movement, in the arch frame of an origin (2,) of the sightings' frame."""
    k = final.moved.n_standing
    sigma = np.sqrt(np.diag(final.covariance))
    original = _original(final, ground, origin_mm)
    motion = final.motion
    pieces = _pieces(final, motion, original.shape)
    hinges = _hinges(final, motion, original.shape, pieces)
    drop = _crown_drop(final)
    spread = Estimate(float(final.parameters[k]), float(sigma[k]))
    settlement = Estimate(float(final.parameters[k + 1]), float(sigma[k + 1]))
    return Movement(
        original=original,
        spread_mm=spread,
        settlement_mm=settlement,
        crown_drop_mm=drop,
        hinges=hinges,
        pieces=pieces,
        probability=probability,
        rms_before_mm=rms_before_mm,
        rms_after_mm=rms_of(final.distance, ground),
        because=movement_told(spread, settlement, hinges, at_back=final.fit.choices.lower_mm > 0),
    )


def _original(final: FinalMoved, ground: Ground, origin_mm: Floats) -> Candidate:
    standing, k = final.moved.standing, final.moved.n_standing
    placed = final.parameters[:k].copy()
    placed[:2] -= origin_mm
    return Candidate(
        family=standing.family,
        shape=standing.shape(final.parameters[:k], origin_mm=origin_mm),
        parameters=standing.names,
        covariance=final.covariance[:k, :k],
        figures=MappingProxyType(figures_of(standing, placed, final.covariance[:k, :k])),
        rms_mm=rms_of(final.distance, ground),
        converged=True,
        log_evidence=final.fit.log_evidence,
        construction=construction_of(final.fit.posterior.log_weight, final.fit.original),
    )


def _pieces(final: FinalMoved, motion: Motion, shape: ArchShape) -> tuple[Piece, ...]:
    """The pieces that have a length, from left to right."""
    length = curve_of(shape).length_mm
    bounds = np.array([0.0, *final.share, 1.0]) * length
    middle = np.array([shape.axis_x_mm, shape.springing_y_mm])
    found = []
    for k, (start, end) in enumerate(pairwise(bounds)):
        if end <= start:
            continue
        angle = float(motion.rotation_rad[k])
        shift = middle - turned(middle, angle) + turned(motion.shift_mm[k], shape.tilt_rad)
        found.append(Piece(float(start), float(end), angle, (float(shift[0]), float(shift[1]))))
    return tuple(found)


def _hinges(
    final: FinalMoved, motion: Motion, shape: ArchShape, pieces: tuple[Piece, ...]
) -> tuple[Hinge, ...]:
    curve = curve_of(shape)
    names = _names(final.share)
    slopes = np.diff(motion.rotation_slopes, axis=0)
    q = len(final.moved.build.numbers)
    k = final.moved.n_standing
    index = [*range(2, 2 + q), k, k + 1]
    own = final.covariance[np.ix_(index, index)]
    found = []
    for i, turn in enumerate(np.diff(motion.rotation_rad)):
        share = float(final.share[i])
        at = share * curve.length_mm
        piece = next((p for p in pieces if p.start_mm <= at <= p.end_mm), pieces[0])
        point = curve.point(at) + final.moved.hinges[i].out_mm * curve.normal(at)
        here = turned(point, piece.rotation_rad) + np.asarray(piece.shift_mm)
        found.append(
            Hinge(
                station_mm=Estimate(at, float(final.share_sigma[i]) * curve.length_mm),
                opens=Opens.INTRADOS if turn > 0 else Opens.EXTRADOS,
                rotation_rad=Estimate(abs(float(turn)), float(np.sqrt(slopes[i] @ own @ slopes[i]))),
                x_mm=float(here[0]),
                y_mm=float(here[1]),
                where=names[i],
            )
        )
    return tuple(found)


def _names(share: Floats) -> tuple[str, str, str]:
    left = "left springing" if share[0] <= 0 else "left haunch"
    right = "right springing" if share[2] >= 1 else "right haunch"
    return left, "crown", right


def _crown_drop(final: FinalMoved) -> Estimate:
    """How far the middle of the original's intrados came down, against the middle of the springings."""
    numbers = final.moved.numbers(final.parameters)
    q, k = len(numbers), final.moved.n_standing
    motion = final.motion
    piece = 1 if final.share[1] > 0.5 else 2
    rise = 1 if q > 1 else 0
    crown = np.array([0.0, float(numbers[rise])])
    angle = float(motion.rotation_rad[piece])
    carried = turned(crown, angle)
    slopes = -carried[0] * motion.rotation_slopes[piece] - motion.shift_slopes[piece, 1]
    slopes[rise] += 1.0 - np.cos(angle)
    index = [*range(2, 2 + q), k, k + 1]
    own = final.covariance[np.ix_(index, index)]
    drop = crown[1] - carried[1] - motion.shift_mm[piece, 1]
    return Estimate(float(drop), float(np.sqrt(slopes @ own @ slopes)))
