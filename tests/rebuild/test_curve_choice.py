"""Which curve a rebuild follows."""

from __future__ import annotations

import numpy as np
import pytest
from rebuild.factory import fit, record, ring

from survey.curves import (
    ArchShape,
    Family,
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred,
)
from survey.errors import PlanError
from survey.fitting.result import Candidate, Estimate, Movement, Piece
from survey.rebuild.curve_choice import choose_curve, repair_choice
from survey.rebuild.plan import CurveChoice
from survey.rebuild.planner import hinge_joints

NOTHING = Estimate(0.0, 1.0)
SURVEYED = segmental(2420.0, 390.0)


def moved(original: ArchShape, *, spread: float, sink: float = 0.0, turn: float = 0.0) -> Movement:
    """Two halves turned by ``turn``, the springings apart by ``spread``, the right one down by ``sink``."""
    candidate = Candidate(original.family, original, (), np.zeros((0, 0)), {}, 0.0, converged=True)
    ends = curve_of(original).point([0.0, curve_of(original).length_mm])

    def piece(end: np.ndarray, angle: float, to: np.ndarray) -> Piece:
        c, s = np.cos(angle), np.sin(angle)
        shift = to - np.array([[c, -s], [s, c]]) @ end
        half = curve_of(original).length_mm / 2
        return Piece(0.0, half, angle, (float(shift[0]), float(shift[1])))

    left = piece(ends[0], turn, ends[0] + [-spread / 2, 0.0])
    right = piece(ends[1], -turn, ends[1] + [spread / 2, -sink])
    return Movement(
        candidate, Estimate(spread, 1.0), Estimate(sink, 1.0), NOTHING, (), (left, right), 1.0, 5.0, 1.0
    )


@pytest.mark.parametrize(
    "original",
    [
        segmental(2400.0, 400.0),
        elliptical(2400.0, 800.0),
        three_centred(2400.0, 800.0, 600.0),
        five_centred(2400.0, 800.0, 600.0),
    ],
)
def test_the_present_curve_keeps_family_and_rise_on_the_springings_as_they_stand(original: ArchShape) -> None:
    rec = record((ring(),))
    arch_fit = fit(SURVEYED, rec, movement=moved(original, spread=20.0, sink=6.0, turn=0.01))
    for choice in (None, CurveChoice.PRESENT):
        chosen = choose_curve(arch_fit, choice)
        assert chosen.choice == "present"
        assert chosen.shape.family is original.family
        assert chosen.shape.rise_mm == original.rise_mm
        line = curve_of(chosen.shape)
        ends = line.point([0.0, line.length_mm])
        assert ends == pytest.approx(np.array([[-1210.0, 0.0], [1210.0, -6.0]]), abs=1e-9)
        assert "(+20 mm)" in chosen.notes[0]


def test_a_spread_semicircle_becomes_a_segment() -> None:
    arch_fit = fit(SURVEYED, record((ring(),)), movement=moved(semicircular(1200.0), spread=20.0))
    chosen = choose_curve(arch_fit, None)
    assert chosen.shape.family is Family.SEGMENTAL
    assert (chosen.shape.half_span_mm, chosen.shape.rise_mm) == pytest.approx((1210.0, 1200.0))
    assert "semicircle cannot keep its rise" in chosen.notes[1]


def test_a_narrowed_semicircle_stays_one_with_less_rise() -> None:
    arch_fit = fit(SURVEYED, record((ring(),)), movement=moved(semicircular(1200.0), spread=-8.0))
    chosen = choose_curve(arch_fit, None)
    assert chosen.shape.family is Family.SEMICIRCULAR
    assert chosen.shape.rise_mm == pytest.approx(1196.0)
    assert "1196.0 mm instead of 1200.0 mm" in chosen.notes[1]


def test_original_and_surveyed() -> None:
    original = segmental(2400.0, 400.0)
    arch_fit = fit(SURVEYED, record((ring(),)), movement=moved(original, spread=20.0))
    chosen = choose_curve(arch_fit, CurveChoice.ORIGINAL)
    assert (chosen.shape, chosen.choice) == (original, "original")
    assert "brought back by 20 mm" in chosen.notes[0]
    assert choose_curve(arch_fit, CurveChoice.SURVEYED).shape == SURVEYED


@pytest.mark.parametrize("choice", [None, *CurveChoice])
def test_an_arch_that_has_not_moved_is_built_as_surveyed(choice: CurveChoice | None) -> None:
    arch_fit = fit(SURVEYED, record((ring(),)))
    chosen = choose_curve(arch_fit, choice)
    assert chosen.shape == SURVEYED
    assert chosen.choice == (str(choice) if choice else "segmental")
    assert bool(chosen.notes) == (choice in (CurveChoice.ORIGINAL, CurveChoice.PRESENT))


def test_a_family_by_choice() -> None:
    other = elliptical(2420.0, 391.0)
    arch_fit = fit(SURVEYED, record((ring(),)), others=(other,))
    chosen = choose_curve(arch_fit, Family.ELLIPTICAL)
    assert (chosen.shape, chosen.choice) == (other, "elliptical")
    assert "the survey speaks for segmental" in chosen.notes[0]
    assert repair_choice(arch_fit, Family.ELLIPTICAL).shape == other
    with pytest.raises(
        PlanError, match=r"no five_centred curve could be fitted .* choose one of: elliptical, segmental"
    ):
        choose_curve(arch_fit, Family.FIVE_CENTRED)


@pytest.mark.parametrize("choice", [CurveChoice.ORIGINAL, CurveChoice.PRESENT])
def test_a_repair_follows_what_stands(choice: CurveChoice) -> None:
    arch_fit = fit(SURVEYED, record((ring(),)))
    assert repair_choice(arch_fit, None).choice == "segmental"
    assert repair_choice(arch_fit, CurveChoice.SURVEYED).choice == "surveyed"
    with pytest.raises(PlanError, match=f"the {choice} curve was asked for"):
        repair_choice(arch_fit, choice)


def test_joints_at_hinges_are_named() -> None:
    from dataclasses import replace

    from survey.fitting.result import Hinge, Opens

    original = segmental(2400.0, 400.0)
    length = curve_of(original).length_mm
    movement = moved(original, spread=20.0)
    hinges = tuple(
        Hinge(Estimate(s, 5.0), Opens.INTRADOS, NOTHING, 0.0, 0.0, "crown") for s in (0.0, length / 2, length)
    )
    arch_fit = fit(SURVEYED, record((ring(),)), movement=replace(movement, hinges=hinges))
    assert hinge_joints(arch_fit, 44).tolist() == [0, 1, 21, 22, 23, 43, 44]
    assert hinge_joints(fit(SURVEYED, record((ring(),))), 44).size == 0
