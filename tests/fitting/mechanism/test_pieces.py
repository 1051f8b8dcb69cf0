"""Kinematics of rigid pieces: the closed form of the three-hinged arch, rigidity, and every derivative."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.fitting.mechanism.pieces import HingePoints, move_pieces, turned
from survey.fitting.solving.engine import OutsideDomainError


def hinges(points: list[list[float]], n_numbers: int = 1) -> HingePoints:
    return HingePoints(np.array(points, dtype=float), np.zeros((3, 2, n_numbers)))


@given(
    half=st.floats(300, 3000),
    rise_ratio=st.floats(0.3, 1.2),
    spread_ratio=st.floats(-0.02, 0.02),
)
def test_crown_drop_is_the_closed_form(half: float, rise_ratio: float, spread_ratio: float) -> None:
    # drop = f - sqrt(f^2 + (L/2)^2 - ((L + s)/2)^2) for hinges L apart and f below the crown hinge
    f, spread = half * rise_ratio, 2 * half * spread_ratio
    motion = move_pieces(hinges([[-half, 0], [0, f], [half, 0]]), spread, 0.0)
    crown = turned(np.array([0.0, f]), motion.rotation_rad[1]) + motion.shift_mm[1]
    drop = f - np.sqrt(f**2 + half**2 - (half + spread / 2) ** 2)
    assert f - crown[1] == pytest.approx(drop, abs=1e-9 * half)
    assert motion.rotation_rad[1] == pytest.approx(-motion.rotation_rad[2], abs=1e-12)


@given(
    crown=st.tuples(st.floats(-400, 400), st.floats(450, 1200)),  # flatter, the widest spread parts them
    left=st.floats(0, 250),
    spread=st.floats(-30, 60),
    settlement=st.floats(-30, 30),
)
def test_pieces_meet_at_their_hinges_and_springings_are_pushed(
    crown: tuple[float, float], left: float, spread: float, settlement: float
) -> None:
    points = np.array([[-1000.0 + left / 4, left], crown, [1000.0, 0.0]])
    motion = move_pieces(HingePoints(points, np.zeros((3, 2, 1))), spread, settlement)
    for k, hinge in enumerate(points):
        one, other = (turned(hinge, motion.rotation_rad[p]) + motion.shift_mm[p] for p in (k, k + 1))
        assert one == pytest.approx(other, abs=1e-8)
    assert motion.shift_mm[3] - motion.shift_mm[0] == pytest.approx([spread, -settlement], abs=1e-9)
    assert motion.rotation_rad[[0, 3]].tolist() == [0.0, 0.0]


def test_derivatives_by_motions_and_by_hinges_that_depend_on_numbers() -> None:
    base = np.array([[-980.0, 60.0], [70.0, 640.0], [1010.0, 20.0]])
    by_number = np.random.default_rng(0).normal(size=(3, 2, 2))

    def at(numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        points = base + by_number @ numbers[:2]
        motion = move_pieces(HingePoints(points, by_number), numbers[2], numbers[3])
        return motion.rotation_rad, motion.shift_mm

    numbers = np.array([0.0, 0.0, 24.0, -9.0])
    motion = move_pieces(HingePoints(base, by_number), 24.0, -9.0)
    for k in range(4):
        step = np.zeros(4)
        step[k] = 1e-4
        up, down = at(numbers + step), at(numbers - step)
        assert motion.rotation_slopes[:, k] == pytest.approx((up[0] - down[0]) / 2e-4, abs=1e-9)
        assert motion.shift_slopes[:, :, k] == pytest.approx((up[1] - down[1]) / 2e-4, abs=1e-6)


def test_springings_too_far_apart_leave_no_arch() -> None:
    with pytest.raises(OutsideDomainError, match="too far apart"):
        move_pieces(hinges([[-1000, 0], [0, 200], [1000, 0]]), 60.0, 0.0)
