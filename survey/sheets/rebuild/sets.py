"""Every set of sheets of the rebuild: to add one, add its line."""

from __future__ import annotations

from collections.abc import Callable

from survey.fitting.collars import with_found_collars
from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan
from survey.record.model import Record
from survey.sheets.drawing import Sheet
from survey.sheets.fit.setting_out_sheet import setting_out_pages
from survey.sheets.kit.page import TitleBlock, finish
from survey.sheets.rebuild.card import laying_sheets
from survey.sheets.rebuild.cutting import cutting_sheets
from survey.sheets.rebuild.elevation_sheet import elevation_pages
from survey.sheets.rebuild.rhythm import rhythm_sheets
from survey.sheets.rebuild.rib import rib_sheets
from survey.sheets.rebuild.template import template_pages
from survey.sheets.rebuild.templets import templet_sheets
from survey.sheets.sheet_set import MadeSet, Part, SheetSet

RebuildMaker = Callable[[Record, ArchFit, RebuildPlan], tuple[Sheet, ...]]


def _setting_out(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(setting_out_pages(fit, plan), TitleBlock.of(record))


def _elevation(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(elevation_pages(record, fit, plan), TitleBlock.of(record))


def _template_a4(record: Record, _fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(template_pages(record, plan, "A4"), TitleBlock.of(record))


def _template_a3(record: Record, _fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(template_pages(record, plan, "A3"), TitleBlock.of(record))


REBUILD_SETS: tuple[SheetSet[RebuildMaker], ...] = (
    SheetSet("elevation", _elevation, Part.REBUILD),
    SheetSet("setting_out", _setting_out, Part.SETTING_OUT),
    SheetSet("rhythm", rhythm_sheets),
    SheetSet("cutting", cutting_sheets),
    SheetSet("templets", templet_sheets),
    SheetSet("rib", rib_sheets),
    SheetSet("laying", laying_sheets),
    SheetSet("template_A4", _template_a4, tiled=True),
    SheetSet("template_A3", _template_a3, tiled=True),
)


def make_rebuild_sets(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[MadeSet, ...]:
    """Sheets of the rebuild."""
    record = with_found_collars(record, fit)
    return tuple(MadeSet(s.name, s.make(record, fit, plan), s.part, s.tiled) for s in REBUILD_SETS)
