"""Every set of sheets of the fit: to add one, add its line."""

from __future__ import annotations

from collections.abc import Callable

from survey.fitting.collars import with_found_collars
from survey.fitting.result import ArchFit
from survey.record.model import Record
from survey.sheets.drawing import Sheet
from survey.sheets.fit.fit_sheet import fit_sheets
from survey.sheets.sheet_set import MadeSet, Part, SheetSet

FitMaker = Callable[[Record, ArchFit], tuple[Sheet, ...]]

FIT_SETS: tuple[SheetSet[FitMaker], ...] = (SheetSet("fit", fit_sheets, Part.FIT),)


def make_fit_sets(record: Record, fit: ArchFit) -> tuple[MadeSet, ...]:
    """Sheets of the fit."""
    record = with_found_collars(record, fit)
    return tuple(MadeSet(s.name, s.make(record, fit), s.part, s.tiled) for s in FIT_SETS)
