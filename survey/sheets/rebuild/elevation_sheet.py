"""The elevation sheet: the drawing as large as it fits, key, facts, rings and cautions along the foot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np

from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan, Scope
from survey.record.model import Record
from survey.sheets.drawing import Box, Drawing, Placed, Primitive
from survey.sheets.fit.facts import facts_schedule, rings_schedule
from survey.sheets.kit.brickwork import STATE_STYLES, BrickState, brick_state, missing_courses
from survey.sheets.kit.caution_print import in_caution_print
from survey.sheets.kit.furniture import (
    FURNITURE_MM,
    KeyEntry,
    cautions,
    cautions_height_mm,
    key,
    key_width_mm,
    orientation_mark,
    refusal_banner,
    scale_bar,
)
from survey.sheets.kit.page import Page, Paper, fitted, scales_for
from survey.sheets.kit.placing import on_paper, touches
from survey.sheets.kit.schedule import schedule_height_mm, schedule_primitives, schedule_width_mm
from survey.sheets.rebuild.elevation import FITTED_PEN, NAME, elevation_drawing, fitted_curves

_SCALE_BAR_MM, _ORIENTATION_MM = 115.0, 66.0
"""Widths of the scale bar with its figures and of the orientation mark."""
_GAP_MM = 6.0
"""Between the parts of the sheet."""


def elevation_pages(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Page, ...]:
    """The elevation sheet of a rebuild plan."""
    drawn = cache(lambda scale, centres: elevation_drawing(record, plan, scale, centres=centres))
    return (in_caution_print(lambda size: _page(record, fit, plan, drawn, size), _cost),)


def _cost(page: Page) -> tuple[float, ...]:
    """How small the drawing is, and at one scale how little it shows: where room lacks, its centres go."""
    (placed,) = page.placed
    return placed.scale, -len(placed.drawing.primitives)


Drawn = Callable[[float, bool], Drawing]
"""The elevation laid out for a plot scale 1 : n, with or without its centres."""


def _page(record: Record, fit: ArchFit, plan: RebuildPlan, drawn: Drawn, caution_mm: float) -> Page:
    """The sheet with its cautions in one print."""
    area = Paper.A3_LANDSCAPE.area
    states = present_states(record, plan)
    foot, foot_height = _foot(fit, plan, states, area, caution_mm)
    banner, banner_height = refusal_banner(plan.refusals, area)
    room = Box(
        area.left,
        area.bottom + foot_height + _GAP_MM,
        area.width,
        area.height - foot_height - banner_height - _GAP_MM,
    )
    placed, furniture_foot = _beside_furniture(plan, drawn, room)
    title = "Elevation, repair" if plan.scope is Scope.REPAIR else "Elevation, rebuilt whole"
    furniture = (
        *scale_bar((room.left, furniture_foot + 2.0), placed.scale),
        *orientation_mark((room.right - 33.0, furniture_foot + 3.0)),
    )
    return Page(NAME, title, (*foot, *banner, *furniture), (placed,), placed.scale)


def _beside_furniture(plan: RebuildPlan, drawn: Drawn, room: Box) -> tuple[Placed, float]:
    """The drawing, and the foot of the scale bar and the orientation mark.

    They stand below the drawing, or where that costs a scale in the corners above the haunches, if those are
    free.
    """
    below = _place(
        plan, drawn, Box(room.left, room.bottom + FURNITURE_MM, room.width, room.height - FURNITURE_MM)
    )
    alone = _place(plan, drawn, room)
    foot = room.top - FURNITURE_MM
    corners = (
        Box(room.left, foot, _SCALE_BAR_MM, FURNITURE_MM),
        Box(room.right - _ORIENTATION_MM, foot, _ORIENTATION_MM, FURNITURE_MM),
    )
    if alone.scale < below.scale and not any(touches(mark, c) for mark in on_paper(alone) for c in corners):
        return alone, foot
    return below, room.bottom


def _place(plan: RebuildPlan, drawn: Drawn, room: Box) -> Placed:
    """The drawing as large as it fits; centres so far off that they cost a scale are left to the table."""
    without = _placed(plan, drawn, room, centres=False)
    with_them = _placed(plan, drawn, room, centres=True)
    return with_them if with_them.scale == without.scale else without


def _placed(plan: RebuildPlan, drawn: Drawn, room: Box, *, centres: bool) -> Placed:
    outer = plan.rings[-1].outer
    width = float(np.ptp(outer.point(np.array([0.0, outer.length_mm]))[:, 0]))
    return fitted(lambda scale: drawn(scale, centres), room, scales=scales_for(width, room))


def present_states(record: Record, plan: RebuildPlan) -> tuple[BrickState, ...]:
    """State of every brick, in the order of ``plan.bricks``."""
    missing = missing_courses(record)
    return tuple(brick_state(brick, missing) for brick in plan.bricks)


def _foot(
    fit: ArchFit, plan: RebuildPlan, states: Sequence[BrickState], area: Box, caution_mm: float
) -> tuple[list[Primitive], float]:
    """Key, facts, rings and cautions side by side along the foot; what they are and how high they stand."""
    entries = [KeyEntry(STATE_STYLES[state], state.value) for state in BrickState if state in states]
    if fitted_curves(plan):
        entries.append(KeyEntry(FITTED_PEN, "fitted curve; the soffit is led beside it", closed=False))
    facts, rings = facts_schedule(fit, plan), rings_schedule(plan)
    key_width = key_width_mm(entries)
    x_facts = area.left + key_width + _GAP_MM
    x_rings = x_facts + schedule_width_mm(facts) + _GAP_MM
    x_cautions = x_rings + schedule_width_mm(rings) + _GAP_MM
    width = area.right - x_cautions
    care = cautions_height_mm(plan.cautions, width, n_columns=2, height_mm=caution_mm)
    height = max(
        care,
        schedule_height_mm(facts),
        schedule_height_mm(rings),
        6.0 + 5.0 * len(entries),
    )
    top = area.bottom + height
    care_box = Box(x_cautions, top - care, width, care)
    marks: list[Primitive] = [
        *key(entries, area.left, top),
        *schedule_primitives(facts, x_facts, top),
        *schedule_primitives(rings, x_rings, top),
        *cautions(plan.cautions, care_box, n_columns=2, height_mm=caution_mm),
    ]
    return marks, height
