"""Every set of sheets of the survey and its fit: to add one, add its line."""

from __future__ import annotations

from collections.abc import Callable

from survey.fitting.result import ArchFit
from survey.record.model import Record
from survey.sheets.drawing import Sheet
from survey.sheets.fit_sheet import fit_sheets
from survey.sheets.sheet_set import MadeSet, Part, SheetSet
from survey.sheets.survey_sheet import survey_sheets

FitMaker = Callable[[Record, ArchFit], tuple[Sheet, ...]]

FIT_SETS: tuple[SheetSet[FitMaker], ...] = (
    SheetSet("survey", lambda record, _fit: survey_sheets(record), Part.SURVEY),
    SheetSet("fit", fit_sheets, Part.FIT),
)


def make_fit_sets(record: Record, fit: ArchFit) -> tuple[MadeSet, ...]:
    """Sheets of the survey and its fit."""
    return tuple(MadeSet(s.name, s.make(record, fit), s.part, s.tiled) for s in FIT_SETS)
