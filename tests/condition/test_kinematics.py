"""Three hinges: closed forms, their limits, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.condition.kinematics import ThreeHinges
from survey.errors import GeometryError


@given(st.floats(500, 6000), st.floats(0.2, 1.0), st.floats(-0.01, 0.02))
def test_links_keep_their_length(between: float, height_ratio: float, spread_ratio: float) -> None:
    arch = ThreeHinges(between, height_ratio * between)
    spread = spread_ratio * between
    before = np.hypot(between / 2, arch.height_mm)
    after = np.hypot((between + spread) / 2, arch.height_mm - arch.drop_mm(spread))
    assert after == pytest.approx(before, rel=1e-12)


@given(st.floats(500, 6000), st.floats(0.2, 1.0))
def test_the_first_movement_is_linear(between: float, height_ratio: float) -> None:
    arch = ThreeHinges(between, height_ratio * between)
    tiny = 1e-4 * between
    assert arch.drop_mm(tiny) / tiny == pytest.approx(arch.drop_per_spread, rel=1e-2)
    assert arch.turn_rad(tiny) * 2 * arch.height_mm == pytest.approx(tiny, rel=1e-2)
    assert arch.crown_crack_mm(tiny, 240.0) == pytest.approx(tiny * 240.0 / arch.height_mm, rel=1e-2)


def test_no_spread_moves_nothing() -> None:
    arch = ThreeHinges(2000.0, 500.0)
    assert (arch.drop_mm(0.0), arch.turn_rad(0.0), arch.crown_crack_mm(0.0, 240.0)) == pytest.approx(
        (0, 0, 0)
    )


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: ThreeHinges(0.0, 500.0), "hinges between 0.0 mm: give a distance above 0 mm"),
        (lambda: ThreeHinges(2000.0, -1.0), "hinges height -1.0 mm: give a distance above 0 mm"),
        (lambda: ThreeHinges(2000.0, 100.0).drop_mm(50.0), "50 mm further apart: the crown falls through"),
        (lambda: ThreeHinges(2000.0, 100.0).turn_rad(-2000.0), "the crown falls through"),
    ],
)
def test_what_cannot_stand_is_refused(make: object, message: str) -> None:
    with pytest.raises(GeometryError, match=message):
        make()  # type: ignore[operator]
