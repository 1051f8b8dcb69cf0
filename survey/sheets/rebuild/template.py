"""The full-size template: soffit, rib profile and course marks at 1 : 1, on A4 and on A3."""

from __future__ import annotations

import math

import numpy as np

from survey.rebuild.plan import RebuildPlan, RingPlan
from survey.rebuild.words import counted
from survey.record.model import Record
from survey.sheets.drawing import (
    XY,
    Anchor,
    Arc,
    Box,
    Dash,
    Drawing,
    EllipticArc,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Text,
)
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import (
    cautions,
    cautions_height_mm,
    check_bar,
    notes,
    notes_height_mm,
    refusal_banner,
)
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.page import Page, Paper
from survey.sheets.kit.schedule import figure
from survey.sheets.kit.tiling import Tiling, index_marks, tile, tile_pages

NAME = "template"
_MARK_MM = 45.0
"""Course marks reach this far outwards from the soffit, full size."""
_PAPERS = {
    "A4": (Paper.A4_PORTRAIT, Paper.A4_LANDSCAPE),
    "A3": (Paper.A3_LANDSCAPE, Paper.A3_PORTRAIT),
}


def template_pages(record: Record, plan: RebuildPlan, size: str) -> tuple[Page, ...]:
    """Index and tiles of the full-size template on ``A4`` or ``A3``."""
    drawing = template_drawing(plan)
    tiling = tile(drawing, _PAPERS[size], refused=bool(plan.refusals))
    name, title = f"{NAME}_{size}", f"Full-size template, {size} tiles"
    tiles = tile_pages(drawing, tiling, name=name, title=title, arch=record.name)
    return (_index_page(plan, drawing, tiling, name, title), *tiles)


def template_drawing(plan: RebuildPlan) -> Drawing:
    """Soffit of the first ring, rib profile, springing, axis and the marks of every course, for 1 : 1."""
    ring = plan.rings[0]
    marks: list[Primitive] = [
        *curve_primitives(plan.centring.rib, ink.pen(Layer.CENTRING, ink.BOLD_MM, dash=Dash.DASHED)),
        *curve_primitives(ring.inner, ink.pen(Layer.CURVE, ink.BOLD_MM)),
        *_course_marks(ring),
        *_datum_lines(plan),
    ]
    return Drawing(NAME, tuple(marks))


def _course_marks(ring: RingPlan) -> list[Primitive]:
    """Both edges of every course square to the soffit, its number between them."""
    edges = np.array([(b.station_start_mm, b.station_end_mm) for b in ring.bricks])
    foot = ring.inner.point(edges.ravel())
    normal = ring.inner.normal(edges.ravel())
    pen = ink.pen(Layer.JOINT, ink.MEDIUM_MM)
    marks: list[Primitive] = [
        Line(_pair(at), _pair(at + _MARK_MM * out), pen) for at, out in zip(foot, normal, strict=True)
    ]
    middle = edges.mean(axis=1)
    centre, outward = ring.inner.point(middle), ring.inner.normal(middle)
    for brick, at, out in zip(ring.bricks, centre, outward, strict=True):
        height = min(5.0, 0.22 * brick.width_intrados_mm)
        turn = math.atan2(out[1], out[0]) - math.pi / 2
        number = at + (_MARK_MM - height - 4.0) * out
        marks.append(Text(_pair(number), f"{brick.course}", height, ink.letters(), Anchor.MIDDLE, turn))
        along = at + 5.0 * out
        words = figure(brick.station_start_mm)
        size = max(ink.SMALL_TEXT_MM, min(2.4, 0.05 * brick.width_intrados_mm))
        grey = ink.letters(Layer.TEXT, ink.GREY)
        marks.append(Text(_pair(along), f"start {words}", size, grey, Anchor.MIDDLE, turn))
    return marks


def _datum_lines(plan: RebuildPlan) -> list[Primitive]:
    """Springing line at both ends and the axis at the crown, with their names, and the name of the rib."""
    ring, rib = plan.rings[0], plan.centring.rib
    left, right = (_pair(p) for p in ring.inner.point(np.array([0.0, ring.inner.length_mm])))
    span = math.dist(left, right)
    ux, uy = (right[0] - left[0]) / span, (right[1] - left[1]) / span
    turn = math.atan2(uy, ux)
    chain = ink.pen(Layer.SETTING_OUT, ink.MEDIUM_MM, dash=Dash.CHAIN)
    words = ink.letters(Layer.SETTING_OUT)
    marks: list[Primitive] = []
    for (x, y), side in ((left, 1.0), (right, -1.0)):
        over, into = _MARK_MM * side, 75.0 * side
        marks.append(Line((x - over * ux, y - over * uy), (x + into * ux, y + into * uy), chain))
        at = (x + side * 52.0 * ux + 2.0 * uy, y + side * 52.0 * uy - 6.0 * ux)
        marks.append(Text(at, "springing line", 3.0, words, Anchor.MIDDLE, turn, backed=True))
    crown = ring.inner.point(ring.inner.length_mm / 2)
    up = (-uy, ux)
    foot = (float(crown[0]) - 60.0 * up[0], float(crown[1]) - 60.0 * up[1])
    top = (float(crown[0]) + _MARK_MM * up[0], float(crown[1]) + _MARK_MM * up[1])
    marks.append(Line(foot, top, chain))
    marks.append(Text((foot[0] + 2.0, foot[1] + 2.0), "middle line", 3.0, words, backed=True))
    below, outward = rib.point(rib.length_mm * 0.4), rib.normal(rib.length_mm * 0.4)
    name_turn = math.atan2(outward[1], outward[0]) - math.pi / 2
    marks.append(
        Text(_pair(below - 7.0 * outward), "rib, under the lagging", 3.0, words, Anchor.MIDDLE, name_turn)
    )
    return marks


def _index_page(plan: RebuildPlan, drawing: Drawing, tiling: Tiling, name: str, title: str) -> Page:
    """Map of the tiles with what to do before they are used."""
    area = Paper.A4_PORTRAIT.area
    banner, banner_height = refusal_banner(plan.refusals, area)
    caution_height = cautions_height_mm(plan.cautions, area.width, n_columns=2)
    box = Box(area.left, area.bottom, area.width, caution_height)
    steps = (
        "Print every tile at its true size: 100 %, no fitting to the page.",
        "Measure both check bars of every tile: 100 mm. Print a tile again that misses by half a millimetre.",
        "Lay neighbours so that their crosses fall on each other, trim one along the match line, and tape.",
        f"Measure the span on the joined template: {figure(2 * plan.shape.half_span_mm)} mm. If it misses by "
        "more than 2 mm, do not use it.",
        "The dashed line is the rib under the lagging, the full line the soffit the bricks lie on. At each "
        "course stand its number and where it starts, in mm along the soffit from the left springing.",
        f"{counted(len(tiling.tiles), 'tile')}; empty ones are left out.",
    )
    steps_height = notes_height_mm(steps, area.width, title="How to use the tiles", height_mm=ink.TEXT_MM)
    y = area.top - banner_height
    steps_box = Box(area.left, y - steps_height, area.width, steps_height)
    bar_foot = box.top + 6.0
    room = Box(area.left, bar_foot + 12.0, area.width, steps_box.bottom - bar_foot - 20.0)
    placed = _mapped(drawing, tiling, room)
    marks: tuple[Primitive, ...] = (
        *banner,
        *notes(steps, steps_box, title="How to use the tiles", height_mm=ink.TEXT_MM),
        *index_marks(tiling, placed),
        *check_bar((area.left, bar_foot)),
        *cautions(plan.cautions, box, n_columns=2),
    )
    return Page(name, title, marks, (placed,), None, Paper.A4_PORTRAIT)


def _mapped(drawing: Drawing, tiling: Tiling, room: Box) -> Placed:
    """The bare curves of the drawing in the middle of a box, all cells of the tiling inside it."""
    left = min(t.cell.left for t in tiling.tiles)
    bottom = min(t.cell.bottom for t in tiling.tiles)
    width = max(t.cell.right for t in tiling.tiles) - left
    height = max(t.cell.top for t in tiling.tiles) - bottom
    scale = max(width / room.width, height / room.height)
    curves = (Arc, EllipticArc, Polyline)
    bare = Drawing(f"{drawing.name}_map", tuple(p for p in drawing.primitives if isinstance(p, curves)))
    middle = (left + width / 2, bottom + height / 2)
    return Placed(bare, middle, room.middle, scale)


def _pair(xy: np.ndarray) -> XY:
    return float(xy[0]), float(xy[1])
