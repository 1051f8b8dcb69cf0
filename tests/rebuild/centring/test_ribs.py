"""Ribs from boards: coverage, stagger, sizes by closed form, and waste by an independent area."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from survey.curves import Curve, curve_of, elliptical, five_centred, segmental, semicircular
from survey.errors import PlanError
from survey.rebuild.centring.ribs import KERF_MM, LEAST_DEPTH_RATIO, boards_to_buy, cut_ribs
from survey.rebuild.plan import RibBoard
from survey.record.model import Centring

RIBS = [
    curve_of(semicircular(1000)).offset(-25),
    curve_of(segmental(2400, 400)).offset(-25),
    curve_of(elliptical(2000, 600)).offset(-25),
    curve_of(five_centred(3000, 900, 600)).offset(-30),
]


@pytest.mark.parametrize("rib", RIBS)
@pytest.mark.parametrize("boards", [Centring(), Centring(board_length_mm=1800.0, board_width_mm=150.0)])
def test_both_layers_cover_the_rib_with_staggered_joints(rib: Curve, boards: Centring):
    cut = cut_ribs(rib, boards, 2)
    joints = []
    for layer in (1, 2):
        own = [b for b in cut.boards if b.layer == layer]
        assert own[0].start_mm == pytest.approx(0.0, abs=1e-9)
        assert own[-1].end_mm == pytest.approx(rib.length_mm, abs=1e-9)
        np.testing.assert_allclose([b.end_mm for b in own[:-1]], [b.start_mm for b in own[1:]], atol=1e-9)
        joints.append([b.end_mm for b in own[:-1]])
        # a symmetric rib is cut symmetrically
        np.testing.assert_allclose([b.length_mm for b in own], [b.length_mm for b in own[::-1]], rtol=5e-3)
    apart = np.abs(np.subtract.outer(joints[0], joints[1]))
    assert apart.size == 0 or apart.min() > 100.0
    assert max(b.length_mm for b in cut.boards) <= boards.board_length_mm
    assert max(b.width_needed_mm for b in cut.boards) <= boards.board_width_mm


def test_boards_of_a_circle_by_closed_form():
    """Chord 2 R sin(a/2) and sag R (1 - cos(a/2)) for the angle a a board spans."""
    cut = cut_ribs(curve_of(segmental(2400, 400)).offset(-25), Centring(), 2)
    for board in cut.boards:
        half = (board.end_mm - board.start_mm) / 1975 / 2
        assert board.length_mm == pytest.approx(2 * 1975 * math.sin(half), abs=2e-3)
        assert board.width_needed_mm == pytest.approx(1975 * (1 - math.cos(half)) + 112.5, abs=0.05)


@pytest.mark.parametrize("rib", RIBS)
def test_waste_by_the_areas_of_the_pieces(rib: Curve):
    boards = Centring()
    cut = cut_ribs(rib, boards, 3)
    used = 3 * sum(_outline(rib, board, boards).area for board in cut.boards)
    bought = cut.n_bought * boards.board_length_mm * boards.board_width_mm
    assert cut.waste_ratio == pytest.approx(1 - used / bought, abs=3e-4)  # chords of 32 cells
    assert 0.0 < cut.waste_ratio < 0.75


def _outline(rib: Curve, board: RibBoard, boards: Centring) -> Polygon:
    """Curve above, straight edge below, ends along the normals."""
    xy = rib.point(np.linspace(board.start_mm, board.end_mm, 4001))
    along = (xy[-1] - xy[0]) / np.hypot(*(xy[-1] - xy[0]))
    out = np.array([-along[1], along[0]])
    feet = []
    for at, station in ((xy[-1], board.end_mm), (xy[0], board.start_mm)):
        normal = rib.normal(station)
        feet.append(at - normal * LEAST_DEPTH_RATIO * boards.board_width_mm / (normal @ out))
    return Polygon([*xy, *feet])


@settings(max_examples=60, deadline=None)
@given(lengths=st.lists(st.floats(50, 2300), min_size=1, max_size=30))
def test_boards_to_buy_are_neither_too_few_nor_one_a_piece_without_need(lengths: list[float]):
    n = boards_to_buy(np.array(lengths), 2400.0)
    assert math.ceil(sum(lengths) / 2400.0 - 1e-9) <= n <= len(lengths)
    # first fit leaves at most one board less than half full
    assert n <= 2 * (sum(lengths) + KERF_MM * len(lengths)) / 2400.0 + 1


def test_a_board_too_small_for_the_curve_is_refused():
    with pytest.raises(PlanError, match="boards of 45 x 30 mm are too small for a rib 3063 mm long"):
        cut_ribs(
            curve_of(semicircular(1000)).offset(-25), Centring(board_length_mm=45.0, board_width_mm=30.0), 2
        )
