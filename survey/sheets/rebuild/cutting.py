"""The cutting list and the quantities: templets with pieces and bevels, then bricks, mortar, timber."""

from __future__ import annotations

import math
from dataclasses import replace

from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan, Templet
from survey.record.model import Record
from survey.sheets.drawing import Anchor, Box, Layer, Primitive, Sheet, Text
from survey.sheets.kit import ink
from survey.sheets.kit.caution_print import in_caution_print
from survey.sheets.kit.furniture import cautions, cautions_height_mm, notes, notes_height_mm, refusal_banner
from survey.sheets.kit.page import Page, Paper, TitleBlock, finish
from survey.sheets.kit.schedule import (
    Column,
    Schedule,
    figure,
    flow,
    schedule_height_mm,
    schedule_primitives,
    schedule_width_mm,
)
from survey.sheets.kit.widths import widened
from survey.sheets.report.tables import courses_cell, pieces_cells, quantities_schedule, some_laid

NAME = "cutting"
_GAP_MM = 6.0
_COURSES_MM = 60.0
"""Least width of the column of courses."""

_HOW = (
    "Widths are flat, laid off with a rule square across the brick: at the soffit and at the back.",
    "Bevel: each side against the square on the soffit face. Off square: how far a side runs out over 100 mm "
    "of depth; set the sliding bevel to it.",
    "Joint off: how far a joint may miss its planned width because pieces share this templet.",
    "Cut wet. Try every piece dry on the centre before it is bedded; trim it at the back if it touches.",
    "Chalk templet and course on the back of each piece as it is cut.",
)
_PERHAPS_FEWER = (
    "The pieces scatter so widely that fewer templets than these might do; a wider templet tolerance needs "
    "fewer."
)


def cutting_sheets(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    """Cutting list and quantities on as many sheets as they need, the cautions on the first."""
    del fit  # every set of the rebuild is made from the same three
    pages = in_caution_print(lambda size: _pages(plan, size), lambda pages: (len(pages), -_print_mm(pages)))
    return finish(pages, TitleBlock.of(record))


def _pages(plan: RebuildPlan, caution_mm: float) -> list[Page]:
    """The sheets with the cautions in one print."""
    area = Paper.A3_LANDSCAPE.area
    banner, banner_height = refusal_banner(plan.refusals, area)
    room = Box(area.left, area.bottom, area.width, area.height - banner_height)
    foot, foot_height = _foot(plan, room, caution_mm)
    above = Box(room.left, room.bottom + foot_height, room.width, room.height - foot_height)
    cuts, quantities = _in_print(plan, above)
    pages: list[tuple[str, tuple[Primitive, ...]]] = []
    blocks = flow(cuts, above)
    for k, block in enumerate(blocks):
        pages.append(("Cutting list", (*block, *(foot if k == 0 else ()))))
    used = schedule_height_mm(cuts) + _GAP_MM
    fits = len(blocks) == 1 and schedule_height_mm(quantities) <= above.height - used
    if fits:
        together = schedule_primitives(quantities, above.left, above.top - used)
        pages = [("Cutting list and quantities", (*pages[0][1], *together))]
    else:
        pages += [("Quantities", block) for block in flow(quantities, room)]
    return [Page(NAME, title, (*banner, *marks)) for title, marks in pages]


def _print_mm(pages: list[Page]) -> float:
    """Capital height of the entries of the tables."""
    return max(
        (
            m.height_mm
            for m in pages[0].primitives
            if isinstance(m, Text) and m.style.layer is Layer.TABLE and not m.bold
        ),
        default=0.0,
    )


def _in_print(plan: RebuildPlan, box: Box) -> tuple[Schedule, Schedule]:
    """Both tables in the largest print in which they stand on one sheet together, else in the usual one."""
    cuts, quantities = cutting_schedule(plan), quantities_schedule(plan)
    for height in (3.0, 2.8, 2.6, 2.4):
        large = widened(replace(cuts, height_mm=height), box.width), _titled(quantities, height, box.width)
        high = sum(schedule_height_mm(schedule) for schedule in large) + _GAP_MM
        if high <= box.height and max(schedule_width_mm(schedule) for schedule in large) <= box.width:
            return large
    return widened(cuts, box.width), _titled(quantities, ink.TEXT_MM, box.width)


def _titled(schedule: Schedule, height_mm: float, width_mm: float) -> Schedule:
    """The quantities in the lettering of this sheet."""
    named = replace(schedule, title="Quantities", height_mm=height_mm)
    return widened(named, width_mm)


def _foot(plan: RebuildPlan, room: Box, caution_mm: float) -> tuple[list[Primitive], float]:
    """How to read the list, beside the cautions; and how high they stand."""
    width = (room.width - _GAP_MM) / 2
    said = _HOW if all(templet.fewest for templet in plan.templets) else (*_HOW, _PERHAPS_FEWER)
    how = notes_height_mm(said, width, title="How to use the list", height_mm=ink.TEXT_MM)
    care = cautions_height_mm(plan.cautions, width, height_mm=caution_mm)
    height = max(how, care)
    top = room.bottom + height
    left = Box(room.left, top - how, width, how)
    right = Box(room.right - width, top - care, width, care)
    marks: list[Primitive] = [
        *notes(said, left, title="How to use the list", height_mm=ink.TEXT_MM),
        *cautions(plan.cautions, right, height_mm=caution_mm),
    ]
    return marks, height + _GAP_MM


def cutting_schedule(plan: RebuildPlan) -> Schedule:
    """Templets with pieces still to cut, widths, bevels, joint errors and courses."""
    columns = (
        Column("templet", Anchor.LEFT),
        Column("pieces"),
        *([Column("laid\nalready")] if some_laid(plan) else ()),
        Column("at the\nsoffit"),
        Column("at the\nback"),
        Column("depth"),
        Column("bevel\ndegrees"),
        Column("off square\nover 100"),
        Column("joint off\nat most"),
        Column("what", Anchor.LEFT),
        Column("ring: courses", Anchor.LEFT, wrap_mm=_COURSES_MM),
    )
    rows = tuple(_row(plan, templet) for templet in plan.templets)
    if not rows:
        rows = (("", "0", *("",) * 6, "no new bricks", "every brick stands or goes back"),)
    return Schedule(columns, rows, "Cutting list, mm", ink.TEXT_MM)


def _row(plan: RebuildPlan, templet: Templet) -> tuple[str, ...]:
    return (
        templet.name,
        *pieces_cells(plan, templet),
        figure(templet.width_intrados_mm, 1),
        figure(templet.width_extrados_mm, 1),
        figure(templet.depth_mm, 1),
        figure(math.degrees(templet.bevel_rad), 2),
        figure(100.0 * math.tan(templet.bevel_rad), 1),
        figure(templet.joint_error_mm, 2),
        what_it_is(templet),
        courses_cell(plan, templet),
    )


def what_it_is(templet: Templet) -> str:
    """Whole, sawn down, or cut to a taper.

    Examples
    --------
    >>> what_it_is(Templet("A", 1, 50.0, 60.0, 240.0, ((1, 1),), 0.02, 0.0, True))
    'tapered'
    """
    if not templet.cut:
        return "whole brick"
    return "tapered" if abs(templet.bevel_rad) > 1e-4 else "sawn to width"
