"""Bricks on the elevation: states told apart, numbers inside their bricks."""

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from shapely.geometry import Polygon, box
from sheets.handmade import RingSpec, handmade

from survey.rebuild.plan import BrickKind
from survey.sheets.drawing import Hatch, Line, Polyline
from survey.sheets.kit import ink
from survey.sheets.kit.brickwork import (
    STATE_STYLES,
    BrickState,
    brick_primitives,
    brick_state,
    course_numbers,
    missing_courses,
)
from survey.sheets.kit.lettering import ground_corners, text_box

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


def test_a_laid_brick_is_laid_whatever_it_is_made_of_and_one_that_stands_still_stands():
    for kind, source in ((BrickKind.BRICK, "original"), (BrickKind.KEY, "new"), (BrickKind.BRICK, "S3")):
        brick = replace(BRICK, kind=kind, source=source, course=10, laid=True)
        assert brick_state(brick, missing_courses(MADE.record)) is BrickState.LAID
    standing = replace(BRICK, kind=BrickKind.IN_SITU, source="original", laid=True)
    assert brick_state(standing, frozenset()) is BrickState.STANDING


def luminance(colour):
    """Relative luminance of an sRGB colour, as WCAG 2.1 defines it (W3C 2018, text seen)."""
    shares = [v / 255 for v in ink.red_green_blue(colour)]
    linear = [v / 12.92 if v <= 0.03928 else ((v + 0.055) / 1.055) ** 2.4 for v in shares]
    return float(np.dot((0.2126, 0.7152, 0.0722), linear))


def test_states_are_told_apart_by_hatch_or_by_how_dark_they_are():
    styles = [STATE_STYLES[state] for state in BrickState]
    assert {style.hatch for style in styles} == set(Hatch)
    for one, other in combinations(styles, 2):
        dark, light = sorted(luminance(style.fill) for style in (one, other))
        # contrast of graphical objects, WCAG 2.1, success criterion 1.4.11
        assert one.hatch != other.hatch or (light + 0.05) / (dark + 0.05) >= 3.0
    for style in styles:
        assert len(set(ink.red_green_blue(style.fill))) == 1, "a fill that needs colour to be told apart"


def test_outline_is_the_brick_and_a_turned_brick_shows_its_arris():
    (outline,) = brick_primitives(BRICK, BrickState.NEW, sawtooth=False)
    assert isinstance(outline, Polyline)
    assert np.array(outline.points) == pytest.approx(BRICK.corners_mm)
    assert outline.tag == "ring-1-course-1"
    _, arris = brick_primitives(BRICK, BrickState.NEW, sawtooth=True)
    assert isinstance(arris, Line)
    assert np.array(arris.start) == pytest.approx(BRICK.corners_mm[:2].mean(axis=0))


def test_numbers_on_laid_bricks_stand_on_a_white_ground():
    ring = MADE.plan.rings[0]
    for state, backed in ((BrickState.STANDING, False), (BrickState.LAID, True)):
        texts = course_numbers(ring, [state] * len(ring.bricks), 5.0)
        assert len(texts) == len(ring.bricks)
        aside = [t for t, b in zip(texts, ring.bricks, strict=True) if abs(b.from_crown_mm) > 100.0]
        assert {t.backed for t in aside} == {backed}


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


@pytest.mark.parametrize("scale", [15.0, 20.0])
def test_where_upright_numbers_do_not_fit_they_lie_along_their_bricks(scale):
    ring = MADE.plan.rings[0]
    texts = numbers_on_paper(ring, scale)
    assert [t.text for t in texts] == [str(b.course) for b in ring.bricks]
    for text, brick in zip(texts, ring.bricks, strict=True):
        paper = replace(text, at=(text.at[0] / scale, text.at[1] / scale))
        capitals = Polygon(ground_corners(replace(paper, backed=True))).buffer(-0.25 * text.height_mm)
        assert Polygon(brick.corners_mm / scale).buffer(0.05).contains(capitals)
        assert math.radians(-85.0) < text.turn_rad <= math.radians(95.0)
        low, high = brick.corners_mm[:2].mean(axis=0), brick.corners_mm[2:].mean(axis=0)
        along = (high - low) / math.dist(low, high)
        assert abs(along @ (math.cos(text.turn_rad), math.sin(text.turn_rad))) == pytest.approx(1.0)


def test_numbers_grow_with_their_bricks():
    ring = MADE.plan.rings[0]
    heights = [numbers_on_paper(ring, scale)[0].height_mm for scale in (2.5, 5.0, 7.5, 10.0, 20.0)]
    assert heights[0] == ink.HEAD_MM
    assert heights == sorted(heights, reverse=True)
    assert heights[-1] == ink.SMALL_TEXT_MM


def test_small_bricks_are_numbered_first_fifth_and_last():
    ring = handmade(rings=(RingSpec(100.0, 40.0, 53),)).plan.rings[0]
    numbers = [int(t.text) for t in numbers_on_paper(ring, 25.0)]
    assert numbers[0] == 1
    assert numbers[-1] == 53
    assert all(n % 5 == 0 for n in numbers[1:-1])
    assert all(t.backed for t in numbers_on_paper(ring, 25.0))
