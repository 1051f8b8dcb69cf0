"""Every error the toolkit raises on purpose, under one base class."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

TOLD_SINGLY = 5
"""So many faults of one kind in one column are told each on its own line; of further ones only the rows."""


class ArchSurveyError(Exception):
    """Base of all errors raised on purpose by this package."""


class GeometryError(ArchSurveyError, ValueError):
    """A curve that cannot exist was asked for: what was given, what is allowed, what to do."""


class FitError(ArchSurveyError, ValueError):
    """The measured points do not determine what was asked of them."""


class PlanError(ArchSurveyError, ValueError):
    """No rebuild plan satisfies what was asked; the message says by how much and what would cure it."""


class DrawingError(ArchSurveyError, ValueError):
    """A drawing cannot be made as asked."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong or doubtful in a record folder.

    Attributes
    ----------
    file : str
        File name inside the record folder.
    reason : str
        Why it cannot be used as it is.
    remedy : str
        What to do about it.
    row : int or None
        Row as a spreadsheet counts it; the heading is row 1.
    column : str or None
        Column heading, or the key inside arch.toml.
    told_once : bool
        Whether the first of its kind in a column tells it all: one remedy mends the others too.

    Examples
    --------
    >>> print(Fault("points.csv", "'12,5,3' is not a number", "write 12.5", row=14, column="x"))
    points.csv row 14, column x: '12,5,3' is not a number; write 12.5
    """

    file: str
    reason: str
    remedy: str
    row: int | None = None
    column: str | None = None
    told_once: bool = False

    def __str__(self) -> str:
        """One line: where, why, and what to do."""
        where = self.file
        if self.row is not None:
            where += f" row {self.row}"
        if self.column is not None:
            where += f", column {self.column}" if self.row is not None else f", {self.column}"
        return f"{where}: {self.reason}; {self.remedy}"


class RecordError(ArchSurveyError, ValueError):
    """The record folder cannot be used; ``faults`` holds every fault found, not only the first."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(lines_of(faults)))


def lines_of(faults: Sequence[Fault], *, word: str = "fault") -> tuple[str, ...]:
    """The faults line by line, in their order; where one kind fills a column, its further rows in one line.

    Parameters
    ----------
    faults : sequence of Fault
    word : str
        What the line of further rows calls them.

    Examples
    --------
    >>> for line in lines_of([Fault("points.csv", "is blank", "fill it in", n, "x") for n in range(2, 40)]):
    ...     print(line)
    points.csv row 2, column x: is blank; fill it in
    points.csv row 3, column x: is blank; fill it in
    points.csv row 4, column x: is blank; fill it in
    points.csv row 5, column x: is blank; fill it in
    points.csv row 6, column x: is blank; fill it in
    points.csv, column x: 33 more rows have the same fault as row 2: rows 7–39
    """
    if len(faults) <= 1:
        return tuple(str(fault) for fault in faults)
    kinds = [_kind(fault) for fault in faults]
    alike: dict[tuple[str, ...], list[Fault]] = defaultdict(list)
    for kind, fault in zip(kinds, faults, strict=True):
        alike[kind].append(fault)
    lines: list[str] = []
    told: dict[tuple[str, ...], int] = defaultdict(int)
    for kind, fault in zip(kinds, faults, strict=True):
        told[kind] += 1
        most = 1 if fault.told_once else TOLD_SINGLY
        # A line saying that one row more has the fault would be no shorter than that row's own line.
        if fault.row is None or told[kind] <= most or (len(alike[kind]) == most + 1 and not fault.told_once):
            lines.append(str(fault))
        elif told[kind] == most + 1:
            lines.append(_further(alike[kind][most:], alike[kind][0], word))
    return tuple(lines)


def _kind(fault: Fault) -> tuple[str, ...]:
    """What faults of one kind share: file, column, and the reason but for the cells and numbers it quotes."""
    reason = re.sub(r"'[^']*'|\S*\d\S*", "#", fault.reason)
    return fault.file, fault.column or "", reason


def _further(faults: Sequence[Fault], told: Fault, word: str) -> str:
    column = "" if told.column is None else f", column {told.column}"
    rows = sorted({fault.row for fault in faults if fault.row is not None})
    named = "1 more row has" if len(rows) == 1 else f"{len(rows)} more rows have"
    which = "row" if len(rows) == 1 else "rows"
    return f"{told.file}{column}: {named} the same {word} as row {told.row}: {which} {row_ranges(rows)}"


def row_ranges(rows: Iterable[int]) -> str:
    """Rising row numbers in words, runs of them as ranges.

    Examples
    --------
    >>> row_ranges([2, 3, 4, 7, 9, 10])
    '2–4, 7, 9 and 10'
    """
    words = list(_runs(rows))
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _runs(rows: Iterable[int]) -> Iterator[str]:
    for _, members in groupby(enumerate(rows), key=lambda pair: pair[1] - pair[0]):
        run = [row for _, row in members]
        if len(run) > 2:
            yield f"{run[0]}–{run[-1]}"
        else:
            yield from map(str, run)
