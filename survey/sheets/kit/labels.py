"""Where labels go so that no two print over each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from survey.sheets.drawing import Box, Text
from survey.sheets.kit.lettering import text_box, texts_overlap

_GAP_MM = 0.5
"""Between two numbers of a row, at least."""
STEPS = (1, 2, 5, 10, 20, 50, 100)
"""Every so many numbers of a row may be printed."""


@dataclass(frozen=True, slots=True)
class Labelled:
    """Labels that found a place, and the words of those that did not."""

    texts: tuple[Text, ...]
    left_out: tuple[str, ...]


def clear_of(text: Text, taken: Sequence[Text]) -> bool:
    """Whether a text prints over none of those taken."""
    return not any(texts_overlap(text, other) for other in taken)


def place_labels(
    wanted: Sequence[Sequence[Text]], taken: Sequence[Text] = (), keep_out: Sequence[Box] = ()
) -> Labelled:
    """For each label the first of its candidate places that is clear of all texts placed before.

    Parameters
    ----------
    wanted : sequence of sequences of Text
        For each label its candidates on paper, the best first; more important labels come first.
    taken : sequence of Text
        Texts already on the sheet.
    keep_out : sequence of Box
        Other areas of the paper to stay clear of.
    """
    placed: list[Text] = []
    left_out: list[str] = []
    for candidates in wanted:
        busy = [*taken, *placed]
        free = next((t for t in candidates if clear_of(t, busy) and not _covers(t, keep_out)), None)
        if free is None:
            left_out.append(candidates[0].text)
        else:
            placed.append(free)
    return Labelled(tuple(placed), tuple(left_out))


def _covers(text: Text, keep_out: Sequence[Box]) -> bool:
    return any(text_box(text).meets(box) for box in keep_out)


def legible_step(row: Sequence[Text]) -> int:
    """Least step of ``STEPS`` at which neighbours of a row of numbers neither overlap nor run together."""
    for step in STEPS:
        shown = row[::step]
        if not any(_run_together(a, b) for a, b in pairwise(shown)):
            return step
    return len(row)


def _run_together(one: Text, other: Text) -> bool:
    """Whether two numbers overlap, or stand so close that they read as one."""
    return texts_overlap(one, other, slack_mm=-_GAP_MM)


def thinned(row: Sequence[Text]) -> tuple[Text, ...]:
    """Labels 1, 2, 3 … thinned to 1, each multiple of the step and the last, none overlapping."""
    step = legible_step(row)
    if step == 1 or not row:
        return tuple(row)
    kept: dict[int, Text] = {}
    for k in (0, len(row) - 1, *range(step - 1, len(row), step)):
        if k not in kept and not any(_run_together(row[k], other) for other in kept.values()):
            kept[k] = row[k]
    return tuple(kept[k] for k in sorted(kept))
