"""The rib as drawn: soffit, lagging, boards of both layers, ordinates, course marks, tie, wedges and
props."""

from __future__ import annotations

import math

import numpy as np

from survey.curves.protocol import Curve, Floats
from survey.rebuild.centring.ribs import LEAST_DEPTH_RATIO
from survey.rebuild.layout.marks import ORDINATE_STEP_MM
from survey.rebuild.plan import CentringMark, CentringPlan, RebuildPlan, RibBoard
from survey.record.model import Centring
from survey.sheets.drawing import (
    XY,
    Anchor,
    Dash,
    Dimension,
    Drawing,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Text,
)
from survey.sheets.fit.level import LEVEL_PEN, fall_words
from survey.sheets.kit import ink
from survey.sheets.kit.labels import place_labels, thinned
from survey.sheets.kit.lettering import text_width_mm
from survey.sheets.kit.outline import chord_stations, curve_primitives
from survey.sheets.kit.placing import on_paper
from survey.sheets.kit.schedule import figure

NAME = "rib"
_FIGURE_MM = 4.5
"""Between two ordinates on paper, so that the figure of each stands clear of the next line."""
_TICK_MM = 3.0
"""Course marks outside the soffit, on paper."""
_WEDGE_MM = 45.0
"""Height of a pair of folding wedges as drawn, full size."""
_PROP_MM, _PROP_PAPER_MM = 260.0, 14.0
"""Length of the props' heads as drawn, full size, and the most of it on paper; how long they are the site
decides."""
_PROP_HALF_MM = 50.0
_BREAK_MM = 18.0
"""Half the height of the break line at a prop's foot."""


def rib_drawing(plan: RebuildPlan, timber: Centring, scale: float) -> Drawing:
    """One rib in model millimetres, lettering laid out for 1 : ``scale``."""
    centring = plan.centring
    soffit = plan.rings[0].inner
    marks: list[Primitive] = [
        *_props(centring, timber, _prop_mm(scale)),
        *_tie(centring, timber),
        *_boards(centring, timber),
        *_lagging(centring),
        *curve_primitives(centring.rib, ink.pen(Layer.CENTRING, ink.BOLD_MM)),
        *curve_primitives(soffit, ink.pen(Layer.CURVE, ink.HEAVY_MM)),
        *_ordinates(plan, scale),
        *_course_marks(plan, soffit, scale),
        *_dimensions(plan, timber, scale),
    ]
    at_origin = Placed(Drawing(NAME, tuple(marks)), (0.0, 0.0), (0.0, 0.0), scale)
    taken = [mark for mark in on_paper(at_origin) if isinstance(mark, Text)]
    wanted = [*_level_words(plan, scale), *_board_names(centring, timber, scale)]
    names = place_labels(wanted, taken).texts
    heights = place_labels(_heights(plan, scale), [*taken, *names]).texts
    return Drawing(NAME, (*marks, *(_in_model(text, scale) for text in (*names, *heights))))


def board_name(boards: tuple[RibBoard, ...], index: int) -> str:
    """Layer and number of a board: 1.1, 1.2 … 2.1 …"""
    layer = boards[index].layer
    return f"{layer}.{sum(b.layer == layer for b in boards[: index + 1])}"


def _outline(rib: Curve, board: RibBoard, depth: float) -> Floats:
    """Corners of a board: along the curve, and back along its straight inner edge."""
    curve = rib.point(chord_stations(rib, board.start_mm, board.end_mm, 0.2))
    along = (curve[-1] - curve[0]) / np.hypot(*(curve[-1] - curve[0]))
    out = np.array([-along[1], along[0]])
    feet = [
        at - normal * depth / float(normal @ out)
        for at, normal in ((curve[-1], rib.normal(board.end_mm)), (curve[0], rib.normal(board.start_mm)))
    ]
    return np.vstack([curve, feet])


def _boards(centring: CentringPlan, timber: Centring) -> list[Primitive]:
    """Boards of the front layer as fields, of the back layer dashed."""
    depth = LEAST_DEPTH_RATIO * timber.board_width_mm
    front = ink.area(Layer.CENTRING, ink.WASH, width_mm=ink.MEDIUM_MM)
    back = ink.pen(Layer.CENTRING, ink.FINE_MM, dash=Dash.DASHED)
    fields: list[Primitive] = []
    dashed: list[Primitive] = []
    for board in centring.boards:
        outline = tuple(_pair(xy) for xy in _outline(centring.rib, board, depth))
        if board.layer == 1:
            fields.append(Polyline(outline, front, closed=True))
        else:
            dashed.append(Polyline((outline[-3], *outline[-2:], outline[0]), back))
    return [*fields, *dashed]


def _board_names(centring: CentringPlan, timber: Centring, scale: float) -> list[tuple[Text, ...]]:
    """Names in the middle of the boards, on paper, each with other places along its board; the back layer's
    nearer the inner edge."""
    depth = LEAST_DEPTH_RATIO * timber.board_width_mm
    wanted: list[tuple[Text, ...]] = []
    for k, board in enumerate(centring.boards):
        words = board_name(centring.boards, k)
        places = []
        for share in (0.5, 0.42, 0.58, 0.35, 0.65):
            station = board.start_mm + share * (board.end_mm - board.start_mm)
            normal = centring.rib.normal(station)
            at = (centring.rib.point(station) - normal * depth * (0.42 if board.layer == 1 else 0.95)) / scale
            turn = math.atan2(float(normal[1]), float(normal[0])) - math.pi / 2
            style = ink.letters(Layer.CENTRING)
            bold = board.layer == 1
            places.append(
                Text(_pair(at), words, ink.TEXT_MM, style, Anchor.MIDDLE, turn, bold=bold, backed=True)
            )
        wanted.append(tuple(places))
    return wanted


def _lagging(centring: CentringPlan) -> list[Primitive]:
    """Ends of the strips on the rib; none where the plan does not say how they lie."""
    if centring.lagging_pitch_mm <= 0.0:
        return []
    rib, half = centring.rib, centring.lagging_strip_mm / 2.0
    n = max(1, round(rib.length_mm / centring.lagging_pitch_mm))
    style = ink.area(Layer.CENTRING, ink.WHITE, width_mm=ink.FINE_MM)
    marks: list[Primitive] = []
    for station in (np.arange(n) + 0.5) * rib.length_mm / n:
        at, normal = rib.point(station), rib.normal(station)
        along = np.array([normal[1], -normal[0]]) * min(half, rib.length_mm / n / 2.0)
        high = normal * centring.lagging_mm
        corners = (at - along, at + along, at + along + high, at - along + high)
        marks.append(Polyline(tuple(_pair(c) for c in corners), style, closed=True))
    return marks


def _feet(centring: CentringPlan) -> tuple[XY, XY]:
    left, right = centring.rib.point(np.array([0.0, centring.rib.length_mm]))
    return _pair(left), _pair(right)


def _tie(centring: CentringPlan, timber: Centring) -> list[Primitive]:
    """The board that ties the feet."""
    (x1, y1), (x2, y2) = _feet(centring)
    low = timber.board_width_mm
    corners = ((x1, y1), (x2, y2), (x2, y2 - low), (x1, y1 - low))
    return [Polyline(corners, ink.area(Layer.CENTRING, ink.WHITE, width_mm=ink.MEDIUM_MM), closed=True)]


def _prop_mm(scale: float) -> float:
    return min(_PROP_MM, _PROP_PAPER_MM * scale)


def _props(centring: CentringPlan, timber: Centring, length_mm: float) -> list[Primitive]:
    """Heads of the props with their folding wedges under the tie."""
    (x1, y1), (x2, y2) = _feet(centring)
    pen = ink.pen(Layer.CENTRING, ink.MEDIUM_MM)
    wedge = ink.area(Layer.CENTRING, ink.PALE, width_mm=ink.FINE_MM)
    marks: list[Primitive] = []
    for x in centring.props_x_mm:
        top = y1 + (y2 - y1) * (x - x1) / (x2 - x1) - timber.board_width_mm
        left, right, low = x - 1.5 * _PROP_HALF_MM, x + 1.5 * _PROP_HALF_MM, top - _WEDGE_MM
        thin = _WEDGE_MM * 0.3
        upper = ((left, top), (right, top), (right, top - thin), (left, low + thin))
        lower = ((left, low + thin), (right, top - thin), (right, low), (left, low))
        marks += [Polyline(corners, wedge, closed=True) for corners in (upper, lower)]
        foot = low - length_mm
        for side in (-_PROP_HALF_MM, _PROP_HALF_MM):
            marks.append(Line((x + side, low), (x + side, foot), pen))
        broken = tuple(
            (x + _PROP_HALF_MM * a, foot + _BREAK_MM * b / 1.5)
            for a, b in ((-1.4, 0), (-0.4, 0), (-0.1, 1.5), (0.1, -1.5), (0.4, 0), (1.4, 0))
        )
        marks.append(Polyline(broken, ink.pen(Layer.CENTRING, ink.FINE_MM)))
    return marks


def _springing(plan: RebuildPlan) -> tuple[XY, XY]:
    soffit = plan.rings[0].inner
    left, right = soffit.point(np.array([0.0, soffit.length_mm]))
    return _pair(left), _pair(right)


def _ordinates(plan: RebuildPlan, scale: float) -> list[Primitive]:
    """The springing line, the level through its middle where it is not level, and from that upright lines to
    the rib."""
    left, right = _springing(plan)
    fine = ink.pen(Layer.SETTING_OUT, ink.HAIR_MM, ink.GREY)
    chain = ink.pen(Layer.SETTING_OUT, ink.FINE_MM, dash=Dash.CHAIN)
    level = plan.shape.springing_y_mm
    marks: list[Primitive] = [Line(left, right, chain)]
    if fall_words(left, right):
        marks.append(Line((left[0], level), (right[0], level), LEVEL_PEN))
    for mark in _shown(plan, scale):
        marks.append(Line((mark.x_mm, level), (mark.x_mm, mark.rib_y_mm), fine))
    return marks


def _level_words(plan: RebuildPlan, scale: float) -> list[tuple[Text, ...]]:
    """Places on paper, in the tie, for what the dotted level is; none where the springing line is level."""
    left, right = _springing(plan)
    told = fall_words(left, right)
    if not told:
        return []
    words = f"dotted: level, from which the ordinates rise; {told} over the span"
    low = min(left[1], right[1]) / scale
    x, style = (left[0] + right[0]) / 2.0 / scale, ink.letters(Layer.SETTING_OUT)
    return [
        tuple(
            Text((x, low - down), words, ink.SMALL_TEXT_MM, style, Anchor.MIDDLE, backed=True)
            for down in (4.5, 8.0, 11.5)
        )
    ]


def _shown(plan: RebuildPlan, scale: float) -> list[CentringMark]:
    """Ordinates the rib reaches: the even ones, and of those between as many as leave room for a figure."""
    reached = [m for m in plan.centring.marks if m.what == "ordinate" and math.isfinite(m.rib_y_mm)]
    soffit = plan.rings[0].inner
    middle = float(soffit.point(np.array([0.0, soffit.length_mm]))[:, 0].mean())
    even = [abs(m.x_mm - middle) % ORDINATE_STEP_MM for m in reached]
    kept = [m for m, off in zip(reached, even, strict=True) if min(off, ORDINATE_STEP_MM - off) < 1e-6]
    for mark in sorted(reached, key=lambda m: -m.rib_y_mm):
        if all(abs(mark.x_mm - other.x_mm) / scale >= _FIGURE_MM for other in kept):
            kept.append(mark)
    return sorted(kept, key=lambda m: m.x_mm)


def _heights(plan: RebuildPlan, scale: float) -> list[tuple[Text, ...]]:
    """The rib's height over the level up each ordinate long enough for it, on paper; the middle's first."""
    wanted: list[tuple[Text, ...]] = []
    middle, foot = plan.shape.axis_x_mm, plan.shape.springing_y_mm
    for mark in sorted(_shown(plan, scale), key=lambda m: abs(m.x_mm - middle)):
        words = figure(mark.rib_y_mm - foot)
        room = (mark.rib_y_mm - foot) / scale
        if room < text_width_mm(words, ink.SMALL_TEXT_MM) + 4.0:
            continue
        at = (mark.x_mm / scale + ink.SMALL_TEXT_MM / 2, foot / scale + 1.5)
        style = ink.letters(Layer.SETTING_OUT)
        wanted.append((Text(at, words, ink.SMALL_TEXT_MM, style, turn_rad=math.pi / 2, backed=True),))
    return wanted


def _course_marks(plan: RebuildPlan, soffit: Curve, scale: float) -> list[Primitive]:
    """Both edges of every course of the innermost ring outside the soffit, with thinned numbers."""
    ring = plan.rings[0].ring
    stations = np.array([m.along_left_mm for m in plan.centring.marks if m.what == "mark" and m.ring == ring])
    courses = [m.course for m in plan.centring.marks if m.what == "mark" and m.ring == ring][::2]
    if not stations.size:
        return []
    foot, normal = soffit.point(stations), soffit.normal(stations)
    tip = foot + normal * _TICK_MM * scale
    pen = ink.pen(Layer.JOINT, ink.FINE_MM)
    marks: list[Primitive] = [Line(_pair(a), _pair(b), pen) for a, b in zip(foot, tip, strict=True)]
    middle = (stations[::2] + stations[1::2]) / 2.0
    at, out = soffit.point(middle) / scale, soffit.normal(middle)
    numbers = [
        Text(
            _pair(p + n * (_TICK_MM + 1.0)),
            f"{course}",
            ink.SMALL_TEXT_MM,
            ink.letters(Layer.JOINT),
            Anchor.MIDDLE,
            math.atan2(float(n[1]), float(n[0])) - math.pi / 2,
        )
        for p, n, course in zip(at, out, courses, strict=True)
    ]
    return [*marks, *(_in_model(text, scale) for text in thinned(numbers))]


def _dimensions(plan: RebuildPlan, timber: Centring, scale: float) -> list[Primitive]:
    """Span and rise of the rib."""
    centring = plan.centring
    left, right = _feet(centring)
    crown = _pair(centring.rib.point(centring.rib.length_mm / 2.0))
    pen = ink.pen(Layer.DIMENSION, ink.FINE_MM)
    # clear of the lowest point of the props' break lines, with the figure above the dimension line
    low = timber.board_width_mm + _WEDGE_MM + _prop_mm(scale) + _BREAK_MM + 1.5 * scale
    a, b = (left[0], left[1] - low), (right[0], right[1] - low)
    side = (right[0], crown[1])
    rise = crown[1] - (left[1] + right[1]) / 2.0
    return [
        Dimension(a, b, f"rib, foot to foot {figure(math.dist(left, right))}", -5.0, pen),
        Dimension(right, side, f"rib rises {figure(rise)}", -14.0, pen),
    ]


def _in_model(text: Text, scale: float) -> Text:
    """A text laid out on paper, brought to model millimetres."""
    at = (text.at[0] * scale, text.at[1] * scale)
    return Text(at, text.text, text.height_mm, text.style, text.anchor, text.turn_rad, text.bold, text.backed)


def _pair(xy: Floats) -> XY:
    return float(xy[0]), float(xy[1])
