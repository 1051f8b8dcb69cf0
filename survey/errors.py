"""Every error the toolkit raises on purpose, under one base class."""

from __future__ import annotations

from dataclasses import dataclass


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
        super().__init__("\n".join(str(fault) for fault in faults))
