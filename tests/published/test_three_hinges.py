"""Spread of a three-hinged arch, after J. Heyman, *The Masonry Arch*, 1982, chapters 1 and 2.

The kinematics is cited from memory; every figure here was computed independently of this package, from the
closed forms and, for the hinges, from the least thrust of a semicircular ring under its own weight.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from survey.condition.kinematics import ThreeHinges


@pytest.mark.parametrize(
    ("between", "height", "spread", "drop", "linear"),
    [
        (2000.0, 500.0, 10.0, 10.128, 10.0),
        (2000.0, 500.0, 20.0, 20.521, 20.0),
        (2400.0, 400.0, 20.0, 31.354, 30.0),
        (3000.0, 1000.0, 30.0, 22.874, 22.5),
    ],
)
def test_drop_of_the_crown(between: float, height: float, spread: float, drop: float, linear: float) -> None:
    arch = ThreeHinges(between, height)
    assert arch.drop_mm(spread) == pytest.approx(drop, abs=5e-4)
    assert arch.drop_per_spread * spread == pytest.approx(linear, abs=1e-9)


def test_turn_of_each_half() -> None:
    assert np.degrees(ThreeHinges(2400.0, 400.0).turn_rad(20.0)) == pytest.approx(1.491, abs=5e-4)


def least_thrust_hinge(ratio: float) -> tuple[float, float]:
    """Angle of the soffit hinge from the crown of a semicircle of mean radius 1, and least thrust over g R t.

    The thrust line leaves the crown at its back and must not fall below the soffit at any angle b:
    H (Re - Ri cos b) >= W(b) (Ri sin b - x(b)), with the true weight and middle of the sector.
    """
    inner, outer = 1 - ratio / 2, 1 + ratio / 2

    def needed(b: float) -> float:
        weight = (outer**2 - inner**2) / 2 * b
        middle = 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2) * (1 - np.cos(b)) / b
        return float(weight * (inner * np.sin(b) - middle) / (outer - inner * np.cos(b)))

    found = minimize_scalar(
        lambda b: -needed(b), bounds=(0.2, 1.5), method="bounded", options={"xatol": 1e-12}
    )
    return float(found.x), needed(float(found.x)) / ratio


@pytest.mark.parametrize(
    ("ratio", "thrust", "drop", "crack"),
    [(0.12, 0.599503, 0.734, 0.227), (0.15, 0.552522, 0.673, 0.258), (0.20, 0.483937, 0.597, 0.305)],
)
def test_first_movement_of_a_semicircle(ratio: float, thrust: float, drop: float, crack: float) -> None:
    angle, least = least_thrust_hinge(ratio)
    assert least == pytest.approx(thrust, abs=1e-6)
    inner, outer = 1000.0 * (1 - ratio / 2), 1000.0 * (1 + ratio / 2)
    arch = ThreeHinges(2 * inner * np.sin(angle), outer - inner * np.cos(angle))
    assert arch.drop_per_spread == pytest.approx(drop, abs=1e-3)  # hinge to 0.1 degree
    tiny = 1e-3
    assert arch.crown_crack_mm(tiny, 1000.0 * ratio) / tiny == pytest.approx(crack, abs=6e-4)
