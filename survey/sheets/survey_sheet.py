"""The survey sheet: every point that was measured, in the face of the wall, by what it was taken on."""

from __future__ import annotations

import numpy as np

from survey.record.model import UNKNOWN, Feature, Record
from survey.sheets import ink
from survey.sheets.drawing import (
    Anchor,
    Box,
    Circle,
    Drawing,
    Layer,
    Line,
    Placed,
    Primitive,
    Sheet,
    Style,
    Text,
)
from survey.sheets.furniture import notes, notes_height_mm, orientation_mark, scale_bar
from survey.sheets.labels import thinned
from survey.sheets.page import Page, Paper, TitleBlock, choose_scale, finish
from survey.sheets.schedule import Column, Schedule, schedule_height_mm, schedule_primitives

NAME = "survey"
_RADIUS_MM = 0.7

POINT_STYLES: dict[Feature, Style] = {
    Feature.INTRADOS: Style(Layer.SURVEY, 0.2, ink.BLACK, fill=ink.BLACK),
    Feature.EXTRADOS: Style(Layer.SURVEY, 0.2, ink.BLACK, fill=ink.WHITE),
    Feature.SPRINGING: Style(Layer.SURVEY, 0.4, ink.ACCENT, fill=ink.WHITE),
    Feature.JOINT: Style(Layer.SURVEY, 0.2, ink.GREY, fill=ink.GREY),
    Feature.FACE: Style(Layer.SURVEY, 0.2, ink.GREY, fill=ink.WHITE),
    Feature.DATUM: Style(Layer.SURVEY, 0.4, ink.BLACK, fill=ink.WHITE),
    Feature.CRACK: Style(Layer.SURVEY, 0.4, ink.ACCENT, fill=ink.ACCENT),
    Feature.OTHER: Style(Layer.SURVEY, 0.2, ink.PALE, fill=ink.PALE),
}
"""Dots told apart by fill and rim, in black and white too."""
_LARGE = (Feature.SPRINGING, Feature.DATUM, Feature.CRACK)


def survey_drawing(record: Record, scale: float) -> Drawing:
    """Every surveyed point in the record's face frame, with course numbers of the innermost ring."""
    points = record.points
    marks: list[Primitive] = [
        Circle((float(x), float(y)), _radius(feature), POINT_STYLES[feature])
        for (x, y), feature in zip(points.xy_mm, points.feature, strict=True)
    ]
    marks.extend(_course_numbers(record, scale))
    marks.extend(_names(record, scale))
    return Drawing(NAME, tuple(marks))


def _radius(feature: Feature) -> float:
    return 1.7 * _RADIUS_MM if feature in _LARGE else _RADIUS_MM


def _course_numbers(record: Record, scale: float) -> list[Text]:
    """Course numbers inside the opening, on the way from each course to the middle of the springing."""
    points = record.points
    inner = points.on(Feature.INTRADOS) & (points.course != UNKNOWN)
    if not inner.any():
        return []
    inner &= points.ring == points.ring[inner].min()
    centre = points.xy_mm[inner].mean(axis=0)
    texts = []
    for course in np.unique(points.course[inner]):
        middle = points.xy_mm[inner & (points.course == course)].mean(axis=0)
        way = (centre - middle) / max(1e-9, float(np.hypot(*(centre - middle))))
        x, y = (middle + 4.0 * scale * way) / scale
        at = (float(x), float(y) - 0.5 * ink.SMALL_TEXT_MM)
        texts.append(Text(at, str(course), ink.SMALL_TEXT_MM, ink.letters(), Anchor.MIDDLE))
    return [
        Text((t.at[0] * scale, t.at[1] * scale), t.text, t.height_mm, t.style, t.anchor)
        for t in thinned(texts)
    ]


def survey_sheet(record: Record) -> Sheet:
    """One A3 sheet of all that was measured, with a count by feature and what to measure again."""
    area = Paper.A3_LANDSCAPE.area
    side = Box(area.right - 88.0, area.bottom, 88.0, area.height)
    room = Box(area.left, area.bottom + 16.0, area.width - 96.0, area.height - 16.0)
    low, high = record.points.xy_mm.min(axis=0), record.points.xy_mm.max(axis=0)
    width, height = (float(v) for v in high - low)
    scale = choose_scale(width, height, room.grown(-6.0))
    middle_x, middle_y = (float(v) for v in (low + high) / 2)
    placed = Placed(survey_drawing(record, scale), (middle_x, middle_y), room.middle, scale)
    marks: list[Primitive] = [*orientation_mark((room.middle[0], area.bottom + 4.0))]
    marks.extend(scale_bar((area.left, area.bottom + 4.0), scale))
    marks.extend(_side(record, side))
    page = Page(NAME, "Survey: what was measured", tuple(marks), (placed,), scale)
    (sheet,) = finish([page], TitleBlock.of(record))
    return sheet


def _side(record: Record, side: Box) -> list[Primitive]:
    """Points by feature with a sample of each mark, their accuracy, and what to measure again."""
    features = [f for f in Feature if record.points.on(f).any()]
    rows = tuple(("", str(f), str(int(record.points.on(f).sum()))) for f in features)
    columns = (Column("mark", Anchor.LEFT), Column("taken on", Anchor.LEFT), Column("points"))
    schedule = Schedule(columns, rows, "Points by feature")
    marks = list(schedule_primitives(schedule, side.left, side.top))
    names = {t.text: t for t in marks if isinstance(t, Text)}
    for feature in features:
        at = (side.left + 5.0, names[str(feature)].at[1] + 0.5 * ink.SMALL_TEXT_MM)
        marks.append(Circle(at, _radius(feature), POINT_STYLES[feature]))
    accuracy = (
        f"One coordinate: ±{record.point_sigma_mm:.1f} mm standard uncertainty, "
        "unless the point says otherwise."
    )
    top = side.top - schedule_height_mm(schedule) - 5.0
    high = notes_height_mm([accuracy], side.width) + 1.0
    marks.extend(notes([accuracy], Box(side.left, top - high, side.width, high)))
    doubts = [str(doubt) for doubt in record.doubts] or ["Nothing doubtful was found while reading."]
    below = Box(side.left, side.bottom, side.width, top - high - 5.0 - side.bottom)
    marks.extend(notes(_fitting(doubts, below), below, title=_AGAIN))
    line = ink.pen(Layer.FRAME, ink.HAIR_MM, ink.GREY)
    marks.append(Line((side.left - 4.0, side.bottom), (side.left - 4.0, side.top), line))
    return marks


_AGAIN = "To measure again or to look at"


def _fitting(sentences: list[str], room: Box) -> list[str]:
    """As many sentences as the room holds; the last says how many more ``check`` prints."""
    for n in range(len(sentences), -1, -1):
        more = len(sentences) - n
        shown = sentences[:n] + ([f"… and {more} more: run check to read them all."] if more else [])
        if notes_height_mm(shown, room.width, title=_AGAIN) <= room.height:
            return shown
    return []


def _names(record: Record, scale: float) -> list[Text]:
    """Names of the datum points, right of their marks."""
    points = record.points
    datums = np.flatnonzero(points.on(Feature.DATUM))
    style = ink.letters(Layer.SURVEY)
    return [
        Text(
            (float(points.xy_mm[i, 0]) + 2.2 * scale, float(points.xy_mm[i, 1]) + 1.2 * scale),
            points.name[i],
            ink.SMALL_TEXT_MM,
            style,
        )
        for i in datums
    ]
