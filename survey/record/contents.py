"""What the files of a record folder hold, read as far as they can be, all faults gathered."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from survey.record import arch_file
from survey.record.arch_file import ArchFile, read_arch_file
from survey.record.arch_values import ring_values
from survey.record.findings import Findings, one_line
from survey.record.model import CourseNote, LaidMark, SalvagedBrick
from survey.record.notes_files import COURSES, LAID, SALVAGE, read_courses, read_laid, read_salvage
from survey.record.points_file import SCHEMA as POINTS
from survey.record.points_file import Scale, SitePoints, read_points
from survey.record.sources import find_file
from survey.record.tables import Schema, Table, read_table
from survey.record.units import Unit

USUAL_POINT_SIGMA_MM = 2.0
"""Taken, with a doubt, where arch.toml gives none: a tape or prism on a worn arris (common practice)."""


@dataclass(frozen=True, slots=True)
class Contents:
    """What the files of a folder hold; None or empty where a file is absent or cannot be read."""

    arch: ArchFile | None
    points: SitePoints | None
    courses: tuple[CourseNote, ...]
    salvage: tuple[SalvagedBrick, ...]
    laid: tuple[LaidMark, ...]
    n_rows: int
    """Filled rows of all tables together, readable or not."""

    @property
    def point_sigma_mm(self) -> float:
        """Standard uncertainty of one coordinate where a point gives none of its own."""
        return _point_sigma_mm(self.arch)


def read_contents(folder: Path, findings: Findings) -> Contents:
    """Read every file of a record folder."""
    arch = _read_arch(folder, findings)
    unit_mm = arch.measure.unit.in_mm if arch else 1.0
    rings = ring_values(arch) if arch else None

    tables = [_read_csv(folder, schema, arch, findings) for schema in (POINTS, COURSES, SALVAGE, LAID)]
    scale = Scale(unit_mm, _point_sigma_mm(arch), rings)
    points = None if tables[0] is None else read_points(tables[0], scale, findings)
    if arch and arch.measure.point_sigma is None and points is not None and len(points):
        findings.doubt(
            arch_file.FILE,
            f"is not given; {USUAL_POINT_SIGMA_MM:g} mm was taken where a point has no sigma of its own",
            "write how well one coordinate is known",
            column="measure.point_sigma",
        )
    return Contents(
        arch=arch,
        points=points,
        courses=() if tables[1] is None else read_courses(tables[1], scale, findings),
        salvage=() if tables[2] is None else read_salvage(tables[2], scale, findings),
        laid=() if tables[3] is None else read_laid(tables[3], scale, findings),
        n_rows=sum(len(table.rows) for table in tables if table is not None),
    )


def _point_sigma_mm(arch: ArchFile | None) -> float:
    if arch is None or arch.measure.point_sigma is None:
        return USUAL_POINT_SIGMA_MM
    return arch.measure.point_sigma * arch.measure.unit.in_mm


def _read_arch(folder: Path, findings: Findings) -> ArchFile | None:
    path = find_file(folder, arch_file.FILE, findings)
    if path is None and findings.has_fault_in(arch_file.FILE):
        return None
    if path is None:
        findings.fault(
            arch_file.FILE, "is missing", "start from the one that python -m survey new FOLDER writes"
        )
        return None
    try:
        return read_arch_file(path.read_bytes(), findings)
    except OSError as error:
        _tell_unreadable(arch_file.FILE, error, findings)
        return None


def _read_csv(folder: Path, schema: Schema, arch: ArchFile | None, findings: Findings) -> Table | None:
    path = find_file(folder, schema.file, findings)
    if path is None:
        _tell_workbook(folder, schema, findings)
        return None
    try:
        table = read_table(
            path, schema, findings, coarse_unit=arch is not None and arch.measure.unit.is_coarse
        )
    except OSError as error:
        _tell_unreadable(schema.file, error, findings)
        return None
    if table is None:
        return None
    for column, unit in table.heading_units.items():
        if arch and unit.lower() != arch.measure.unit:
            known = unit.lower() in list(Unit)
            findings.fault(
                schema.file,
                f"the heading says '{one_line(unit)}', arch.toml says {arch.measure.unit}",
                "one folder has one unit: convert the column, or correct the heading"
                if known
                else "correct it",
                column=column,
            )
    return table


def _tell_workbook(folder: Path, schema: Schema, findings: Findings) -> None:
    stem = schema.file.removesuffix(".csv")
    for ending in (".xlsx", ".xls", ".ods", ".txt"):
        name = stem + ending
        if find_file(folder, name, findings):
            findings.doubt(name, "is not read", f"save it as {schema.file} (CSV, UTF-8)")


def _tell_unreadable(file: str, error: OSError, findings: Findings) -> None:
    findings.fault(
        file,
        f"cannot be opened ({error.strerror})",
        "close it elsewhere, or give yourself the right to read it",
    )
