"""What the report says, in order; the HTML and the PDF both print these sections."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from survey.condition.result import DeviationMap
from survey.curves import setting_out
from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan, Scope
from survey.record.model import Record
from survey.sheets.drawing import Anchor, Sheet
from survey.sheets.fit.facts import facts_schedule, rings_schedule
from survey.sheets.fit.setting_out_sheet import courses_schedule
from survey.sheets.kit.schedule import Column, Schedule, figure
from survey.sheets.report.step_words import every_brick
from survey.sheets.report.tables import (
    candidates_schedule,
    laying_schedule,
    quantities_schedule,
    templets_schedule,
    worst_schedule,
)
from survey.sheets.sheet_set import MadeSet, Part


@dataclass(frozen=True, slots=True)
class ReportInput:
    """One arch through all rooms."""

    record: Record
    fit: ArchFit
    map_: DeviationMap
    plan: RebuildPlan


@dataclass(frozen=True, slots=True)
class Section:
    """One section: sentences, tables, sheets.

    ``page_tables`` are tables that the PDF already has as sheets; ``urgent`` sections are set off by a frame.
    """

    title: str
    sentences: tuple[str, ...] = ()
    tables: tuple[Schedule, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    page_tables: tuple[Schedule, ...] = ()
    urgent: bool = False


def report_sections(given: ReportInput, sets: Iterable[MadeSet]) -> tuple[Section, ...]:
    """Sections of the report, empty ones left out.

    Parameters
    ----------
    given : ReportInput
    sets : iterable of MadeSet
        All sheets drawn; of tiled sets only the index is taken.
    """
    plan = given.plan
    drawn = tuple(sets)
    sections = (
        Section("Do not build from this report", plan.refusals, urgent=True),
        Section("Before any work", plan.cautions, urgent=True),
        _record_section(given.record, _sheets(drawn, Part.SURVEY)),
        _fit_section(given.fit, _sheets(drawn, Part.FIT)),
        _condition_section(given.map_, _sheets(drawn, Part.CONDITION)),
        _plan_section(given, _sheets(drawn, Part.REBUILD)),
        Section(
            "Setting out",
            (*setting_out(plan.shape).sentences(), *plan.centring.setting_out),
            sheets=_sheets(drawn, Part.SETTING_OUT),
            page_tables=(courses_schedule(plan),),
        ),
        Section("Templets and cuts, mm", tables=_filled(templets_schedule(plan))),
        Section("Order of laying, mm", every_brick(plan), _filled(laying_schedule(plan))),
        Section("Quantities", tables=_filled(quantities_schedule(plan))),
        Section("Further sheets", sheets=_sheets(drawn, Part.FURTHER)),
    )
    return tuple(s for s in sections if s.sentences or s.tables or s.sheets)


def _sheets(sets: Iterable[MadeSet], part: Part) -> tuple[Sheet, ...]:
    """Sheets of one part of the report; of tiles only the index."""
    return tuple(
        sheet
        for made in sets
        if made.part is part
        for sheet in (made.sheets[:1] if made.tiled else made.sheets)
    )


def _filled(schedule: Schedule) -> tuple[Schedule, ...]:
    return (schedule,) if schedule.rows else ()


def _record_section(record: Record, sheets: tuple[Sheet, ...]) -> Section:
    """Where, when, by whom and how well it was measured."""
    facts = (
        ("arch", record.name),
        ("place", record.place),
        ("recorded on", record.recorded_on),
        ("recorded by", record.recorded_by),
        ("points", f"{len(record.points)}"),
        ("standard uncertainty of a coordinate", f"{figure(record.point_sigma_mm, 1)} mm"),
        ("unit of the record folder", record.unit),
        ("face offsets", "measured" if record.has_depth else "not measured"),
    )
    columns = (Column("what", Anchor.LEFT), Column("as recorded", Anchor.LEFT, wrap_mm=90.0))
    rows = tuple((what, value) for what, value in facts if value)
    note = (record.note,) if record.note else ()
    doubts = tuple(f"To look at again: {doubt}" for doubt in record.doubts)
    return Section("What was measured", (*note, *doubts), (Schedule(columns, rows),), sheets)


def _fit_section(fit: ArchFit, sheets: tuple[Sheet, ...]) -> Section:
    """The verdict, how sure it is, what moved, the module and the count."""
    said = [fit.verdict.because]
    if fit.verdict.largest_difference_mm is not None:
        apart = figure(fit.verdict.largest_difference_mm, 1)
        said.append(f"Over the arch the two likeliest curves lie at most {apart} mm apart.")
    moved = fit.movement
    if moved is not None:
        said += [moved.because] if moved.because else []
        for hinge in moved.hinges:
            said.append(f"A hinge at the {hinge.where}: its joint opens at the {hinge.opens.value}.")
    if fit.module is not None:
        module = fit.module
        units = f"span {figure(module.span_units, 2)}, rise {figure(module.rise_units, 2)} units"
        chance = figure(100 * module.chance_probability, 1)
        said.append(
            f"Module: {module.name}, {figure(module.unit_mm, 1)} mm; {units} (such a match by chance: "
            f"{chance} %)."
        )
    for count in fit.courses:
        how = "as counted on site" if count.counted else "inferred from the rhythm"
        said.append(f"Ring {count.ring}: {count.count} courses, {how}.")
        said += [count.doubt] if count.doubt else []
    return Section("The curve", (*said, *fit.notes), (candidates_schedule(fit),), sheets)


def _condition_section(map_: DeviationMap, sheets: tuple[Sheet, ...]) -> Section:
    """Patterns of distress and the courses to look at first."""
    said = tuple(pattern.sentence for pattern in map_.patterns)
    return Section("Condition", said, _filled(worst_schedule(map_)), sheets)


def _plan_section(given: ReportInput, sheets: tuple[Sheet, ...]) -> Section:
    """What the plan does, its figures, what to mind."""
    plan = given.plan
    what = (
        "Repair: standing courses stay where they are, the gaps are filled."
        if plan.scope is Scope.REPAIR
        else "The arch is taken down and laid anew."
    )
    tables = (facts_schedule(given.fit, plan), rings_schedule(plan))
    return Section("The rebuild", (what, *plan.warnings, *plan.notes), tables, sheets)
