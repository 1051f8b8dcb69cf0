"""Families: their closures against the constructions and published proportions; what they refuse."""

from __future__ import annotations

import numpy as np
import pytest
from fitting.builds import EXAMPLES, FAMILY_EXAMPLES

from survey import curves
from survey.errors import FitError
from survey.fitting.families import builds as families
from survey.fitting.families.builds import first_numbers, numbers_of, profile_of, shape_of
from survey.fitting.solving.engine import OutsideDomainError


@pytest.mark.parametrize("name", FAMILY_EXAMPLES)
def test_numbers_and_shapes_go_both_ways(name: str) -> None:
    build, numbers = EXAMPLES[name]
    assert numbers_of(build, shape_of(build, numbers)) == pytest.approx(numbers, rel=1e-12)


def test_radii_are_those_of_the_constructions() -> None:
    sixty = curves.three_centred_sixty(2000.0, 700.0)
    chord = curves.three_centred_least_ratio(2000.0, 700.0)
    five = curves.five_centred(2000.0, 660.0, 473.4)
    for build, shape in (
        (families.THREE_CENTRED, sixty),
        (families.THREE_CENTRED, chord),
        (families.FIVE_CENTRED, five),
    ):
        again = shape_of(build, numbers_of(build, shape))
        assert again.radii_mm == pytest.approx(shape.radii_mm, rel=1e-12)
        assert again.sector_angles_rad == pytest.approx(shape.sector_angles_rad, rel=1e-12)


def test_basket_handle_arches_pass_smoothly_through_the_semicircle() -> None:
    three = profile_of(families.THREE_CENTRED, np.array([1000.0, 1000.0, 0.9]))
    five = profile_of(families.FIVE_CENTRED, np.array([1000.0, 1000.0, 1000.0]))
    assert three.radius_mm == pytest.approx([1000.0, 1000.0], rel=1e-12)
    assert five.radius_mm == pytest.approx([1000.0] * 3, rel=1e-12)


def test_a_pointed_arch_has_its_centres_on_the_springing_line() -> None:
    # Equilateral: radius = span, rise = span sqrt(3) / 2.
    profile = profile_of(families.POINTED, np.array([500.0, 500.0 * np.sqrt(3)]))
    assert profile.radius_mm[0] == pytest.approx(1000.0, rel=1e-12)
    assert profile.centre_mm[0] == pytest.approx([-500.0, 0.0], abs=1e-9)
    assert profile.half_length_mm == pytest.approx(1000.0 * np.pi / 3, rel=1e-12)


def test_start_values_exist_for_every_build() -> None:
    for build, numbers in EXAMPLES.values():
        start = first_numbers(build, 1000.0, 600.0)
        assert len(start) == len(build.numbers) == len(numbers)
        assert profile_of(build, start).half_length_mm > 1000.0


@pytest.mark.parametrize(
    ("build", "numbers", "message"),
    [
        (families.SEMICIRCULAR, [-1.0], "span and rise must be above 0"),
        (families.ELLIPTICAL, [1000.0, 0.0], "span and rise must be above 0"),
        (families.THREE_CENTRED, [1000.0, 600.0, 0.01], "one of the two arcs vanishes"),
        (families.THREE_CENTRED, [1000.0, 200.0, 1.0], "shrinks to a corner"),
        (families.FIVE_CENTRED, [1000.0, 600.0, -5.0], "shrinks to a corner"),
        (families.FIVE_CENTRED_FREE, [1000.0, 600.0, 400.0, 1.0, 0.56], "one of the three arcs vanishes"),
    ],
)
def test_curves_that_cannot_be_are_refused(build: families.Build, numbers: list[float], message: str) -> None:
    with pytest.raises(OutsideDomainError, match=message):
        profile_of(build, np.array(numbers))


def test_a_curve_of_no_family_has_no_shape() -> None:
    with pytest.raises(FitError, match="none of the families"):
        shape_of(families.POINTED, np.array([1000.0, 1300.0]))
