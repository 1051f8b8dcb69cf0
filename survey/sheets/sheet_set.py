"""Sets of sheets: what every set of a stage is called, what makes it, and where the report shows it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from survey.sheets.drawing import Sheet

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


@dataclass(frozen=True, slots=True)
class MadeSet:
    """A set of sheets as drawn."""

    name: str
    sheets: tuple[Sheet, ...]
    part: Part
    tiled: bool
