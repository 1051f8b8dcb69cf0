"""How wide the columns of a table are whose entries wrap, and how large the table is printed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from survey.sheets.drawing import Box, Primitive
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import text_width_mm
from survey.sheets.kit.schedule import (
    BLOCK_GAP_MM,
    PAD_MM,
    Schedule,
    blocks_across,
    column_widths_mm,
    pages_needed,
    schedule_height_mm,
    schedule_primitives,
    schedule_width_mm,
)

_BESIDE_MM = 12.0
"""Between two different tables side by side."""
LARGE_PRINT_MM = (3.4, 3.0, 2.6, ink.TEXT_MM)
"""Capital heights tried for a table that leaves its sheet half empty."""


def widened(schedule: Schedule, width_mm: float) -> Schedule:
    """The same table with columns that wrap as wide as their longest entry asks for, so far as there is room.

    Parameters
    ----------
    schedule : Schedule
        A column's ``wrap_mm`` is the least it keeps, unless its entries need less.
    width_mm : float
        Width of the whole table at the most; where even the least widths are more, they stay.
    """
    wraps = [k for k, column in enumerate(schedule.columns) if column.wrap_mm is not None]
    asked = {k: _longest_mm(schedule, k) for k in wraps}
    least = {k: min(schedule.columns[k].wrap_mm or 0.0, asked[k]) for k in wraps}
    kept = sum(w for k, w in enumerate(column_widths_mm(schedule)) if k not in asked)
    room = max(0.0, width_mm - kept - sum(least.values()) - 2 * PAD_MM * len(wraps))
    more = sum(asked.values()) - sum(least.values())
    share = min(1.0, room / more) if more > 0.0 else 0.0
    return _wrapped(schedule, {k: least[k] + share * (asked[k] - least[k]) for k in wraps})


def _longest_mm(schedule: Schedule, k: int) -> float:
    """Width of the longest entry of a column, or of its heading."""
    head = max(
        text_width_mm(line, schedule.height_mm, bold=True) for line in schedule.columns[k].heading.split("\n")
    )
    body = max((text_width_mm(row[k], schedule.height_mm) for row in schedule.rows), default=0.0)
    return max(head, body)


def _wrapped(schedule: Schedule, widths_mm: dict[int, float]) -> Schedule:
    columns = tuple(
        replace(column, wrap_mm=widths_mm[k]) if k in widths_mm else column
        for k, column in enumerate(schedule.columns)
    )
    return replace(schedule, columns=columns)


def in_large_print(schedule: Schedule, box: Box) -> Schedule:
    """The same table in the largest print that needs no more pages than its own print or the least does.

    Columns that wrap are as wide as their entries ask for and the blocks side by side leave room for.
    """
    if schedule_width_mm(schedule) > box.width:
        return schedule
    small = min(schedule.height_mm, ink.SMALL_TEXT_MM)
    pages = min(pages_needed(s, box) for s in (schedule, *_shapes(_printed(schedule, small), box)))
    for height in (*(h for h in LARGE_PRINT_MM if h > schedule.height_mm), schedule.height_mm, small):
        shapes = list(_shapes(_printed(schedule, height), box))
        best = min(shapes, key=lambda s: (pages_needed(s, box), schedule_height_mm(s)), default=None)
        if best is not None and pages_needed(best, box) <= pages:
            return best
    return schedule


def beside_each_other(schedules: Sequence[Schedule], box: Box) -> tuple[Primitive, ...] | None:
    """Tables side by side on one page in the largest print in which they fit; None where they do not.

    Columns that wrap keep their widths, so this is for tables without them.
    """
    for height in (*LARGE_PRINT_MM, ink.SMALL_TEXT_MM):
        printed = [_printed(schedule, height) for schedule in schedules]
        widths = [schedule_width_mm(schedule) for schedule in printed]
        gaps_mm = _BESIDE_MM * (len(printed) - 1)
        high = max(map(schedule_height_mm, printed))
        if sum(widths) + gaps_mm <= box.width and high <= box.height:
            lefts = [box.left + sum(widths[:k]) + k * _BESIDE_MM for k in range(len(printed))]
            rows = zip(printed, lefts, strict=True)
            return tuple(m for table, left in rows for m in schedule_primitives(table, left, box.top))
    return None


def _printed(schedule: Schedule, height_mm: float) -> Schedule:
    """The table in another print, its columns that wrap growing with it."""
    ratio = height_mm / schedule.height_mm
    columns = enumerate(schedule.columns)
    grown = {k: column.wrap_mm * ratio for k, column in columns if column.wrap_mm is not None}
    return replace(_wrapped(schedule, grown), height_mm=height_mm)


def _shapes(schedule: Schedule, box: Box) -> Iterator[Schedule]:
    """The table widened to one block across the box, to two, and so on while the least widths allow it."""
    least = schedule_width_mm(widened(schedule, 0.0))
    if least > box.width:
        return
    for n in range(1, blocks_across(least, box) + 1):
        yield widened(schedule, (box.width - (n - 1) * BLOCK_GAP_MM) / n)
