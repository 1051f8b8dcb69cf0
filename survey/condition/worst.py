"""The table of the worst courses: what is wrong, by how much, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.ring_table import RingTable
from survey.condition.findings import Finding, Kind
from survey.condition.result import WorstCourse
from survey.condition.words import n_courses
from survey.record.model import Condition

N_WORST = 10
NOTED = "noted on site"

PROP_FIRST = "Keep from under it, prop it, and let an engineer decide before it is touched."
TODO = {
    Kind.DEVIATION: "Look for open joints and cracks beside it; let an engineer judge before it is cut out.",
    Kind.LIP: "Feel for a loose brick and an empty joint; repoint, or reset it once an engineer has seen it.",
    Kind.JOINT: "See whether it is open on one side only: that is a hinge, for an engineer; else repoint it.",
    Kind.BED: "Try whether the brick rocks; a turned bed carries on one edge: show it to an engineer.",
    Kind.FACE: "Check the wall beside it for a bulge: if it bulges, ask an engineer; else leave it as it is.",
    Kind.MISREAD: "Measure both edges again before anything is judged from this course.",
    Kind.OVERLAP: "Measure this course's right edge and the next one's left edge again.",
}
INTO_THE_OPENING = f"It hangs lower than the courses around it. {PROP_FIRST}"
STATE = {
    Condition.MISSING: (1000.0, f"The ring is open here. {PROP_FIRST} Rebuild on the centre only."),
    Condition.LOOSE: (900.0, PROP_FIRST),
    Condition.CRACKED: (
        1.5,
        "Mark the crack's ends with date and width, watch it, and show it to an engineer.",
    ),
}
"""Rank, in tolerances, and what to do for courses noted in a bad state."""


@dataclass(frozen=True, slots=True)
class _Line:
    rank: float
    line: WorstCourse


def worst_courses(
    tables: tuple[RingTable, ...], findings: tuple[tuple[Finding, ...], ...], *, n_worst: int = N_WORST
) -> tuple[WorstCourse, ...]:
    """The worst courses of all rings, a gap as one line, the worst first.

    Danger comes first (open rings, loose bricks), then what exceeds its tolerance by most. A course stands
    once, with its worst figure.
    """
    lines: list[_Line] = []
    for table, found in zip(tables, findings, strict=True):
        lines.extend(_state_lines(table))
        seen: set[int] = set()
        for finding in sorted(found, key=lambda f: -f.ratio):
            if finding.course not in seen:
                seen.add(finding.course)
                lines.append(_Line(finding.ratio, _line(finding)))
    lines.sort(key=lambda x: (-x.rank, x.line.ring, x.line.course))
    kept: dict[tuple[int, int], WorstCourse] = {}
    for entry in lines:
        key = (entry.line.ring, entry.line.course)
        kept[key] = _joined(kept[key], entry.line) if key in kept else entry.line
    return tuple(kept.values())[:n_worst]


def _joined(first: WorstCourse, more: WorstCourse) -> WorstCourse:
    """One line of a course noted in a bad state and out of line as well: the more careful advice stands."""
    advice = more.todo if PROP_FIRST in more.todo and PROP_FIRST not in first.todo else first.todo
    measured = more.how_much if first.how_much == NOTED else first.how_much
    return WorstCourse(first.ring, first.course, f"{first.what}, {more.what}", measured, advice)


def _state_lines(table: RingTable) -> list[_Line]:
    lines: list[_Line] = []
    state = np.array([c is Condition.MISSING for c in table.condition])
    for first, last in _runs(state):
        n = last - first + 1
        start, end = int(table.course[first]), int(table.course[last])
        what = f"{n_courses(n)} missing" + (f", {start} to {end}" if n > 1 else "")
        rank, todo = STATE[Condition.MISSING]
        length = float(table.end_along_mm[last] - table.start_along_mm[first])
        lines.append(
            _Line(rank + n, WorstCourse(table.ring.ring, start, what, f"about {length:.0f} mm", todo))
        )
    for i, condition in enumerate(table.condition):
        if condition in (Condition.LOOSE, Condition.CRACKED):
            rank, todo = STATE[condition]
            line = WorstCourse(table.ring.ring, int(table.course[i]), condition.value, NOTED, todo)
            lines.append(_Line(rank, line))
    return lines


def _line(finding: Finding) -> WorstCourse:
    inward = finding.kind is Kind.DEVIATION and finding.value < 0
    return WorstCourse(
        finding.ring,
        finding.course,
        finding.words,
        _how_much(finding),
        INTO_THE_OPENING if inward else TODO[finding.kind],
    )


def _how_much(finding: Finding) -> str:
    if finding.kind is Kind.BED:
        value, sigma, limit = np.degrees([finding.value, finding.sigma, finding.tolerance])
        return f"{value:+.1f}° ± {sigma:.1f}°, tolerance {limit:.1f}°"
    if finding.kind in (Kind.MISREAD, Kind.OVERLAP):
        return f"{finding.value:+.0f} mm"
    return f"{finding.value:+.1f} mm ± {finding.sigma:.1f} mm, tolerance {finding.tolerance:.1f} mm"


def _runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of every run of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int64), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]
