"""Where the pieces of a moved arch lie beside a curve."""

from __future__ import annotations

import numpy as np
import pytest
from rebuild.factory import fit, record, ring

from survey.curves import curve_of, segmental
from survey.fitting.result import Estimate, Movement, Piece
from survey.rebuild.repair.moved_line import moved_line

SHAPE = segmental(2400.0, 400.0)
LINE = curve_of(SHAPE)
HALF = 0.5 * LINE.length_mm


def movement(*pieces: Piece) -> Movement:
    none = Estimate(0.0, 1.0)
    original = fit(SHAPE, record((ring(1, 43),))).best
    return Movement(original, none, none, none, (), pieces, 1.0, 0.0, 0.0)


def test_nothing_moved_is_level() -> None:
    assert moved_line(None, LINE, 0.0).at(np.array([-10.0, 700.0])).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("ring_offset", [0.0, 120.0])
def test_each_half_moved_by_itself(ring_offset: float) -> None:
    """The left half sinks by 3 mm, the right one turns about the circle's centre, which leaves it on it."""
    turn, centre = 0.002, np.array([0.0, -1600.0])
    c, s = np.cos(turn), np.sin(turn)
    about = centre - np.array([[c, -s], [s, c]]) @ centre
    halves = movement(
        Piece(0.0, HALF, 0.0, (0.0, -3.0)),
        Piece(HALF, LINE.length_mm, turn, (float(about[0]), float(about[1]))),
    )
    base = LINE.offset(ring_offset) if ring_offset else LINE
    found = moved_line(halves, base, ring_offset)
    left = np.linspace(0.1, 0.45, 5) * base.length_mm
    expected = -3.0 * base.normal(left)[:, 1]
    assert found.at(left) == pytest.approx(expected, abs=0.01)
    right = np.linspace(0.55, 0.9, 5) * base.length_mm
    assert found.at(right) == pytest.approx(np.zeros(5), abs=1e-3)
