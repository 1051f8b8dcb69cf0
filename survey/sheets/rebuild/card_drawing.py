"""The order of laying as a picture: every brick with its step, stops and key told apart without colour."""

from __future__ import annotations

import numpy as np

from survey.rebuild.laying.order import KEY
from survey.rebuild.plan import Brick, BrickKind, LayingStep, RebuildPlan, RingPlan
from survey.sheets.drawing import XY, Anchor, Dash, Drawing, Hatch, Layer, Polyline, Primitive, Style, Text
from survey.sheets.kit import ink
from survey.sheets.kit.brickwork import STATE_STYLES, BrickState, mortar_bed
from survey.sheets.kit.furniture import KeyEntry
from survey.sheets.kit.labels import thinned
from survey.sheets.kit.lettering import text_box, text_width_mm
from survey.sheets.kit.outline import curve_primitives

NAME = "laying"
_NUMBERS_MM = (3.4, 3.0, 2.6, 2.2, ink.SMALL_TEXT_MM)
"""Capital heights tried for the steps inside their bricks."""
_BESIDE_MM = 2.6
"""Capital height of the steps beside a ring whose bricks are too small for theirs."""
_APART_MM = 1.0
"""Between two such steps."""
_STANDING = Style(Layer.BRICK, ink.HAIR_MM, ink.GREY, fill=ink.WHITE)
_LAID = ink.area(Layer.BRICK_NEW, width_mm=ink.FINE_MM)
_STOP = ink.area(Layer.BRICK_NEW, ink.PALE, width_mm=ink.MEDIUM_MM)
_DONE = STATE_STYLES[BrickState.LAID]
_REFUSED = Style(Layer.BRICK_NEW, ink.FINE_MM, ink.BLACK, fill=ink.WHITE, dash=Dash.DASHED)
_KEY = ink.area(Layer.BRICK_NEW, ink.WHITE, Hatch.CROSS, width_mm=ink.BOLD_MM)

Steps = dict[tuple[int, int], LayingStep]


def card_key(plan: RebuildPlan) -> tuple[KeyEntry, ...]:
    """What the fields of the picture mean, as far as they occur."""
    entries = []
    if plan.laying:
        entries += [KeyEntry(_LAID, "to lay, with its step"), KeyEntry(_STOP, "stop: a second person checks")]
    if any(step.side == KEY for step in plan.laying):
        entries.append(KeyEntry(_KEY, "key: tried dry, goes in last"))
    if any(brick.kind is BrickKind.IN_SITU for brick in plan.bricks):
        entries.append(KeyEntry(_STANDING, "stands"))
    if any(brick.laid for brick in plan.bricks):
        entries.append(KeyEntry(_DONE, BrickState.LAID.value))
    if plan.refusals:
        entries.append(KeyEntry(_REFUSED, "no order: not to be built"))
    return tuple(entries)


def laying_drawing(plan: RebuildPlan, scale: float) -> Drawing:
    """Rings with the steps in their bricks, lettering laid out for 1 : ``scale``."""
    steps: Steps = {(step.ring, step.course): step for step in plan.laying}
    marks: list[Primitive] = [mortar_bed(ring) for ring in plan.rings]
    texts: list[Text] = []
    for k, ring in enumerate(plan.rings):
        for brick in ring.bricks:
            corners: tuple[XY, ...] = tuple((float(x), float(y)) for x, y in brick.corners_mm)
            tag = f"ring-{brick.ring}-course-{brick.course}"
            style = _style(brick, steps.get((brick.ring, brick.course)))
            marks.append(Polyline(corners, style, closed=True, tag=tag))
        outermost = k == len(plan.rings) - 1
        beside = -1.0 if k == 0 else 1.0 if outermost else 0.0
        texts.extend(_numbers(ring, steps, scale, beside))
    marks.extend(curve_primitives(plan.rings[0].inner, ink.pen(Layer.CURVE, ink.BOLD_MM)))
    return Drawing(NAME, (*marks, *(_in_model(text, scale) for text in texts)))


def _numbers(ring: RingPlan, steps: Steps, scale: float, beside: float) -> tuple[Text, ...]:
    """Steps inside their bricks where all fit; else those of the stops and the first, beside the ring."""
    laid = [(b, steps[b.ring, b.course]) for b in ring.bricks if (b.ring, b.course) in steps]
    if not laid:
        return ()
    for height in _NUMBERS_MM:
        if all(_fits(brick, step, scale, height) for brick, step in laid):
            return thinned([_number(brick, step, scale, 0.0, height) for brick, step in laid])
    first = min(step.step for _, step in laid)
    told = [(b, s) for b, s in laid if s.stop or s.step == first]
    told.sort(key=lambda pair: (pair[1].step != first, pair[1].side != KEY, pair[1].step))
    return _apart([_number(brick, step, scale, beside, _BESIDE_MM) for brick, step in told])


def _apart(texts: list[Text]) -> tuple[Text, ...]:
    """Of texts on paper, the most important first, those that do not run together."""
    kept: list[Text] = []
    for text in texts:
        around = text_box(text).grown(_APART_MM)
        if not any(around.meets(text_box(other)) for other in kept):
            kept.append(text)
    return tuple(kept)


def _fits(brick: Brick, step: LayingStep, scale: float, height: float) -> bool:
    width = text_width_mm(f"{step.step}", height)
    return min(brick.width_intrados_mm, brick.depth_mm) / scale >= width + 0.6


def _style(brick: Brick, step: LayingStep | None) -> Style:
    if brick.kind is BrickKind.IN_SITU:
        return _STANDING
    if step is None:
        return _DONE if brick.laid else _REFUSED
    if step.side == KEY:
        return _KEY
    return _STOP if step.stop else _LAID


def _number(brick: Brick, step: LayingStep, scale: float, beside: float, height: float) -> Text:
    """The step in the middle of its brick, or beyond its soffit (-1) or its back (1), on paper."""
    middle = brick.corners_mm.mean(axis=0) / scale
    axis = (brick.corners_mm[2] + brick.corners_mm[3] - brick.corners_mm[0] - brick.corners_mm[1]) / 2.0
    axis = axis / np.hypot(*axis)
    words = f"{step.step}"
    reach = max(text_width_mm(words, height) * abs(axis[0]), height * abs(axis[1])) / 2.0 + 1.2
    x, y = middle + beside * axis * (brick.depth_mm / scale / 2.0 + reach)
    at = (float(x), float(y) - height / 2)
    return Text(at, words, height, ink.letters(), Anchor.MIDDLE, backed=beside == 0.0)


def _in_model(text: Text, scale: float) -> Text:
    at = (text.at[0] * scale, text.at[1] * scale)
    return Text(at, text.text, text.height_mm, text.style, text.anchor, backed=text.backed)
