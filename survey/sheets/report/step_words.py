"""What is done with every brick of a ring, said once, and what is left to say at each step."""

from __future__ import annotations

from collections import Counter

from survey.rebuild.plan import LayingStep, RebuildPlan

_GENERAL = ("the original of this place", "fair face", "upper edge", "protractor", "spacer")
"""How clauses begin that can hold for every brick of a ring."""
_MOST = 0.8
"""Share of a ring's steps from which a clause is said once for all of them."""

Clauses = dict[int, tuple[str, ...]]
"""Clauses by ring."""


def common_clauses(plan: RebuildPlan) -> Clauses:
    """Clauses that stand in most checks of a ring and are not about one brick alone."""
    common: Clauses = {}
    for ring in dict.fromkeys(step.ring for step in plan.laying):
        checks = [step.check.split("; ") for step in plan.laying if step.ring == ring]
        n_with = Counter(clause for check in checks for clause in check)
        common[ring] = tuple(c for c in n_with if c.startswith(_GENERAL) and n_with[c] >= _MOST * len(checks))
    return common


def every_brick(plan: RebuildPlan) -> tuple[str, ...]:
    """What is done with every brick of a ring, said once instead of at each step."""
    return tuple(
        f"Ring {ring}, unless said otherwise: {'; '.join(clauses)}."
        for ring, clauses in common_clauses(plan).items()
        if clauses
    )


def own_words(step: LayingStep, common: Clauses) -> str:
    """What is said of one step beyond what holds for every brick of its ring."""
    return "; ".join(c for c in step.check.split("; ") if c not in common[step.ring])
