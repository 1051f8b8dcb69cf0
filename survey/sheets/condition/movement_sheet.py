"""The movement sheet: pieces as they moved, hinges, residuals before and after, signs, cautions."""

from __future__ import annotations

import math

import numpy as np

from survey.condition.movement_view import (
    AGAINST_SPRINGINGS,
    MovementResiduals,
    MovementView,
    movement_residuals,
    view_movement,
)
from survey.condition.result import DeviationMap
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit, Estimate, Movement
from survey.record.model import Record
from survey.sheets.condition.movement_drawing import NAME, TWICE, movement_drawing
from survey.sheets.drawing import Anchor, Box, Dash, Layer, Line, Placed, Primitive, Sheet, Style, Text
from survey.sheets.fit_words import FAMILY_NAMES, figure_table
from survey.sheets.kit import ink, strip
from survey.sheets.kit.arrangement import Arranged, further_columns, rule_beside, sheets_of, side_column
from survey.sheets.kit.columns import Part, Said, cautioned_columns
from survey.sheets.kit.exaggeration import readable_mm
from survey.sheets.kit.furniture import orientation_mark, scale_bar
from survey.sheets.kit.page import Paper, fitted
from survey.sheets.kit.placing import extent, on_paper
from survey.sheets.kit.schedule import Column, Schedule, figure

_STRIPS_MM = 84.0
"""Height kept for the two strips with their titles and figures."""
_DOT = Style(Layer.SURVEY, 0.1, ink.BLACK, fill=ink.BLACK)
_ASIDE = Style(Layer.SURVEY, 0.3, ink.ACCENT, fill=ink.WHITE)
_LEAST_MM = 2.0
MOVING = (
    "An arch that has moved may still be moving, and one loose brick can let the whole ring go: keep from "
    "under it until it is propped and an engineer has seen it."
)


def movement_sheet(record: Record, fit: ArchFit, map_: DeviationMap) -> tuple[Sheet, ...]:
    """The movement on an A3 sheet, further words on sheets after it; none for an arch that stands still."""
    movement = map_.movement
    if movement is None:
        return ()
    first = min(ring.ring for ring in record.rings)
    view = view_movement(record, movement, map_.ring(first))
    area = Paper.A3_LANDSCAPE.area
    column = side_column(area)
    left = Box(area.left, area.bottom, column.left - 8.0 - area.left, area.height)
    placed = _placed(record, map_, movement, view, left)
    under = extent(on_paper(placed)).bottom - 11.0
    residuals = movement_residuals(record, fit, movement)
    warned = (*_parted(view)[2], MOVING)
    strips = Box(left.left + 9.0, left.bottom + 9.0, left.width - 9.0, under - 8.0 - left.bottom - 9.0)
    marks: list[Primitive] = [
        *_caption(view, left),
        *scale_bar((left.left, under), placed.scale, longest_mm=60.0),
        *orientation_mark((left.right - 34.0, under + 1.0)),
        *_strips(movement, residuals, strips),
        rule_beside(column),
    ]
    pages = cautioned_columns(_parts(movement, view), warned, column, further_columns(area))
    arrangement = Arranged(placed, left, left, pages)
    return sheets_of(record, NAME, "Movement: rigid pieces about hinges", arrangement, marks)


def _placed(record: Record, map_: DeviationMap, movement: Movement, view: MovementView, left: Box) -> Placed:
    """The drawing below the caption, leaving what is below it to the strips."""
    room = Box(left.left, left.bottom + _STRIPS_MM + 12.0, left.width, left.height - _STRIPS_MM - 12.0 - 9.0)
    placed = fitted(lambda scale: movement_drawing(record, map_, movement, view, scale), room)
    drop = room.top - extent(on_paper(placed)).top
    x, y = placed.origin_paper
    return Placed(placed.drawing, placed.origin_model, (x, y + drop), placed.scale)


def _caption(view: MovementView, left: Box) -> list[Primitive]:
    lines = (
        f"movement drawn × {view.factor}, figures are true, mm, ± two standard uncertainties (95 %); one "
        "survey cannot tell which springing went:",
        "each is drawn going half the way. Dashed: the original curve. Filled wedge: open joint, numbered as "
        f"in the table. Dot: where it turns. Crown: {AGAINST_SPRINGINGS}.",
    )
    return [
        Text((left.left, left.top - ink.TEXT_MM - 3.4 * n), line, ink.SMALL_TEXT_MM, ink.letters())
        for n, line in enumerate(lines)
    ]


def _strips(movement: Movement, residuals: MovementResiduals, box: Box) -> list[Primitive]:
    """Residuals against the nearest still curve and against the moved pieces, on one scale."""
    length = curve_of(movement.original.shape).length_mm
    height = (box.height - 9.0) / 2
    station = residuals.station_mm
    ends = (min(0.0, float(np.nanmin(station))), max(length, float(np.nanmax(station))))
    kept = ~residuals.set_aside
    values = strip.symmetric_range([readable_mm(residuals.before_mm[kept], _LEAST_MM)], _LEAST_MM)
    upper = strip.Strip(Box(box.left, box.top - height, box.width, height), ends, values)
    lower = strip.Strip(Box(box.left, box.bottom, box.width, height), ends, values)
    was, now = figure(movement.rms_before_mm, 2), figure(movement.rms_after_mm, 2)
    still = FAMILY_NAMES[residuals.still]
    before = f"Before: points against the nearest still curve of all families, here {still}, mm; rms {was}"
    after = f"After: points against the pieces as they moved, mm; rms {now} (both rms by the points' weights)"
    return [
        *_strip(movement, upper, before, station, residuals.before_mm, residuals.set_aside),
        *_strip(movement, lower, after, station, residuals.after_mm, residuals.set_aside),
        *strip.station_ticks(lower, name="station along the original, mm"),
    ]


def _strip(
    movement: Movement, window: strip.Strip, title: str, station: Floats, values: Floats, aside: np.ndarray
) -> list[Primitive]:
    dashed = ink.pen(Layer.DEVIATION, ink.FINE_MM, ink.ACCENT, dash=Dash.DASHED)
    bars = [window.x_at(hinge.station_mm.value) for hinge in movement.hinges]
    return [
        *strip.ruled(window, title),
        *(Line((x, window.box.bottom), (x, window.box.top), dashed) for x in bars),
        *strip.dots(window, station, window.within(np.where(aside, np.nan, values)), _DOT, 0.5),
        *strip.dots(window, station, window.within(np.where(aside, values, np.nan)), _ASIDE, 0.8),
        *strip.beyond(window, station, values, _ASIDE),
    ]


def _parted(view: MovementView) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """The view's sentences: what moved, the signs to look for, what to do."""
    signs = tuple(hinge.sign for hinge in view.hinges)
    if not signs:
        return view.sentences, (), ()
    start = view.sentences.index(signs[0])
    return view.sentences[:start], signs, view.sentences[start + len(signs) :]


def _parts(movement: Movement, view: MovementView) -> list[Part]:
    """What moved, the hinges, the figures, the signs, the curve before it moved."""
    moved, signs, _ = _parted(view)
    chance = f"Probability that it has moved: {figure(100.0 * movement.probability)} %."
    parts: list[Part] = [Said("What moved", tuple(s for s in (*moved, chance) if s))]
    if view.hinges:
        parts.append(hinge_table(view))
        parts.append(Said("Signs to look for on site", signs))
    parts.append(motion_table(movement))
    original = figure_table(movement.original, "The curve before it moved, mm")
    return [part for part in (*parts, original) if isinstance(part, Said) or part.rows]


def hinge_table(view: MovementView) -> Schedule:
    """Every hinge: where, which side opens, how far it turned and how wide the joint stands open."""
    columns = (
        Column("no."),
        Column("hinge", Anchor.LEFT),
        Column("courses", Anchor.LEFT),
        Column("station"),
        Column("opens at", Anchor.LEFT),
        Column("turn,\ndegrees"),
        Column("crack"),
    )
    rows = []
    for number, view_of in enumerate(view.hinges, start=1):
        hinge, (left, right) = view_of.hinge, view_of.between
        turn = Estimate(math.degrees(hinge.rotation_rad.value), math.degrees(hinge.rotation_rad.sigma))
        rows.append(
            (
                str(number),
                hinge.where,
                _beside(hinge.where, left, right),
                _with_interval(hinge.station_mm, 0),
                hinge.opens.value if hinge.is_told else "–",
                _with_interval(turn, 2),
                _with_interval(view_of.crack_mm, 1),
            )
        )
    return Schedule(columns, tuple(rows), "Hinges, mm, with 95 % intervals")


def _beside(where: str, left: int, right: int) -> str:
    """The courses a hinge lies between; at a springing the course that stands on it."""
    if where == "left springing":
        return f"below {right}"
    if where == "right springing":
        return f"below {left}"
    return f"{left} | {right}"


def motion_table(movement: Movement) -> Schedule:
    """Spread, settlement and crown drop, signed as in the headings."""
    columns = (
        Column("movement", Anchor.LEFT),
        Column("value"),
        Column("standard\nuncertainty"),
        Column("95 % interval"),
    )
    rows = tuple(
        (
            words,
            figure(size.value, 1),
            figure(size.sigma, 1),
            " to ".join(figure(size.value + way * TWICE * size.sigma, 1) for way in (-1.0, 1.0)),
        )
        for words, size in (
            ("springings further apart", movement.spread_mm),
            ("right springing lower than left", movement.settlement_mm),
            ("crown lower than mean springing", movement.crown_drop_mm),
        )
    )
    return Schedule(columns, rows, "How far it moved, mm")


def _with_interval(size: Estimate, decimals: int) -> str:
    return f"{figure(size.value, decimals)} ± {figure(TWICE * size.sigma, decimals)}"
