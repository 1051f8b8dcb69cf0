"""Every set of sheets in one place: to add one, add its line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from survey.condition.result import DeviationMap
from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan
from survey.record.model import Record
from survey.sheets.deviation_sheet import deviation_sheet
from survey.sheets.drawing import Sheet
from survey.sheets.elevation_sheet import elevation_pages
from survey.sheets.fit_sheet import fit_sheet
from survey.sheets.page import TitleBlock, finish
from survey.sheets.setting_out_sheet import setting_out_pages
from survey.sheets.soffit_sheet import soffit_sheet
from survey.sheets.survey_sheet import survey_sheet
from survey.sheets.template import template_pages

Maker = TypeVar("Maker")


class Part(StrEnum):
    """Where in the report a set of sheets is shown."""

    SURVEY = "survey"
    FIT = "fit"
    CONDITION = "condition"
    REBUILD = "rebuild"
    SETTING_OUT = "setting_out"
    FURTHER = "further"


@dataclass(frozen=True, slots=True)
class SheetSet(Generic[Maker]):
    """A set of sheets: the stem of its files, what makes it, and its part of the report.

    ``tiled`` sets are full-size tiles: they get no picture a page and only their index goes into the report.
    """

    name: str
    make: Maker
    part: Part = Part.FURTHER
    tiled: bool = False


FitMaker = Callable[[Record, ArchFit], tuple[Sheet, ...]]
DeviationMaker = Callable[[Record, ArchFit, DeviationMap], tuple[Sheet, ...]]
RebuildMaker = Callable[[Record, ArchFit, RebuildPlan], tuple[Sheet, ...]]


def _setting_out(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(setting_out_pages(fit, plan), TitleBlock.of(record))


def _elevation(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(elevation_pages(record, fit, plan), TitleBlock.of(record))


def _template_a4(record: Record, _fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(template_pages(record, plan, "A4"), TitleBlock.of(record))


def _template_a3(record: Record, _fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    return finish(template_pages(record, plan, "A3"), TitleBlock.of(record))


FIT_SETS: tuple[SheetSet[FitMaker], ...] = (
    SheetSet("survey", lambda record, _fit: (survey_sheet(record),), Part.SURVEY),
    SheetSet("fit", lambda record, fit: (fit_sheet(record, fit),), Part.FIT),
)
DEVIATION_SETS: tuple[SheetSet[DeviationMaker], ...] = (
    SheetSet("deviations", lambda record, fit, map_: (deviation_sheet(record, fit, map_),), Part.CONDITION),
    SheetSet("soffit", lambda record, _fit, map_: (soffit_sheet(record, map_),), Part.CONDITION),
)
REBUILD_SETS: tuple[SheetSet[RebuildMaker], ...] = (
    SheetSet("elevation", _elevation, Part.REBUILD),
    SheetSet("setting_out", _setting_out, Part.SETTING_OUT),
    SheetSet("template_A4", _template_a4, tiled=True),
    SheetSet("template_A3", _template_a3, tiled=True),
)


@dataclass(frozen=True, slots=True)
class MadeSet:
    """A set of sheets as drawn."""

    name: str
    sheets: tuple[Sheet, ...]
    part: Part
    tiled: bool


def make_fit_sets(record: Record, fit: ArchFit) -> tuple[MadeSet, ...]:
    """Sheets of the survey and its fit."""
    return tuple(MadeSet(s.name, s.make(record, fit), s.part, s.tiled) for s in FIT_SETS)


def make_deviation_sets(record: Record, fit: ArchFit, map_: DeviationMap) -> tuple[MadeSet, ...]:
    """Sheets of the condition."""
    return tuple(MadeSet(s.name, s.make(record, fit, map_), s.part, s.tiled) for s in DEVIATION_SETS)


def make_rebuild_sets(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[MadeSet, ...]:
    """Sheets of the rebuild."""
    return tuple(MadeSet(s.name, s.make(record, fit, plan), s.part, s.tiled) for s in REBUILD_SETS)
