"""Course numbers on the sheets of the condition: the flagged ones first, the others as they fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from survey.sheets.drawing import Text
from survey.sheets.kit.labels import clear_of, legible_step, thinned
from survey.sheets.kit.lettering import text_box


def course_labels(
    row: Sequence[Text], flagged: Sequence[bool], taken: Sequence[Text] = ()
) -> tuple[Text, ...]:
    """Numbers of a row of courses that print over none of each other, flagged ones before the rest.

    Where the row is too close for every number, only the ends of a run of flagged courses go first.

    Parameters
    ----------
    row : sequence of Text
        Every course's number on paper, in course order.
    flagged : sequence of bool
        Parallel to ``row``.
    taken : sequence of Text
        Texts already on the sheet.
    """
    texts = [*row, *taken]
    boxes = np.array([(b.left, b.bottom, b.right, b.top) for b in map(text_box, texts)]).reshape(-1, 4)
    busy = np.arange(len(texts)) >= len(row)
    first = list(flagged) if legible_step(row) == 1 else _ends(flagged)
    evenly = set(thinned(row))
    for k in sorted(range(len(row)), key=lambda k: (not first[k], k)):
        if not first[k] and row[k] not in evenly:
            continue
        left, bottom, right, top = boxes[k]
        meets = (boxes[:, 0] < right) & (boxes[:, 2] > left) & (boxes[:, 1] < top) & (boxes[:, 3] > bottom)
        busy[k] = clear_of(row[k], [texts[j] for j in np.flatnonzero(meets & busy)])
    return tuple(row[k] for k, shown in enumerate(busy[: len(row)]) if shown)


def _ends(flagged: Sequence[bool]) -> list[bool]:
    """First and last of every run."""
    before, after = [False, *flagged[:-1]], [*flagged[1:], False]
    return [on and not (left and right) for left, on, right in zip(before, flagged, after, strict=True)]


def scaled(texts: Sequence[Text], scale: float) -> tuple[Text, ...]:
    """Texts laid out on paper, brought into the model's millimetres."""
    return tuple(replace(text, at=(text.at[0] * scale, text.at[1] * scale)) for text in texts)


def course_runs(courses: Sequence[int]) -> str:
    """Course numbers in words, runs drawn together.

    Examples
    --------
    >>> course_runs([7, 8, 9, 12])
    '7 to 9, 12'
    """
    runs: list[list[int]] = []
    for course in sorted(set(courses)):
        if runs and course == runs[-1][-1] + 1:
            runs[-1].append(course)
        else:
            runs.append([course])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)
