"""The laying card: one page in large print for the scaffold, then the full laying list and the dry lay."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import zip_longest

import numpy as np

from survey.fitting.result import ArchFit
from survey.rebuild.laying.laying import DryLayRow, dry_lay
from survey.rebuild.plan import BrickKind, RebuildPlan, RingPlan, Scope
from survey.rebuild.words import counted
from survey.record.model import Record
from survey.sheets.drawing import Anchor, Box, Layer, Placed, Primitive, Sheet, Text
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import (
    KeyEntry,
    notes,
    notes_height_mm,
    orientation_mark,
    rectangle,
    refusal_banner,
)
from survey.sheets.kit.lettering import text_width_mm, wrap
from survey.sheets.kit.page import Page, Paper, TitleBlock, finish, fitted, scales_for
from survey.sheets.kit.schedule import (
    LEADING_RATIO,
    Column,
    Schedule,
    figure,
    flow,
    schedule_height_mm,
    schedule_primitives,
    schedule_width_mm,
)
from survey.sheets.kit.widths import in_large_print, widened
from survey.sheets.rebuild.card_drawing import NAME, card_key, laying_drawing
from survey.sheets.rebuild.work_words import work_sentences
from survey.sheets.report.step_words import common_clauses, every_brick, own_words

LARGE_MM = 3.8
"""Capital height of the card's sentences: read at arm's length and more."""
CAUTION_MM = 2.6
_LEFT_SHARE = 0.53
_GAP_MM = 6.0


def laying_sheets(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    """The card, the list of every step, and the dry lay of every ring that has bricks to lay."""
    del fit  # every set of the rebuild is made from the same three
    area = Paper.A3_LANDSCAPE.area
    banner, banner_height = refusal_banner(plan.refusals, area)
    room = Box(area.left, area.bottom, area.width, area.height - banner_height)
    pages = [_card(record, plan, room, banner)]
    for schedule, title, said in (
        (steps_schedule(plan), "Laying list", (*_COLUMNS_SAID, *every_brick(plan))),
        (dry_schedule(plan), "Dry lay", _dry_said(plan)),
    ):
        if not schedule.rows or plan.refusals:
            continue
        foot = notes_height_mm(said, room.width, n_columns=2, height_mm=ink.TEXT_MM) + 4.0
        reading = Box(room.left, room.bottom, room.width, foot - 4.0)
        table = Box(room.left, room.bottom + foot, room.width, room.height - foot)
        words = notes(said, reading, n_columns=2, height_mm=ink.TEXT_MM)
        large = in_large_print(schedule, table)
        pages += [Page(NAME, title, (*banner, *block, *words)) for block in flow(large, table)]
    return finish(pages, TitleBlock.of(record))


_COLUMNS_SAID = (
    "Marks run along the soffit, on the edge of the lagging, to the edge that is free once the brick lies: "
    "the upper "
    "edge of a plain brick, the outer edge of a turned one, the left edge of a key.",
    "Bevel: the free bed above the level, read with the protractor on the bed; of a turned brick its turn "
    "against the "
    "face. Joint below: on the springing side; of a key on its left. Joints of a turned ring are along the "
    "arch.",
)


def _dry_said(plan: RebuildPlan) -> tuple[str, ...]:
    """How to lay dry, for a whole ring or for gaps."""
    how = (
        "Near and far: from the crown to the edges of the brick along the ring's inner curve; spacer: "
        "across the "
        "joint on its outer side. Only bricks that are to be laid are listed."
    )
    if plan.scope is Scope.REPAIR:
        return (
            how,
            "The bricks of a gap must come out between those that stand, with the spacers of the list.",
        )
    return (
        how,
        "Lay dry from the crown outwards with spacers: left and right must come out alike, and both ends "
        "must meet the springings.",
    )


def _card(record: Record, plan: RebuildPlan, room: Box, banner: Sequence[Primitive]) -> Page:
    """Picture, rings, the order of work in sentences, cautions."""
    marks: list[Primitive] = list(banner)
    title = "LAYING CARD"
    marks.append(Text((room.left, room.top - 7.0), title, 7.0, ink.letters(), bold=True))
    marks += orientation_mark((room.right - 33.0, room.top - 5.0))
    care = _caution_lines(plan.cautions, room.width)
    care_height = _block_height(care, CAUTION_MM) + 12.0
    marks += _cautions(care, Box(room.left, room.bottom, room.width, care_height))
    body = Box(room.left, room.bottom + care_height + _GAP_MM, room.width, 0.0)
    top = room.top - 13.0
    width = room.width * _LEFT_SHARE
    rings = widened(rings_schedule(plan), width)
    table_top = body.bottom + schedule_height_mm(rings)
    marks += schedule_primitives(rings, room.left, table_top)
    marks += _key_line(card_key(plan), room.left, table_top + 4.0)
    view = Box(room.left, table_top + 10.0, width, top - table_top - 10.0)
    placed = _large(plan, view)
    left = room.left + max(width, schedule_width_mm(rings)) + _GAP_MM
    marks += _order(
        work_sentences(record, plan), Box(left, body.bottom, room.right - left, top - body.bottom)
    )
    return Page(NAME, "Laying card", tuple(marks), (placed,), placed.scale)


_SCALES = (
    2.0,
    2.5,
    3.0,
    4.0,
    5.0,
    6.0,
    7.5,
    10.0,
    12.5,
    15.0,
    17.5,
    20.0,
    25.0,
    30.0,
    40.0,
    50.0,
    75.0,
    100.0,
)
"""Scales 1 : n of the picture: as large as it fits matters more here than a round scale."""


def _large(plan: RebuildPlan, view: Box) -> Placed:
    """The picture as large as it fits."""
    outer = plan.rings[-1].outer
    width = float(np.ptp(outer.point(np.array([0.0, outer.length_mm]))[:, 0]))
    return fitted(lambda scale: laying_drawing(plan, scale), view, scales=scales_for(width, view, _SCALES))


def _key_line(entries: Sequence[KeyEntry], left: float, bottom: float) -> list[Primitive]:
    """The key in one line, in print for the scaffold."""
    marks: list[Primitive] = []
    x = left
    for entry in entries:
        marks.append(rectangle(Box(x, bottom, 8.0, 3.8), entry.style))
        text = Text((x + 9.5, bottom + 0.7), entry.meaning, ink.TEXT_MM, ink.letters())
        marks.append(text)
        x += 9.5 + text_width_mm(entry.meaning, ink.TEXT_MM) + 4.0
    return marks


def _block_height(lines: Sequence[Sequence[str]], height_mm: float) -> float:
    return sum(len(block) for block in lines) * height_mm * LEADING_RATIO


def _caution_lines(sentences: Sequence[str], width: float) -> list[tuple[str, ...]]:
    return [wrap(f"– {sentence}", width - 12.0, CAUTION_MM) for sentence in sentences]


def _cautions(lines: Sequence[Sequence[str]], box: Box) -> list[Primitive]:
    """Cautions in larger print than on other sheets, in a heavy frame."""
    marks: list[Primitive] = [rectangle(box, ink.pen(Layer.CAUTION, ink.HEAVY_MM))]
    y = box.top - 7.0
    head = ink.letters(Layer.CAUTION)
    marks.append(Text((box.left + 5.0, y), "Before any work, every day", 3.4, head, bold=True))
    for block in lines:
        for line in block:
            y -= CAUTION_MM * LEADING_RATIO
            marks.append(Text((box.left + 5.0, y), line, CAUTION_MM, ink.letters(Layer.CAUTION)))
    return marks


def _order(sentences: Sequence[str], box: Box) -> list[Primitive]:
    """Numbered sentences, as large as they fit, at least in the least print that reads on a site."""
    height = LARGE_MM
    while height > ink.SMALL_TEXT_MM and _order_height(sentences, box.width, height) > box.height:
        height -= 0.1
    marks: list[Primitive] = []
    y = box.top
    for number, sentence in enumerate(sentences, start=1):
        marks.append(Text((box.left, y - height * 1.4), f"{number}", height, ink.letters(), bold=True))
        for line in wrap(sentence, box.width - 9.0, height):
            y -= height * LEADING_RATIO
            marks.append(Text((box.left + 9.0, y + height * 0.35), line, height, ink.letters()))
        y -= height * 0.6
    return marks


def _order_height(sentences: Sequence[str], width: float, height: float) -> float:
    lines = sum(len(wrap(sentence, width - 9.0, height)) for sentence in sentences)
    return lines * height * LEADING_RATIO + len(sentences) * height * 0.6


def rings_schedule(plan: RebuildPlan) -> Schedule:
    """What a bricklayer keeps in the head about each ring."""
    columns = (
        Column("ring"),
        Column("to\nlay"),
        Column("joints\nfrom"),
        Column("\nto"),
        Column("depth\ngauge"),
        Column("how", Anchor.LEFT, wrap_mm=78.0),
    )
    rows = tuple(_ring_row(ring, refused=bool(plan.refusals)) for ring in plan.rings)
    return Schedule(columns, rows, "Rings, mm", ink.HEAD_MM - 0.4)


def _ring_row(ring: RingPlan, *, refused: bool) -> tuple[str, ...]:
    low, high = joint_range(ring)
    n = sum(brick.kind is not BrickKind.IN_SITU and not brick.laid for brick in ring.bricks)
    stands = any(brick.kind is BrickKind.IN_SITU for brick in ring.bricks)
    laid = sum(brick.laid for brick in ring.bricks)
    how = "from both springings to the key"
    if ring.sawtooth:
        how = f"from the middle outwards, protractor {figure(math.degrees(ring.turn_rad))}°"
    elif stands:
        how = "gap after gap, each from its lower end up"
    if refused and n:
        how = "not to be built"
    elif not n:
        how = "done" if laid else "stands"
    elif laid:
        how = f"{how}; {counted(laid, 'brick')} laid"
    return (f"{ring.ring}", f"{n}", figure(low, 1), figure(high, 1), figure(ring.depth_gauge_mm), how)


def joint_range(ring: RingPlan) -> tuple[float, float]:
    """Least and greatest joint square across that is made while laying; NaN where nothing is laid.

    A turned ring's joints are measured along the arch; across the joint they are smaller by the cosine of
    the turn.
    """
    joints = [ring.springing_joint_intrados_mm, *(b.joint_after_intrados_mm for b in ring.bricks)]
    laid = [b.kind is not BrickKind.IN_SITU for b in ring.bricks]
    made = [j for j, a, b in zip(joints, [False, *laid], [*laid, False], strict=True) if a or b]
    across = math.cos(ring.turn_rad) if ring.sawtooth else 1.0
    return (min(made) * across, max(made) * across) if made else (math.nan, math.nan)


def steps_schedule(plan: RebuildPlan) -> Schedule:
    """Every step in order, stops ruled off and said in words."""
    columns = (
        Column("step"),
        Column("ring/\ncourse"),
        Column("side", Anchor.LEFT),
        Column("mark from\nspringing"),
        Column("mark from\ncrown"),
        Column("bevel\ndegrees"),
        Column("joint\nbelow"),
        Column("joint\nabove"),
        Column("depth\ngauge"),
        Column("which brick, and what else", Anchor.LEFT, wrap_mm=58.0),
    )
    common = common_clauses(plan)
    rows = tuple(
        (
            f"{s.step}",
            f"{s.ring}/{s.course}",
            s.side,
            figure(s.from_springing_mm, 1),
            figure(s.from_crown_mm, 1),
            figure(math.degrees(s.bevel_rad), 1),
            figure(s.joint_below_mm, 1),
            figure(s.joint_above_mm, 1),
            figure(s.depth_gauge_mm),
            ("STOP: " if s.stop else "") + own_words(s, common),
        )
        for s in plan.laying
    )
    rings = np.array([s.ring for s in plan.laying])
    ruled = frozenset(int(k) + 1 for k in np.flatnonzero(np.diff(rings))) if len(rings) else frozenset()
    return Schedule(columns, rows, "Laying list, mm", ink.TEXT_MM, ruled)


def dry_schedule(plan: RebuildPlan) -> Schedule:
    """Trial lay from the crown outwards, left and right side by side."""
    columns = (
        Column("ring"),
        Column("left\ncourse"),
        Column("\nnear"),
        Column("\nfar"),
        Column("\nspacer"),
        Column("right\ncourse"),
        Column("\nnear"),
        Column("\nfar"),
        Column("\nspacer"),
    )
    rows: list[tuple[str, ...]] = []
    ruled: set[int] = set()
    laid = {r.ring: {s.course for s in plan.laying if s.ring == r.ring} for r in plan.rings}
    for ring in plan.rings:
        if laid[ring.ring]:
            ruled.add(len(rows))
            rows.extend(_dry_rows(ring, laid[ring.ring]))
    return Schedule(columns, tuple(rows), "Dry lay, mm", ink.TEXT_MM, frozenset(ruled))


def _dry_rows(ring: RingPlan, laid: set[int]) -> list[tuple[str, ...]]:
    """Bricks to be laid, left and right of the crown in pairs; the one over the crown stands alone."""
    trial = [row for row in dry_lay(ring) if row.course in laid]
    across = math.cos(ring.turn_rad) if ring.sawtooth else 1.0
    trial = [replace(row, joint_mm=row.joint_mm * across) for row in trial]
    rows = [(f"{ring.ring}", *_dry_cells(row), "crown", "", "", "") for row in trial if row.side == "middle"]
    left, right = ([row for row in trial if row.side == side] for side in ("left", "right"))
    for pair in zip_longest(left, right):
        rows.append((f"{ring.ring}", *(cell for row in pair for cell in _dry_cells(row))))
    return rows


def _dry_cells(row: DryLayRow | None) -> tuple[str, ...]:
    if row is None:
        return ("",) * 4
    return (f"{row.course}", figure(row.near_mm, 1), figure(row.far_mm, 1), figure(row.joint_mm, 1))
