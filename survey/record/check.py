"""What is wrong or doubtful in a record folder, and how much it holds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from survey.errors import Fault
from survey.record.arch_file import BLANK, FILE
from survey.record.contents import Contents
from survey.record.model import Record
from survey.record.points_file import SCHEMA as POINTS
from survey.record.read import NO_ROWS, examine
from survey.record.shortfall import shortfall_of, soffit_of


class Status(StrEnum):
    """What can be done with a record folder."""

    EMPTY = "empty: nothing measured yet"
    TOO_LITTLE = "cannot be fitted yet: measure more first"
    FAULTY = "cannot be used until the faults are mended"
    DOUBTFUL = "can be used; look at the doubts first"
    READY = "ready"


@dataclass(frozen=True, slots=True)
class RecordCounts:
    """How much a record folder holds."""

    points: int = 0
    rings: int = 0
    courses: int = 0
    salvaged: int = 0
    laid: int = 0


@dataclass(frozen=True, slots=True)
class CheckReport:
    """The answer of :func:`check_record`: faults forbid the use, doubts say what to measure again.

    ``record`` is there when it can be read, even where too little was measured to fit a curve to.
    """

    status: Status
    faults: tuple[Fault, ...]
    doubts: tuple[Fault, ...]
    counts: RecordCounts
    record: Record | None = None


def check_record(folder: Path) -> CheckReport:
    """Read a record folder as far as it can be read and tell everything that is wrong or doubtful.

    A folder as :func:`~survey.record.blank.write_blank_record` leaves it, or with arch.toml begun and no row
    filled in, is empty, which is no fault. Points that show no curve are one: no stage after can use them.
    """
    examination = examine(folder)
    counts = _counts(examination.contents)
    faults = examination.faults
    if _nothing_measured(examination.contents):
        # Before anything is measured a blank name and bare headings are no faults.
        faults = tuple(fault for fault in faults if not _is_unfilled(fault))
        if not faults:
            return CheckReport(Status.EMPTY, (), examination.doubts, counts)
    record = examination.record
    if record is not None:
        soffit = soffit_of(record.points)
        lacking = shortfall_of(record.points.xy_mm[soffit], record.points.sigma_mm[soffit])
        if lacking is not None:
            short = Fault(POINTS.file, lacking.reason, lacking.remedy)
            return CheckReport(Status.TOO_LITTLE, (short,), examination.doubts, counts, record)
    status = Status.FAULTY if faults else Status.DOUBTFUL if examination.doubts else Status.READY
    return CheckReport(status, faults, examination.doubts, counts, record)


def _is_unfilled(fault: Fault) -> bool:
    return fault.reason == NO_ROWS or (fault.file, fault.column, fault.reason) == (FILE, "arch.name", BLANK)


def _nothing_measured(contents: Contents | None) -> bool:
    return contents is not None and contents.points is not None and contents.n_rows == 0


def _counts(contents: Contents | None) -> RecordCounts:
    if contents is None:
        return RecordCounts()
    return RecordCounts(
        points=0 if contents.points is None else len(contents.points),
        rings=0 if contents.arch is None else len(contents.arch.rings),
        courses=len(contents.courses),
        salvaged=len(contents.salvage),
        laid=len(contents.laid),
    )
