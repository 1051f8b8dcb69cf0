"""The deviation sheet: the map, its scale, the patterns seen and the worst courses with what to do."""

from __future__ import annotations

import re

from survey.condition.result import DeviationMap
from survey.fitting.result import ArchFit, Movement
from survey.record.model import Record
from survey.sheets.condition.deviation_drawing import (
    NAME,
    deviation_drawing,
    first_ring,
    trace_factor,
)
from survey.sheets.condition.deviation_style import deviation_scale
from survey.sheets.condition.pattern_marks import brackets_of
from survey.sheets.condition.worst_words import advice_once
from survey.sheets.drawing import Anchor, Primitive, Sheet, Text
from survey.sheets.kit import ink
from survey.sheets.kit.arrangement import COLUMN_MM, Arranged, Subject, arranged, sheets_of
from survey.sheets.kit.columns import Part, Said
from survey.sheets.kit.furniture import orientation_mark, scale_bar
from survey.sheets.kit.lettering import wrap
from survey.sheets.kit.schedule import Column, Schedule
from survey.sheets.kit.widths import widened

_HEAD_MM, _FOOT_MM = 6.0, 20.0
_LINE_MM = 3.6
"""Between two lines of the caption."""


def deviation_sheets(record: Record, fit: ArchFit, map_: DeviationMap) -> tuple[Sheet, ...]:
    """The map on one A3 sheet; words that do not fit beside it go on to further sheets."""
    shape = map_.shape
    subject = Subject(
        lambda scale: deviation_drawing(record, map_, scale),
        (shape.span_mm, shape.rise_mm),
        _parts(fit, map_),
        head_mm=_HEAD_MM if map_.movement is None else _HEAD_MM + _LINE_MM,
        foot_mm=_FOOT_MM,
    )
    arrangement = arranged(subject)
    marks = [*_caption(map_, arrangement), *_foot(map_, arrangement)]
    return sheets_of(record, NAME, "Deviations, course by course", arrangement, marks)


def deviation_sheet(record: Record, fit: ArchFit, map_: DeviationMap) -> Sheet:
    """The first of :func:`deviation_sheets`, which carries the map."""
    return deviation_sheets(record, fit, map_)[0]


def _caption(map_: DeviationMap, arrangement: Arranged) -> list[Primitive]:
    ring = first_ring(map_)[0].ring
    factor = trace_factor(map_, arrangement.placed.scale)
    words = (
        f"line beside the arch: deviations of ring {ring} × {factor}, dashed: tolerance "
        f"± {map_.tolerances.intrados_mm:g} mm; bold number: see the flag in the table of deviations"
    )
    if map_.movement is not None:
        words += "; arrowhead: hinge as numbered, towards where it opens"
    head = arrangement.head
    lines = wrap(words, head.width, ink.SMALL_TEXT_MM)
    return [
        Text((head.left, head.top - ink.TEXT_MM - _LINE_MM * n), line, ink.SMALL_TEXT_MM, ink.letters())
        for n, line in enumerate(lines)
    ]


def _foot(map_: DeviationMap, arrangement: Arranged) -> list[Primitive]:
    """The scale of deviations, the scale bar and which way the arch is seen."""
    foot, scale = arrangement.foot, arrangement.placed.scale
    right = foot.right - 34.0
    return [
        *deviation_scale(foot.left, foot.top, map_.tolerances.intrados_mm),
        *orientation_mark((right, foot.top - 4.0)),
        *scale_bar((right - 33.0, foot.top - 17.0), scale, longest_mm=55.0),
    ]


def _parts(fit: ArchFit, map_: DeviationMap) -> list[Part]:
    """What the map shows, then the worst courses."""
    sentences = [] if map_.movement is None else [map_.movement.because]
    for bracket, pattern in zip(brackets_of(map_), map_.patterns, strict=True):
        sentences.append(f"{bracket.letter}: {pattern.sentence}" if bracket.letter else pattern.sentence)
    sentences = [s for s in sentences if s] or ["No pattern beyond the arch's own irregularity."]
    sentences.extend(count.doubt for count in fit.courses if count.doubt)
    parts: list[Part] = [Said("What it shows", tuple(sentences))]
    if map_.movement is not None and map_.movement.hinges:
        parts.append(hinge_key(map_.movement))
    return [*parts, _worst_table(map_)] if map_.worst else parts


def hinge_key(movement: Movement) -> Schedule:
    """What the numbers at the arrowheads mean."""
    columns = (Column("no."), Column("hinge", Anchor.LEFT), Column("opens at", Anchor.LEFT))
    rows = tuple(
        (str(n), h.where, h.opens.value if h.is_told else "–") for n, h in enumerate(movement.hinges, start=1)
    )
    return Schedule(columns, rows, "Hinges")


def _worst_table(map_: DeviationMap) -> Schedule:
    columns = (
        Column("ring/\ncourse", Anchor.LEFT),
        Column("what", Anchor.LEFT, wrap_mm=24.0),
        Column("how much", Anchor.LEFT, wrap_mm=32.0),
        Column("what to do", Anchor.LEFT, wrap_mm=42.0),
    )
    rows = tuple(
        (f"{w.ring}/{w.course}", w.what, _minus(w.how_much), todo)
        for w, todo in zip(map_.worst, advice_once(map_.worst), strict=True)
    )
    return widened(Schedule(columns, rows, "The worst courses"), COLUMN_MM)


def _minus(words: str) -> str:
    """Words with a true minus sign before figures."""
    return re.sub(r"(?<![\w–-])-(?=\d)", "−", words)
