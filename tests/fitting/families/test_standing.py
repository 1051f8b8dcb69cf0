"""A curve standing in the wall: derivatives by place, tilt and shape, further observations."""

from __future__ import annotations

import numpy as np
import pytest
from fitting.builds import EXAMPLES, FAMILY_EXAMPLES, record_of, standing_on, whole_arch

from survey.curves import curve_of
from survey.errors import FitError
from survey.fitting.families import builds as families
from survey.fitting.families.standing import Standing
from survey.fitting.sightings import sightings_of
from survey.record.model import Known, KnownDimensions


def rough_arch(name: str) -> tuple[np.ndarray, np.ndarray]:
    soffit, ends = whole_arch(name, n=25)
    rng = np.random.default_rng(5)
    return soffit + rng.normal(0, 6, soffit.shape), ends + rng.normal(0, 6, ends.shape)


@pytest.mark.parametrize("tilt", [False, True])
@pytest.mark.parametrize("name", EXAMPLES)
def test_every_derivative(name: str, tilt: bool) -> None:
    standing = standing_on(name, *rough_arch(name), tilt=tilt)
    middle = -standing.sightings.centre_mm
    parameters = np.array([*middle, *EXAMPLES[name][1], *([0.03] if tilt else [])])
    look = standing.look(parameters)
    assert len(look.rows) == standing.n_rows == 2
    for k, size in enumerate(parameters):
        step = np.zeros(len(parameters))
        step[k] = 1e-6 * max(abs(size), 1.0)
        up, down = standing.look(parameters + step), standing.look(parameters - step)
        by = (up.distance - down.distance) / (2 * step[k])
        scale = max(1.0, np.abs(by).max())
        assert look.slopes[:, k] == pytest.approx(by, abs=1e-6 * scale)
        assert look.row_slopes[:, k] == pytest.approx((up.rows - down.rows) / (2 * step[k]), abs=1e-6 * scale)


@pytest.mark.parametrize("name", FAMILY_EXAMPLES)
def test_distances_and_stations_are_those_of_the_tilted_curve(name: str) -> None:
    standing = standing_on(name, *rough_arch(name), tilt=True)
    middle = -standing.sightings.centre_mm
    parameters = np.array([*middle, *EXAMPLES[name][1], 0.03])
    located = curve_of(standing.shape(parameters)).locate(standing.sightings.xy_mm)
    assert standing.look(parameters).distance == pytest.approx(located.distance_mm, abs=1e-8)
    assert standing.stations(parameters) == pytest.approx(located.station_mm, abs=1e-6)


def test_ends_are_told_along_the_tangent_of_their_springing() -> None:
    # An arch of span 2400 and rise 400 has radius 2000 and half-angle asin(0.6): there the normal stands
    # atan(4/3) above the level and the tangent towards the crown is (-0.8, 0.6).
    soffit, ends = whole_arch("segmental", n=20)
    along, across = np.array([-0.8, 0.6]), np.array([0.6, 0.8])
    moved = ends + np.array([[0.0, 0.0], 3.0 * along + 2.0 * across])
    standing = standing_on("segmental", soffit, moved)
    parameters = np.array([*-standing.sightings.centre_mm, 1200.0, 400.0])
    look = standing.look(parameters)
    assert look.rows == pytest.approx([0.0, 3.0], abs=1e-9)
    assert look.distance[-1] == pytest.approx(2.0, abs=0.01)


def test_known_dimensions_are_observations() -> None:
    soffit, ends = whole_arch("elliptical", n=20)
    known = KnownDimensions(
        span=Known(2002.0, 0.5), rise=Known(603.0, 1.0), springing_y=Known(1.0, 2.0), axis_x=Known(-4.0, 4.0)
    )
    seen = sightings_of(record_of(soffit, ends, known=known))
    standing = Standing(seen, families.ELLIPTICAL)
    look = standing.look(np.array([*-seen.centre_mm, 1000.0, 600.0]))
    # Fitted less known, over sigma: span, rise, axis, springing level.
    assert look.rows[2:] == pytest.approx([-4.0, -3.0, 1.0, -0.5], abs=1e-9)


def test_a_curve_of_no_family_says_so() -> None:
    standing = standing_on("pointed", *whole_arch("pointed", n=10))
    with pytest.raises(FitError, match="has no family"):
        _ = standing.family
