"""Every set of sheets of the condition: to add one, add its line."""

from __future__ import annotations

from collections.abc import Callable

from survey.condition.result import DeviationMap
from survey.fitting.collars import with_found_collars
from survey.fitting.result import ArchFit
from survey.record.model import Record
from survey.sheets.condition.deviation_sheet import deviation_sheets
from survey.sheets.condition.movement_sheet import movement_sheet
from survey.sheets.condition.soffit_sheet import soffit_sheets
from survey.sheets.drawing import Sheet
from survey.sheets.sheet_set import MadeSet, Part, SheetSet

DeviationMaker = Callable[[Record, ArchFit, DeviationMap], tuple[Sheet, ...]]

DEVIATION_SETS: tuple[SheetSet[DeviationMaker], ...] = (
    SheetSet("deviations", deviation_sheets, Part.CONDITION),
    SheetSet("soffit", lambda record, _fit, map_: soffit_sheets(record, map_), Part.CONDITION),
    SheetSet("movement", movement_sheet, Part.CONDITION),
)


def make_deviation_sets(record: Record, fit: ArchFit, map_: DeviationMap) -> tuple[MadeSet, ...]:
    """Sheets of the condition; a set that has nothing to show is left out."""
    record = with_found_collars(record, fit)
    made = (MadeSet(s.name, s.make(record, fit, map_), s.part, s.tiled) for s in DEVIATION_SETS)
    return tuple(each for each in made if each.sheets)
