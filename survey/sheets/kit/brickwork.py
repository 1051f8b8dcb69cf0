"""The bricks of a plan as polygons: laid, standing, salvaged, new, missing told apart without colour."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from enum import StrEnum

import numpy as np

from survey.rebuild.plan import Brick, BrickKind, RingPlan
from survey.record.model import Condition, Record
from survey.sheets.drawing import XY, Anchor, Hatch, Layer, Line, Polyline, Primitive, Style, Text
from survey.sheets.kit import ink
from survey.sheets.kit.labels import legible_step
from survey.sheets.kit.lettering import text_width_mm
from survey.sheets.kit.outline import chord_stations
from survey.sheets.kit.placing import LEAST_TURN_RAD

_LARGE_MM = (ink.HEAD_MM, 2.5)
"""Capital heights tried for course numbers in large bricks."""


class BrickState(StrEnum):
    """What a reader of the elevation needs to know of a brick, in the words of the key."""

    STANDING = "stands, stays where it is"
    LAID = "laid already"
    LAID_AGAIN = "original, laid again"
    SALVAGED = "salvaged brick"
    NEW = "new brick"
    NEW_FOR_MISSING = "new brick, for one that is missing"


STATE_STYLES = {
    BrickState.STANDING: ink.area(Layer.BRICK),
    BrickState.LAID: ink.area(Layer.BRICK, ink.GREY),
    BrickState.LAID_AGAIN: ink.area(Layer.BRICK, hatch=Hatch.DOTS),
    BrickState.SALVAGED: ink.area(Layer.BRICK, hatch=Hatch.BACK_DIAGONAL),
    BrickState.NEW: ink.area(Layer.BRICK_NEW, hatch=Hatch.DIAGONAL),
    BrickState.NEW_FOR_MISSING: ink.area(Layer.BRICK_NEW, hatch=Hatch.CROSS),
}


def missing_courses(record: Record) -> frozenset[tuple[int, int]]:
    """(ring, course) of every course noted as missing."""
    return frozenset((n.ring, n.course) for n in record.courses if n.condition is Condition.MISSING)


def brick_state(brick: Brick, missing: frozenset[tuple[int, int]]) -> BrickState:
    """State of one brick of the plan."""
    if brick.kind is BrickKind.IN_SITU:
        return BrickState.STANDING
    if brick.laid:
        return BrickState.LAID
    if brick.source == "original":
        return BrickState.LAID_AGAIN
    if brick.source != "new":
        return BrickState.SALVAGED
    return BrickState.NEW_FOR_MISSING if (brick.ring, brick.course) in missing else BrickState.NEW


def brick_primitives(brick: Brick, state: BrickState, *, sawtooth: bool) -> tuple[Primitive, ...]:
    """Outline of a brick in model millimetres; a turned brick shows its front arris as a middle line."""
    style = STATE_STYLES[state]
    corners: tuple[XY, ...] = tuple((float(x), float(y)) for x, y in brick.corners_mm)
    outline = Polyline(corners, style, closed=True, tag=f"ring-{brick.ring}-course-{brick.course}")
    if not sawtooth:
        return (outline,)
    c = brick.corners_mm
    low, high = (c[0] + c[1]) / 2, (c[2] + c[3]) / 2
    arris = ink.pen(style.layer, ink.FINE_MM)
    return outline, Line((float(low[0]), float(low[1])), (float(high[0]), float(high[1])), arris)


def mortar_bed(ring: RingPlan) -> Polyline:
    """The whole ring as a pale field for the bricks to lie in."""
    style = Style(Layer.JOINT, 0.0, "", fill=ink.WASH)
    inner = ring.inner.point(chord_stations(ring.inner, 0.0, ring.inner.length_mm, 0.2))
    outer = ring.outer.point(chord_stations(ring.outer, 0.0, ring.outer.length_mm, 0.2))
    points = np.vstack([inner, outer[::-1]])
    return Polyline(tuple((float(x), float(y)) for x, y in points), style, closed=True)


def course_numbers(
    ring: RingPlan, states: Sequence[BrickState], scale: float, height_mm: float = ink.SMALL_TEXT_MM
) -> tuple[Text, ...]:
    """Course numbers inside the bricks: every one where all fit upright or at least along their bricks, else
    1, every fifth (tenth …) and the last; larger ones where the bricks have plenty of room for them.

    Parameters
    ----------
    ring : RingPlan
    states : sequence of BrickState
        One a brick; numbers on hatched or filled bricks stand on a white ground.
    scale : float
        Plot scale 1 : ``scale``.
    """
    pairs = list(zip(ring.bricks, states, strict=True))

    def numbered(size: float) -> list[Text]:
        return [_number(brick, state, scale, size, sawtooth=ring.sawtooth) for brick, state in pairs]

    larger = (numbered(size) for size in _LARGE_MM if size > height_mm)
    row = next(
        (row for row in larger if _all_fit(ring.bricks, row, scale, _fits_roomily)), numbered(height_mm)
    )
    if not _all_fit(ring.bricks, row, scale, _fits):
        turned = [_turned(text, brick, scale) for text, brick in zip(row, ring.bricks, strict=True)]
        if _all_fit(ring.bricks, turned, scale, _fits_along):
            row = turned
        else:
            row = [replace(text, backed=True) for text in _every_fifth(row)]
    return tuple(replace(t, at=(t.at[0] * scale, t.at[1] * scale)) for t in row)


def _all_fit(
    bricks: Sequence[Brick],
    row: Sequence[Text],
    scale: float,
    fits: Callable[[Brick, float, float, float], bool],
) -> bool:
    """Whether every number lies inside its brick."""
    widths = (text_width_mm(text.text, text.height_mm) for text in row)
    each = zip(bricks, widths, row, strict=True)
    return all(fits(brick, width, text.height_mm, scale) for brick, width, text in each)


def _number(brick: Brick, state: BrickState, scale: float, height_mm: float, *, sawtooth: bool) -> Text:
    """The upright number of a brick on paper, beside the axis where that runs through it."""
    x, y = brick.corners_mm.mean(axis=0)
    words = str(brick.course)
    on_axis = abs(brick.from_crown_mm) <= 0.5 * brick.width_intrados_mm + 2.0 * scale
    backed = not _is_plain(STATE_STYLES[state]) or sawtooth or on_axis
    width = text_width_mm(words, height_mm)
    aside = width / 2 + 1.0 if on_axis and brick.width_intrados_mm / scale > 2 * width + 3.5 else 0.0
    at = (float(x) / scale + aside, float(y) / scale - height_mm / 2)
    return Text(at, words, height_mm, ink.letters(), Anchor.MIDDLE, backed=backed)


def _turned(text: Text, brick: Brick, scale: float) -> Text:
    """A number turned along its brick, read from below or from the right."""
    c = brick.corners_mm
    across = c[2] + c[3] - c[0] - c[1]
    turn = math.atan2(float(across[1]), float(across[0]))
    if turn > LEAST_TURN_RAD + math.pi:
        turn -= math.pi
    elif turn <= LEAST_TURN_RAD:
        turn += math.pi
    x, y = c.mean(axis=0) / scale
    down = text.height_mm / 2
    at = (float(x) + down * math.sin(turn), float(y) - down * math.cos(turn))
    return replace(text, at=at, turn_rad=turn)


def _every_fifth(row: Sequence[Text]) -> list[Text]:
    """Of a row too close for every number the first, every fifth (tenth …) and the last."""
    step = max(5, legible_step(row))
    kept = [t for k, t in enumerate(row, start=1) if k % step == 0 or k in (1, len(row))]
    if len(kept) > 2 and len(row) % step != 0 and len(row) % step < step / 2:
        del kept[-2]
    return kept


def _is_plain(style: Style) -> bool:
    return style.hatch is Hatch.NONE and style.fill == ink.WHITE


def _fits_roomily(brick: Brick, width: float, height: float, scale: float) -> bool:
    """Whether an upright number leaves its own height free on all sides together."""
    return _fits(brick, width + height, 2.0 * height, scale)


def _fits(brick: Brick, width: float, height: float, scale: float) -> bool:
    """Whether an upright number of this size on paper lies inside a brick, with a little air."""
    c = brick.corners_mm / scale
    along = (c[1] - c[0] + c[2] - c[3]) / 2
    across = (c[3] - c[0] + c[2] - c[1]) / 2
    for side in (along, across):
        length = math.hypot(*side)
        reach = (width * abs(side[0]) + height * abs(side[1])) / length
        if reach + 0.5 > length:
            return False
    return True


def _fits_along(brick: Brick, width: float, height: float, scale: float) -> bool:
    """Whether a number turned along a brick lies inside it, with a little air."""
    c = brick.corners_mm / scale
    narrowest = min(math.dist(c[0], c[1]), math.dist(c[2], c[3]))
    return width + 0.5 <= math.dist(c[0] + c[1], c[2] + c[3]) / 2 and height + 0.5 <= narrowest
