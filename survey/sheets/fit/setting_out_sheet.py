"""The setting-out sheets: how the curve is struck, in figures and words, and the table of every course."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from functools import cache

import numpy as np

from survey.curves import ChainOfArcs, curve_of, setting_out
from survey.fitting.result import ArchFit
from survey.rebuild.plan import Brick, BrickKind, CurveChoice, RebuildPlan
from survey.sheets.drawing import (
    XY,
    Anchor,
    Box,
    Circle,
    Dash,
    Dimension,
    Drawing,
    Layer,
    Line,
    Placed,
    Primitive,
    Text,
)
from survey.sheets.fit.facts import facts_schedule
from survey.sheets.fit.level import level_of
from survey.sheets.fit.striking import striking
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
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.page import Page, Paper, fitted
from survey.sheets.kit.placing import on_paper
from survey.sheets.kit.schedule import Column, Schedule, figure, flow, schedule_height_mm, schedule_primitives
from survey.sheets.kit.widths import in_large_print

NAME = "setting_out"
_GAP_MM = 6.0
_WORDS_MM = 128.0
"""Width of the column of words."""
_TABLE_MM = 100.0
"""From the left side of one table below the drawing to the next."""
_FIRST_ROW_MM = 9.0
_SLACK_MM = 0.1
"""So much more room than words ask for is none too much."""
_NOTES_MM = (3.0, 2.6)
"""Capital heights tried for notes that leave their sheet half empty."""


def setting_out_pages(fit: ArchFit, plan: RebuildPlan) -> tuple[Page, ...]:
    """First how the curve is struck, then the table of courses over as many sheets as it needs."""
    area = Paper.A3_LANDSCAPE.area
    drawn = cache(lambda scale: striking_drawing(plan, scale))
    pages = [
        in_caution_print(
            lambda size: _curve_page(fit, plan, drawn, area, size), lambda page: (page.placed[0].scale,)
        )
    ]
    banner, banner_height = refusal_banner(plan.refusals, area)
    how = how_to_read(plan)
    foot = notes_height_mm(how, area.width, n_columns=3) + 4.0
    room = Box(area.left, area.bottom + foot, area.width, area.height - foot - banner_height)
    reading = notes(how, Box(area.left, area.bottom, area.width, foot - 4.0), n_columns=3)
    large = in_large_print(courses_schedule(plan), room)
    blocks = flow(large, room)
    words = _notes_below(plan, large, room) if len(blocks) == 1 else ()
    title = "Setting-out table of the courses" + (", and notes" if words else "")
    pages += [Page(NAME, title, (*block, *words, *reading, *banner)) for block in blocks]
    if words:
        return tuple(pages)
    below = Box(area.left, area.bottom, area.width, area.height - banner_height)
    return (*pages, *_notes_pages(plan, below, banner))


def _notes_below(plan: RebuildPlan, table: Schedule, room: Box) -> tuple[Primitive, ...]:
    """The notes below a table that stands on its page in one block, in the largest print in which they all
    fit; nothing where they do not."""
    low = schedule_height_mm(table) + 2 * _GAP_MM
    if low >= room.height:
        return ()
    under = Box(room.left, room.bottom, room.width, room.height - low)
    for size in (*_NOTES_MM, ink.TEXT_MM):
        if _notes_height(plan, under.width, size) <= under.height - _SLACK_MM:
            return tuple(m for page in _set_notes(plan, under, size) for m in page)
    return ()


def _notes_height(plan: RebuildPlan, width_mm: float, size: float) -> float:
    """Height of all notes in one print, one group below the other."""
    groups = [(title, said) for title, said in (("Mind", plan.warnings), ("Notes", plan.notes)) if said]
    gaps_mm = 2 * _GAP_MM * (len(groups) - 1)
    return sum(_words_height(said, title, width_mm, size) for title, said in groups) + gaps_mm


_LEAST_OFF_MM = 0.05
"""A middle so near to the frame's is written as the same."""


def how_to_read(plan: RebuildPlan) -> tuple[str, ...]:
    """What the columns of the table of courses mean, and where the rib's middle stands if not at 0."""
    soffit = plan.rings[0].inner
    middle = float(soffit.point(np.array([0.0, soffit.length_mm]))[:, 0].mean())
    rib = f" The rib's own middle stands at x = {figure(middle, 1)}." if abs(middle) >= _LEAST_OFF_MM else ""
    return (
        "From left and from crown are running lengths in mm along the inner curve of the ring, each from its "
        "own zero, so that one wrong bay shifts no other.",
        "x runs level to the right and y plumb upwards from the middle of the fitted springing line, to the "
        f"intrados corners of the brick.{rib}",
        "Bed angle: the course's centre line above the horizontal, in degrees. Joint: after the course, "
        "towards the right; course 0 is the joint above the left springing.",
    )


def courses_schedule(plan: RebuildPlan) -> Schedule:
    """Every course of every ring as a table, course 0 for the joint at the left springing."""
    columns = (
        Column("ring/\ncourse"),
        Column("brick,\ntemplet", Anchor.LEFT),
        Column("width"),
        Column("from left\nstart"),
        Column("\nend"),
        Column("from\ncrown"),
        Column("x left"),
        Column("y left"),
        Column("x right"),
        Column("y right"),
        Column("bed\nangle"),
        Column("joint at\nintrados"),
        Column("joint at\nextrados"),
    )
    rows: list[tuple[str, ...]] = []
    ruled = set()
    for ring in plan.rings:
        ruled.add(len(rows))
        joints = (figure(ring.springing_joint_intrados_mm, 1), figure(ring.springing_joint_extrados_mm, 1))
        rows.append((f"{ring.ring}/0", "springing", *("",) * 9, *joints))
        rows.extend(_row(brick) for brick in ring.bricks)
    return Schedule(columns, tuple(rows), ruled_before=frozenset(ruled))


def _row(brick: Brick) -> tuple[str, ...]:
    (x1, y1), (x2, y2) = brick.corners_mm[0], brick.corners_mm[1]
    return (
        f"{brick.ring}/{brick.course}",
        brick_words(brick),
        figure(brick.width_intrados_mm, 1),
        figure(brick.station_start_mm, 1),
        figure(brick.station_end_mm, 1),
        figure(brick.from_crown_mm, 1),
        figure(x1, 1),
        figure(y1, 1),
        figure(x2, 1),
        figure(y2, 1),
        figure(math.degrees(brick.bed_angle_rad), 1),
        figure(brick.joint_after_intrados_mm, 1),
        figure(brick.joint_after_extrados_mm, 1),
    )


def brick_words(brick: Brick) -> str:
    """What a brick is, in a few words, with its templet."""
    if brick.kind is BrickKind.IN_SITU:
        return "stands"
    words = "laid, " if brick.laid else ""
    words += "key, " if brick.kind is BrickKind.KEY else ""
    words += brick.source if brick.source in ("new", "original") else f"salvaged {brick.source}"
    return f"{words}, {brick.templet}" if brick.templet else words


def _curve_page(
    fit: ArchFit, plan: RebuildPlan, drawn: Callable[[float], Drawing], area: Box, caution_mm: float
) -> Page:
    """The curve alone with its centres or foci; beside it the words, below it the points and the cautions."""
    banner, banner_height = refusal_banner(plan.refusals, area)
    caution_height = cautions_height_mm(plan.cautions, area.width, n_columns=4, height_mm=caution_mm)
    caution_box = Box(area.left, area.bottom, area.width, caution_height)
    foot = caution_box.top + _GAP_MM
    column = Box(area.right - _WORDS_MM, foot, _WORDS_MM, area.top - banner_height - foot)
    words = (
        (f"How the intrados is set out{which_curve(fit, plan)}", setting_out(plan.shape).sentences()),
        ("How the rib is struck", plan.centring.setting_out),
    )
    tables = (points_schedule(plan), facts_schedule(fit, plan))
    used = _words_used_mm(words, column.width, ink.TEXT_MM)
    beside = Box(column.left, column.bottom, column.width, column.height - used)
    below = Box(area.left, foot, column.left - area.left - _GAP_MM, max(map(schedule_height_mm, tables)))
    fits = sum(schedule_height_mm(table) + _GAP_MM for table in tables) <= beside.height
    corners = _stacked(tables, beside) if fits else _side_by_side(tables, below)
    marks: list[Primitive] = [
        *banner,
        *_set_words(words, column),
        *cautions(plan.cautions, caution_box, n_columns=4, height_mm=caution_mm),
        *(m for table, at in zip(tables, corners, strict=True) for m in schedule_primitives(table, *at)),
    ]
    room_foot = foot if fits else below.top + _GAP_MM
    room = Box(area.left, room_foot, below.width, column.top - room_foot)
    above = Box(room.left, room.bottom + FURNITURE_MM, room.width, room.height - FURNITURE_MM)
    placed = fitted(drawn, above)
    marks.extend(scale_bar((room.left, room.bottom), placed.scale))
    marks.extend(orientation_mark((room.right - 33.0, room.bottom + 1.0)))
    return Page(NAME, "Setting out of the curve", tuple(marks), (placed,), placed.scale)


def _stacked(tables: Sequence[Schedule], box: Box) -> list[XY]:
    """Upper left corners of tables, one below the other from the top of a box."""
    heights = [schedule_height_mm(table) + _GAP_MM for table in tables]
    return [(box.left, box.top - sum(heights[:k])) for k in range(len(tables))]


def _side_by_side(tables: Sequence[Schedule], box: Box) -> list[XY]:
    """Upper left corners of tables, one beside the other."""
    return [(box.left + k * _TABLE_MM, box.top) for k in range(len(tables))]


def which_curve(fit: ArchFit, plan: RebuildPlan) -> str:
    """Which of a moved arch's curves a plan follows, to go after a comma; blank where there is but one."""
    if fit.movement is None:
        return ""
    told = {
        CurveChoice.ORIGINAL.value: "as before it moved",
        CurveChoice.PRESENT.value: "to the springings of today",
    }
    return f", {told.get(plan.choice, 'through the arch as it stands')}"


Words = Iterable[tuple[str, tuple[str, ...]]]
"""Titled sentences."""


def _words_used_mm(words: Words, width_mm: float, size: float) -> float:
    """Height that titled sentences take in a column, with a gap after each group."""
    return sum(
        notes_height_mm(said, width_mm, title=title, height_mm=size) + _GAP_MM
        for title, said in words
        if said
    )


def _set_words(words: Words, column: Box) -> list[Text]:
    """Titled sentences from the top of a column downwards, smaller where they would not fit."""
    size = ink.TEXT_MM
    if _words_used_mm(words, column.width, size) > column.height:
        size = ink.SMALL_TEXT_MM
    marks: list[Text] = []
    y = column.top
    for title, said in ((title, said) for title, said in words if said):
        height = notes_height_mm(said, column.width, title=title, height_mm=size)
        box = Box(column.left, max(y - height, column.bottom), column.width, min(height, y - column.bottom))
        marks.extend(notes(said, box, title=title, height_mm=size))
        y -= height + _GAP_MM
    return marks


def _notes_pages(plan: RebuildPlan, area: Box, banner: Sequence[Primitive]) -> list[Page]:
    """What to mind and what was decided, over as many sheets as it needs; none without anything to say."""
    least = _set_notes(plan, area, ink.TEXT_MM)
    larger = (_set_notes(plan, area, size) for size in _NOTES_MM)
    pages = next((pages for pages in larger if len(pages) <= len(least)), least)
    return [Page(NAME, "Notes to the rebuild", (*banner, *page)) for page in pages]


def _set_notes(plan: RebuildPlan, area: Box, size: float) -> list[tuple[Primitive, ...]]:
    """The notes page by page, in one print."""
    pages: list[tuple[Primitive, ...]] = []
    marks: list[Primitive] = []
    y = area.top
    for title, said in (("Mind", plan.warnings), ("Notes", plan.notes)):
        rest = said
        while rest:
            room = Box(area.left, area.bottom, area.width, y - area.bottom)
            count = _sentences_that_fit(rest, title, room, size)
            if count == 0 and marks:
                pages.append(tuple(marks))
                marks, y = [], area.top
                continue
            part = rest[: max(count, 1)]
            height = _words_height(part, title, area.width, size)
            box = Box(area.left, y - height, area.width, height)
            marks.extend(notes(part, box, title=title, height_mm=size, n_columns=2))
            y -= height + 2 * _GAP_MM
            rest = rest[len(part) :]
    return [*pages, tuple(marks)] if marks else pages


def _words_height(sentences: tuple[str, ...], title: str, width: float, size: float) -> float:
    return notes_height_mm(sentences, width, title=title, height_mm=size, n_columns=2)


def _sentences_that_fit(sentences: tuple[str, ...], title: str, room: Box, size: float) -> int:
    """Number of leading sentences that fit a room together with their title."""
    count = len(sentences)
    while count and _words_height(sentences[:count], title, room.width, size) > room.height:
        count -= 1
    return count


def striking_drawing(plan: RebuildPlan, scale: float) -> Drawing:
    """Intrados and rib profile with springing line, axis, centres or foci, span and rise."""
    curve = curve_of(plan.shape)
    left, right = (_pair(xy) for xy in curve.point(np.array([0.0, curve.length_mm])))
    middle = ((left[0] + right[0]) / 2, (left[1] + right[1]) / 2)
    crown = _pair(curve.point(curve.length_mm / 2))
    chain = ink.pen(Layer.SETTING_OUT, ink.FINE_MM, dash=Dash.CHAIN)
    pen = ink.pen(Layer.DIMENSION, ink.FINE_MM)
    marks: list[Primitive] = [
        Line(left, right, chain),
        Line(middle, crown, chain),
        *curve_primitives(plan.centring.rib, ink.pen(Layer.CENTRING, ink.FINE_MM, dash=Dash.DASHED)),
        *curve_primitives(curve, ink.pen(Layer.CURVE, ink.HEAVY_MM)),
        Dimension(left, right, f"clear span {figure(math.dist(left, right))}", -_FIRST_ROW_MM, pen),
        Dimension(middle, crown, f"rise {figure(plan.shape.rise_mm)}", 5.0, pen),
    ]
    if isinstance(curve, ChainOfArcs):
        dot = ink.area(Layer.SETTING_OUT, ink.WHITE, width_mm=ink.MEDIUM_MM)
        marks.extend(Circle(_pair(xy), 0.8, dot) for xy in curve.junctions_mm)
    struck, level = striking(plan.shape, scale), level_of(left, right, scale)
    marks.extend([*struck.marks, *level.marks])
    drawing = Drawing(NAME, tuple(marks))
    at_origin = Placed(drawing, (0.0, 0.0), (0.0, 0.0), scale)
    taken = [mark for mark in on_paper(at_origin) if isinstance(mark, Text)]
    labels = place_labels((*struck.wanted, *level.wanted), taken, struck.keep_out)
    return Drawing(NAME, (*marks, *(_to_model(text, scale) for text in labels.texts)))


def _to_model(text: Text, scale: float) -> Text:
    return Text(
        (text.at[0] * scale, text.at[1] * scale),
        text.text,
        text.height_mm,
        text.style,
        text.anchor,
        text.turn_rad,
        text.bold,
        text.backed,
    )


def points_schedule(plan: RebuildPlan) -> Schedule:
    """Springings, crown, centres or foci, and junctions with their coordinates."""
    curve = curve_of(plan.shape)
    ends = curve.point(np.array([0.0, curve.length_mm / 2, curve.length_mm]))
    points: list[tuple[str, XY]] = [
        ("left springing", _pair(ends[0])),
        ("crown", _pair(ends[1])),
        ("right springing", _pair(ends[2])),
    ]
    if isinstance(curve, ChainOfArcs):
        n_arcs = len(curve.radii_mm)
        for k, xy in enumerate(curve.centres_mm):
            n = min(k, n_arcs - 1 - k) + 1
            side = "" if 2 * k + 1 == n_arcs else " left" if k < n_arcs / 2 else " right"
            points.append((f"centre C{n}{side}", _pair(xy)))
        for k, xy in enumerate(curve.junctions_mm[1:-1], start=1):
            side = "left" if k < n_arcs / 2 else "right"
            n = min(k, n_arcs - k)
            points.append((f"arcs {n} and {n + 1} meet, {side}", _pair(xy)))
    else:
        points += [(f"pin F{n}", _pair(xy)) for n, xy in enumerate(curve.foci_mm, start=1)]
    columns = (Column("point", Anchor.LEFT), Column("x level"), Column("y plumb"))
    return Schedule(columns, tuple((name, figure(x, 1), figure(y, 1)) for name, (x, y) in points))


def _pair(xy: np.ndarray) -> XY:
    return float(xy[0]), float(xy[1])
