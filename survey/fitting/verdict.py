"""Which family the arch was set out to, in probabilities and in one sentence a mason reads."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from scipy.special import logsumexp

from survey.curves import curve_of
from survey.curves.shape import ArchShape, Family
from survey.fitting.families import BUILDS
from survey.fitting.hypotheses import Weighed
from survey.fitting.result import Verdict

NONE_CLEAR = 0.99
"""Probability from which 'none of these' is said outright."""
MOVES_FROM = 0.6
"""Probability from which the arch is said to have moved."""
N_COMPARED = 201


@dataclass(frozen=True, slots=True)
class Odds:
    """Probabilities of what an arch may be; they add up to 1 over all families, still or moved, and none."""

    still: dict[Family, float]
    moved: dict[Family, float]
    none: float

    @property
    def family(self) -> dict[Family, float]:
        """Probability of each family, moved or not."""
        return {family: self.still[family] + self.moved[family] for family in self.still}

    @property
    def ranked(self) -> list[Family]:
        """Families, the likeliest first."""
        both = self.family
        return sorted(both, key=lambda f: both[f], reverse=True)

    @property
    def has_moved(self) -> float:
        """Probability that the arch moved as rigid pieces, if it is of one of the families."""
        some = sum(self.family.values())
        return sum(self.moved.values()) / some if some > 0 else 0.0


def odds_of(weighed: Weighed) -> Odds:
    """Probabilities from the log weights of all hypotheses."""
    total = weighed.log_all
    return Odds(
        {f: float(np.exp(weighed.log_still(f) - total)) for f in weighed.stills},
        {f: float(np.exp(weighed.log_moved(f) - total)) for f in weighed.stills},
        float(np.exp(weighed.log_other - total)),
    )


@dataclass(frozen=True, slots=True)
class Difference:
    """How far two curves lie apart: the most, and the share of the arch where that is."""

    most_mm: float
    share: float


def difference_between(one: ArchShape, other: ArchShape) -> Difference:
    """Largest distance between two curves over the arch."""
    curve = curve_of(one)
    stations = np.linspace(0.0, curve.length_mm, N_COMPARED)
    apart = np.abs(curve_of(other).locate(curve.point(stations)).distance_mm)
    worst = int(np.argmax(apart))
    return Difference(float(apart[worst]), float(stations[worst] / curve.length_mm))


def verdict_of(
    weighed: Weighed, odds: Odds, shapes: dict[Family, ArchShape], joint_mm: float, clear_from: float
) -> Verdict:
    """The verdict on the surveyed shapes (by family, in one frame), with the job's usual joint."""
    likeliest = odds.ranked[0]
    second = next((f for f in odds.ranked[1:] if f in shapes), None) if likeliest in shapes else None
    apart = Difference(0.0, 0.0)
    if second is not None:
        apart = difference_between(shapes[likeliest], shapes[second])
    probability = MappingProxyType(odds.family)
    if odds.none >= NONE_CLEAR:
        return Verdict(None, True, probability, _none_told(weighed, likeliest), apart.most_mm)
    clear = odds.family[likeliest] >= clear_from
    if clear:
        told = _clear_told(odds, likeliest, second, apart, shapes.get(likeliest))
    else:
        told = _unclear_told(odds, likeliest, second, apart, joint_mm)
    return Verdict(likeliest, clear, probability, told, apart.most_mm)


def _name(family: Family) -> str:
    return BUILDS[family].name


def _a(name: str) -> str:
    return f"an {name}" if name[0] in "aeiou" else f"a {name}"


def _where(share: float) -> str:
    off = abs(share - 0.5)
    return "at the crown" if off < 0.1 else "at the haunches" if off < 0.38 else "near the springings"


def _clear_told(
    odds: Odds, likeliest: Family, second: Family | None, apart: Difference, shape: ArchShape | None
) -> str:
    before = " before it moved" if odds.moved[likeliest] > odds.still[likeliest] else ""
    told = f"The points keep to {_a(_name(likeliest))} curve{before}"
    if second is None or shape is None:
        alone = len(odds.still) == 1
        return told + ("; no other family could be fitted." if alone else "; no other family comes near it.")
    odds_against = odds.family[likeliest] / max(odds.family[second], 1e-12)
    times = "more than a thousand" if odds_against > 1000 else f"about {odds_against:.0f}"
    return (
        f"{told}; the next best, {_a(_name(second))} one, lies up to {apart.most_mm:.1f} mm from it "
        f"{_where(apart.share)} and is {times} times less likely."
    )


def _unclear_told(
    odds: Odds, likeliest: Family, second: Family | None, apart: Difference, joint_mm: float
) -> str:
    if odds.none > odds.family[likeliest]:
        return (
            f"None of the families fits well and {_a(_name(likeliest))} curve is the nearest; measure more "
            "courses, above all where the points leave it."
        )
    if second is None:
        return f"The points are nearest to {_a(_name(likeliest))} curve, but not near enough to be sure."
    much = "less" if apart.most_mm < joint_mm else "more"
    todo = (
        "for the rebuild it does not matter which is taken"
        if apart.most_mm < joint_mm
        else f"more edges {_where(apart.share)} would tell"
    )
    return (
        f"It cannot be told whether the arch is {_name(likeliest)} or {_name(second)}: the two lie at most "
        f"{apart.most_mm:.1f} mm apart, {much} than a joint of {joint_mm:.0f} mm; {todo}."
    )


def _none_told(weighed: Weighed, nearest: Family) -> str:
    still = weighed.stills[nearest]
    good = weighed.ground.weight > 0.5
    most = float(np.max(np.abs(still.look.distance[good]), initial=0.0))
    known = {build.name: other.log_total for build, other in weighed.others.items()}
    free = float(logsumexp(weighed.ground.bends))
    told = (
        f"None of the families fits: the points leave the nearest of them, {_a(_name(nearest))} curve, by up "
        f"to {most:.0f} mm in long runs, far beyond how crooked the bricks lie"
    )
    best = max(known, key=lambda name: known[name], default=None)
    if best is not None and known[best] > free:
        return f"{told}; {_a(best)} curve fits better."
    return told + "."
