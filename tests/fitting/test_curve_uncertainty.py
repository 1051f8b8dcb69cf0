"""The curve's own uncertainty along its normal, against curves really moved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from condition.factory import FAMILIES

from survey.curves import curve_of, elliptical, five_centred, segmental, semicircular, three_centred_sixty
from survey.curves.shape import Family
from survey.errors import FitError
from survey.fitting.curve_uncertainty import curve_slopes, curve_variance, variance_of
from survey.fitting.families.builds import BUILDS, FIVE_CENTRED_FREE, numbers_of, shape_of
from survey.fitting.result import Candidate

SHAPES = {
    Family.SEMICIRCULAR: semicircular(1000.0, tilt_rad=0.03),
    Family.SEGMENTAL: segmental(2400.0, 400.0, tilt_rad=0.03),
    Family.ELLIPTICAL: elliptical(2400.0, 900.0, tilt_rad=0.03),
    Family.THREE_CENTRED: three_centred_sixty(2400.0, 900.0, tilt_rad=0.03),
    Family.FIVE_CENTRED: five_centred(2400.0, 850.0, 620.0, tilt_rad=0.03),
}
NAMES = ("axis_x_mm", "springing_y_mm")


def candidate(family: Family, free: bool = False) -> Candidate:
    build = FIVE_CENTRED_FREE if free else BUILDS[family]
    names = (*NAMES, *build.numbers, "tilt_rad")
    return Candidate(family, SHAPES[family], names, np.eye(len(names)), {}, 1.0, True)


@pytest.mark.parametrize(("family", "free"), [*((f, False) for f in FAMILIES), (Family.FIVE_CENTRED, True)])
def test_slopes_are_those_of_curves_moved_a_little(family: Family, free: bool) -> None:
    arch = candidate(family, free)
    build = FIVE_CENTRED_FREE if free else BUILDS[family]
    curve = curve_of(arch.shape)
    # Junctions of arcs are left out: there the difference quotient straddles two arcs.
    station = np.linspace(0.03, 0.97, 23) * curve.length_mm
    slopes = curve_slopes(arch, station)
    numbers = numbers_of(build, arch.shape)
    for k, name in enumerate(arch.parameters):
        step = 1e-6 if name.endswith("_rad") else 1e-3
        sides = []
        for sign in (1, -1):
            own = numbers.copy()
            place = {"axis_x_mm": 0.0, "springing_y_mm": 0.0, "tilt_rad": arch.shape.tilt_rad}
            if name in place:
                place[name] += sign * step
            else:
                own[build.numbers.index(name)] += sign * step
            moved = curve_of(shape_of(build, own, **place))
            sides.append(moved.locate(curve.point(station)).distance_mm)
        # A point lies inside a curve that moved outwards, hence the sign.
        numerical = (sides[1] - sides[0]) / (2 * step)
        assert slopes[:, k] == pytest.approx(numerical, abs=2e-4 * max(1.0, np.abs(numerical).max())), name


def test_variance_of_a_circle_whose_radius_alone_is_uncertain() -> None:
    arch = replace(candidate(Family.SEMICIRCULAR), covariance=np.diag([0.0, 0.0, 4.0, 0.0]))
    assert curve_variance(arch, [0.0, 700.0, 1500.0]) == pytest.approx([4.0, 4.0, 4.0])


def test_parameters_of_no_family_are_refused() -> None:
    odd = replace(candidate(Family.ELLIPTICAL), parameters=(*NAMES, "foci_mm"), covariance=np.eye(3))
    with pytest.raises(FitError, match="parameters foci_mm are not those of family elliptical"):
        curve_slopes(odd, [100.0])


@pytest.mark.parametrize(("short", "told"), [(1e-9, 0.0), (1.0, -0.25)])
def test_only_the_rounding_of_a_variance_is_nothing(short: float, told: float) -> None:
    """(a - b)' of two numbers wholly correlated: 2 variances less 2 covariances."""
    arch = replace(
        candidate(Family.SEMICIRCULAR),
        covariance=1e4 * np.ones((4, 4)) + 0.125 * short * np.fliplr(np.eye(4)),
    )
    found = variance_of(arch, np.array([[1.0, 0.0, 0.0, -1.0]]))
    assert found[0] == pytest.approx(told, abs=1e-9)
    assert (found[0] < 0.0) == (told < 0.0)
