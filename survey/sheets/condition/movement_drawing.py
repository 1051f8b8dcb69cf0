"""The movement drawn: the pieces as they moved, exaggerated, over the original, joints open at the hinges."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from survey.condition.movement_view import HingeView, MovementView
from survey.condition.result import CourseDeviation, DeviationMap
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.fitting.counting.edge_readings import ring_offset_mm
from survey.fitting.result import Estimate, Movement, Opens, Piece
from survey.record.model import Condition, Record
from survey.sheets.drawing import (
    XY,
    Anchor,
    Box,
    Circle,
    Dash,
    Dimension,
    Drawing,
    Hatch,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Text,
)
from survey.sheets.kit import ink
from survey.sheets.kit.course_labels import scaled
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.placing import Mark, mark_box, on_paper
from survey.sheets.kit.schedule import figure

NAME = "movement"
_BLOCK_MM = 8.0
"""Height of the abutment below a springing, on paper."""
_ARROW_ROW_MM, _BEFORE_ROW_MM, _NOW_ROW_MM = 11.0, 17.0, 25.0
"""Rows of arrows and dimensions below the springings, on paper."""
NEAR_MM = 1e-6
"""Points closer than this are one."""
TWICE = 2.0
"""Intervals are two standard uncertainties either way, about 95 %; a settlement beyond that is drawn."""
_CLEAR_MM = 0.4
"""Kept free round arrows."""
_ORIGINAL = ink.pen(Layer.CANDIDATE, ink.MEDIUM_MM, ink.GREY, dash=Dash.DASHED)
_PIECE = ink.area(Layer.BRICK, width_mm=ink.BOLD_MM)
_ABUTMENT = ink.area(Layer.BRICK, hatch=Hatch.DIAGONAL)
_CRACK = ink.area(Layer.DEVIATION, ink.ACCENT, colour=ink.ACCENT, width_mm=ink.HAIR_MM)
_PIVOT = ink.area(Layer.DEVIATION, ink.BLACK)
_JOINT = ink.pen(Layer.JOINT, ink.HAIR_MM, ink.GREY)
_FINE = ink.pen(Layer.DIMENSION, ink.FINE_MM)
_ARROW = ink.pen(Layer.DIMENSION, ink.MEDIUM_MM, ink.ACCENT)


def exaggerated(xy_mm: Floats, piece: Piece, factor: float) -> Floats:
    """Points (n, 2) of the original taken ``factor`` times as far as their piece took them.

    Examples
    --------
    >>> piece = Piece(0.0, 500.0, 0.0, (2.0, -1.0))
    >>> exaggerated(np.array([[100.0, 50.0]]), piece, 10.0).tolist()
    [[120.0, 40.0]]
    """
    c, s = np.cos(piece.rotation_rad), np.sin(piece.rotation_rad)
    moved = xy_mm @ np.array([[c, s], [-s, c]]) + np.asarray(piece.shift_mm)
    return np.asarray(xy_mm + factor * (moved - xy_mm), dtype=float)


def told(size: Estimate, decimals: int = 0) -> str:
    """A figure without its sign, with the half width of its 95 % interval.

    Examples
    --------
    >>> told(Estimate(-26.4, 3.0))
    '26 ± 6'
    """
    return f"{figure(abs(size.value), decimals)} ± {figure(TWICE * size.sigma, decimals)}"


def movement_drawing(
    record: Record, map_: DeviationMap, movement: Movement, view: MovementView, scale: float
) -> Drawing:
    """Pieces, abutments, open joints, pivots and dimensions, in the arch frame.

    Lengths between moved parts are exaggerated by ``view.factor``; the figures written are true.
    """
    original = curve_of(movement.original.shape)
    outer = original.offset(_depth_mm(record))
    faces = _faces(view, movement, original, _depth_mm(record))
    marks: list[Primitive] = [*curve_primitives(original, _ORIGINAL), *curve_primitives(outer, _ORIGINAL)]
    marks.extend(_abutments(view, scale))
    marks.extend(_pieces(view, faces))
    for piece in movement.pieces:
        marks.extend(_joints(record, map_, original, piece, view.factor))
    marks.extend(Polyline(_pairs(face.crack), _CRACK, closed=True, tag="crack") for face in faces)
    marks.extend(Circle(_pair(face.pivot), 1.0, _PIVOT, tag="hinge") for face in faces)
    marks.extend(_dimensions(view, movement, scale))
    crown, wanted = _crown(view, movement, original, scale)
    marks.extend(crown)
    paper = on_paper(_at_origin(marks, scale))
    taken = [m for m in paper if isinstance(m, Text)]
    wanted = [*wanted, *_hinge_numbers(faces, original, view, scale)]
    marks.extend(scaled(place_labels(wanted, taken, _arrow_boxes(paper)).texts, scale))
    return Drawing(NAME, tuple(marks))


def _arrow_boxes(paper: Iterable[Mark]) -> list[Box]:
    """Where arrows and the lines they point from and to lie on paper: nothing is written there."""
    return [
        mark_box(mark).grown(_CLEAR_MM)
        for mark in paper
        if (isinstance(mark, Polyline) and mark.tag == "arrow")
        or (isinstance(mark, Line) and mark.style.layer is Layer.DIMENSION)
    ]


def _at_origin(marks: list[Primitive], scale: float) -> Placed:
    return Placed(Drawing(NAME, tuple(marks)), (0.0, 0.0), (0.0, 0.0), scale)


def _pair(xy: Floats) -> XY:
    return float(xy[0]), float(xy[1])


def _pairs(xy: Floats) -> tuple[XY, ...]:
    return tuple((float(x), float(y)) for x, y in xy)


def _depth_mm(record: Record) -> float:
    outermost = max(record.rings, key=lambda ring: ring.ring)
    return ring_offset_mm(record.rings, outermost.ring) + outermost.depth_mm


@dataclass(frozen=True, slots=True, eq=False)
class _Face:
    """A hinge as drawn: the faces (3, 2) of its joint from the soffit over the pivot to the back.

    ``left`` and ``right`` count into the view's pieces; -1 stands for an abutment.
    """

    left: int
    right: int
    left_mm: Floats
    right_mm: Floats
    opens: Opens

    @property
    def pivot(self) -> Floats:
        """Where the two sides stay together (2,)."""
        return np.asarray(self.left_mm[1])

    @property
    def crack(self) -> Floats:
        """Corners (3, 2) of the open joint."""
        row = 0 if self.opens is Opens.INTRADOS else 2
        return np.array([self.pivot, self.left_mm[row], self.right_mm[row]])


def _faces(view: MovementView, movement: Movement, original: Curve, depth: float) -> list[_Face]:
    """Both faces of every hinge: apart on the side that opens, in touch from the pivot to the other side.

    Two pieces that turn about a point inside the joint would run into each other behind it; there both are
    drawn crushed to the middle. A piece at an abutment, or two at a haunch, are drawn turning on the closed
    arris.
    """
    found = []
    for hinge in view.hinges:
        at = hinge.hinge.station_mm.value
        soffit = original.point(np.array([at]))
        joint = np.vstack([soffit, soffit + depth * original.normal(np.array([at]))])
        beside = _beside(movement, at, original.length_mm)
        corners = [_carried(joint, k, side, view, movement) for side, k in enumerate(beside)]
        closed = 1 if hinge.hinge.opens is Opens.INTRADOS else 0
        if min(beside) < 0:
            fixed = corners[0 if beside[0] < 0 else 1][closed]
            corners = [face + (fixed - face[closed]) for face in corners]
            pivot = fixed
        else:
            middle = (corners[0][closed] + corners[1][closed]) / 2
            pivot = np.array([hinge.x_mm, hinge.y_mm])
            if math.dist(pivot, middle) <= NEAR_MM:
                corners = [face + (middle - face[closed]) for face in corners]
            corners[0][closed] = corners[1][closed] = middle
        left, right = (np.array([face[0], pivot, face[1]]) for face in corners)
        found.append(_Face(*beside, left, right, hinge.hinge.opens))
    return found


def _beside(movement: Movement, at: float, length: float) -> tuple[int, int]:
    """Pieces that end and that begin at a station; -1 where there is only the abutment."""
    near = 1e-6 * length
    left = [k for k, p in enumerate(movement.pieces) if abs(p.end_mm - at) <= near]
    right = [k for k, p in enumerate(movement.pieces) if abs(p.start_mm - at) <= near]
    return (left[0] if left else -1), (right[0] if right else -1)


def _carried(joint: Floats, k: int, side: int, view: MovementView, movement: Movement) -> Floats:
    """A joint's face as drawn, with its piece or, at a springing, with the abutment."""
    if k < 0:
        return np.asarray(joint + (view.moved_springings_mm - view.springings_mm)[side], dtype=float)
    return exaggerated(joint, movement.pieces[k], view.factor)


def _pieces(view: MovementView, faces: list[_Face]) -> list[Polyline]:
    """Outlines of the pieces, brought to end on the faces of their hinges."""
    marks = []
    for k, piece in enumerate(view.pieces):
        soffit, back = piece.moved_soffit_mm, piece.moved_back_mm
        first = last = np.empty((0, 2))
        for face in faces:
            if face.right == k:
                soffit = _ended(soffit[::-1], face.right_mm[::-1], face.right_mm[0])[::-1]
                back = _ended(back[::-1], face.right_mm[::-1], face.right_mm[2])[::-1]
                first = face.right_mm[1:2]
            if face.left == k:
                soffit = _ended(soffit, face.left_mm, face.left_mm[0])
                back = _ended(back, face.left_mm, face.left_mm[2])
                last = face.left_mm[1:2]
        rim = np.vstack([soffit, last, back[::-1], first])
        marks.append(Polyline(_pairs(rim), _PIECE, closed=True, tag=f"piece-{k + 1}"))
    return marks


def _ended(line: Floats, face: Floats, corner: Floats) -> Floats:
    """A line (n, 2) brought to end in a corner of a face: what of its last third lies past it is cut off.

    The face (3, 2) is given so that the line lies at its left.
    """
    along = face[2] - face[0]
    past = (line - corner) @ np.array([along[1], -along[0]]) >= 0.0
    past[: 2 * len(line) // 3] = False
    past[-1] = True
    return np.vstack([line[~past], corner])


def _abutments(view: MovementView, scale: float) -> list[Polyline]:
    """What the arch springs from: a block below each springing, where it has gone."""
    marks = []
    for side, piece in ((0, view.pieces[0]), (1, view.pieces[-1])):
        end = 0 if side == 0 else -1
        joint = np.array([piece.soffit_mm[end], piece.back_mm[end]])
        joint = joint + (view.moved_springings_mm - view.springings_mm)[side]
        base = np.column_stack([joint[::-1, 0], np.full(2, joint[:, 1].min() - _BLOCK_MM * scale)])
        rim = np.vstack([joint, base])
        marks.append(Polyline(_pairs(rim), _ABUTMENT, closed=True, tag="abutment"))
    return marks


def _joints(
    record: Record, map_: DeviationMap, original: Curve, piece: Piece, factor: float
) -> list[Primitive]:
    """Joints of the courses and the backs of inner rings, carried with their piece."""
    stretch = original.length_mm / curve_of(map_.shape).length_mm
    marks: list[Primitive] = []
    for ring in record.rings:
        inner = ring_offset_mm(record.rings, ring.ring)
        at = np.array(_between(map_.ring(ring.ring))) * stretch
        pitch = original.length_mm / max(1, len(map_.ring(ring.ring)))
        at = at[(at > piece.start_mm + pitch / 3) & (at < piece.end_mm - pitch / 3)]
        feet, normals = original.point(at), original.normal(at)
        low = exaggerated(feet + inner * normals, piece, factor)
        high = exaggerated(feet + (inner + ring.depth_mm) * normals, piece, factor)
        marks.extend(Line(a, b, _JOINT) for a, b in zip(_pairs(low), _pairs(high), strict=True))
        if inner > 0.0:
            along = np.linspace(piece.start_mm, piece.end_mm, 61)
            seam = exaggerated(original.point(along) + inner * original.normal(along), piece, factor)
            marks.append(Polyline(_pairs(seam), _JOINT))
    return marks


def _between(courses: tuple[CourseDeviation, ...]) -> list[float]:
    """Stations of the joints' middles, none inside a gap."""
    return [
        (a.end_mm + b.start_mm) / 2
        for a, b in pairwise(courses)
        if np.isfinite(a.end_mm + b.start_mm)
        and not (a.condition is Condition.MISSING and b.condition is Condition.MISSING)
    ]


def _dimensions(view: MovementView, movement: Movement, scale: float) -> list[Primitive]:
    """Span before and now below the arch, arrows from where the springings stood, and what has sunk."""
    before, now = view.springings_mm, view.moved_springings_mm
    ground = min(before[:, 1].min(), now[:, 1].min()) - _BLOCK_MM * scale
    spread = movement.spread_mm
    span = float(np.hypot(*(before[1] - before[0])))
    half = movement.original.figures.get("half_span_mm")
    words = f"span before {told(Estimate(span, 2 * half.sigma)) if half else figure(span)}"
    way = "further apart" if spread.value >= 0 else "closer together"
    words_now = f"span now {figure(span + spread.value)}: springings {told(spread)} {way}"
    level = np.array([ground, ground])
    rows = ((before, words, _BEFORE_ROW_MM), (now, words_now, _NOW_ROW_MM))
    marks: list[Primitive] = []
    for ends, text, row in rows:
        left, right = _pairs(np.column_stack([ends[:, 0], level]))
        marks.append(Dimension(left, right, text, -(row - _BLOCK_MM), _FINE, backed=True))
    drop = (_ARROW_ROW_MM - _BLOCK_MM) * scale
    for was, goes in zip(before, now, strict=True):
        marks.extend(_arrow((float(was[0]), ground - drop), (float(goes[0]), ground - drop), scale))
    return [*marks, *_settlement(view, movement, scale)]


def _settlement(view: MovementView, movement: Movement, scale: float) -> list[Primitive]:
    """The lower springing against the level of the other, beside its abutment."""
    sunk = movement.settlement_mm
    if abs(sunk.value) <= TWICE * sunk.sigma:
        return []
    low, high = (1, 0) if sunk.value > 0 else (0, 1)
    before, now = view.springings_mm, view.moved_springings_mm
    piece = view.pieces[0 if low == 0 else -1]
    back = piece.back_mm[0 if low == 0 else -1] + (now - before)[low]
    side = 1.0 if low == 1 else -1.0
    x = float(back[0]) + side * 5.0 * scale
    level = float(before[low, 1] + (now - before)[high, 1])
    foot = float(now[low, 1])
    name = "right" if low == 1 else "left"
    anchor = Anchor.LEFT if low == 1 else Anchor.RIGHT
    at = (x + side * 2.0 * scale, level + 1.0 * scale)
    words = f"{name} springing {told(sunk)} lower"
    return [
        Line(
            (float(now[low, 0]), level),
            (x + side * 2.0 * scale, level),
            ink.pen(Layer.DIMENSION, ink.HAIR_MM, dash=Dash.CHAIN),
        ),
        Line(
            (float(now[low, 0]), foot), (x + side * 2.0 * scale, foot), ink.pen(Layer.DIMENSION, ink.HAIR_MM)
        ),
        *_arrow((x, level), (x, foot), scale),
        Text(at, words, ink.TEXT_MM, ink.letters(Layer.DIMENSION), anchor, backed=True),
    ]


def _arrow(start: XY, end: XY, scale: float) -> list[Primitive]:
    """An arrow in the accent; nothing where it would have no length."""
    way = np.array(end) - np.array(start)
    length = float(np.hypot(*way))
    if length < 0.3 * scale:
        return []
    along = way / length
    head = min(2.4 * scale, 0.7 * length)
    side = 0.35 * head * np.array([-along[1], along[0]])
    neck = np.array(end) - head * along
    tip = ink.area(Layer.DIMENSION, ink.ACCENT, colour=ink.ACCENT, width_mm=ink.HAIR_MM)
    corners = np.array([np.array(end), neck + side, neck - side])
    return [Line(start, _pair(neck), _ARROW), Polyline(_pairs(corners), tip, closed=True, tag="arrow")]


def _crown(
    view: MovementView, movement: Movement, original: Curve, scale: float
) -> tuple[list[Primitive], list[list[Text]]]:
    """How far the middle of the soffit came down against both springings' mean: arrow and figure."""
    middle = original.length_mm / 2
    piece = next(p for p in movement.pieces if p.start_mm <= middle <= p.end_mm)
    was = original.point(np.array([middle]))
    goes = exaggerated(was, piece, view.factor)
    drop = movement.crown_drop_mm
    words = f"crown {'dropped' if drop.value >= 0 else 'risen'} {told(drop)}"
    x, y = _pair(goes[0] / scale)
    lowest = min(y, float(was[0, 1]) / scale)
    style = ink.letters(Layer.DIMENSION)
    places = [
        Text((x + shift, lowest - down), words, ink.TEXT_MM, style, Anchor.MIDDLE)
        for down in (6.0, 10.0, 14.0)
        for shift in (0.0, 25.0, -25.0)
    ]
    return _arrow(_pair(was[0]), _pair(goes[0]), scale), [places]


def _hinge_numbers(faces: list[_Face], original: Curve, view: MovementView, scale: float) -> list[list[Text]]:
    """Places for the number of every hinge on paper: off the side that opens, then beside that."""
    wanted = []
    for number, (face, hinge) in enumerate(zip(faces, view.hinges, strict=True), start=1):
        mouth = face.crack[1:].mean(axis=0) / scale
        wanted.append(_number_places(number, mouth, _out(original, hinge), face.opens))
    return wanted


def _out(original: Curve, hinge: HingeView) -> Floats:
    return original.normal(hinge.hinge.station_mm.value)


def _number_places(number: int, mouth: Floats, out: Floats, opens: Opens) -> list[Text]:
    way = -1.0 if opens is Opens.INTRADOS else 1.0
    style = ink.letters(Layer.DEVIATION, ink.ACCENT)
    along = np.array([out[1], -out[0]])
    places = []
    for far, beside in product((3.5, 6.0, 9.0, 13.0), (0.0, -4.5, 4.5)):
        x, y = mouth + way * far * out + beside * along
        at = (float(x), float(y) - 0.5 * ink.HEAD_MM)
        places.append(Text(at, str(number), ink.HEAD_MM, style, Anchor.MIDDLE, bold=True))
    return places
