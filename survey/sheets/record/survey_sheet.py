"""The survey sheet: every point that was measured, in the face of the wall, by what it was taken on."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.record.model import UNKNOWN, Condition, Edge, Feature, Laid, Record
from survey.sheets.drawing import (
    Anchor,
    Circle,
    Dimension,
    Drawing,
    Layer,
    Placed,
    Primitive,
    Sheet,
    Style,
    Text,
)
from survey.sheets.kit import ink
from survey.sheets.kit.arrangement import Arranged, Subject, arranged, sheets_of
from survey.sheets.kit.columns import Part, Said
from survey.sheets.kit.course_labels import course_labels, course_runs, scaled
from survey.sheets.kit.furniture import orientation_mark, scale_bar
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.lettering import shorten
from survey.sheets.kit.placing import on_paper
from survey.sheets.kit.schedule import Column, Schedule, figure

NAME = "survey"
_RADIUS_MM = 0.7
_FINEST_MM = 0.25
"""Points nearer to each other on paper than this print as one mark."""
_MOST_DOUBTS = 40
_NAME_MM = 30.0
"""Widest name of a datum point on the sheet."""

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
"""Dots told apart by fill, rim and size, in black and white too."""
_LARGE = (Feature.SPRINGING, Feature.DATUM, Feature.CRACK)


def survey_drawing(record: Record, scale: float) -> Drawing:
    """Every surveyed point in the record's face frame, course numbers, and the span as measured.

    Points that would print as one mark at 1 : ``scale`` are drawn once.
    """
    points = record.points
    shown = _printed_apart(record, scale)
    marks: list[Primitive] = [
        Circle((float(x), float(y)), _radius(feature), POINT_STYLES[feature])
        for (x, y), feature in zip(points.xy_mm[shown], points.feature[shown], strict=True)
    ]
    marks.extend(_span(record))
    at_origin = Placed(Drawing(NAME, tuple(marks)), (0.0, 0.0), (0.0, 0.0), scale)
    taken = [mark for mark in on_paper(at_origin) if isinstance(mark, Text)]
    numbers = _course_numbers(record, scale)
    labels = place_labels(_names(record, scale), [*taken, *numbers])
    return Drawing(NAME, (*marks, *scaled((*numbers, *labels.texts), scale)))


def _printed_apart(record: Record, scale: float) -> NDArray[np.int64]:
    """Index of the points to draw: one of each feature on every spot of the paper."""
    points = record.points
    spot = np.round(points.xy_mm / (scale * _FINEST_MM)).astype(np.int64)
    code = np.array([list(Feature).index(f) for f in points.feature], dtype=np.int64)
    _, first = np.unique(np.column_stack([spot, code]), axis=0, return_index=True)
    return np.sort(first)


def _radius(feature: Feature) -> float:
    return 1.7 * _RADIUS_MM if feature in _LARGE else _RADIUS_MM


def _span(record: Record) -> list[Primitive]:
    """The distance between the two springings as surveyed, where both were."""
    points = record.points
    ends = []
    for side in (Edge.LEFT, Edge.RIGHT):
        at = points.on(Feature.SPRINGING) & (points.edge == side)
        if not at.any():
            return []
        ends.append(points.xy_mm[at].mean(axis=0))
    left, right = ((float(x), float(y)) for x, y in ends)
    length = float(np.hypot(*(ends[1] - ends[0])))
    if length == 0.0:
        return []
    words = f"springing to springing, as surveyed {figure(length, 1)}"
    return [Dimension(left, right, words, -9.0, ink.pen(Layer.DIMENSION, ink.FINE_MM))]


def _course_numbers(record: Record, scale: float) -> tuple[Text, ...]:
    """Numbers of the innermost ring's courses, inside the opening, on paper."""
    points = record.points
    inner = points.on(Feature.INTRADOS) & (points.course != UNKNOWN)
    if not inner.any():
        return ()
    inner &= points.ring == points.ring[inner].min()
    courses = np.unique(points.course[inner])
    middles = np.array([points.xy_mm[inner & (points.course == c)].mean(axis=0) for c in courses])
    at = (middles + 4.0 * scale * _inwards(middles)) / scale
    style = ink.letters()
    row = [
        Text((float(x), float(y) - 0.5 * ink.SMALL_TEXT_MM), str(c), ink.SMALL_TEXT_MM, style, Anchor.MIDDLE)
        for c, (x, y) in zip(courses, at, strict=True)
    ]
    return course_labels(row, [False] * len(row))


def _inwards(middles: Floats) -> Floats:
    """Unit vectors (n, 2) into the opening, square to the way from one course to the next."""
    if len(middles) < 2:
        return np.array([[0.0, -1.0]] * len(middles))
    way = np.gradient(middles, axis=0)
    length = np.hypot(way[:, 0], way[:, 1])
    way = np.where(length[:, None] > 0.0, way, [1.0, 0.0]) / np.where(length > 0.0, length, 1.0)[:, None]
    return np.column_stack([way[:, 1], -way[:, 0]])


def _names(record: Record, scale: float) -> list[list[Text]]:
    """Places for the names of the datum points beside their marks, on paper."""
    points = record.points
    style = ink.letters(Layer.SURVEY)
    wanted = []
    for i in np.flatnonzero(points.on(Feature.DATUM)):
        x, y = (float(v) / scale for v in points.xy_mm[i])
        words = shorten(points.name[i], _NAME_MM, ink.SMALL_TEXT_MM)
        places = [
            Text((x + side * 2.2, y + up), words, ink.SMALL_TEXT_MM, style, anchor)
            for up in (1.2, -3.0, 4.0)
            for side, anchor in ((1.0, Anchor.LEFT), (-1.0, Anchor.RIGHT))
        ]
        wanted.append(places)
    return wanted


def survey_sheets(record: Record) -> tuple[Sheet, ...]:
    """All that was measured, counted by feature, with what was noted on site and what to measure again.

    More sentences than one sheet holds go on to further sheets.
    """
    parts = _parts(record)
    wide, high = (float(size) for size in np.ptp(record.points.xy_mm, axis=0))
    subject = Subject(
        lambda scale: survey_drawing(record, scale), (wide, high), parts, head_mm=4.0, foot_mm=14.0
    )
    arrangement = arranged(subject)
    foot, scale = arrangement.foot, arrangement.placed.scale
    marks = [
        *scale_bar((foot.left, foot.bottom + 3.0), scale),
        *orientation_mark((foot.right - 34.0, foot.bottom + 4.0)),
        *_samples(record, arrangement),
    ]
    return sheets_of(record, NAME, "Survey: what was measured", arrangement, marks)


def survey_sheet(record: Record) -> Sheet:
    """The first of :func:`survey_sheets`, which carries the drawing."""
    return survey_sheets(record)[0]


def _parts(record: Record) -> list[Part]:
    """Points by feature, rings, datum distances, notes from the site, doubts."""
    parts: list[Part] = [_features_table(record)]
    sigma = figure(record.point_sigma_mm, 1)
    parts.append(
        Said("", (f"One coordinate: ± {sigma} mm standard uncertainty, unless a point has its own.",))
    )
    parts.append(_rings_table(record))
    doubts = [str(doubt) for doubt in record.doubts]
    if len(doubts) > _MOST_DOUBTS:
        more = len(doubts) - _MOST_DOUBTS
        doubts = [*doubts[:_MOST_DOUBTS], f"… and {more} more: run check to read them all."]
    parts.append(Said(_AGAIN, tuple(doubts) or ("Nothing doubtful was found while reading.",)))
    noted = _noted(record)
    parts.extend([Said("Noted on site", noted)] if noted else [])
    between = _datum_table(record)
    parts.extend([between] if between.rows else [])
    return parts


_AGAIN = "To measure again or to look at"


def _present(record: Record) -> list[Feature]:
    return [f for f in Feature if record.points.on(f).any()]


def _features_table(record: Record) -> Schedule:
    rows = tuple(("", str(f), str(int(record.points.on(f).sum()))) for f in _present(record))
    columns = (Column("mark", Anchor.LEFT), Column("taken on", Anchor.LEFT), Column("points"))
    return Schedule(columns, rows, "Points by feature")


def _samples(record: Record, arrangement: Arranged) -> list[Circle]:
    """A sample of each mark in the table of points, at the left of its row."""
    present = _present(record)
    rows = {t.text: t for t in reversed(arrangement.pages[0]) if isinstance(t, Text)}
    return [
        Circle(
            (rows[str(f)].at[0] - 7.0, rows[str(f)].at[1] + 0.5 * ink.SMALL_TEXT_MM),
            _radius(f),
            POINT_STYLES[f],
        )
        for f in present
    ]


def _rings_table(record: Record) -> Schedule:
    columns = (
        Column("ring"),
        Column("courses\ncounted"),
        Column("depth"),
        Column("brick\nwidth"),
        Column("laid", Anchor.LEFT),
    )
    rows = tuple(
        (
            str(ring.ring),
            "–" if ring.courses is None else str(ring.courses),
            figure(ring.depth_mm, 1),
            figure(ring.brick_width_mm, 1),
            _laid(ring.laid, ring.turn_rad),
        )
        for ring in record.rings
    )
    return Schedule(columns, rows, "Rings as recorded, mm")


def _laid(laid: Laid, turn_rad: float) -> str:
    return "radial" if laid is Laid.RADIAL else f"sawtooth, turned {figure(float(np.degrees(turn_rad)))}°"


_NOTED = (Condition.MISSING, Condition.LOOSE, Condition.CRACKED, Condition.SPALLED, Condition.REPLACED)


def _noted(record: Record) -> tuple[str, ...]:
    """Courses noted in any state but sound, ring by ring."""
    sentences = []
    for ring in record.rings:
        for state in _NOTED:
            found = [n.course for n in record.courses if n.ring == ring.ring and n.condition is state]
            if found:
                sentences.append(f"Ring {ring.ring}, {state.value}: {course_runs(found)}.")
    return tuple(sentences)


def _datum_table(record: Record) -> Schedule:
    """Distances between the first datum points: tape them again before any work."""
    points = record.points
    datums = np.flatnonzero(points.on(Feature.DATUM))[:4]
    rows = tuple(
        (_short(points.name[i]), _short(points.name[j]), figure(_apart(record, int(i), int(j)), 1))
        for i, j in combinations(datums, 2)
    )
    columns = (Column("from", Anchor.LEFT), Column("to", Anchor.LEFT), Column("distance"))
    return Schedule(columns, rows, "Between datum points in the face, mm")


def _short(name: str) -> str:
    return shorten(name, _NAME_MM, ink.SMALL_TEXT_MM)


def _apart(record: Record, i: int, j: int) -> float:
    return float(np.hypot(*(record.points.xy_mm[j] - record.points.xy_mm[i])))
