"""courses.csv, salvage.csv and laid.csv: what was noted brick by brick, in millimetres."""

from __future__ import annotations

from collections.abc import Hashable

from survey.record.findings import Findings, one_line
from survey.record.model import UNKNOWN, Condition, CourseNote, Edge, LaidMark, SalvagedBrick
from survey.record.points_file import Scale, check_ring_and_course
from survey.record.rows import RowReader
from survey.record.tables import Schema, Table

COURSES = Schema(
    file="courses.csv",
    columns=("ring", "course", "width", "depth", "joint", "condition", "reuse", "note"),
    required=frozenset({"ring", "course"}),
    lengths=frozenset({"width", "depth", "joint"}),
)
SALVAGE = Schema(
    file="salvage.csv",
    columns=("brick", "width", "depth", "ring", "note"),
    required=frozenset({"brick", "width"}),
    lengths=frozenset({"width", "depth"}),
)
LAID = Schema(
    file="laid.csv",
    columns=("ring", "course", "edge", "along"),
    required=frozenset({"ring", "course", "edge", "along"}),
    lengths=frozenset({"along"}),
)


def read_courses(table: Table, scale: Scale, findings: Findings) -> tuple[CourseNote, ...]:
    """Read and check courses.csv; row 0 of a ring may carry the joint at the left springing only."""
    notes: list[CourseNote] = []
    seen: dict[Hashable, int] = {}
    for row in table.rows:
        reader = RowReader(table, row, scale.unit_mm, findings)
        ring, course = reader.whole("ring", needed=True), reader.whole("course", needed=True)
        check_ring_and_course(reader, scale.rings, ring, course, least_course=0)
        width_mm = reader.length_mm("width", above_zero=True)
        depth_mm = reader.length_mm("depth", above_zero=True)
        joint_mm = reader.length_mm("joint", not_negative=True)
        condition = reader.word("condition", Condition)
        reuse = reader.yes_or_no("reuse")
        if course == 0 and any(reader.has(c) for c in ("width", "depth", "condition", "reuse")):
            reader.wrong(
                "course", "course 0 is the left springing and has a joint only", "courses start at 1"
            )
        if ring is None or course is None or condition is None:
            continue
        _once(reader, seen, (ring, course), f"ring {ring} course {course}", "course")
        notes.append(
            CourseNote(
                ring, course, width_mm, depth_mm, joint_mm, condition, reuse, reader.text("note"), row.number
            )
        )
    return tuple(notes)


def read_salvage(table: Table, scale: Scale, findings: Findings) -> tuple[SalvagedBrick, ...]:
    """Read and check salvage.csv."""
    bricks: list[SalvagedBrick] = []
    seen: dict[Hashable, int] = {}
    for row in table.rows:
        reader = RowReader(table, row, scale.unit_mm, findings)
        name = reader.name("brick")
        width_mm = reader.length_mm("width", needed=True, above_zero=True)
        depth_mm = reader.length_mm("depth", above_zero=True)
        ring = reader.whole("ring")
        check_ring_and_course(reader, scale.rings, ring, None)
        if name is None or width_mm is None or ring is None:
            continue
        _once(reader, seen, name, f"the brick '{one_line(name)}'", "brick")
        bricks.append(
            SalvagedBrick(
                name, width_mm, depth_mm, None if ring == UNKNOWN else ring, reader.text("note"), row.number
            )
        )
    return tuple(bricks)


def read_laid(table: Table, scale: Scale, findings: Findings) -> tuple[LaidMark, ...]:
    """Read and check laid.csv."""
    marks: list[LaidMark] = []
    seen: dict[Hashable, int] = {}
    for row in table.rows:
        reader = RowReader(table, row, scale.unit_mm, findings)
        ring, course = reader.whole("ring", needed=True), reader.whole("course", needed=True)
        check_ring_and_course(reader, scale.rings, ring, course)
        edge = reader.word("edge", Edge, needed=True)
        along_mm = reader.length_mm("along", needed=True, not_negative=True)
        if ring is None or course is None or edge is None or along_mm is None:
            continue
        _once(reader, seen, (ring, course, edge), f"the {edge} edge of ring {ring} course {course}", "course")
        marks.append(LaidMark(ring, course, edge, along_mm, row.number))
    return tuple(marks)


def _once(reader: RowReader, seen: dict[Hashable, int], key: Hashable, what: str, column: str) -> None:
    if key in seen:
        reader.wrong(column, f"{what} already stands in row {seen[key]}", "keep one of the two rows")
    else:
        seen[key] = reader.row.number
