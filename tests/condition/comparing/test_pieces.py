"""Pieces of a ring that went as one between two surveys, and courses that went alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from condition.comparing.hinged_arch import SHAPE, SIGMA, N, compared, hinged, surveyed
from condition.factory import LaidRing, record_of

from survey.condition.comparing.pieces import Steps, part_ring
from survey.curves.protocol import Floats


def steps_of(step: Floats, sigma: float = 1.0, seed: int = 3) -> Steps:
    """Courses of a semicircle of radius 1500 mm that moved by steps (n, 2), read with noise."""
    n = len(step)
    noise = np.random.default_rng(seed).normal(0, sigma, step.shape)
    return Steps(np.arange(1, n + 1), places(n), step + noise, np.full(n, sigma), np.ones(n, dtype=bool))


def places(n: int) -> Floats:
    angle = np.pi * (1 - (np.arange(n) + 0.5) / n)
    return 1500.0 * np.column_stack([np.cos(angle), np.sin(angle)])


def turned_about(centre: tuple[float, float], turn: float, xy: Floats) -> Floats:
    x, y = (xy - centre).T
    return turn * np.column_stack([-y, x])


def test_a_still_ring_is_one_still_piece() -> None:
    (piece,) = part_ring(steps_of(np.zeros((60, 2)))).pieces
    assert (piece.start, piece.end) == (0, 60)
    assert abs(piece.motion @ np.linalg.inv(piece.covariance) @ piece.motion) < 16.3  # chi-square of 3, 0.1 %


def test_a_hinge_parts_a_ring_where_it_is() -> None:
    xy = places(60)
    step = np.zeros((60, 2))
    step[40:] = turned_about((xy[40, 0], xy[40, 1]), -0.01, xy[40:])
    first, second = part_ring(steps_of(step)).pieces
    assert first.end == second.start
    assert abs(first.end - 40) <= 4
    assert second.motion[2] == pytest.approx(-0.01, abs=4 * second.covariance[2, 2] ** 0.5)


def test_four_pieces_between_three_hinges_are_each_found() -> None:
    """Feet that stay or go out, and haunches that turn about their hinges."""
    xy, step = places(63), np.zeros((63, 2))
    step[12:31] = turned_about((xy[12, 0], xy[12, 1]), -0.02, xy[12:31])
    step[31:] = [20.0, 0.0]
    step[31:51] += turned_about((xy[51, 0], xy[51, 1]), 0.02, xy[31:51])
    pieces = part_ring(steps_of(step)).pieces
    assert len(pieces) == 4
    assert [p.end for p in pieces[:-1]] == pytest.approx([12, 31, 51], abs=3)
    for piece, turn in zip(pieces, (0.0, -0.02, 0.02, 0.0), strict=True):
        assert piece.motion[2] == pytest.approx(turn, abs=4 * piece.covariance[2, 2] ** 0.5)


def test_a_shift_is_parted_exactly_where_it_is() -> None:
    """Ten sigmas of it, and neighbours of the break are at first far off theirs."""
    step = np.zeros((60, 2))
    step[23:] = [10.0, 0.0]
    first, second = part_ring(steps_of(step)).pieces
    assert (first.start, first.end, second.start, second.end) == (0, 23, 23, 60)


def test_a_course_against_its_piece_scatters_by_its_uncertainty() -> None:
    scores = []
    for seed in range(30):
        steps = steps_of(turned_about((0.0, 0.0), 0.004, places(40)), seed=seed)
        parting = part_ring(steps)
        scores.append(parting.apart_mm / np.sqrt(parting.variance_mm2))
    assert float(np.std(scores)) == pytest.approx(1.0, abs=0.05)


def test_an_astray_course_neither_parts_the_ring_nor_pulls_its_piece() -> None:
    step = np.zeros((60, 2))
    step[30] = [0.0, -40.0]
    parting = part_ring(steps_of(step))
    assert [(p.start, p.end) for p in parting.pieces] == [(0, 60)]
    assert parting.apart_mm[30, 1] == pytest.approx(-40.0, abs=4.0)
    assert np.abs(np.delete(parting.apart_mm, 30, axis=0)).max() < 5.0


def test_few_courses_are_no_piece() -> None:
    parting = part_ring(steps_of(np.zeros((7, 2))))
    assert parting.pieces == ()
    assert np.isnan(parting.apart_mm).all()


def test_misread_courses_bear_on_no_piece() -> None:
    step = np.zeros((40, 2))
    step[10:14] = [30.0, 0.0]
    steps = steps_of(step)
    usable = np.ones(40, dtype=bool)
    usable[10:14] = False
    (piece,) = part_ring(replace(steps, usable=usable)).pieces
    assert abs(piece.motion[0]) < 4 * piece.covariance[0, 0] ** 0.5


@pytest.mark.parametrize("has_z", [True, False])
def test_a_spread_is_told_in_a_sentence_for_each_half(has_z: bool) -> None:
    found = compared(surveyed(1, has_z=has_z), surveyed(2, has_z=has_z, spread_mm=12.0))
    halves = [s for s in found.sentences if "went as one piece" in s]
    assert [s.split(",")[0] for s in halves] == ["The left half of ring 1", "The right half of ring 1"]
    assert not any(s.startswith("Course") for s in found.sentences)
    left, right = found.pieces
    for piece, end, out in ((left, left.left_end, -6.0), (right, right.right_end, 6.0)):
        assert end.right_mm.value == pytest.approx(out, abs=4 * end.right_mm.sigma)
        assert 0.4 < piece.share < 0.6
    # The crown comes down by half the spread over the rise's tangent: 6 mm, both halves turning by 0.006.
    assert (left.turn_rad.value, right.turn_rad.value) == pytest.approx((-0.006, 0.006), abs=0.0015 + 0.003)
    assert right.left_end.up_mm.value == pytest.approx(-6.0, abs=4 * right.left_end.up_mm.sigma)


def test_a_ring_that_followed_a_sunk_springing_is_said_to_have_turned_as_one() -> None:
    found = compared(surveyed(1, has_z=False), surveyed(2, has_z=False, sunk_mm=15.0))
    (piece,) = found.pieces
    assert piece.fall_mm.value == pytest.approx(15.0, abs=1.0)
    (told,) = (s for s in found.sentences if "as one piece" in s)
    assert told.startswith(
        "The whole of ring 1, courses 1 to 51, turned as one piece: its right end went down"
    )
    assert told.endswith("a springing sank, or y was out of plumb in one of the surveys.")
    assert not any(s.startswith("Course") for s in found.sentences)


def test_a_piece_in_the_middle_is_told_by_its_courses() -> None:
    """The middle third, cut out and let down, is no half and no whole."""
    a, b = surveyed(1, has_z=True), surveyed(2, has_z=True)
    xy = b.points.xy_mm.copy()
    xy[2 * 17 : 2 * 34] -= [0.0, 8.0]
    found = compared(a, replace(b, points=replace(b.points, xy_mm=xy)))
    (told,) = (s for s in found.sentences if "as one piece" in s)
    assert told.startswith("Courses 18 to 34 of ring 1 went as one piece: its left end ")
    (piece,) = found.pieces
    for end in (piece.left_end, piece.right_end):
        assert end.up_mm.value == pytest.approx(-8.0, abs=3 * end.up_mm.sigma)
        assert abs(end.right_mm.value) < 3 * end.right_mm.sigma


def test_a_dropped_course_is_found_without_datum_points() -> None:
    """Eight uncertainties of a point, where the tie alone would hide it among those of the springings."""
    seen = 0
    for seed in range(20):
        a = record_of(SHAPE, [LaidRing(N)], noise_seed=2 * seed, sigma_mm=1.5)
        b = record_of(SHAPE, [LaidRing(N, deviation_mm={30: -8.0})], noise_seed=2 * seed + 1, sigma_mm=1.5)
        found = compared(*(replace(r, has_depth=False) for r in (a, b)))
        course = found.courses[29]
        assert course.alone_outwards_mm.sigma < 0.8 * course.outwards_mm.sigma
        seen += course.moved and any(s.startswith("Course 30 of ring 1 moved") for s in found.sentences)
    # Five sigmas against a limit of four are seen nine times in ten; through the tie, 3.7, every other time.
    assert seen >= 16


def test_a_course_dropped_within_a_half_that_moved_is_told_against_its_neighbours() -> None:
    a = surveyed(1, has_z=True)
    b = surveyed(2, has_z=True, spread_mm=12.0)
    xy = b.points.xy_mm.copy()
    xy[2 * 39 : 2 * 40] *= 1 - 9.0 / 1000
    found = compared(a, replace(b, points=replace(b.points, xy_mm=xy)))
    (told,) = (s for s in found.sentences if s.startswith("Course 40 of ring 1 moved"))
    assert told.endswith("into the opening against its neighbours.")
    assert found.courses[39].by_itself
    assert found.courses[39].alone_outwards_mm.value == pytest.approx(-9.0, abs=4 * SIGMA)


def test_hinged_keeps_the_bars_of_the_arch() -> None:
    """Distances within a half are kept, and the right springing goes where it is sent."""
    xy = np.array([[-1000.0, 0.0], [-600.0, 800.0], [600.0, 800.0], [1000.0, 0.0]])
    gone = hinged(xy, 12.0, 5.0)
    assert gone[3] == pytest.approx([1012.0, -5.0])
    for i, j in ((0, 1), (2, 3)):
        assert np.hypot(*(gone[i] - gone[j])) == pytest.approx(np.hypot(*(xy[i] - xy[j])))
