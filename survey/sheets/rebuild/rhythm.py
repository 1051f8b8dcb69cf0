"""The rhythm sheet: bricks and joints as they were, above those planned, unrolled along the arc."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan, RingPlan
from survey.record.model import Record
from survey.sheets.drawing import (
    Anchor,
    Box,
    Dash,
    Layer,
    Line,
    Polyline,
    Primitive,
    Sheet,
    Style,
    Text,
)
from survey.sheets.kit import ink, strip
from survey.sheets.kit.brickwork import STATE_STYLES, BrickState, brick_state, missing_courses
from survey.sheets.kit.furniture import (
    KeyEntry,
    cautions,
    cautions_height_mm,
    key,
    key_width_mm,
    orientation_mark,
    rectangle,
    refusal_banner,
)
from survey.sheets.kit.labels import thinned
from survey.sheets.kit.page import Page, Paper, TitleBlock, finish
from survey.sheets.kit.schedule import Column, Schedule, figure, schedule_primitives, schedule_width_mm

NAME = "rhythm"
_RINGS_A_PAGE = 2
_MOST_MM = 140.0
"""Height of a ring that has the sheet to itself."""
_LEFT_MM = 14.0
"""For the figures of the joint scale."""
_BRICKS_MM = 8.0
_HEAD_MM = 24.0
"""Title and key above the rings."""
_MEASURED = ink.area(Layer.JOINT, ink.BLACK, width_mm=0.1)
_INFERRED = ink.area(Layer.JOINT, ink.WHITE, width_mm=ink.FINE_MM)
_PLANNED = ink.area(Layer.JOINT, ink.PALE, width_mm=ink.FINE_MM)
_WAS = ink.area(Layer.BRICK)
_WAS_INFERRED = Style(Layer.BRICK, ink.FINE_MM, ink.BLACK, fill=ink.PALE, dash=Dash.DASHED)


@dataclass(frozen=True, slots=True, eq=False)
class _Row:
    """Bricks and joints of one ring one after the other, as recorded or as planned."""

    start_mm: Floats
    end_mm: Floats
    joints_mm: Floats
    joint_at_mm: Floats

    @property
    def total_mm(self) -> float:
        """Where the last joint ends."""
        return float(self.end_mm[-1] + self.joints_mm[-1])


def rhythm_sheets(record: Record, fit: ArchFit, plan: RebuildPlan) -> tuple[Sheet, ...]:
    """Original and planned rhythm of every ring, two rings a sheet."""
    del fit  # every set of the rebuild is made from the same three
    area = Paper.A3_LANDSCAPE.area
    rings = [ring for ring in plan.rings if ring.bricks]
    pages = []
    for first in range(0, len(rings), _RINGS_A_PAGE):
        banner, banner_height = refusal_banner(plan.refusals, area)
        care_height = cautions_height_mm(plan.cautions, area.width, n_columns=4)
        care = Box(area.left, area.bottom, area.width, care_height)
        low = care.top + 3.0
        room = Box(area.left, low, area.width, area.top - banner_height - low)
        marks: list[Primitive] = [
            *banner,
            *_head(record, plan, room),
            *cautions(plan.cautions, care, n_columns=4),
        ]
        here = rings[first : first + _RINGS_A_PAGE]
        height = min((room.height - _HEAD_MM) / len(here), _MOST_MM)
        for k, ring in enumerate(here):
            box = Box(room.left, room.top - _HEAD_MM - (k + 1) * height, room.width, height)
            marks += _ring(record, ring, box)
        pages.append(Page(NAME, "Rhythm of bricks and joints", tuple(marks)))
    return finish(pages, TitleBlock.of(record))


def _head(record: Record, plan: RebuildPlan, room: Box) -> list[Primitive]:
    """What the sheet shows, and its key in one line, as far as its entries occur."""
    missing = missing_courses(record)
    states = {brick_state(brick, missing) for brick in plan.bricks}
    title = "The rhythm that was there, above the one planned, unrolled from the left springing to the right"
    marks: list[Primitive] = [
        Text((room.left, room.top - ink.HEAD_MM), title, ink.HEAD_MM, ink.letters(), bold=True),
        *orientation_mark((room.right - 34.0, room.top - ink.HEAD_MM)),
    ]
    known = [joint for ring in plan.rings for joint in ring.recorded_joints]
    unknown = any(not (a or b) for ring in plan.rings for a, b in pairwise(ring.recorded_joints))
    entries = (
        *([KeyEntry(_MEASURED, "joint measured")] if any(known) else []),
        *([KeyEntry(_INFERRED, "joint inferred")] if not all(known) else []),
        KeyEntry(_PLANNED, "joint planned"),
        *([KeyEntry(_WAS_INFERRED, "brick inferred")] if unknown else []),
        *(KeyEntry(STATE_STYLES[state], state.value) for state in BrickState if state in states),
    )
    x = room.left
    for entry in entries:
        # only the one line of the key is wanted, so its heading is left off
        marks += [mark for mark in key((entry,), x, room.top - 5.5) if not _is_heading(mark)]
        x += key_width_mm((entry,)) + 5.0
    return marks


def _is_heading(mark: Primitive) -> bool:
    return isinstance(mark, Text) and mark.bold


def original_row(ring: RingPlan) -> _Row:
    """The rhythm aimed at, laid end to end from the left springing."""
    return _row(ring.original_widths_mm, ring.original_joints_mm)


def planned_row(ring: RingPlan) -> _Row:
    """Widths and joints of the plan."""
    widths = np.array([b.width_intrados_mm for b in ring.bricks])
    after = [b.joint_after_intrados_mm for b in ring.bricks]
    return _row(widths, np.array([ring.springing_joint_intrados_mm, *after]))


def _row(widths: Floats, joints: Floats) -> _Row:
    end = np.cumsum(joints[:-1] + widths)
    start = end - widths
    return _Row(start, end, joints, np.concatenate([[0.0], end]) + joints / 2.0)


def _ring(record: Record, ring: RingPlan, box: Box) -> list[Primitive]:
    """Bricks as they were, their joints, the joints planned, the bricks planned, and figures beside."""
    was, planned = original_row(ring), planned_row(ring)
    table = comparison(ring)
    width = schedule_width_mm(table)
    plot = Box(box.left + _LEFT_MM, box.bottom, box.width - _LEFT_MM - width - 6.0, box.height)
    span = (0.0, max(was.total_mm, planned.total_mm))
    limits = (ring.joint_min_mm, ring.joint_max_mm)
    top = 1.12 * max(limits[1], float(was.joints_mm.max()), float(planned.joints_mm.max()))
    bar_height = (plot.height - 2 * _BRICKS_MM - 34.0) / 2
    y = plot.top - 7.0
    marks: list[Primitive] = [
        Text((box.left, plot.top - ink.TEXT_MM), f"Ring {ring.ring}", ink.HEAD_MM, ink.letters(), bold=True),
        *schedule_primitives(table, plot.right + 6.0, plot.top - 4.0),
    ]
    recorded = np.array(ring.recorded_joints, dtype=bool)
    y -= _BRICKS_MM
    lane = strip.Strip(Box(plot.left, y, plot.width, _BRICKS_MM), span, (0.0, 1.0))
    styles = [_WAS if a or b else _WAS_INFERRED for a, b in pairwise(recorded)]
    marks += _bricks(lane, was, styles)
    y -= bar_height + 6.0
    upper = strip.Strip(Box(plot.left, y, plot.width, bar_height), span, (0.0, top))
    marks += strip.ruled(upper, "Joints that were there, mm")
    marks += _bars(upper, was, [_MEASURED if known else _INFERRED for known in recorded])
    y -= bar_height + 8.0
    lower = strip.Strip(Box(plot.left, y, plot.width, bar_height), span, (0.0, top))
    marks += strip.ruled(lower, f"Joints planned, mm; limits {limits[0]:.1f} and {limits[1]:.1f} dashed")
    marks += [*_bars(lower, planned, [_PLANNED] * len(planned.joints_mm)), *_limits(lower, limits)]
    y -= _BRICKS_MM + 2.5
    lane = strip.Strip(Box(plot.left, y, plot.width, _BRICKS_MM), span, (0.0, 1.0))
    missing = missing_courses(record)
    marks += _bricks(lane, planned, [STATE_STYLES[brick_state(b, missing)] for b in ring.bricks])
    marks += _numbers(lane, planned, y - 1.2 - ink.SMALL_TEXT_MM)
    return marks


def _bricks(lane: strip.Strip, row: _Row, styles: list[Style]) -> list[Primitive]:
    """Bricks side by side, joints left open between them."""
    marks: list[Primitive] = [
        rectangle(lane.box, Style(Layer.JOINT, 0.0, "", fill=ink.WASH)),
    ]
    for start, end, style in zip(row.start_mm, row.end_mm, styles, strict=True):
        left, right = lane.x_at(float(start)), lane.x_at(float(end))
        marks.append(rectangle(Box(left, lane.box.bottom, right - left, lane.box.height), style))
    return marks


def _numbers(lane: strip.Strip, row: _Row, y: float) -> list[Text]:
    """Course numbers under the bricks, thinned to what is legible."""
    middle = (row.start_mm + row.end_mm) / 2.0
    return list(
        thinned(
            [
                Text((lane.x_at(float(at)), y), f"{k}", ink.SMALL_TEXT_MM, ink.letters(), Anchor.MIDDLE)
                for k, at in enumerate(middle, start=1)
            ]
        )
    )


def _bars(plot: strip.Strip, row: _Row, styles: list[Style]) -> list[Primitive]:
    """A bar for every joint, as high as it is wide, standing where the joint is."""
    pitch = plot.box.width / max(len(row.joints_mm), 1)
    half = min(0.3 * pitch, 1.4)
    foot = plot.box.bottom
    marks: list[Primitive] = []
    for at, joint, style in zip(row.joint_at_mm, row.joints_mm, styles, strict=True):
        x, high = plot.x_at(float(at)), plot.y_at(float(joint))
        left, right = max(x - half, plot.box.left), min(x + half, plot.box.right)
        corners = ((left, foot), (right, foot), (right, high), (left, high))
        marks.append(Polyline(corners, style, closed=True))
    return marks


def _limits(plot: strip.Strip, limits: tuple[float, float]) -> list[Primitive]:
    dashed = ink.pen(Layer.JOINT, ink.FINE_MM, ink.ACCENT, dash=Dash.DASHED)
    box = plot.box
    return [Line((box.left, plot.y_at(v)), (box.right, plot.y_at(v)), dashed) for v in limits]


def comparison(ring: RingPlan) -> Schedule:
    """Figures of both rhythms side by side, and how well the planned one follows."""
    was, planned = original_row(ring), planned_row(ring)
    off = planned.joints_mm - was.joints_mm
    worst = int(np.argmax(np.abs(off)))
    rows: list[tuple[str, str, str]] = [
        ("courses", f"{len(was.start_mm)}", f"{len(planned.start_mm)}"),
        ("length", figure(was.total_mm, 1), figure(planned.total_mm, 1)),
    ]
    rows += [
        (words, figure(a, 1), figure(b, 1))
        for words, a, b in zip(_WORDS, _figures(was), _figures(planned), strict=True)
    ]
    together = (
        "–"
        if min(np.ptp(was.joints_mm), np.ptp(planned.joints_mm)) < 1e-6
        else figure(float(np.corrcoef(was.joints_mm, planned.joints_mm)[0, 1]), 2)
    )
    rows += [
        ("joints inferred", f"{ring.recorded_joints.count(False)}", ""),
        ("correlation of joints", "", together),
        ("rms change of joints", "", figure(float(np.sqrt(np.mean(off**2))), 1)),
        (
            "greatest change",
            "",
            f"{_signed(float(off[worst]))} after {worst}" if abs(off[worst]) >= 0.05 else "0.0",
        ),
    ]
    columns = (Column("mm", Anchor.LEFT), Column("was"), Column("planned"))
    return Schedule(columns, tuple(rows), height_mm=ink.TEXT_MM)


_WORDS = (
    "mean width",
    "mean joint",
    "least joint",
    "greatest joint",
    "joints, outer thirds",
    "joints, crown third",
)


def _figures(row: _Row) -> tuple[float, ...]:
    """Figures of one rhythm, in the order of ``_WORDS``."""
    joints = row.joints_mm
    return (
        float((row.end_mm - row.start_mm).mean()),
        float(joints.mean()),
        float(joints.min()),
        float(joints.max()),
        _third(joints, outer=True),
        _third(joints, outer=False),
    )


def _third(joints: Floats, *, outer: bool) -> float:
    """Mean of the joints in the two outer thirds, or in the third about the crown."""
    n = len(joints)
    middle = np.zeros(n, dtype=bool)
    middle[n // 3 : n - n // 3] = True
    return float(joints[~middle if outer else middle].mean())


def _signed(value: float) -> str:
    return f"+{figure(value, 1)}" if value > 0 else figure(value, 1)
