"""The handbook constructions: closure, tangency, and what each one promises."""

import math

import numpy as np
import pytest
from curves.cases import half_spans
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from survey.curves import (
    ChainOfArcs,
    Family,
    curve_of,
    five_centred,
    five_centred_free,
    five_centred_of_radii,
    segmental,
    semicircular,
    three_centred,
    three_centred_least_ratio,
    three_centred_quarters,
    three_centred_sixty,
    three_centred_thirds,
)

rises = st.floats(0.3, 0.95)


@given(half_spans, rises)
def test_three_centred_constructions_are_three_centred(s, share):
    """Each construction is the general arch of its own haunch radius."""
    for shape in (
        three_centred_sixty(2 * s, share * s),
        three_centred_least_ratio(2 * s, share * s),
        three_centred_thirds(2 * s),
        three_centred_quarters(2 * s),
    ):
        general = three_centred(shape.span_mm, shape.rise_mm, shape.radii_mm[0])
        assert general.radii_mm == pytest.approx(shape.radii_mm, rel=1e-9)
        assert general.sector_angles_rad == pytest.approx(shape.sector_angles_rad, rel=1e-9)
        assert math.fsum(shape.sector_angles_rad) == pytest.approx(math.pi / 2, rel=1e-15)


@given(half_spans, rises)
def test_equal_arcs_of_sixty_degrees(s, share):
    chain = curve_of(three_centred_sixty(2 * s, share * s))
    assert isinstance(chain, ChainOfArcs)
    assert chain.sweeps_rad == pytest.approx([math.pi / 3] * 3)


@pytest.mark.parametrize("share", [0.2, 0.45, 0.7, 0.9])
def test_chord_construction_has_the_least_ratio_of_radii(share):
    """Against a numerical search over every haunch radius."""

    def ratio(haunch):
        first, crown = three_centred(2000.0, 1000.0 * share, haunch).radii_mm
        return crown / first

    found = minimize_scalar(ratio, bounds=(1.0, 999.0 * share), method="bounded", options={"xatol": 1e-7})
    shape = three_centred_least_ratio(2000.0, 1000.0 * share)
    assert shape.radii_mm[1] / shape.radii_mm[0] == pytest.approx(found.fun, rel=1e-12)
    assert shape.radii_mm[0] == pytest.approx(found.x, rel=1e-4)


@pytest.mark.parametrize("construct", [three_centred_thirds, three_centred_quarters])
def test_divided_springing_line_has_its_centres_on_an_equilateral_triangle(construct):
    chain = curve_of(construct(3000.0))
    assert isinstance(chain, ChainOfArcs)
    left, crown, right = chain.centres_mm
    sides = [math.dist(left, crown), math.dist(crown, right), math.dist(right, left)]
    assert sides == pytest.approx([sides[0]] * 3, rel=1e-12)
    assert left[1] == pytest.approx(0.0, abs=1e-9)


def test_segment_up_to_the_semicircle():
    assert segmental(2000.0, 1000.0).radii_mm == semicircular(1000.0).radii_mm
    assert segmental(2000.0, 1000.0).sector_angles_rad == pytest.approx((math.pi / 2,), rel=1e-15)
    assert segmental(2000.0, 1000.0).family is Family.SEGMENTAL


@given(half_spans, st.floats(0.5, 0.95))
def test_five_equal_arcs_close(s, share):
    shape = five_centred(2 * s, share * s)
    chain = curve_of(shape)
    assert isinstance(chain, ChainOfArcs)
    assert chain.sweeps_rad == pytest.approx([math.pi / 5] * 5)
    np.testing.assert_allclose(chain.point(chain.length_mm), [s, 0.0], rtol=0, atol=1e-11 * s)


@given(
    st.floats(100.0, 3000.0),
    st.floats(1.01, 3.0),
    st.floats(1.01, 3.0),
    st.floats(0.1, 0.7),
    st.floats(0.1, 0.7),
)
def test_five_radii_and_angles_are_two_views_of_one_arch(
    first, second_ratio, third_ratio, at_first, at_second
):
    """Span and rise summed up from chosen radii and angles lead back to either by the other."""
    radii = np.array([first, first * second_ratio, first * second_ratio * third_ratio])
    running = np.array([0.0, at_first, at_first + at_second, math.pi / 2])
    span, rise = 2 * float(radii @ -np.diff(np.cos(running))), float(radii @ np.diff(np.sin(running)))
    from_radii = five_centred_of_radii(span, rise, tuple(radii.tolist()))
    assert from_radii.sector_angles_rad == pytest.approx(np.diff(running), rel=1e-5)
    from_angles = five_centred_free(span, rise, first, first_angle_rad=at_first, second_angle_rad=at_second)
    assert from_angles.radii_mm == pytest.approx(radii, rel=1e-9)


def test_three_centres_are_a_limit_of_five():
    """Two like radii next to one another draw the three-centred arch, whichever pair it is."""
    three = three_centred(4000.0, 1200.0, 800.0)
    haunch, crown = three.sector_angles_rad
    for first, second, radii in (
        (haunch / 2, haunch / 2, (three.radii_mm[0], *three.radii_mm)),
        (haunch, crown / 3, (*three.radii_mm, three.radii_mm[1])),
    ):
        five = five_centred_free(
            4000.0, 1200.0, three.radii_mm[0], first_angle_rad=first, second_angle_rad=second
        )
        assert five.radii_mm == pytest.approx(radii, rel=1e-9)


def test_placing_goes_through_every_construction():
    where = {"axis_x_mm": 12.0, "springing_y_mm": -7.0, "tilt_rad": 0.01}
    for shape in (
        semicircular(1000.0, **where),
        segmental(2000.0, 300.0, **where),
        three_centred(2000.0, 600.0, 400.0, **where),
        three_centred_sixty(2000.0, 600.0, **where),
        three_centred_least_ratio(2000.0, 600.0, **where),
        three_centred_thirds(2000.0, **where),
        three_centred_quarters(2000.0, **where),
        five_centred(2000.0, 700.0, **where),
        five_centred_of_radii(2000.0, 720.0, five_centred(2000.0, 720.0).radii_mm, **where),
    ):
        assert (shape.axis_x_mm, shape.springing_y_mm, shape.tilt_rad) == (12.0, -7.0, 0.01)
        assert shape.span_mm == 2000.0
        assert shape.rise_ratio == shape.rise_mm / 2000.0
