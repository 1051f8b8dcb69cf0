"""Bricks on the elevation: states told apart, numbers inside their bricks."""

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon, box
from sheets.handmade import RingSpec, handmade

from survey.rebuild.plan import BrickKind
from survey.sheets.drawing import Hatch, Line, Polyline
from survey.sheets.kit.brickwork import (
    STATE_STYLES,
    BrickState,
    brick_primitives,
    brick_state,
    course_numbers,
    missing_courses,
)
from survey.sheets.kit.lettering import text_box

MADE = handmade()
BRICK = MADE.plan.rings[0].bricks[0]


@pytest.mark.parametrize(
    ("kind", "source", "course", "state"),
    [
        (BrickKind.IN_SITU, "original", 1, BrickState.STANDING),
        (BrickKind.BRICK, "original", 1, BrickState.LAID_AGAIN),
        (BrickKind.KEY, "new", 1, BrickState.NEW),
        (BrickKind.SAWTOOTH, "new", 10, BrickState.NEW_FOR_MISSING),
        (BrickKind.BRICK, "S3", 10, BrickState.SALVAGED),
    ],
)
def test_state(kind, source, course, state):
    missing = missing_courses(MADE.record)
    assert missing == frozenset((1, c) for c in range(9, 15))
    assert brick_state(replace(BRICK, kind=kind, source=source, course=course), missing) is state


def test_every_state_has_a_hatch_of_its_own():
    hatches = [STATE_STYLES[state].hatch for state in BrickState]
    assert sorted(hatches) == sorted(Hatch)


def test_outline_is_the_brick_and_a_turned_brick_shows_its_arris():
    (outline,) = brick_primitives(BRICK, BrickState.NEW, sawtooth=False)
    assert isinstance(outline, Polyline)
    assert np.array(outline.points) == pytest.approx(BRICK.corners_mm)
    assert outline.tag == "ring-1-course-1"
    _, arris = brick_primitives(BRICK, BrickState.NEW, sawtooth=True)
    assert isinstance(arris, Line)
    assert np.array(arris.start) == pytest.approx(BRICK.corners_mm[:2].mean(axis=0))


def numbers_on_paper(ring, scale):
    return course_numbers(ring, [BrickState.STANDING] * len(ring.bricks), scale)


@pytest.mark.parametrize("scale", [5.0, 10.0])
def test_where_all_are_numbered_every_number_lies_in_its_brick(scale):
    ring = MADE.plan.rings[0]
    texts = numbers_on_paper(ring, scale)
    assert [t.text for t in texts] == [str(b.course) for b in ring.bricks]
    for text, brick in zip(texts, ring.bricks, strict=True):
        on_paper = text_box(replace(text, at=(text.at[0] / scale, text.at[1] / scale)))
        height = on_paper.height * 1.0 / 1.39  # capitals alone: the box has room for tails
        figures = box(on_paper.left, on_paper.top - height, on_paper.right, on_paper.top)
        assert Polygon(brick.corners_mm / scale).buffer(0.35).contains(figures)


def test_small_bricks_are_numbered_first_fifth_and_last():
    ring = handmade(rings=(RingSpec(100.0, 40.0, 53),)).plan.rings[0]
    numbers = [int(t.text) for t in numbers_on_paper(ring, 25.0)]
    assert numbers[0] == 1
    assert numbers[-1] == 53
    assert all(n % 5 == 0 for n in numbers[1:-1])
    assert all(t.backed for t in numbers_on_paper(ring, 25.0))
