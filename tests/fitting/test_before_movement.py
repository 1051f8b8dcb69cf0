"""Points of moved pieces taken back to where they lay, exactly, at the front of a ring and at its back."""

from __future__ import annotations

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, record_of

from survey.curves import curve_of, semicircular
from survey.curves.protocol import Floats
from survey.fitting.before_movement import brought_back
from survey.fitting.result import Estimate, Movement, Piece
from survey.record.model import UNKNOWN

SHAPE = semicircular(1500.0)
ORIGINAL = curve_of(SHAPE)
HINGE_MM = 2400.0
PIECES = (
    Piece(0.0, HINGE_MM, -0.012, (-12.0, -10.0)),
    Piece(HINGE_MM, ORIGINAL.length_mm, 0.003, (12.0, -11.0)),
)


def movement() -> Movement:
    none = Estimate(0.0, 0.0)
    original = fit_of(record_of(SHAPE, [LaidRing(73)]), SHAPE).best
    return Movement(original, none, none, none, (), PIECES, 1.0, 5.0, 1.0)


def carried(xy_mm: Floats, piece: Piece) -> Floats:
    """By the definition of a piece, with complex numbers."""
    z = (xy_mm[:, 0] + 1j * xy_mm[:, 1]) * np.exp(1j * piece.rotation_rad) + complex(*piece.shift_mm)
    return np.column_stack([z.real, z.imag])


@pytest.mark.parametrize("off_mm", [0.0, 240.0, 700.0])
def test_points_of_every_ring_return_to_where_they_lay(off_mm: float) -> None:
    station = np.linspace(-20.0, ORIGINAL.length_mm + 20.0, 60)
    station = station[np.abs(station - HINGE_MM) > 40.0]
    before = ORIGINAL.point(station) + off_mm * ORIGINAL.normal(station)
    left = station < HINGE_MM
    now = np.where(left[:, None], carried(before, PIECES[0]), carried(before, PIECES[1]))
    assert brought_back(ORIGINAL, movement(), now) == pytest.approx(before, abs=1e-9)


def test_no_hinge_divides_a_brick() -> None:
    """A brick of the left piece that reaches over the hinge returns whole, undistorted."""
    station = np.array([HINGE_MM - 45.0, HINGE_MM + 10.0])
    before = ORIGINAL.point(station) + 240.0 * ORIGINAL.normal(station)
    now = carried(before, PIECES[0])
    whole = brought_back(ORIGINAL, movement(), now, brick=[7, 7])
    assert whole == pytest.approx(before, abs=1e-9)
    apart = brought_back(ORIGINAL, movement(), now, brick=[UNKNOWN, UNKNOWN])
    assert np.abs(apart - before).max() > 1.0


def test_no_points_give_none() -> None:
    assert brought_back(ORIGINAL, movement(), np.zeros((0, 2)), brick=[]).shape == (0, 2)
