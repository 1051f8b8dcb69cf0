"""The verdict: clear, cannot tell, none of these; its probabilities and its words."""

from __future__ import annotations

import numpy as np
import pytest
from recovery.simulated import ArchSpec, Other, SimulatedArch, simulate

from survey import curves
from survey.curves import Family, curve_of
from survey.fitting import FitOptions, fit_arch
from survey.fitting.verdict import Difference, Odds, _unclear_told, difference_between


def arch(
    shape: curves.ArchShape, other: Other | None = None, n_courses: int = 71, **noise: float
) -> SimulatedArch:
    return simulate(ArchSpec(shape, n_courses=n_courses, other=other, **noise), seed=8)


def test_a_clear_verdict_names_the_next_best_and_how_far_it_is() -> None:
    fit = fit_arch(arch(curves.elliptical(2600.0, 700.0)).record)
    verdict = fit.verdict
    assert verdict.clear
    assert verdict.family is Family.ELLIPTICAL
    assert verdict.because.startswith("The points keep to an elliptical curve; the next best")
    assert f"{verdict.largest_difference_mm:.1f} mm" in verdict.because


def test_largest_difference_is_that_of_the_best_two_candidates() -> None:
    fit = fit_arch(arch(curves.elliptical(2600.0, 700.0)).record, FitOptions(movement=False))
    ranked = sorted(fit.candidates, key=lambda f: fit.verdict.probability[f], reverse=True)
    curve = curve_of(fit.candidates[ranked[0]].shape)
    points = curve.point(np.linspace(0.0, curve.length_mm, 4001))
    apart = np.abs(curve_of(fit.candidates[ranked[1]].shape).locate(points).distance_mm).max()
    assert fit.verdict.largest_difference_mm == pytest.approx(apart, rel=0.01)


def test_two_curves_alike_cannot_be_told_apart() -> None:
    # Over a span of a metre a basket-handle arch lies within a few millimetres of its ellipse.
    shape = curves.elliptical(1000.0, 400.0)
    rough = arch(shape, n_courses=25, irregularity_mm=3.0, point_sigma_mm=2.5)
    verdict = fit_arch(rough.record).verdict
    assert not verdict.clear
    assert verdict.family in (Family.ELLIPTICAL, Family.FIVE_CENTRED, Family.THREE_CENTRED)
    assert "It cannot be told whether the arch is" in verdict.because
    assert "less than a joint" in verdict.because
    assert "it does not matter which is taken" in verdict.because


@pytest.mark.parametrize("other", Other)
def test_curves_of_no_family_end_in_none_of_these(other: Other) -> None:
    shape = curves.segmental(3000.0, 1300.0)
    fit = fit_arch(arch(shape, other, irregularity_mm=1.0, point_sigma_mm=1.0).record)
    assert fit.verdict.clear
    assert fit.verdict.family is None
    assert fit.movement is None
    assert fit.verdict.because.startswith("None of the families fits: the points leave the nearest of them")
    assert max(fit.verdict.probability.values()) < 0.1
    # Something is carried on all the same: the nearest.
    assert fit.chosen in fit.candidates


def test_known_curves_of_no_family_are_named() -> None:
    shape = curves.segmental(3000.0, 1300.0)
    pointed = fit_arch(arch(shape, Other.POINTED).record).verdict
    parabolic = fit_arch(arch(shape, Other.PARABOLIC).record).verdict
    assert "a pointed curve fits better" in pointed.because
    assert "a parabolic curve fits better" in parabolic.because


def test_a_semicircle_is_not_called_an_ellipse_for_a_millimetre() -> None:
    verdict = fit_arch(arch(curves.semicircular(1200.0)).record).verdict
    assert verdict.family is Family.SEMICIRCULAR
    nested = (Family.SEGMENTAL, Family.ELLIPTICAL, Family.THREE_CENTRED, Family.FIVE_CENTRED)
    assert all(verdict.probability[f] < 0.1 for f in nested)


def test_odds_add_up() -> None:
    odds = Odds(
        {Family.SEMICIRCULAR: 0.5, Family.SEGMENTAL: 0.1},
        {Family.SEMICIRCULAR: 0.1, Family.SEGMENTAL: 0.2},
        0.1,
    )
    assert odds.family == {Family.SEMICIRCULAR: 0.6, Family.SEGMENTAL: pytest.approx(0.3)}
    assert odds.ranked == [Family.SEMICIRCULAR, Family.SEGMENTAL]
    assert odds.has_moved == pytest.approx(1 / 3)


def test_difference_tells_where_it_is() -> None:
    # Circle and flatter ellipse over one span differ most at the crown.
    apart = difference_between(curves.elliptical(2000.0, 950.0), curves.semicircular(1000.0))
    assert apart.most_mm == pytest.approx(50.0, abs=0.1)
    assert apart.share == pytest.approx(0.5, abs=0.01)


def test_doubt_is_told_in_words() -> None:
    def told(none: float, second: Family | None, apart_mm: float) -> str:
        still = {Family.SEGMENTAL: (1 - none) * 0.7, Family.ELLIPTICAL: (1 - none) * 0.3}
        odds = Odds(still, dict.fromkeys(still, 0.0), none)
        return _unclear_told(odds, Family.SEGMENTAL, second, Difference(apart_mm, 0.97), 9.0)

    assert "None of the families fits well and a segmental curve is the nearest" in told(0.7, None, 0.0)
    assert "nearest to a segmental curve, but not near enough" in told(0.05, None, 0.0)
    far = told(0.0, Family.ELLIPTICAL, 14.0)
    assert "more than a joint of 9 mm; more edges near the springings would tell" in far


def test_a_single_family_is_said_to_be_alone() -> None:
    record = arch(curves.elliptical(2600.0, 700.0)).record
    alone = fit_arch(record, FitOptions(families=(Family.ELLIPTICAL,))).verdict
    assert "no other family could be fitted" in alone.because
