"""What to do about the worst courses, each advice said once."""

from __future__ import annotations

from collections.abc import Sequence

from survey.condition.result import WorstCourse


def advice_once(worst: Sequence[WorstCourse]) -> tuple[str, ...]:
    """What to do, line by line; an advice said before points to the ring and course it was said for.

    Examples
    --------
    >>> prop = "Prop it."
    >>> lines = [WorstCourse(1, c, "loose", "noted on site", prop) for c in (7, 9)]
    >>> advice_once(lines)
    ('Prop it.', 'as for 1/7')
    """
    said: dict[str, str] = {}
    told = []
    for line in worst:
        told.append(said.get(line.todo, line.todo))
        said.setdefault(line.todo, f"as for {line.ring}/{line.course}")
    return tuple(told)
