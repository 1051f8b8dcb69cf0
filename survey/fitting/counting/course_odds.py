"""Odds of how many courses are missing, put together over all the gaps of a ring."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from survey.record.model import Ring

Odds = Mapping[int, float]
"""Probability of each number of courses."""

COUNTED_TRUST = 0.98
"""Probability that a count written in arch.toml is right, before the rhythm is looked at (judgement)."""
ODD_PROBABILITY = {"cut": 0.75, "mixed": 0.6, "uncut": 0.5}
"""Probability of an odd total: a key brick on the crown belongs to cut work, in rough work a joint may
fall there (glossaries of the trade; the figures are judgement)."""
LEAST_SHOWN = 1e-3


@dataclass(frozen=True, slots=True)
class JointOdds:
    """Odds of the ring's total and of every stretch, once they know of each other."""

    total: Odds
    parts: tuple[Odds, ...]
    rhythm: Odds
    """Odds of the total by the courses found and the rhythm alone."""
    rhythm_probability: float
    """Probability of the recorded count by the rhythm alone; 1 where none was recorded."""


def likeliest(odds: Odds) -> int:
    """The number with the most probability; the smaller one of two alike."""
    return min(odds, key=lambda k: (-odds[k], k))


def odds_of(numbers: list[int], log_weight: np.ndarray) -> Odds:
    """Odds from log weights, without what is as good as impossible."""
    weight = np.exp(log_weight - log_weight.max())
    return _tidy({k: float(w) for k, w in zip(numbers, weight / weight.sum(), strict=True)})


def joint_odds(missing: list[Odds], standing: int, ring: Ring) -> JointOdds:
    """Join the odds of a ring's stretches with what is known of its total.

    Parameters
    ----------
    missing : list of mapping
        Odds of the missing courses in each stretch, each by itself.
    standing : int
        Courses known to stand.
    ring : Ring
        Its recorded count, and whether its bricks are cut.
    """
    before = [{0: 1.0}]
    for odds in missing:
        before.append(_sum(before[-1], odds))
    alone = {standing + k: p for k, p in before[-1].items()}
    prior = _prior(ring, alone)
    known = 1.0 if ring.courses is None else alone.get(ring.courses, 0.0)
    weighed = {k: max(alone.get(k, 0.0), 1e-2 if k == ring.courses else 0.0) * prior[k] for k in prior}
    after: list[dict[int, float]] = [{0: 1.0}]
    for odds in reversed(missing):
        after.append(_sum(after[-1], odds))
    parts = []
    for i, odds in enumerate(missing):
        rest = _sum(before[i], after[len(missing) - 1 - i])
        share = {
            k: p * sum(q * prior.get(standing + k + r, 0.0) for r, q in rest.items()) for k, p in odds.items()
        }
        parts.append(_tidy(share) if sum(share.values()) > 0 else odds)
    return JointOdds(_tidy(weighed), tuple(parts), _tidy(alone), known)


def _prior(ring: Ring, alone: Odds) -> dict[int, float]:
    totals = set(alone) | ({ring.courses} if ring.courses is not None else set())
    odd = ODD_PROBABILITY.get(ring.cut, 0.5)
    prior = {k: odd if k % 2 else 1.0 - odd for k in totals}
    if ring.courses is not None:
        prior = {k: (1.0 - COUNTED_TRUST) * p for k, p in prior.items()}
        prior[ring.courses] = COUNTED_TRUST
    return prior


def _sum(a: Mapping[int, float], b: Mapping[int, float]) -> dict[int, float]:
    total: dict[int, float] = {}
    for i, p in a.items():
        for j, q in b.items():
            total[i + j] = total.get(i + j, 0.0) + p * q
    return total


def _tidy(odds: Mapping[int, float]) -> dict[int, float]:
    whole = sum(odds.values())
    # Over thousands of numbers, each may be as good as impossible: the likeliest always stays.
    least = min(LEAST_SHOWN * whole, max(odds.values(), default=0.0))
    kept = {k: p / whole for k, p in sorted(odds.items()) if p >= least}
    rest = sum(kept.values())
    return {k: p / rest for k, p in kept.items()}
