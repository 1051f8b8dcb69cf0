"""From model millimetres to paper: every renderer draws but lines, arcs, circles and texts in paper mm."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from survey.errors import DrawingError
from survey.sheets.drawing import (
    XY,
    Anchor,
    Arc,
    Box,
    Circle,
    Dash,
    Dimension,
    EllipticArc,
    Line,
    Placed,
    Polyline,
    Primitive,
    Sheet,
    Text,
)
from survey.sheets.kit.lettering import text_box, text_width_mm

Mark = Line | Polyline | Arc | EllipticArc | Circle | Text
"""What a renderer draws."""

_ARC_STEP_RAD = math.radians(0.5)
GAP_MM = 1.2
"""From the measured point to its extension line, on paper."""
OVERRUN_MM = 1.5
"""Extension line beyond the dimension line."""
TICK_MM = 1.4
"""Half length of the slanting stroke that ends a dimension line."""
TICK_PEN_MM = 0.35
LIFT_MM = 1.0
"""From the dimension line to the foot of its text."""
LEAST_TURN_RAD = math.radians(-85.0)
"""Figures read from below or from the right; a line a little off plumb still from the right."""
DASHES_MM = {
    Dash.SOLID: (),
    Dash.DASHED: (2.4, 1.2),
    Dash.CHAIN: (6.0, 1.2, 0.6, 1.2),
    Dash.DOUBLE_CHAIN: (3.6, 0.8, 0.5, 0.8, 0.5, 0.8),
    Dash.DOTTED: (0.4, 1.0),
}
"""Stroke and gap lengths on paper of every line pattern."""


def explode(dimension: Dimension, scale: float = 1.0) -> tuple[Mark, ...]:
    """Lines, strokes and text of a dimension drawn at 1 : ``scale``, in the unit of its points.

    The text stands above the middle of the line, or past its end where it does not fit in between.

    Raises
    ------
    DrawingError
        When the two points coincide.
    """
    (x1, y1), (x2, y2) = dimension.start, dimension.end
    length = math.hypot(x2 - x1, y2 - y1)
    if length == 0.0:
        raise DrawingError(f"the dimension {dimension.text!r} has no length; give two different points")
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    side = math.copysign(1.0, dimension.offset_paper_mm)

    def at(along: float, off_paper: float) -> XY:
        off = off_paper * scale
        return x1 + along * ux - off * uy, y1 + along * uy + off * ux

    off, style = dimension.offset_paper_mm, dimension.style
    fine = replace(style, width_mm=min(style.width_mm, 0.13))
    marks: list[Mark] = [Line(at(0.0, off), at(length, off), fine)]
    for along in (0.0, length):
        if abs(off) > GAP_MM:
            marks.append(Line(at(along, side * GAP_MM), at(along, off + side * OVERRUN_MM), fine))
        slant = TICK_MM * scale / math.sqrt(2.0)
        cx, cy = at(along, off)
        tx, ty = slant * (ux - uy), slant * (uy + ux)
        marks.append(Line((cx - tx, cy - ty), (cx + tx, cy + ty), replace(style, width_mm=TICK_PEN_MM)))
    marks.append(_dimension_text(dimension, length / scale, at, scale))
    return tuple(marks)


def _dimension_text(
    dimension: Dimension, length_paper: float, at: Callable[[float, float], XY], scale: float
) -> Text:
    """The figure of a dimension: turned so that it reads from below or from the right."""
    (x1, y1), (x2, y2) = dimension.start, dimension.end
    turn = math.atan2(y2 - y1, x2 - x1)
    lift = LIFT_MM
    if not LEAST_TURN_RAD < turn <= LEAST_TURN_RAD + math.pi:
        turn, lift = turn + math.copysign(math.pi, -turn), -LIFT_MM
    width = text_width_mm(dimension.text, dimension.height_mm)
    outside = width + 2 * TICK_MM > length_paper
    along = (length_paper + TICK_MM + width / 2 + 0.6 if outside else length_paper / 2) * scale
    off = dimension.offset_paper_mm + (lift if not outside else math.copysign(dimension.height_mm / 2, -lift))
    ink = replace(dimension.style, width_mm=0.0)
    height, backed = dimension.height_mm, dimension.backed
    return Text(at(along, off), dimension.text, height, ink, Anchor.MIDDLE, turn, backed=backed)


def on_paper(placed: Placed) -> tuple[Mark, ...]:
    """Primitives of a placed drawing in paper millimetres, dimensions exploded."""
    marks: list[Mark] = []
    for primitive in placed.drawing.primitives:
        if isinstance(primitive, Dimension):
            marks.extend(_moved(mark, placed) for mark in explode(primitive, placed.scale))
        else:
            marks.append(_moved(primitive, placed))
    return tuple(marks)


def _moved(mark: Mark, placed: Placed) -> Mark:
    """One primitive brought from model to paper."""
    (mx, my), (px, py), scale = placed.origin_model, placed.origin_paper, placed.scale

    def paper(point: XY) -> XY:
        return (point[0] - mx) / scale + px, (point[1] - my) / scale + py

    match mark:
        case Line(start, end):
            return replace(mark, start=paper(start), end=paper(end))
        case Polyline(points):
            return replace(mark, points=tuple(paper(point) for point in points))
        case Arc(centre, radius):
            return replace(mark, centre=paper(centre), radius=radius / scale)
        case EllipticArc(centre, semi_x, semi_y):
            return replace(mark, centre=paper(centre), semi_x=semi_x / scale, semi_y=semi_y / scale)
        case Circle(centre):
            return replace(mark, centre=paper(centre))
        case Text(at):
            return replace(mark, at=paper(at))


def exploded(primitives: tuple[Primitive, ...], scale: float = 1.0) -> tuple[Mark, ...]:
    """Primitives with every dimension replaced by its lines and text, in their own unit."""
    marks: list[Mark] = []
    for primitive in primitives:
        marks.extend(explode(primitive, scale) if isinstance(primitive, Dimension) else (primitive,))
    return tuple(marks)


def sheet_marks(sheet: Sheet) -> tuple[Mark, ...]:
    """Everything a sheet shows, in paper millimetres, clipping left aside."""
    placed = (mark for part in sheet.placed for mark in on_paper(part))
    return (*placed, *exploded(sheet.primitives))


def arc_points(mark: Arc | EllipticArc, n: int = 2) -> tuple[XY, ...]:
    """``n`` points of an arc, evenly spaced in its angle from start to end."""
    sweep = sweep_rad(mark)
    return tuple(arc_point(mark, mark.start_rad + sweep * k / (n - 1)) for k in range(n))


def arc_point(mark: Arc | EllipticArc, angle_rad: float) -> XY:
    """Point of an arc at an angle (eccentric angle for an ellipse)."""
    a, b, tilt = (
        (mark.radius, mark.radius, 0.0)
        if isinstance(mark, Arc)
        else (mark.semi_x, mark.semi_y, mark.tilt_rad)
    )
    u, v = a * math.cos(angle_rad), b * math.sin(angle_rad)
    return (
        mark.centre[0] + u * math.cos(tilt) - v * math.sin(tilt),
        mark.centre[1] + u * math.sin(tilt) + v * math.cos(tilt),
    )


def sweep_rad(mark: Arc | EllipticArc) -> float:
    """Angle an arc turns through, anticlockwise, above 0 and at most a full turn."""
    sweep = (mark.end_rad - mark.start_rad) % (2 * math.pi)
    return sweep if sweep > 0.0 else 2 * math.pi


def mark_box(mark: Mark) -> Box:
    """Upright rectangle round one mark on paper, pen width left aside; an arc's is exact at its quadrants."""
    match mark:
        case Line(start, end):
            points: tuple[XY, ...] = (start, end)
        case Polyline(corners):
            points = corners
        case Circle((x, y), radius):
            points = ((x - radius, y - radius), (x + radius, y + radius))
        case Text():
            return text_box(mark)
        case Arc() | EllipticArc():
            points = _arc_extremes(mark)
    left, bottom = min(x for x, _ in points), min(y for _, y in points)
    return Box(left, bottom, max(x for x, _ in points) - left, max(y for _, y in points) - bottom)


def touches(mark: Mark, box: Box) -> bool:
    """Whether a mark on paper reaches into a box; an arc is looked at point by point."""
    if not mark_box(mark).meets(box):
        return False
    if not isinstance(mark, Arc | EllipticArc):
        return True
    n = max(2, math.ceil(sweep_rad(mark) / _ARC_STEP_RAD) + 1)
    return any(box.left < x < box.right and box.bottom < y < box.top for x, y in arc_points(mark, n))


def _arc_extremes(mark: Arc | EllipticArc) -> tuple[XY, ...]:
    """Ends of an arc and every point between them where it runs level or plumb."""
    if isinstance(mark, Arc):
        level = plumb = 0.0
    else:
        cos, sin = math.cos(mark.tilt_rad), math.sin(mark.tilt_rad)
        plumb = math.atan2(-mark.semi_y * sin, mark.semi_x * cos)
        level = math.atan2(mark.semi_y * cos, mark.semi_x * sin)
    sweep = sweep_rad(mark)
    turns = [base + k * math.pi / 2 for base in (plumb, level) for k in range(4)]
    inside = [t for t in turns if (t - mark.start_rad) % (2 * math.pi) < sweep]
    return tuple(arc_point(mark, t) for t in (mark.start_rad, mark.start_rad + sweep, *inside))


def extent(marks: tuple[Mark, ...]) -> Box:
    """Upright rectangle round marks on paper.

    Raises
    ------
    DrawingError
        When there is nothing to bound.
    """
    if not marks:
        raise DrawingError("an empty drawing has no extent; give it at least one primitive")
    boxes = [mark_box(mark) for mark in marks]
    left, bottom = min(b.left for b in boxes), min(b.bottom for b in boxes)
    return Box(left, bottom, max(b.right for b in boxes) - left, max(b.top for b in boxes) - bottom)
