"""What is said of an arch that has moved: pieces, hinges, words; and that a still one is left alone."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from recovery.flaws import Flaw, flawed, still_arch
from recovery.simulated import ArchSpec, SimulatedArch, TrueMovement, simulate

from survey import curves
from survey.curves import Family, curve_of
from survey.fitting import FitOptions, fit_arch
from survey.fitting.mechanism.pieces import turned
from survey.fitting.result import ArchFit, Movement, Opens

SPREAD = TrueMovement(spread_mm=34.0, crown_hinge_ratio=0.44, crown_hinge_at_back=True)
SUNK = TrueMovement(24.0, -16.0, 0.55, 0.0, 0.18)
SHAPES = {
    "semicircular": curves.semicircular(1300.0),
    "segmental": curves.segmental(2600.0, 700.0),
    "elliptical": curves.elliptical(2600.0, 900.0),
}


def moved_arch(name: str, movement: TrueMovement, seed: int = 21, **changes: object) -> SimulatedArch:
    spec = ArchSpec(
        SHAPES[name],
        n_courses=71,
        point_sigma_mm=0.8,
        irregularity_mm=0.5,
        gross_ratio=0.0,
        movement=movement,
    )
    return simulate(replace(spec, **changes), seed)


def moved_fit(arch: SimulatedArch) -> tuple[ArchFit, Movement]:
    fit = fit_arch(arch.record)
    assert fit.movement is not None
    return fit, fit.movement


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("movement", [SPREAD, SUNK], ids=["spread", "sunk"])
def test_the_truth_lies_within_what_is_stated(name: str, movement: TrueMovement) -> None:
    arch = moved_arch(name, movement)
    fit, moved = moved_fit(arch)
    true = arch.movement
    assert true is not None
    assert fit.verdict.family is arch.shape.family
    assert moved.original.family is arch.shape.family
    half = moved.original.figures["half_span_mm"]
    crown = moved.hinges[1].station_mm
    for said, value in (
        (moved.spread_mm, true.spread_mm),
        (moved.settlement_mm, true.settlement_mm),
        (half, arch.shape.half_span_mm),
        (crown, arch.crown_hinge_mm),
    ):
        assert abs(said.value - value) < 3.5 * said.sigma
    assert moved.rms_after_mm < 0.7 * moved.rms_before_mm
    assert moved.probability > 0.99


@pytest.mark.parametrize("name", SHAPES)
def test_pieces_carry_the_original_onto_the_surveyed_points(name: str) -> None:
    fit, moved = moved_fit(moved_arch(name, SUNK))
    original = curve_of(moved.original.shape)
    assert moved.pieces[0].start_mm == 0.0
    assert moved.pieces[-1].end_mm == pytest.approx(original.length_mm)
    dense = []
    for piece, after in zip(moved.pieces, [*moved.pieces[1:], None], strict=True):
        stations = np.linspace(piece.start_mm, piece.end_mm, 3000)
        dense.append(turned(original.point(stations), piece.rotation_rad) + np.asarray(piece.shift_mm))
        if after is not None:
            assert piece.end_mm == pytest.approx(after.start_mm)
    points = np.vstack(dense)
    seen = fit.to_arch(moved_arch(name, SUNK).record.points.xy_mm[fit.points.index])
    apart = np.sqrt(((seen[:, None] - points[None]) ** 2).sum(axis=2)).min(axis=1)
    good = fit.points.weight > 0.5
    assert np.sqrt(np.mean(apart[good] ** 2)) == pytest.approx(moved.rms_after_mm, rel=0.1)


def test_springings_stand_apart_by_the_spread_and_the_settlement() -> None:
    _, moved = moved_fit(moved_arch("elliptical", SUNK))
    shape = moved.original.shape
    ends = curve_of(shape).point([0.0, curve_of(shape).length_mm])
    first, last = moved.pieces[0], moved.pieces[-1]
    left = turned(ends[0], first.rotation_rad) + np.asarray(first.shift_mm)
    right = turned(ends[1], last.rotation_rad) + np.asarray(last.shift_mm)
    pushed = (right - left) - (ends[1] - ends[0])
    assert pushed == pytest.approx([moved.spread_mm.value, -moved.settlement_mm.value], abs=1e-6)


def test_neighbouring_pieces_meet_at_their_hinge() -> None:
    _, moved = moved_fit(moved_arch("semicircular", SPREAD))
    original = curve_of(moved.original.shape)
    crown = moved.hinges[1]
    at = next(p for p in moved.pieces if p.end_mm == pytest.approx(crown.station_mm.value))
    after = moved.pieces[moved.pieces.index(at) + 1]
    depth = np.linspace(0.0, 240.0, 25)
    place = original.point(crown.station_mm.value) + depth[:, None] * original.normal(crown.station_mm.value)
    gap = [turned(place, p.rotation_rad) + np.asarray(p.shift_mm) for p in (at, after)]
    apart = np.hypot(*(gap[0] - gap[1]).T)
    # They meet somewhere between the soffit and the back, and that is the hinge.
    assert apart.min() < 0.2
    met = gap[0][int(np.argmin(apart))]
    assert np.hypot(*(met - [crown.x_mm, crown.y_mm])) < 15.0


def test_a_spread_arch_opens_at_the_soffit_of_the_crown_and_the_back_of_the_haunches() -> None:
    _, moved = moved_fit(moved_arch("semicircular", SPREAD))
    assert [h.opens for h in moved.hinges] == [Opens.EXTRADOS, Opens.INTRADOS, Opens.EXTRADOS]
    assert [h.where for h in moved.hinges] == ["left springing", "crown", "right springing"]
    assert moved.crown_drop_mm.value > 0
    assert "further apart" in moved.because
    assert "opening on the intrados at the crown" in moved.because
    turns = [h.rotation_rad.value for h in moved.hinges]
    assert turns[1] == pytest.approx(turns[0] + turns[2], rel=1e-9)


def test_the_crown_drops_as_the_closed_form_says() -> None:
    # drop = f - sqrt(f^2 + (L/2)^2 - ((L + s)/2)^2), crown and lower hinges on a level, symmetric arch
    arch = moved_arch("semicircular", TrueMovement(spread_mm=30.0, crown_hinge_ratio=0.5))
    _, moved = moved_fit(arch)
    f, half = 1300.0, 1300.0
    drop = f - np.sqrt(f**2 + half**2 - (half + 15.0) ** 2)
    assert abs(moved.crown_drop_mm.value - drop) < 3.5 * moved.crown_drop_mm.sigma


def test_a_large_spread_about_its_haunches_is_found_from_afar() -> None:
    # Seen from the still arch, hinges higher up and a third of the spread look as good.
    shape = curves.five_centred(5120.0, 1410.0, 881.0)
    spread = TrueMovement(76.0, 0.0, 0.4855, 0.167, 0.167, crown_hinge_at_back=True)
    spec = ArchSpec(
        shape, n_courses=134, point_sigma_mm=1.4, irregularity_mm=1.6, depth_mm=120.0, movement=spread
    )
    _, moved = moved_fit(simulate(spec, 4))
    assert abs(moved.spread_mm.value - 76.0) < 3 * moved.spread_mm.sigma
    assert moved.spread_mm.sigma < 8.0


def test_closing_springings_are_told_as_such() -> None:
    _, moved = moved_fit(moved_arch("elliptical", TrueMovement(spread_mm=-30.0, crown_hinge_ratio=0.5)))
    assert moved.spread_mm.value < -15.0
    assert "closer together" in moved.because
    # Where the pieces turned at the back the springings came closer by less: that is owned to.
    lever = 240.0 / moved.original.shape.rise_mm
    assert moved.spread_mm.sigma >= 0.99 * lever * abs(moved.spread_mm.value)
    assert moved.original.figures["half_span_mm"].sigma >= 0.49 * lever * abs(moved.spread_mm.value)
    assert "depends on whether it turned at the soffit or the back" in moved.because
    assert moved.hinges[1].opens is Opens.EXTRADOS


@pytest.mark.parametrize("name", SHAPES)
def test_a_sunk_springing_is_told_in_the_sentence(name: str) -> None:
    _, moved = moved_fit(moved_arch(name, SUNK))
    size = abs(moved.settlement_mm.value)
    assert f"the left springing sank {size:.0f} mm against the right one" in moved.because
    assert "distinguishable" not in moved.because


def test_a_spread_within_its_uncertainty_is_told_as_none() -> None:
    _, moved = moved_fit(moved_arch("segmental", TrueMovement(1.0, 20.0, 0.5)))
    assert abs(moved.spread_mm.value) < 2 * moved.spread_mm.sigma
    assert moved.because.startswith("The right springing sank")
    assert moved.because.endswith("; a spread of the springings is not distinguishable from none.")
    assert "further apart" not in moved.because


def test_a_settlement_that_is_none_is_told_as_none() -> None:
    _, moved = moved_fit(moved_arch("elliptical", SPREAD))
    assert abs(moved.settlement_mm.value) < 2 * moved.settlement_mm.sigma
    assert "sank" not in moved.because
    assert moved.because.endswith("; a settlement of either is not distinguishable from none.")


@pytest.mark.parametrize("ratio", [0.0, 0.15], ids=["springings", "haunches"])
@pytest.mark.parametrize("name", ["semicircular", "elliptical"])
def test_springings_that_came_closer_turned_about_their_backs(name: str, ratio: float) -> None:
    closer = TrueMovement(-30.0, 0.0, 0.46, ratio, ratio, lower_hinges_at_back=True)
    _, moved = moved_fit(moved_arch(name, closer))
    assert abs(moved.spread_mm.value + 30.0) < 3 * moved.spread_mm.sigma
    half = moved.original.figures["half_span_mm"]
    assert abs(half.value - SHAPES[name].half_span_mm) < 3 * half.sigma
    assert [h.opens for h in moved.hinges] == [Opens.INTRADOS, Opens.EXTRADOS, Opens.INTRADOS]
    # About haunches the points tell the back from the soffit; at springings they hardly do, and that is said.
    assert (moved.spread_mm.sigma < 4.0) == (ratio > 0)
    assert ("which is not known" in moved.because) == (ratio == 0)


def test_a_crown_that_hardly_turned_is_not_said_to_have_opened() -> None:
    _, moved = moved_fit(moved_arch("semicircular", TrueMovement(0.0, 26.0, 0.45, 0.15, 0.15)))
    crown = moved.hinges[1].rotation_rad
    assert crown.value < 2 * crown.sigma
    assert "opening on the" not in moved.because


def test_a_hinge_at_springing_or_haunch_may_be_at_either() -> None:
    _, moved = moved_fit(
        moved_arch("semicircular", TrueMovement(24.0, 14.0, 0.45, 0.12, 0.12), 5, n_courses=61)
    )
    length = curve_of(moved.original.shape).length_mm
    for hinge, true in ((moved.hinges[0], 0.12 * length), (moved.hinges[2], 0.88 * length)):
        assert abs(hinge.station_mm.value - true) < 3 * hinge.station_mm.sigma


def test_the_surveyed_candidates_still_describe_the_surveyed_shape() -> None:
    fit, moved = moved_fit(moved_arch("elliptical", SPREAD))
    surveyed = fit.candidates[Family.ELLIPTICAL].shape.half_span_mm
    assert surveyed - moved.original.shape.half_span_mm == pytest.approx(SPREAD.spread_mm / 2, abs=6.0)
    assert fit.best.rms_mm > moved.rms_after_mm


@pytest.mark.parametrize("seed", range(6))
def test_a_still_arch_is_not_said_to_have_moved(seed: int) -> None:
    shape = list(SHAPES.values())[seed % 3]
    spec = ArchSpec(shape, n_courses=71, point_sigma_mm=1.5, irregularity_mm=1.5)
    assert fit_arch(simulate(spec, seed).record).movement is None


def test_where_the_average_is_no_curve_the_best_one_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    arch = moved_arch("elliptical", SUNK)
    _, average = moved_fit(arch)
    exist = iter((True, False))  # the best fit does, the average does not
    monkeypatch.setattr("survey.fitting.choosing.movement._exists", lambda *_: next(exist))
    _, best = moved_fit(arch)
    assert best.spread_mm.value == pytest.approx(average.spread_mm.value, abs=0.2 * average.spread_mm.sigma)
    for name in ("half_span_mm", "rise_mm"):
        one, other = best.original.figures[name], average.original.figures[name]
        assert one.value != other.value
        assert abs(one.value - other.value) < other.sigma
    assert best.rms_after_mm <= 1.02 * average.rms_after_mm


def test_hinges_whose_pieces_cannot_meet_give_way_to_the_next_likely_ones() -> None:
    """A flat arch that sagged: about its two likeliest sets of hinges the pieces fall short of each other."""
    found = fit_arch(flawed(still_arch(49), Flaw.SAG, 49).record).movement
    assert found is not None
    assert np.isfinite(found.spread_mm.sigma)
    for one, other in pairwise(found.pieces):
        assert one.end_mm == pytest.approx(other.start_mm)


def test_movement_is_not_looked_for_unless_wanted() -> None:
    fit = fit_arch(moved_arch("semicircular", SPREAD).record, FitOptions(movement=False))
    assert fit.movement is None
