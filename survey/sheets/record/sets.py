"""Every set of sheets of what was measured: to add one, add its line."""

from __future__ import annotations

from collections.abc import Callable

from survey.record.model import Record
from survey.sheets.drawing import Sheet
from survey.sheets.record.survey_sheet import survey_sheets
from survey.sheets.sheet_set import MadeSet, Part, SheetSet

RecordMaker = Callable[[Record], tuple[Sheet, ...]]

RECORD_SETS: tuple[SheetSet[RecordMaker], ...] = (SheetSet("survey", survey_sheets, Part.SURVEY),)


def make_record_sets(record: Record) -> tuple[MadeSet, ...]:
    """Sheets of what was measured."""
    return tuple(MadeSet(s.name, s.make(record), s.part, s.tiled) for s in RECORD_SETS)
