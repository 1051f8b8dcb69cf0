"""The rib sheets: the scaled drawing with boards and striking, then ordinates and course marks as tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np

from survey.fitting.result import ArchFit
from survey.rebuild.plan import CentringMark, RebuildPlan
from survey.rebuild.words import counted
from survey.record.model import Record
from survey.sheets.drawing import Box, Drawing, Placed, Primitive, Sheet
from survey.sheets.kit import ink
from survey.sheets.kit.caution_print import in_caution_print
from survey.sheets.kit.furniture import (
    FURNITURE_MM,
    cautions,
    cautions_height_mm,
    notes,
    notes_height_mm,
    orientation_mark,
    refusal_banner,
    scale_bar,
)
from survey.sheets.kit.page import Page, Paper, TitleBlock, finish, fitted, scales_for
from survey.sheets.kit.schedule import (
    Column,
    Schedule,
    figure,
    flow,
    schedule_height_mm,
    schedule_primitives,
    schedule_width_mm,
)
from survey.sheets.kit.widths import beside_each_other, in_large_print
from survey.sheets.rebuild.rib_drawing import NAME, board_name, rib_drawing

_WORDS_MM = 112.0
"""Width of the column of words."""
_GAP_MM = 6.0

_HOW = (
    "Ordinates stand plumb on the level through the middle of the springing line, every 100 mm, and closer "
    "where the rib falls steeply: there measure out from the middle at the height given. The rib's is blank "
    "where the soffit reaches further out than the rib.",
    "Running marks lie along the soffit, on the edge of the lagging: each from its own zero, so that one "
    "wrong bay shifts no other. Chord: along a straight tape from the left springing point to the mark.",
    "Marks of outer rings are where a square on the lagging points at the edge of the brick.",
)


def rib_sheets(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    """The rib to scale on one sheet, its tables on as many as they need."""
    del fit  # every set of the rebuild is made from the same three
    area = Paper.A3_LANDSCAPE.area
    banner, banner_height = refusal_banner(plan.refusals, area)
    room = Box(area.left, area.bottom, area.width, area.height - banner_height)
    drawn = cache(lambda scale: rib_drawing(plan, record.centring, scale))
    pages = [
        in_caution_print(
            lambda size: _drawn(plan, drawn, room, banner, size), lambda page: (page.placed[0].scale,)
        )
    ]
    foot = notes_height_mm(_HOW, room.width, n_columns=3, height_mm=ink.TEXT_MM) + 4.0
    below = Box(room.left, room.bottom, room.width, foot - 4.0)
    reading = notes(_HOW, below, n_columns=3, height_mm=ink.TEXT_MM)
    tables = Box(room.left, room.bottom + foot, room.width, room.height - foot)
    ordinates, marks = ordinates_schedule(plan), marks_schedule(plan)
    if (both := beside_each_other((ordinates, marks), tables)) is not None:
        pages.append(Page(NAME, "Centring: ordinates and course marks", (*banner, *both, *reading)))
        return finish(pages, TitleBlock.of(record))
    for schedule, title in (
        (ordinates, "Centring: ordinates of the rib"),
        (marks, "Centring: course marks"),
    ):
        large = in_large_print(schedule, tables)
        pages += [Page(NAME, title, (*banner, *block, *reading)) for block in flow(large, tables)]
    return finish(pages, TitleBlock.of(record))


def _drawn(
    plan: RebuildPlan,
    drawn: Callable[[float], Drawing],
    room: Box,
    banner: Sequence[Primitive],
    caution_mm: float,
) -> Page:
    """The drawing; striking and notes beside it; boards and cautions below."""
    marks: list[Primitive] = list(banner)
    left, y = room.right - _WORDS_MM, room.top
    for title, said in (
        ("How the rib is struck", plan.centring.setting_out),
        ("Centre", (*facts(plan), *plan.centring.notes)),
    ):
        height = notes_height_mm(said, _WORDS_MM, title=title, height_mm=ink.TEXT_MM)
        box = Box(left, y - height, _WORDS_MM, height)
        marks += notes(said, box, title=title, height_mm=ink.TEXT_MM)
        y -= height + _GAP_MM
    boards = boards_schedule(plan)
    table_width = schedule_width_mm(boards)
    care_width = room.width - table_width - _GAP_MM
    care = cautions_height_mm(plan.cautions, care_width, n_columns=2, height_mm=caution_mm)
    foot = max(care, schedule_height_mm(boards))
    marks += schedule_primitives(boards, room.left, room.bottom + foot)
    care_box = Box(room.right - care_width, room.bottom, care_width, care)
    marks += cautions(plan.cautions, care_box, n_columns=2, height_mm=caution_mm)
    low = room.bottom + foot + _GAP_MM
    view = Box(room.left, low, left - room.left - _GAP_MM, room.top - low)
    placed = _fitted(plan, drawn, view)
    marks += scale_bar((view.left, view.bottom), placed.scale)
    marks += orientation_mark((view.right - 33.0, view.bottom + 1.0))
    return Page(NAME, "Centring: the rib", tuple(marks), (placed,), placed.scale)


def _fitted(plan: RebuildPlan, drawn: Callable[[float], Drawing], view: Box) -> Placed:
    """The rib as large as it fits above the scale bar."""
    above = Box(view.left, view.bottom + FURNITURE_MM, view.width, view.height - FURNITURE_MM)
    rib = plan.centring.rib
    width = float(np.ptp(rib.point(np.array([0.0, rib.length_mm]))[:, 0]))
    return fitted(drawn, above, scales=scales_for(width, above))


def facts(plan: RebuildPlan) -> tuple[str, ...]:
    """Ribs, lagging, wedges and props in short sentences."""
    c = plan.centring
    wide = f"{figure(c.lagging_strip_mm)} mm wide and " if c.lagging_strip_mm else ""
    spaced = f"{figure(c.lagging_pitch_mm)} mm from middle to middle, " if c.lagging_pitch_mm else ""
    if c.lagging_strip_mm and c.lagging_pitch_mm - c.lagging_strip_mm < 1.0:
        spaced = "laid close, "
    long = f"{figure(c.lagging_length_mm)} mm long"
    if not c.has_wall:
        long = "as long as the wall is thick: measure it, it is not recorded"
    return (
        f"{counted(c.n_ribs, 'rib')} of two layers nailed together: front boards are drawn full, back boards "
        "dashed.",
        f"{counted(c.n_lagging, 'lagging strip')} {wide}{figure(c.lagging_mm)} mm thick, {spaced}{long}.",
        f"{counted(c.n_props, 'prop')}, {len(c.props_x_mm)} under each rib with one in the middle.",
        f"{counted(c.n_wedge_pairs, 'pair')} of folding wedges with {figure(c.wedge_travel_mm)} mm of "
        f"travel: {figure(c.slack_mm)} mm to raise the centre, the rest to let it down.",
        f"{counted(c.n_boards, 'board')} to buy; {figure(100.0 * c.waste_ratio)} % of the timber is offcut.",
    )


def boards_schedule(plan: RebuildPlan) -> Schedule:
    """Boards of one rib."""
    columns = (
        Column("board"),
        Column("length"),
        Column("width\nneeded"),
        Column("along the rib\nfrom"),
        Column("\nto"),
    )
    boards = plan.centring.boards
    rows = tuple(
        (
            board_name(boards, k),
            figure(b.length_mm),
            figure(b.width_needed_mm),
            figure(b.start_mm),
            figure(b.end_mm),
        )
        for k, b in enumerate(boards)
    )
    second = next((k for k, b in enumerate(boards) if b.layer == 2), len(boards))
    return Schedule(columns, rows, "Boards of one rib, mm", ruled_before=frozenset({second}))


def ordinates_schedule(plan: RebuildPlan) -> Schedule:
    """Heights of soffit and rib over the springing line, every 100 mm and closer where the rib is steep."""
    columns = (
        Column("from the\nmiddle"),
        Column("height of\nsoffit"),
        Column("height\nof rib"),
        Column("along the\nsoffit"),
        Column("chord\nfrom left"),
    )
    rows = tuple(
        (
            figure(mark.from_axis_mm, 1),
            figure(mark.soffit_y_mm - plan.shape.springing_y_mm, 1),
            figure(mark.rib_y_mm - plan.shape.springing_y_mm, 1),
            figure(mark.along_left_mm, 1),
            figure(mark.chord_left_mm, 1),
        )
        for mark in plan.centring.marks
        if mark.what == "ordinate"
    )
    return Schedule(columns, rows, "Ordinates, mm", ink.TEXT_MM)


def marks_schedule(plan: RebuildPlan) -> Schedule:
    """Both edges of every course along the soffit and along the chord, a row a course."""
    columns = (
        Column("ring/\ncourse"),
        Column("from left\nstart"),
        Column("\nend"),
        Column("from right\nstart"),
        Column("\nend"),
        Column("from crown\nstart"),
        Column("\nend"),
        Column("chord\nstart"),
        Column("\nend"),
    )
    marks = [mark for mark in plan.centring.marks if mark.what == "mark"]
    rows: list[tuple[str, ...]] = []
    ruled: set[int] = set()
    for left, right in zip(marks[::2], marks[1::2], strict=True):
        if not rows or rows[-1][0].split("/")[0] != f"{left.ring}":
            ruled.add(len(rows))
        rows.append(_mark_row(left, right))
    return Schedule(columns, tuple(rows), "Course marks, mm", ruled_before=frozenset(ruled))


def _mark_row(left: CentringMark, right: CentringMark) -> tuple[str, ...]:
    pairs = (
        (left.along_left_mm, right.along_left_mm),
        (left.along_right_mm, right.along_right_mm),
        (left.along_crown_mm, right.along_crown_mm),
        (left.chord_left_mm, right.chord_left_mm),
    )
    return (f"{left.ring}/{left.course}", *(figure(value, 1) for pair in pairs for value in pair))
