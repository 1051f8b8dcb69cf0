"""The verdict: clear, cannot tell, none of these; its probabilities and its words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.simulated import ArchSpec, Other, SimulatedArch, TrueMovement, simulate

from survey import curves
from survey.curves import Family, curve_of
from survey.fitting import FitOptions, fit_arch
from survey.fitting.choosing.verdict import (
    Difference,
    Odds,
    Rival,
    _clear_told,
    _unclear_told,
    difference_between,
)
from survey.fitting.families.builds import BUILDS


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


def test_the_nearest_of_no_family_is_the_nearest_in_millimetres() -> None:
    # A pointed arch higher than wide: every chain of arcs ends at its semicircle, far below the crown.
    fit = fit_arch(arch(curves.semicircular(900.0), Other.POINTED, n_courses=45, irregularity_mm=2.5).record)
    assert fit.verdict.family is None
    assert fit.chosen is Family.ELLIPTICAL
    assert fit.module is None


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
    fitted = [candidate for candidate in fit.candidates.values() if candidate.converged]
    assert fit.best.rms_mm == min(candidate.rms_mm for candidate in fitted)
    assert (
        f"a{'n' * (fit.chosen is Family.ELLIPTICAL)} {BUILDS[fit.chosen].name} curve" in fit.verdict.because
    )
    most = np.abs(fit.points.deviation_mm[fit.points.weight > 0.5]).max()
    assert f"by up to {most:.0f} mm in long runs" in fit.verdict.because
    # What is not the curve has no module.
    assert fit.module is None


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


def odds(still: dict[Family, float], moved: dict[Family, float] | None = None, none: float = 0.0) -> Odds:
    """Odds from probabilities."""
    with np.errstate(divide="ignore"):
        return Odds(
            {family: float(np.log(p)) for family, p in still.items()},
            {family: float(np.log((moved or {}).get(family, 0.0))) for family in still},
            float(np.log(none)),
        )


def rival(family: Family, probability: float, apart_mm: float, share: float = 0.97) -> Rival:
    return Rival(family, probability, Difference(apart_mm, share))


def test_odds_add_up() -> None:
    some = odds(
        {Family.SEMICIRCULAR: 0.5, Family.SEGMENTAL: 0.1},
        {Family.SEMICIRCULAR: 0.1, Family.SEGMENTAL: 0.2},
        0.1,
    )
    assert some.family == {Family.SEMICIRCULAR: pytest.approx(0.6), Family.SEGMENTAL: pytest.approx(0.3)}
    assert some.none == pytest.approx(0.1)
    assert some.ranked == [Family.SEMICIRCULAR, Family.SEGMENTAL]
    assert some.has_moved == pytest.approx(1 / 3)
    assert not some.moves(
        Family.SEGMENTAL
    )  # likelier moved than still, but the arch is not said to have moved


def test_families_beyond_all_hope_are_still_ranked() -> None:
    # Thousands of points leave probabilities that are no numbers any more but 0.
    far = Odds(
        {Family.SEMICIRCULAR: -9000.0, Family.SEGMENTAL: -2000.0, Family.ELLIPTICAL: 0.0},
        dict.fromkeys((Family.SEMICIRCULAR, Family.SEGMENTAL, Family.ELLIPTICAL), -np.inf),
        -np.inf,
    )
    assert far.ranked == [Family.ELLIPTICAL, Family.SEGMENTAL, Family.SEMICIRCULAR]
    assert far.family[Family.SEGMENTAL] == 0.0


def test_difference_tells_where_it_is() -> None:
    # Circle and flatter ellipse over one span differ most at the crown.
    apart = difference_between(curves.elliptical(2000.0, 950.0), curves.semicircular(1000.0))
    assert apart.most_mm == pytest.approx(50.0, abs=0.1)
    assert apart.share == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(
    ("said", "rivals", "words"),
    [
        (
            odds({Family.SEGMENTAL: 0.2, Family.ELLIPTICAL: 0.1}, none=0.7),
            [rival(Family.ELLIPTICAL, 0.1, 9.0)],
            "None of the families fits well and a segmental curve is the nearest; measure more courses",
        ),
        (
            odds({Family.SEGMENTAL: 0.95, Family.ELLIPTICAL: 0.001}, none=0.049),
            [rival(Family.ELLIPTICAL, 0.001, 9.0)],
            "nearest to a segmental curve, but it may be none of the families; measure more courses",
        ),
        (
            odds({Family.SEGMENTAL: 0.95}, none=0.05),
            [],
            "nearest to a segmental curve, but it may be none of the families; measure more courses",
        ),
        (
            odds({Family.SEGMENTAL: 0.7, Family.ELLIPTICAL: 0.3}),
            [rival(Family.ELLIPTICAL, 0.3, 14.0)],
            "whether the arch is segmental or elliptical: the two lie at most 14.0 mm apart, more than a "
            "joint of 9 mm; more edges near the springings would tell",
        ),
        (
            odds({Family.SEGMENTAL: 0.98, Family.ELLIPTICAL: 0.015, Family.SEMICIRCULAR: 0.005}),
            [rival(Family.ELLIPTICAL, 0.015, 4.0), rival(Family.SEMICIRCULAR, 0.005, 80.0)],
            "segmental or elliptical: the two lie at most 4.0 mm apart, less than a joint of 9 mm; for the "
            "rebuild it does not matter which is taken",
        ),
        (
            odds({Family.ELLIPTICAL: 0.5, Family.FIVE_CENTRED: 0.3, Family.THREE_CENTRED: 0.2}),
            [rival(Family.FIVE_CENTRED, 0.3, 4.0), rival(Family.THREE_CENTRED, 0.2, 11.0, 0.5)],
            "is elliptical, five-centred or three-centred: the others lie at most 11.0 mm from the first, "
            "more than a joint of 9 mm; more edges at the crown would tell",
        ),
        (
            odds(
                {Family.SEMICIRCULAR: 0.0, Family.ELLIPTICAL: 0.0},
                {Family.SEMICIRCULAR: 0.6, Family.ELLIPTICAL: 0.4},
            ),
            [rival(Family.ELLIPTICAL, 0.4, 5.0)],
            "whether the arch was semicircular or elliptical before it moved: the two lie at most 5.0 mm",
        ),
        (
            odds({Family.SEMICIRCULAR: 0.0, Family.ELLIPTICAL: 0.3}, {Family.SEMICIRCULAR: 0.7}),
            [rival(Family.ELLIPTICAL, 0.3, 12.0, 0.5)],
            "arch is semicircular before it moved or elliptical as it stands: the two lie at most 12.0 mm",
        ),
    ],
)
def test_doubt_is_told_in_words(said: Odds, rivals: list[Rival], words: str) -> None:
    assert words in _unclear_told(said, rivals, 9.0)


def test_a_clear_verdict_is_told_in_words() -> None:
    moved = odds({Family.SEMICIRCULAR: 0.0, Family.ELLIPTICAL: 0.002}, {Family.SEMICIRCULAR: 0.998})
    told = _clear_told(moved, [rival(Family.ELLIPTICAL, 0.002, 12.0, 0.5)], ())
    assert told == (
        "The points keep to a semicircular curve before it moved; the next best, an elliptical one as it "
        "stands, lies up to 12.0 mm from it at the crown and is about 499 times less likely."
    )
    alone = odds({Family.SEGMENTAL: 1.0})
    assert "; no other family could be fitted." in _clear_told(
        alone, [], {Family.ELLIPTICAL: "no such curve"}
    )
    assert "; no other family was asked for." in _clear_told(alone, [], ())


@pytest.mark.parametrize(
    ("likeliest", "second", "same"),
    [
        (Family.SEMICIRCULAR, Family.ELLIPTICAL, "would draw the same line with one number more and"),
        (Family.SEMICIRCULAR, Family.THREE_CENTRED, "would draw the same line with 2 numbers more and"),
        (Family.ELLIPTICAL, Family.SEMICIRCULAR, "would draw the same line and"),
    ],
)
def test_a_family_that_holds_the_likeliest_is_said_to_draw_the_same_line(
    likeliest: Family, second: Family, same: str
) -> None:
    still = odds({likeliest: 0.996, second: 0.004})
    told = _clear_told(still, [rival(second, 0.004, 0.02)], ())
    assert same in told
    assert "0.0 mm" not in told
    assert told.endswith("is about 249 times less likely.")
    assert "lies up to 0.1 mm" in _clear_told(still, [rival(second, 0.004, 0.06)], ())


def test_a_single_family_is_said_to_be_alone() -> None:
    record = arch(curves.elliptical(2600.0, 700.0)).record
    alone = fit_arch(record, FitOptions(families=(Family.ELLIPTICAL,))).verdict
    assert alone.because == "The points keep to an elliptical curve; no other family was asked for."
    assert alone.largest_difference_mm is None


def test_a_moved_arch_is_compared_by_its_originals() -> None:
    spread = TrueMovement(spread_mm=26.0, crown_hinge_ratio=0.52)
    spec = ArchSpec(
        curves.semicircular(1200.0), n_courses=71, movement=spread, irregularity_mm=0.5, point_sigma_mm=0.8
    )
    verdict = fit_arch(simulate(spec, seed=7).record).verdict
    assert verdict.family is Family.SEMICIRCULAR
    assert verdict.because.startswith(
        "The points keep to a semicircular curve before it moved; the next best, "
    )
    assert verdict.largest_difference_mm is not None
    assert f"lies up to {verdict.largest_difference_mm:.1f} mm from it" in verdict.because


def test_rivals_are_measured_by_the_curve_that_carries_their_odds() -> None:
    # A three-centred curve whose haunch arc vanishes is a segmental one, and lies nowhere far from it.
    spec = ArchSpec(curves.segmental(4000.0, 900.0), n_courses=61, gross_ratio=0.0, point_sigma_mm=2.0)
    rough = replace(spec, irregularity_mm=2.5)
    for seed in (0, 2, 10):
        verdict = fit_arch(simulate(rough, seed).record).verdict
        assert not verdict.clear
        assert verdict.largest_difference_mm is not None
        assert verdict.largest_difference_mm < 15.0
