"""A springing that sank between two surveys without datum points, and what is told of frames out of plumb."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from condition.comparing.hinged_arch import SIGMA, compared, surveyed, turned

from survey.condition import Tie
from survey.condition.comparing.tie import PLUMB_BY_HAND_RAD, PLUMB_BY_INSTRUMENT_RAD

UNSEEN = "Whether one springing sank cannot be seen in this tie: measure two datum points next time."


@pytest.mark.parametrize("sunk", [15.0, -15.0, 25.0])
@pytest.mark.parametrize(("has_z", "plumb"), [(True, PLUMB_BY_INSTRUMENT_RAD), (False, PLUMB_BY_HAND_RAD)])
def test_a_sunk_springing_is_told_without_datum_points(sunk: float, has_z: bool, plumb: float) -> None:
    found = compared(surveyed(1, has_z=has_z), surveyed(2, has_z=has_z, sunk_mm=sunk))
    assert found.tie.by is Tie.SPRINGINGS
    assert found.settlement_mm.value == pytest.approx(sunk, abs=3 * 2 * SIGMA)
    # Two coordinates in each survey, and a level in each over the span.
    assert found.settlement_mm.sigma == pytest.approx(
        np.hypot(2 * SIGMA, np.sqrt(2) * plumb * 2000), rel=2e-3
    )
    side = "right" if sunk > 0 else "left"
    (told,) = (s for s in found.sentences if s.startswith(f"The {side} springing has sunk"))
    assert told.endswith("unless y was out of plumb in one of the surveys.") is not has_z
    assert not any("Nothing moved" in s for s in found.sentences)


def test_a_sunk_springing_does_not_raise_the_crown_against_the_springings_mean() -> None:
    found = compared(surveyed(1, has_z=True), surveyed(2, has_z=True, sunk_mm=20.0))
    assert abs(found.crown_drop_mm.value) < 3 * found.crown_drop_mm.sigma


def test_a_spread_is_not_mistaken_for_a_settlement() -> None:
    found = compared(surveyed(1, has_z=True), surveyed(2, has_z=True, spread_mm=12.0))
    assert found.spread_mm.value == pytest.approx(12.0, abs=3 * 2 * SIGMA)
    assert abs(found.settlement_mm.value) < 3 * found.settlement_mm.sigma


def test_what_would_not_show_is_told_where_nothing_moved() -> None:
    found = compared(surveyed(1, has_z=False), surveyed(2, has_z=False))
    assert found.sentences[1] == "Nothing moved beyond the uncertainty of the two surveys."
    # The span of 2000 mm, each survey level to a millimetre in a metre: 2.6 times 3 mm.
    assert found.sentences[2].startswith("A springing that sank less than 8 mm against the other would not")


def test_frames_turned_against_each_other_without_z_hide_a_settlement() -> None:
    found = compared(surveyed(3, has_z=False), turned(surveyed(4, has_z=False), 0.03))
    assert np.isnan(found.settlement_mm.value)
    assert np.isinf(found.settlement_mm.sigma)
    assert found.tie.turn_rad.value == pytest.approx(-0.03, abs=0.002)
    fall = re.search(r"lie (\d+) mm over the span out of level", found.sentences[0])
    assert fall is not None
    assert float(fall[1]) == pytest.approx(60.0, abs=3.0)
    assert found.sentences[0].endswith(UNSEEN)
    assert found.sentences[1] == "Nothing moved beyond the uncertainty of the two surveys."


def test_with_z_in_both_even_a_large_turn_is_a_settlement() -> None:
    found = compared(surveyed(1, has_z=True), surveyed(2, has_z=True, sunk_mm=50.0))
    assert found.tie.sees_settlement
    assert found.settlement_mm.value == pytest.approx(50.0, abs=3.0)


@pytest.mark.parametrize("which", ["earlier", "later"])
def test_x_laid_along_the_string_between_the_springings_hides_a_settlement(which: str) -> None:
    surveys = [surveyed(k + 1, has_z=False, sunk_mm=15.0 * k) for k in (0, 1)]
    along = surveys[which == "later"]
    xy = along.points.xy_mm
    line = xy[-1] - xy[-2]
    laid = turned(along, -float(np.arctan2(line[1], line[0])))
    level = laid.points.xy_mm.copy()
    level[-2:, 1] = level[-2:, 1].mean()
    surveys[which == "later"] = replace(laid, points=replace(laid.points, xy_mm=level))
    found = compared(*surveys)
    assert np.isnan(found.settlement_mm.value)
    assert f"the {which} one has no z" in found.sentences[0]
    assert found.sentences[0].endswith(UNSEEN)


def test_with_z_springings_of_exactly_one_height_are_level() -> None:
    found = compared(surveyed(None, has_z=True), surveyed(2, has_z=True))
    assert found.tie.sees_settlement


def test_the_uncertainty_of_the_settlement_holds() -> None:
    """In frames out of plumb by as much as is taken for them value over uncertainty is about one."""
    random = np.random.default_rng(5)
    scores = []
    for seed in range(60):
        pair = [
            turned(surveyed(2 * seed + k, has_z=False), random.normal(0, PLUMB_BY_HAND_RAD)) for k in (0, 1)
        ]
        found = compared(*pair)
        scores.append(found.settlement_mm.value / found.settlement_mm.sigma)
    assert 0.8 < float(np.std(scores)) < 1.2
