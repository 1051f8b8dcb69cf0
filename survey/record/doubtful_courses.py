"""What is readable but doubtful in the brick-by-brick notes and in arch.toml's rings."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from itertools import pairwise

from survey.record import arch_file
from survey.record.findings import Findings, listed, plain_length
from survey.record.model import Condition, CourseNote, Edge, LaidMark, Ring, SalvagedBrick, SurveyPoints
from survey.record.notes_files import COURSES, LAID, SALVAGE
from survey.record.points_file import SCHEMA as POINTS
from survey.record.units import Unit

_BRICKS_MM = (15.0, 450.0)
"""Dimensions believed of a brick along the arch: from a tile on edge to the longest brick laid along it."""
_DEPTHS_MM = (25.0, 2000.0)
_WIDEST_JOINT_MM = 50.0
_SHARES = (0.6, 1.6)
"""A width or depth outside these shares of its ring's own is doubted: no moulded lot varies so much."""


def are_believable(rings: tuple[Ring, ...], unit: Unit, findings: Findings) -> bool:
    """False, with doubts, when arch.toml gives a ring a size that is no brick's in ``measure.unit``."""
    believable = True
    if not rings:
        findings.doubt(
            arch_file.FILE,
            "describes no ring",
            "add a [[rings]] table: without it no deviations by course and no rebuild",
            column="rings",
        )
    meant = [
        other for other in Unit if other is not unit and _odd_sizes(rings, other.in_mm / unit.in_mm) == 0
    ]
    named = listed((f'"{other}"' for other in meant), last="or")
    remedy = "write it in measure.unit, as measured"
    if named and _odd_sizes(rings, 1.0) > 1:
        remedy = f"is {named} meant in measure.unit?"
    for ring in rings:
        for key, value_mm, (least, most) in _sizes(ring):
            if not least <= value_mm <= most:
                believable = False
                findings.doubt(
                    arch_file.FILE,
                    f"{plain_length(value_mm)} is not believable",
                    remedy,
                    column=f"rings[{ring.ring}].{key}",
                )
    return believable


def _sizes(ring: Ring) -> tuple[tuple[str, float, tuple[float, float]], ...]:
    """Key, size and believed range, mm, of what arch.toml must give of a ring."""
    return (("brick_width", ring.brick_width_mm, _BRICKS_MM), ("depth", ring.depth_mm, _DEPTHS_MM))


def _odd_sizes(rings: tuple[Ring, ...], ratio: float) -> int:
    """How many sizes would not be believed if all were so many times as great."""
    sizes = [size for ring in rings for size in _sizes(ring)]
    return sum(not least <= ratio * value_mm <= most for _, value_mm, (least, most) in sizes)


def tell_doubtful_courses(
    courses: tuple[CourseNote, ...], rings: tuple[Ring, ...], points: SurveyPoints, findings: Findings
) -> None:
    """Doubt sizes in courses.csv, courses left out, and bricks both missing and measured."""
    for ring in rings:
        notes = [note for note in courses if note.ring == ring.ring]
        along = 1.0 / math.cos(ring.turn_rad)
        for note in notes:
            _tell_size(note, "width", note.width_mm, ring.brick_width_mm * along, findings)
            _tell_size(note, "depth", note.depth_mm, ring.depth_mm, findings)
            if note.joint_mm is not None and note.joint_mm > _WIDEST_JOINT_MM * along:
                findings.doubt(
                    COURSES.file,
                    f"a joint of {plain_length(note.joint_mm)} is not believable",
                    "measure it again; if a brick is missing there, give it a row",
                    row=note.row,
                    column="joint",
                )
            if note.condition is Condition.MISSING and note.width_mm is not None:
                findings.doubt(
                    COURSES.file,
                    "a missing brick has a width",
                    "leave it blank",
                    row=note.row,
                    column="width",
                )
        _tell_left_out(notes, ring, findings)
    _tell_measured_though_missing(courses, points, findings)


def tell_doubtful_salvage(
    salvage: Iterable[SalvagedBrick], rings: tuple[Ring, ...], findings: Findings
) -> None:
    """Doubt salvaged bricks of another size than their ring's."""
    for brick in salvage:
        ring = next((r for r in rings if r.ring == brick.ring), None)
        if ring is not None and not _SHARES[0] <= brick.width_mm / ring.brick_width_mm <= _SHARES[1]:
            findings.doubt(
                SALVAGE.file,
                f"{plain_length(brick.width_mm)} does not go with"
                f" the {plain_length(ring.brick_width_mm)} of ring {ring.ring}",
                "measure it again",
                row=brick.row,
                column="width",
            )


def tell_doubtful_marks(laid: Iterable[LaidMark], findings: Findings) -> None:
    """Doubt running distances that do not grow from course to course."""
    by_ring: dict[int, list[LaidMark]] = defaultdict(list)
    for mark in laid:
        by_ring[mark.ring].append(mark)
    rank = {Edge.LEFT: 0, Edge.MID: 1, Edge.RIGHT: 2}
    for marks in by_ring.values():
        marks.sort(key=lambda mark: (mark.course, rank[mark.edge]))
        for one, two in pairwise(marks):
            if two.along_mm <= one.along_mm:
                findings.doubt(
                    LAID.file,
                    f"the {two.edge} edge of course {two.course} does not lie beyond the {one.edge} edge"
                    f" of course {one.course} (row {one.row})",
                    "measure both again from the left springing",
                    row=two.row,
                    column="along",
                )


def _tell_size(
    note: CourseNote, column: str, size_mm: float | None, usual_mm: float, findings: Findings
) -> None:
    if size_mm is not None and not _SHARES[0] <= size_mm / usual_mm <= _SHARES[1]:
        findings.doubt(
            COURSES.file,
            f"{plain_length(size_mm)} does not go with the {plain_length(usual_mm)} of ring {note.ring}",
            "measure it again; a closer or a cut brick deserves a note",
            row=note.row,
            column=column,
        )


def _tell_left_out(notes: list[CourseNote], ring: Ring, findings: Findings) -> None:
    noted = {note.course for note in notes if note.course >= 1}
    if not noted:
        return
    left_out = sorted(set(range(1, (ring.courses or max(noted)) + 1)) - noted)
    if left_out:
        one = len(left_out) == 1
        findings.doubt(
            COURSES.file,
            f"ring {ring.ring} has no row for {'course' if one else 'courses'} {listed(left_out)}",
            f"add {'it' if one else 'them'}; a brick that is gone is noted as missing",
            column="course",
        )


def _tell_measured_though_missing(
    courses: tuple[CourseNote, ...], points: SurveyPoints, findings: Findings
) -> None:
    missing = {(n.ring, n.course): n.row for n in courses if n.condition is Condition.MISSING}
    for i in range(len(points)):
        key = (int(points.ring[i]), int(points.course[i]))
        if key in missing:
            findings.doubt(
                POINTS.file,
                f"{points.name[i]} was measured on a brick noted missing in courses.csv row {missing[key]}",
                "correct the course, or the condition",
                row=int(points.row[i]),
                column="course",
            )
