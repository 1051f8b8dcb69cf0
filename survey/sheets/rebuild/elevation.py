"""The elevation: every brick in its place, springing, crown, centres and the dimensions to check on site."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from survey.curves import DisplacedCurve, curve_of
from survey.rebuild.plan import RebuildPlan, RingPlan
from survey.record.model import Record
from survey.sheets.drawing import (
    XY,
    Anchor,
    Arc,
    Dash,
    Dimension,
    Drawing,
    EllipticArc,
    Layer,
    Line,
    Placed,
    Polyline,
    Primitive,
    Text,
)
from survey.sheets.fit.level import level_of
from survey.sheets.fit.striking import striking
from survey.sheets.kit import ink
from survey.sheets.kit.brickwork import (
    brick_primitives,
    brick_state,
    course_numbers,
    missing_courses,
    mortar_bed,
)
from survey.sheets.kit.labels import place_labels
from survey.sheets.kit.outline import curve_primitives
from survey.sheets.kit.placing import on_paper
from survey.sheets.kit.schedule import figure

NAME = "elevation"
_FIRST_ROW_MM, _SECOND_ROW_MM = 9.0, 17.0
"""Distance of the two rows of dimensions below the springing line, on paper."""
FITTED_PEN = ink.pen(Layer.FITTED_INTRADOS, ink.FINE_MM, ink.ACCENT, dash=Dash.DASHED)
"""The fitted curves beside the led ones of a repair."""
_OVER_MM = 10.0
"""The springing line goes on beyond the brickwork by this, on paper."""


def elevation_drawing(record: Record, plan: RebuildPlan, scale: float, *, centres: bool = True) -> Drawing:
    """The elevation in model millimetres, lettering and dimensions laid out for 1 : ``scale``.

    With ``centres`` the centres or foci are drawn too, which can reach far below a flat arch.
    """
    missing = missing_courses(record)
    marks: list[Primitive] = [mortar_bed(ring) for ring in plan.rings]
    numbers: list[Text] = []
    for ring in plan.rings:
        states = [brick_state(brick, missing) for brick in ring.bricks]
        for brick, state in zip(ring.bricks, states, strict=True):
            marks.extend(brick_primitives(brick, state, sawtooth=ring.sawtooth))
        numbers.extend(course_numbers(ring, states, scale))
    marks.extend(fitted_curves(plan))
    marks.extend(curve_primitives(plan.rings[0].inner, ink.pen(Layer.CURVE, ink.HEAVY_MM)))
    marks.extend(curve_primitives(plan.rings[-1].outer, ink.pen(Layer.CURVE, ink.BOLD_MM)))
    bed = _bed(plan)
    marks.extend(_lines(plan, bed, scale))
    marks.extend(_dimensions(plan, bed, scale))
    marks.extend(numbers)
    level = level_of(bed.left, bed.right, scale)
    marks.extend(level.marks)
    struck = striking(plan.shape, scale) if centres else None
    if struck is not None:
        marks.extend(struck.marks)
    wanted = (
        _springing_names(bed, scale),
        *(struck.wanted if struck is not None else ()),
        *level.wanted,
    )
    keep_out = struck.keep_out if struck is not None else ()
    at_origin = Placed(Drawing(NAME, tuple(marks)), (0.0, 0.0), (0.0, 0.0), scale)
    taken = [mark for mark in on_paper(at_origin) if isinstance(mark, Text)]
    labels = place_labels(wanted, taken, keep_out)
    marks.extend(replace(text, at=(text.at[0] * scale, text.at[1] * scale)) for text in labels.texts)
    return Drawing(NAME, tuple(marks))


def fitted_curves(plan: RebuildPlan) -> tuple[Arc | EllipticArc | Polyline, ...]:
    """The fitted intrados and extrados of a repair, each on a layer of its own; nothing for a whole rebuild.

    A repair is led from standing brick to standing brick beside them; without them a drawing of it would hold
    no curve that another program can take up. The extrados is the parallel of the fitted intrados at the
    outermost ring's gauge: arcs stay arcs, while that of an ellipse is no ellipse and comes in fine chords.
    """
    if not isinstance(plan.rings[0].inner, DisplacedCurve):
        return ()
    drawn = curve_of(plan.shape)
    styles = (FITTED_PEN, replace(FITTED_PEN, layer=Layer.FITTED_EXTRADOS))
    curves = (drawn, drawn.offset(plan.rings[-1].depth_gauge_mm))
    return tuple(
        mark for curve, style in zip(curves, styles, strict=True) for mark in curve_primitives(curve, style)
    )


@dataclass(frozen=True, slots=True)
class _Bed:
    """Ends of the intrados and of the extrados at the springing, and the springing line's direction."""

    left: XY
    right: XY
    far_left: XY
    far_right: XY
    along: XY

    def measured(self, point: XY) -> XY:
        """A point along and above the springing line, from the left springing."""
        dx, dy = point[0] - self.left[0], point[1] - self.left[1]
        return dx * self.along[0] + dy * self.along[1], dy * self.along[0] - dx * self.along[1]

    def point(self, along: float, up: float) -> XY:
        """The point so far along and above the springing line."""
        ux, uy = self.along
        return self.left[0] + along * ux - up * uy, self.left[1] + along * uy + up * ux


def _bed(plan: RebuildPlan) -> _Bed:
    left, right, _, _ = _ends(plan.rings[0])
    _, _, far_left, far_right = _ends(plan.rings[-1])
    span = math.dist(left, right)
    along = ((right[0] - left[0]) / span, (right[1] - left[1]) / span)
    return _Bed(left, right, far_left, far_right, along)


def _ends(ring: RingPlan) -> tuple[XY, XY, XY, XY]:
    """Left and right end of a ring's inner curve, then of its outer one."""
    inner = ring.inner.point(np.array([0.0, ring.inner.length_mm]))
    outer = ring.outer.point(np.array([0.0, ring.outer.length_mm]))
    a, b, c, d = ((float(x), float(y)) for x, y in np.vstack([inner, outer]))
    return a, b, c, d


def _lines(plan: RebuildPlan, bed: _Bed, scale: float) -> list[Primitive]:
    """Springing line and axis; the axis is named at the crown."""
    chain = ink.pen(Layer.SETTING_OUT, ink.FINE_MM, dash=Dash.CHAIN)
    span, _ = bed.measured(bed.right)
    over = _OVER_MM * scale
    start, end = bed.measured(bed.far_left)[0] - over, bed.measured(bed.far_right)[0] + over
    outer = plan.rings[-1].outer
    x, y = outer.point(outer.length_mm / 2)
    _, height = bed.measured((float(x), float(y)))
    top = bed.point(span / 2, height + 8.0 * scale)
    name_at = (top[0] + 1.0 * scale, top[1] - 2.0 * scale)
    return [
        Line(bed.point(start, 0.0), bed.point(end, 0.0), chain),
        Line(bed.point(span / 2, -4.0 * scale), top, chain),
        Text(name_at, "crown", ink.SMALL_TEXT_MM, ink.letters(Layer.SETTING_OUT)),
    ]


def _springing_names(bed: _Bed, scale: float) -> tuple[Text, ...]:
    """Candidates for the name of the springing line, on paper, above it inside the opening."""
    span, _ = bed.measured(bed.right)
    turn = math.atan2(bed.along[1], bed.along[0])
    texts = []
    for share in (0.24, 0.76, 0.35, 0.65, 0.15, 0.85):
        x, y = bed.point(share * span, 1.0 * scale)
        style = ink.letters(Layer.SETTING_OUT)
        at = (x / scale, y / scale)
        texts.append(Text(at, "springing line", ink.SMALL_TEXT_MM, style, Anchor.MIDDLE, turn))
    return tuple(texts)


def _dimensions(plan: RebuildPlan, bed: _Bed, scale: float) -> list[Primitive]:
    """Clear span, rise, ring depths along the right springing and the width over all."""
    pen = ink.pen(Layer.DIMENSION, ink.FINE_MM)
    span, _ = bed.measured(bed.right)
    inner = plan.rings[0].inner
    x, y = inner.point(inner.length_mm / 2)
    wide = math.dist(bed.far_left, bed.far_right)
    below = _SECOND_ROW_MM + max(0.0, bed.measured(bed.far_left)[1]) / scale
    rise_words = f"rise {figure(plan.shape.rise_mm)}"
    marks: list[Primitive] = [
        Dimension(bed.left, bed.right, f"clear span {figure(span)}", -_FIRST_ROW_MM, pen),
        Dimension(bed.point(span / 2, 0.0), (float(x), float(y)), rise_words, 5.0, pen),
        Dimension(bed.far_left, bed.far_right, f"over all {figure(wide)}", -below, pen),
    ]
    for ring in plan.rings:
        _, inside, _, outside = _ends(ring)
        depth = figure(math.dist(inside, outside))
        marks.append(Dimension(inside, outside, depth, -_FIRST_ROW_MM, pen, backed=True))
    return marks
