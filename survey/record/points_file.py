"""points.csv: surveyed points as they stand in the file, in site coordinates and millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.record.findings import Findings, listed, one_line
from survey.record.model import UNKNOWN, Edge, Feature, Floats, Ints, Ring
from survey.record.rows import RowReader
from survey.record.tables import Schema, Table

SCHEMA = Schema(
    file="points.csv",
    columns=("point", "x", "y", "z", "feature", "ring", "course", "edge", "sigma", "note"),
    required=frozenset({"point", "x", "y", "feature"}),
    lengths=frozenset({"x", "y", "z", "sigma"}),
)


@dataclass(frozen=True, slots=True)
class Scale:
    """What arch.toml says that every table is read by.

    Attributes
    ----------
    unit_mm : float
        Millimetres in one ``measure.unit``.
    point_sigma_mm : float
    rings : tuple of Ring, or None
        None when arch.toml could not be read; rings and courses are then not checked against it.
    """

    unit_mm: float
    point_sigma_mm: float
    rings: tuple[Ring, ...] | None


@dataclass(frozen=True, slots=True, eq=False)
class SitePoints:
    """Points in site coordinates, parallel arrays as in :class:`~survey.record.model.SurveyPoints`.

    Attributes
    ----------
    xyz_mm : (n, 3) float
        z is 0 where the file has no z.
    has_z : bool
    """

    name: tuple[str, ...]
    xyz_mm: Floats
    has_z: bool
    sigma_mm: Floats
    feature: NDArray[np.object_]
    ring: Ints
    course: Ints
    edge: NDArray[np.object_]
    row: Ints

    def __len__(self) -> int:
        """Number of points."""
        return len(self.name)


@dataclass(frozen=True, slots=True)
class _Point:
    name: str
    x_mm: float
    y_mm: float
    z_mm: float | None
    feature: Feature
    ring: int
    course: int
    edge: Edge
    sigma_mm: float
    row: int


def read_points(table: Table, scale: Scale, findings: Findings) -> SitePoints:
    """Read and check every row of points.csv; faulty rows are told and left out."""
    points: list[_Point] = []
    first_row: dict[str, int] = {}
    blank_z: list[int] = []
    for row in table.rows:
        reader = RowReader(table, row, scale.unit_mm, findings)
        name = reader.name("point")
        if name is not None and name in first_row:
            reader.wrong(
                "point",
                f"the name '{one_line(name)}' already stands in row {first_row[name]}",
                "give it another name",
            )
        elif name is not None:
            first_row[name] = row.number
        if not reader.has("z"):
            blank_z.append(row.number)
        point = _read_point(reader, name, scale)
        if point is not None:
            points.append(point)
    if 0 < len(blank_z) < len(table.rows):
        filled_z = sorted({row.number for row in table.rows} - set(blank_z))
        findings.fault(
            SCHEMA.file,
            f"is blank in {_in_rows(blank_z)} and filled in the others"
            if len(blank_z) <= len(filled_z)
            else f"is filled in {_in_rows(filled_z)} and blank in the others",
            "fill it everywhere, or nowhere where x and y already lie in the face",
            column="z",
        )
    return _gathered(points, has_z=len(blank_z) < len(table.rows))


def check_ring_and_course(
    reader: RowReader,
    rings: tuple[Ring, ...] | None,
    ring: int | None,
    course: int | None,
    *,
    least_course: int = 1,
) -> None:
    """Fault a ring that arch.toml does not describe and a course outside its count."""
    if rings is None or ring is None or ring == UNKNOWN:
        return
    if ring == 0:
        reader.wrong("ring", "ring 0 is below 1", "count from the opening outwards: 1, 2, 3 …")
        return
    described = next((r for r in rings if r.ring == ring), None)
    if described is None:
        known = f"describes only {listed(f'ring {r.ring}' for r in rings)}" if rings else "describes no ring"
        reader.wrong(
            "ring", f"arch.toml {known}, not ring {ring}", "add its [[rings]] table, or correct the number"
        )
    elif course is None or course == UNKNOWN:
        return
    elif course < least_course:
        reader.wrong(
            "course", f"course {course} is below {least_course}", "count from the left springing: 1, 2, 3 …"
        )
    elif described.courses is not None and course > described.courses:
        reader.wrong(
            "course",
            f"course {course} is beyond the {described.courses} courses of ring {ring} in arch.toml",
            "correct it, or the count there",
        )


def _read_point(reader: RowReader, name: str | None, scale: Scale) -> _Point | None:
    x_mm = reader.length_mm("x", needed=True)
    y_mm = reader.length_mm("y", needed=True)
    z_mm = reader.length_mm("z")
    feature = reader.word("feature", Feature, needed=True)
    ring, course = reader.whole("ring"), reader.whole("course")
    edge = reader.word("edge", Edge)
    sigma_mm = reader.length_mm("sigma", above_zero=True) if reader.has("sigma") else scale.point_sigma_mm
    check_ring_and_course(reader, scale.rings, ring, course)
    if name is None or x_mm is None or y_mm is None or feature is None:
        return None
    if ring is None or course is None or edge is None or sigma_mm is None:
        return None
    return _Point(name, x_mm, y_mm, z_mm, feature, ring, course, edge, sigma_mm, reader.row.number)


def _gathered(points: list[_Point], *, has_z: bool) -> SitePoints:
    return SitePoints(
        name=tuple(p.name for p in points),
        xyz_mm=np.array([[p.x_mm, p.y_mm, p.z_mm or 0.0] for p in points], dtype=float).reshape(-1, 3),
        has_z=has_z,
        sigma_mm=np.array([p.sigma_mm for p in points], dtype=float),
        feature=_objects([p.feature for p in points]),
        ring=np.array([p.ring for p in points], dtype=np.int64),
        course=np.array([p.course for p in points], dtype=np.int64),
        edge=_objects([p.edge for p in points]),
        row=np.array([p.row for p in points], dtype=np.int64),
    )


def _objects(values: Sequence[object]) -> NDArray[np.object_]:
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return array


def _in_rows(numbers: list[int]) -> str:
    return f"{'row' if len(numbers) == 1 else 'rows'} {listed(numbers)}"
