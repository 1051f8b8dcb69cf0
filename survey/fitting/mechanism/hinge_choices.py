"""Where hinges are looked for: from a few places over the whole arch to the joints about the likeliest."""

from __future__ import annotations

from itertools import pairwise, product
from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.mechanism.joint_gaps import JointGaps

CROWN_SHARES = (1 / 3 - 0.02, 2 / 3 + 0.02)
"""Where a crown hinge may be: over the middle third."""
HAUNCH_SHARES = (0.08, 0.32)
"""Where a haunch hinge may be, from its own springing."""
SPRINGING_SHARE = 0.5
"""Share of lower hinges that are at their springing."""
N_CROWN_FIRST = 9
HAUNCHES_FIRST = (0.14, 0.23)
N_CROWN = 9
"""Joints about a likely place over which the crown hinge is averaged."""
LARGEST_STEP = 0.03
"""Where joints stand further apart than this, or are not known, more places are put between them."""
HAUNCHES = (0.1, 0.17, 0.24, 0.31)
FINER = 0.03
"""Step of haunch hinges about the likely ones of the coarse round."""
NO_STEP = 1e-9
REACH = 0.03
"""How far from a likely haunch hinge joints are looked at."""
SAME_JOINT = 0.002
"""As shares of the intrados, joints lie further apart than this, and are never seen less closely."""
LEAST_APART = 0.03
"""Hinges closer than this, as a share of the intrados, are no three hinges."""
UNLIKELY = 0.01
"""Places of less weight than this in the coarse round are left out of the finer one."""


class HingeChoices(NamedTuple):
    """Hinges of h hypotheses: left, crown, right (h,) as shares of the intrados, the crown's depth (h,).

    A left hinge at 0 is at the left springing, a right one at 1 at the right springing. ``log_prior`` (h,) is
    the log share of each among all. ``lower_mm`` is how far behind the soffit all lower hinges lie.
    """

    left: Floats
    crown: Floats
    right: Floats
    depth_mm: Floats
    log_prior: Floats
    lower_mm: float = 0.0

    def take(self, which: np.ndarray) -> HingeChoices:
        """Only some of them."""
        left, crown, right, depth, log_prior = (column[which] for column in self[:5])
        return HingeChoices(left, crown, right, depth, log_prior, self.lower_mm)

    def same_places(self, other: HingeChoices) -> bool:
        """Whether the first of these and the first of others lie at the same joints and depth."""
        apart = [abs(float(a[0] - b[0])) for a, b in zip(self[:3], other[:3], strict=True)]
        return max(apart) < SAME_JOINT and bool(self.depth_mm[0] == other.depth_mm[0])


class Depths(NamedTuple):
    """How far behind the soffit the innermost ring ends, and the whole arch: there a crown may hinge."""

    ring_mm: float
    arch_mm: float
    lower_mm: float = 0.0
    """Where not nothing, the lower hinges lie so far behind the soffit, and the crown's on it."""

    @property
    def of_crown(self) -> tuple[float, ...]:
        """How far behind the soffit a crown may hinge."""
        return (0.0,) if self.lower_mm > 0 else tuple(np.unique([0.0, self.ring_mm, self.arch_mm]).tolist())


class _Places(NamedTuple):
    """Places of one hinge with the log share of each."""

    share: Floats
    log_prior: Floats


def first_choices(*, flat: bool) -> HingeChoices:
    """A few hinges over the whole arch, on the soffit."""
    crown = np.linspace(*CROWN_SHARES, N_CROWN_FIRST)
    crowns = _Places(crown, np.full(len(crown), -np.log(len(crown))))
    lower = _lower(np.array([] if flat else HAUNCHES_FIRST), 1 / max(len(HAUNCHES_FIRST), 1))
    return _all(lower, crowns, lower, np.zeros(1))


def coarse_choices(
    joints: JointGaps, about: Floats, *, flat: bool, depths: Depths, n_crowns: int = N_CROWN
) -> HingeChoices:
    """The joints nearest to likely crown hinges (c,), on the soffit or at the back; lower hinges all over."""
    low, high = CROWN_SHARES
    crown = joints.share[(joints.share >= low) & (joints.share <= high)]
    crown = _filled(np.concatenate([[low], crown, [high]]), LARGEST_STEP)
    near = sorted({int(i) for place in about for i in np.argsort(np.abs(crown - place))[:n_crowns]})
    crowns = _Places(crown[near], np.log(np.gradient(crown)[near] / (high - low)))
    lower = _lower(np.array([] if flat else HAUNCHES), 1 / len(HAUNCHES))
    return _all(lower, crowns, lower, np.array(depths.of_crown))._replace(lower_mm=depths.lower_mm)


def finer_choices(coarse: HingeChoices, log_weight: Floats) -> HingeChoices:
    """The likely among coarse choices by log weights (h,), haunch hinges on a finer scale."""
    weight = np.exp(log_weight - np.logaddexp.reduce(log_weight))
    left = _finer_lower(coarse.left, weight)
    right = _finer_lower(1 - coarse.right, weight)
    finer = _all(left, _likely_crowns(coarse, weight), right, np.unique(coarse.depth_mm))
    return finer._replace(lower_mm=coarse.lower_mm)


def choices_at_joints(
    coarse: HingeChoices, about: HingeChoices, joints: JointGaps, *, flat: bool
) -> HingeChoices:
    """Joints near the haunch hinges of some choices, about all of their crowns, at any depth.

    The shares of crowns are those they have among the coarse choices. A ring opens at a joint, and which one
    it is decides how far the springings moved: hinged one course higher, an arch has turned as far for a
    spread a tenth less.
    """
    crown = np.unique(about.crown)
    crowns = _Places(crown, np.array([_prior_of(coarse, coarse.crown == c) for c in crown]))
    found = []
    for left_stays, right_stays in product((False, True), repeat=2):
        own = about.take(
            np.flatnonzero(((about.left <= 0) == left_stays) & ((about.right >= 1) == right_stays))
        )
        if len(own.left):
            left = _lower_at_joints(own.left, joints.share, flat=flat)
            right = _lower_at_joints(1 - own.right, 1 - joints.share[::-1], flat=flat)
            found.append(_all(left, crowns, right, np.unique(coarse.depth_mm)))
    left_at, crown_at, right_at, depth, log_prior = (
        np.concatenate(parts) for parts in zip(*(choices[:5] for choices in found), strict=True)
    )
    every = HingeChoices(left_at, crown_at, right_at, depth, log_prior, coarse.lower_mm)
    apart = np.minimum(every.crown - every.left, every.right - every.crown) > LEAST_APART
    return every.take(np.flatnonzero(apart))


def _likely_crowns(coarse: HingeChoices, weight: Floats) -> _Places:
    crown, group = np.unique(coarse.crown, return_inverse=True)
    crown = crown[np.bincount(group, weights=weight) > UNLIKELY / 10]
    return _Places(crown, np.array([_prior_of(coarse, coarse.crown == c) for c in crown]))


def _prior_of(choices: HingeChoices, which: np.ndarray) -> float:
    return float(np.logaddexp.reduce(choices.log_prior[which]))


def _finer_lower(share: Floats, weight: Floats) -> _Places:
    at_springing = float(weight[share <= 0].sum())
    haunch = np.unique(share[share > 0])
    if len(haunch) == 0 or 1 - at_springing < UNLIKELY:
        return _Places(np.zeros(1), np.log([SPRINGING_SHARE if len(haunch) else 1.0]))
    likely = haunch[[weight[share == place].sum() > UNLIKELY for place in haunch]]
    places = np.arange(HAUNCH_SHARES[0], HAUNCH_SHARES[1] + FINER / 2, FINER)
    reach = (HAUNCHES[1] - HAUNCHES[0]) / 2 + FINER
    places = places[np.min(np.abs(places[:, None] - likely), axis=1, initial=np.inf) < reach]
    lower = _lower(places, FINER / (HAUNCH_SHARES[1] - HAUNCH_SHARES[0] + FINER))
    return lower if at_springing > UNLIKELY else _Places(lower.share[1:], lower.log_prior[1:])


def _lower_at_joints(share: Floats, joints: Floats, *, flat: bool) -> _Places:
    """Joints about haunch hinges (h,), each with its stretch of all haunches; springings stay."""
    if share[0] <= 0:
        return _Places(np.zeros(1), np.log([1.0 if flat else SPRINGING_SHARE]))
    low, high = HAUNCH_SHARES
    places = _filled(np.concatenate([[low], joints[(joints > low) & (joints < high)], [high]]), FINER / 2)
    near = np.min(np.abs(places[:, None] - np.unique(share)), axis=1) < REACH
    return _Places(places[near], np.log((1 - SPRINGING_SHARE) * (np.gradient(places) / (high - low))[near]))


def _lower(haunches: Floats, cell: float) -> _Places:
    """The springing and haunches, each of these with its cell of all haunches."""
    if len(haunches) == 0:
        return _Places(np.zeros(1), np.zeros(1))
    log_haunch = np.full(len(haunches), np.log((1 - SPRINGING_SHARE) * cell))
    return _Places(np.append(0.0, haunches), np.append(np.log(SPRINGING_SHARE), log_haunch))


def _all(left: _Places, crown: _Places, right: _Places, depth_mm: Floats) -> HingeChoices:
    """Every combination; right hinges are told from their own springing."""
    places = np.meshgrid(left.share, crown.share, 1 - right.share, depth_mm, indexing="ij")
    shares = np.meshgrid(left.log_prior, crown.log_prior, right.log_prior, depth_mm, indexing="ij")
    log_prior = shares[0] + shares[1] + shares[2] - np.log(len(depth_mm))
    a, b, c, d = (place.ravel() for place in places)
    return HingeChoices(a, b, c, d, log_prior.ravel())


def _filled(places: Floats, largest: float) -> Floats:
    """Places in order with more put in evenly where they stand further apart than the largest step."""
    # Joints read in one place are one place.
    apart = places[np.append(True, np.diff(places) > NO_STEP)]
    parts = [
        np.linspace(a, b, max(int(np.ceil((b - a) / largest)), 1), endpoint=False) for a, b in pairwise(apart)
    ]
    return np.concatenate([*parts, apart[-1:]])
