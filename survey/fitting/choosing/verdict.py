"""Which family the arch was set out to, in probabilities and in one sentence a mason reads."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from survey.curves import curve_of
from survey.curves.shape import ArchShape, Family
from survey.fitting.choosing.hypotheses import Weighed
from survey.fitting.choosing.weighed import MOVES_FROM
from survey.fitting.families.builds import BUILDS
from survey.fitting.result import Verdict

NONE_CLEAR = 0.99
"""Probability from which 'none of these' is said outright."""
NAMED_SHARE = 0.95
"""Families that cannot be told apart are named, the likeliest first, until they hold this share of all."""
SAME_LINE_MM = 0.05
"""Curves nearer to each other than can be written are one line: the one family contains the other."""
N_COMPARED = 201


@dataclass(frozen=True, slots=True)
class Odds:
    """Probabilities of what an arch may be; they add up to 1 over all families, still or moved, and none.

    They are kept as logs, for very many points leave all families but one with a probability of nothing, and
    the next best is still to be told from the rest.
    """

    log_still: Mapping[Family, float]
    log_moved: Mapping[Family, float]
    log_none: float

    @property
    def still(self) -> dict[Family, float]:
        """Probability of each family standing as it was built."""
        return {family: float(np.exp(log)) for family, log in self.log_still.items()}

    @property
    def moved(self) -> dict[Family, float]:
        """Probability of each family having moved."""
        return {family: float(np.exp(log)) for family, log in self.log_moved.items()}

    @property
    def none(self) -> float:
        """Probability of a curve of no family."""
        return float(np.exp(self.log_none))

    @property
    def is_none(self) -> bool:
        """Whether the arch is said outright to be of none of the families."""
        return self.none >= NONE_CLEAR

    @property
    def family(self) -> dict[Family, float]:
        """Probability of each family, moved or not."""
        still, moved = self.still, self.moved
        return {family: still[family] + moved[family] for family in still}

    @property
    def ranked(self) -> list[Family]:
        """Families, the likeliest first."""
        both = {family: np.logaddexp(log, self.log_moved[family]) for family, log in self.log_still.items()}
        return sorted(both, key=lambda f: both[f], reverse=True)

    @property
    def has_moved(self) -> float:
        """Probability that the arch moved as rigid pieces, if it is of one of the families."""
        some = sum(self.family.values())
        return sum(self.moved.values()) / some if some > 0 else 0.0

    def moves(self, family: Family) -> bool:
        """Whether a family is meant as the arch was before it moved, not as it stands."""
        return (
            not self.is_none
            and self.has_moved >= MOVES_FROM
            and self.log_moved[family] > self.log_still[family]
        )


def odds_of(weighed: Weighed) -> Odds:
    """Probabilities from the log weights of all hypotheses."""
    total = weighed.log_all
    return Odds(
        {family: weighed.log_still(family) - total for family in weighed.stills},
        {family: weighed.log_moved(family) - total for family in weighed.stills},
        weighed.log_other - total,
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


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """The curves a verdict tells apart, in one frame.

    Attributes
    ----------
    order : tuple of Family
        The likeliest first; where none of the families fits, the nearest first.
    shapes : mapping of Family to ArchShape
    farthest_mm : float
        How far the good points leave the first of them at most.
    """

    order: tuple[Family, ...]
    shapes: Mapping[Family, ArchShape]
    farthest_mm: float


@dataclass(frozen=True, slots=True)
class Rival:
    """A family that also comes into question, its probability, and how far it lies from the likeliest."""

    family: Family
    probability: float
    apart: Difference


def verdict_of(
    weighed: Weighed, odds: Odds, compared: Compared, joint_mm: float, clear_from: float
) -> Verdict:
    """The verdict on the curves to tell apart, with the job's usual joint."""
    likeliest = odds.ranked[0]
    rivals = _rivals(odds, compared)
    most_mm = rivals[0].apart.most_mm if rivals else None
    probability = MappingProxyType(odds.family)
    if odds.is_none:
        return Verdict(None, True, probability, _none_told(weighed, compared), most_mm)
    clear = odds.family[likeliest] >= clear_from
    told = _clear_told(odds, rivals, weighed.failed) if clear else _unclear_told(odds, rivals, joint_mm)
    return Verdict(likeliest, clear, probability, told, most_mm)


def _rivals(odds: Odds, compared: Compared) -> list[Rival]:
    """Every other family with a shape to compare, in their order."""
    first, *others = compared.order
    shapes = compared.shapes
    return [Rival(f, odds.family[f], difference_between(shapes[first], shapes[f])) for f in others]


def _name(family: Family) -> str:
    return BUILDS[family].name


def _a(name: str) -> str:
    return f"an {name}" if name[0] in "aeiou" else f"a {name}"


def _where(share: float) -> str:
    off = abs(share - 0.5)
    return "at the crown" if off < 0.1 else "at the haunches" if off < 0.38 else "near the springings"


def _before(odds: Odds, family: Family) -> str:
    """What to add where the curve meant is the one the arch had before it moved."""
    return " before it moved" if odds.moves(family) else ""


def _clear_told(odds: Odds, rivals: Sequence[Rival], failed: Collection[Family]) -> str:
    likeliest = odds.ranked[0]
    told = f"The points keep to {_a(_name(likeliest))} curve{_before(odds, likeliest)}"
    if not rivals:
        return f"{told}; no other family {'could be fitted' if failed else 'was asked for'}."
    second = rivals[0]
    stands = " as it stands" if odds.moves(likeliest) and not odds.moves(second.family) else ""
    odds_against = odds.family[likeliest] / max(second.probability, 1e-12)
    times = "more than a thousand" if odds_against > 1000 else f"about {odds_against:.0f}"
    next_best, most_mm = f"{_a(_name(second.family))} one{stands}", second.apart.most_mm
    if most_mm < SAME_LINE_MM:
        same = f"{told}; {next_best} would draw the same line{_for_more(likeliest, second.family)}"
        return f"{same} and is {times} times less likely."
    return (
        f"{told}; the next best, {next_best}, lies up to {most_mm:.1f} mm from it "
        f"{_where(second.apart.share)} and is {times} times less likely."
    )


def _for_more(family: Family, other: Family) -> str:
    """How many more numbers another family takes to draw the same line; blank where it takes no more."""
    more = len(BUILDS[other].numbers) - len(BUILDS[family].numbers)
    if more < 1:
        return ""
    return " with one number more" if more == 1 else f" with {more} numbers more"


def _unclear_told(odds: Odds, rivals: Sequence[Rival], joint_mm: float) -> str:
    likeliest = odds.ranked[0]
    best = f"{_a(_name(likeliest))} curve{_before(odds, likeliest)}"
    if odds.none > odds.family[likeliest]:
        return (
            f"None of the families fits well and {best} is the nearest; measure more courses, above all "
            "where the points leave it."
        )
    if odds.none > sum(rival.probability for rival in rivals):
        return (
            f"The points are nearest to {best}, but it may be none of the families; measure more courses, "
            "above all where the points leave it."
        )
    return _alike_told(odds, _in_question(odds, rivals), joint_mm)


def _in_question(odds: Odds, rivals: Sequence[Rival]) -> list[Rival]:
    """The rivals, at least one, that with the likeliest family make up nearly all of the probability."""
    known = odds.family[odds.ranked[0]]
    close: list[Rival] = []
    for rival in rivals:
        if close and known >= NAMED_SHARE * (1.0 - odds.none):
            break
        close.append(rival)
        known += rival.probability
    return close


def _alike_told(odds: Odds, close: Sequence[Rival], joint_mm: float) -> str:
    """Which families cannot be told apart, how far they lie apart, and whether that matters."""
    families = [odds.ranked[0], *(rival.family for rival in close)]
    moves = [odds.moves(family) for family in families]
    names = [_name(family) for family in families]
    if any(moves) and not all(moves):
        ways = [" before it moved" if moved else " as it stands" for moved in moves]
        names = [name + way for name, way in zip(names, ways, strict=True)]
    which = f"{', '.join(names[:-1])} or {names[-1]}"
    state = f"was {which} before it moved" if all(moves) else f"is {which}"
    far = max((rival.apart for rival in close), key=lambda apart: apart.most_mm)
    apart = "the two lie" if len(close) == 1 else "the others lie"
    beside = "apart" if len(close) == 1 else "from the first"
    much, todo = "more", f"more edges {_where(far.share)} would tell"
    if far.most_mm < joint_mm:
        much, todo = "less", "for the rebuild it does not matter which is taken"
    return (
        f"It cannot be told whether the arch {state}: {apart} at most {far.most_mm:.1f} mm {beside}, {much} "
        f"than a joint of {joint_mm:.0f} mm; {todo}."
    )


def _none_told(weighed: Weighed, compared: Compared) -> str:
    nearest = _a(_name(compared.order[0]))
    known = {build.name: other.log_total for build, other in weighed.others.items()}
    free = float(np.logaddexp.reduce(weighed.ground.bends))
    told = (
        f"None of the families fits: the points leave the nearest of them, {nearest} curve, by up to "
        f"{compared.farthest_mm:.0f} mm in long runs, far beyond how crooked the bricks lie"
    )
    best = max(known, key=lambda name: known[name], default=None)
    if best is not None and known[best] > free:
        return f"{told}; {_a(best)} curve fits better."
    return told + "."
