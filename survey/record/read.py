"""From a record folder to a checked record, or to every fault in it at once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from survey.errors import Fault, RecordError
from survey.record.arch_file import FILE, ArchFile
from survey.record.arch_values import (
    centring_values,
    joint_limits,
    known_dimensions,
    mortar_values,
    ring_values,
    tolerance_values,
)
from survey.record.contents import Contents, read_contents
from survey.record.doubtful_courses import (
    are_believable,
    tell_doubtful_courses,
    tell_doubtful_marks,
    tell_doubtful_salvage,
)
from survey.record.doubtful_points import is_of_believable_extent, tell_doubtful_points
from survey.record.findings import Findings, one_line
from survey.record.model import Feature, Record, SurveyPoints
from survey.record.notes_files import COURSES, LAID, SALVAGE
from survey.record.points_file import SCHEMA as POINTS
from survey.record.points_file import SitePoints
from survey.record.reduce import Reduced, reduce_to_face
from survey.record.sources import NOT_READ_YET, tell_unread

NO_POINTS = "is missing, and no other source of geometry is there"
NO_ROWS = "has no rows: nothing is measured yet"


@dataclass(frozen=True, slots=True)
class Examination:
    """A folder read as far as it can be: its record if it has no fault, and everything found."""

    record: Record | None
    contents: Contents | None
    faults: tuple[Fault, ...]
    doubts: tuple[Fault, ...]


def read_record(folder: Path) -> Record:
    """Read and check a record folder.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    Record
        In millimetres, in the face of the wall as seen from outside: x right, y up, w towards the viewer. How
        left and right are decided is told in :mod:`survey.record.sides`.

    Raises
    ------
    RecordError
        With every fault found, one line each.
    """
    examination = examine(folder)
    if examination.record is None:
        raise RecordError(examination.faults)
    return examination.record


def examine(folder: Path) -> Examination:
    """Read a folder as far as it can be read, gathering faults and doubts."""
    findings = Findings()
    if not folder.is_dir():
        findings.fault(
            one_line(folder.name) or str(folder), "is no folder", "give the folder that holds arch.toml"
        )
        return Examination(None, None, tuple(findings.faults), ())
    contents = read_contents(folder, findings)
    has_points = contents.points is not None and len(contents.points) > 0
    tell_unread(folder, contents.arch, findings, has_points=has_points or findings.has_fault_in(POINTS.file))
    reduced = _reduced(contents, findings)
    record = None
    if contents.arch is not None and reduced is not None and not findings.faults:
        record = _record(folder, contents.arch, contents, reduced, _in_order(findings.doubts))
    return Examination(record, contents, _in_order(findings.faults), _in_order(findings.doubts))


def _in_order(faults: list[Fault]) -> tuple[Fault, ...]:
    """arch.toml first, then the tables, down the rows of each; other files before them all."""
    files = (FILE, POINTS.file, COURSES.file, SALVAGE.file, LAID.file)
    rank = {file: place for place, file in enumerate(files)}
    return tuple(sorted(faults, key=lambda fault: (rank.get(fault.file, -1), fault.row or 0)))


def _reduced(contents: Contents, findings: Findings) -> Reduced | None:
    if findings.has_fault_in(POINTS.file):
        return None
    if contents.points is None or len(contents.points) == 0:
        if not any(fault.reason.endswith(NOT_READ_YET) for fault in findings.faults):
            reason = NO_POINTS if contents.points is None else NO_ROWS
            findings.fault(POINTS.file, reason, "measure the intrados and both springings")
        return None
    if not (contents.points.feature == Feature.INTRADOS).any():
        findings.fault(
            POINTS.file,
            "no point lies on the intrados",
            "measure the lower arris of the ring from springing to springing",
            column="feature",
        )
        return None
    if contents.arch is None:
        return None
    reduced = reduce_to_face(contents.points, contents.arch, findings)
    if reduced is not None and not findings.has_fault_in(POINTS.file):
        _tell_doubts(contents.points, contents, contents.arch, reduced.points, findings)
    return reduced


def _tell_doubts(
    site: SitePoints, contents: Contents, arch: ArchFile, points: SurveyPoints, findings: Findings
) -> None:
    rings = ring_values(arch)
    tell_doubtful_points(site, points, contents.courses, arch.measure.unit, findings)
    # A wrong unit makes every size odd: once told, the sizes say nothing more.
    if not is_of_believable_extent(points, arch.measure.unit, findings):
        return
    # A file with faults is read with holes, and what it lacks would raise doubts of its own.
    if are_believable(rings, arch.measure.unit, findings) and not findings.has_fault_in(COURSES.file):
        tell_doubtful_courses(contents.courses, rings, points, findings)
        tell_doubtful_salvage(contents.salvage, rings, findings)
    if not findings.has_fault_in(LAID.file):
        tell_doubtful_marks(contents.laid, findings)


def _record(
    folder: Path, arch: ArchFile, contents: Contents, reduced: Reduced, doubts: tuple[Fault, ...]
) -> Record:
    origin = reduced.frame.origin_mm
    origin_y_mm = float(origin @ reduced.frame.y_axis)
    return Record(
        folder=folder,
        name=arch.arch.name,
        place=arch.arch.place,
        recorded_on=arch.arch.recorded_on,
        recorded_by=arch.arch.recorded_by,
        note=arch.arch.note,
        unit=arch.measure.unit.value,
        point_sigma_mm=contents.point_sigma_mm,
        has_depth=bool(contents.points is not None and contents.points.has_z),
        frame=reduced.frame,
        points=reduced.points,
        rings=ring_values(arch),
        courses=contents.courses,
        salvage=contents.salvage,
        laid=contents.laid,
        joints=joint_limits(arch),
        tolerances=tolerance_values(arch),
        known=known_dimensions(arch, origin_x_mm=float(origin[0]), origin_y_mm=origin_y_mm),
        centring=centring_values(arch),
        mortar=mortar_values(arch),
        doubts=doubts,
    )
