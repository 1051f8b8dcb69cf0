"""Three-centred arches: constructions described on French pages, and closed forms.

Sources: J. Storck, "Dictionnaire pratique de menuiserie, ebenisterie, charpente", article "anse de panier",
for the arcs adding up to half a turn: text seen; a French site page on the basket-handle arch (haldati.fr)
for the chord construction: text seen; F. Maquaire's page (fmaquaire.free.fr) for the springing line in
thirds: text seen. Three equal arcs of 60 degrees are usually credited to Christiaan Huygens: from memory.
Figures other than those quoted from a page were computed independently, from tangency.
"""

import math

import numpy as np
import pytest

from survey.curves import (
    ArchShape,
    ChainOfArcs,
    curve_of,
    three_centred,
    three_centred_least_ratio,
    three_centred_quarters,
    three_centred_sixty,
    three_centred_thirds,
)

MILLIMETRE = 5e-4
"""Figures are given to three decimals of a millimetre."""


def chain_of(shape: ArchShape) -> ChainOfArcs:
    chain = curve_of(shape)
    assert isinstance(chain, ChainOfArcs)
    return chain


def test_three_equal_arcs():
    """Half-span 1000, rise 600: radii, centres, junction 30 degrees from upright, length; computed."""
    shape = three_centred_sixty(2000.0, 600.0)
    chain = chain_of(shape)
    assert shape.radii_mm == pytest.approx((453.590, 1546.410), abs=MILLIMETRE)
    np.testing.assert_allclose(
        chain.centres_mm, [[-546.410, 0.0], [0.0, -946.410], [546.410, 0.0]], rtol=0, atol=MILLIMETRE
    )
    assert chain.length_mm == pytest.approx(2569.393, abs=MILLIMETRE)
    across, up = chain.normal(chain.breaks_mm[1])
    assert math.degrees(math.atan2(across, up)) == pytest.approx(30.0, abs=1e-10)


def test_chord_construction():
    """Half-span 1000, rise 600; construction seen, formula and figures computed."""
    shape = three_centred_least_ratio(2000.0, 600.0)
    assert shape.radii_mm == pytest.approx((446.762, 1522.063), abs=MILLIMETRE)
    assert math.degrees(shape.sector_angles_rad[0]) == pytest.approx(59.036, abs=5e-4)
    assert curve_of(shape).length_mm == pytest.approx(2565.772, abs=MILLIMETRE)
    assert shape.radii_mm[1] / shape.radii_mm[0] == pytest.approx(3.4069, abs=5e-5)


def test_chord_construction_drawn_step_by_step():
    """The drawing itself: half-span less rise off the chord, the bisector of the rest cuts the axes."""
    s, h = 1000.0, 600.0
    springing, crown = np.array([-s, 0.0]), np.array([0.0, h])
    along = (springing - crown) / math.hypot(s, h)
    mark = crown + (s - h) * along
    middle = (mark + springing) / 2
    across = np.array([-along[1], along[0]])
    haunch_centre = middle - across * middle[1] / across[1]
    crown_centre = middle - across * middle[0] / across[0]
    chain = chain_of(three_centred_least_ratio(2 * s, h))
    np.testing.assert_allclose(chain.centres_mm[:2], [haunch_centre, crown_centre], rtol=0, atol=1e-10)


def test_springing_line_in_thirds():
    """The page prints a rise of 0.756 of the half-span, and 1.32 m for a span of 3.50 m: text seen."""
    shape = three_centred_thirds(3500.0)
    assert shape.rise_mm / shape.half_span_mm == pytest.approx(0.756, abs=5e-4)
    assert shape.rise_mm / 1000.0 == pytest.approx(1.32, abs=5e-3)
    assert shape.rise_mm / shape.half_span_mm == pytest.approx(0.7559830641, abs=1e-10)
    assert shape.radii_mm == pytest.approx((3500.0 / 3, 2 * 3500.0 / 3), rel=1e-15)


def test_springing_line_in_quarters():
    """Rise 0.6339745962 of the half-span; computed."""
    shape = three_centred_quarters(2000.0)
    assert shape.rise_mm == pytest.approx(633.9745962, abs=1e-7)
    assert shape.radii_mm == (500.0, 1500.0)


@pytest.mark.parametrize(
    ("haunch", "crown", "half_crown_deg", "intrados"),
    [
        (405.0, 3222.2222222222, 34.48291879787995, 4663.381710129901),
        (500.0, 3512.5, 29.86283435627511, 4711.055147350356),
        (600.0, 4016.6666666667, 24.189514154024206, 4769.897812864746),
    ],
)
def test_haunch_radius_given(haunch, crown, half_crown_deg, intrados):
    """Half-span 2000, rise 900; computed."""
    shape = three_centred(4000.0, 900.0, haunch)
    assert shape.radii_mm[1] == pytest.approx(crown, abs=1e-9)
    assert math.degrees(shape.sector_angles_rad[1]) == pytest.approx(half_crown_deg, abs=1e-11)
    assert curve_of(shape).length_mm == pytest.approx(intrados, abs=1e-9)


@pytest.mark.parametrize(
    ("construct", "rows"),
    [
        (
            three_centred_sixty,
            {
                0.9: (0.8633974596, 1.1366025404),
                0.7: (0.5901923789, 1.4098076211),
                0.5: (0.3169872981, 1.6830127019),
                0.45: (0.2486860279, 1.7513139721),
            },
        ),
        (
            three_centred_least_ratio,
            {
                0.9: (0.8377318798, 1.0802979114),
                0.7: (0.5619016658, 1.3258547632),
                0.5: (0.3454915028, 1.8090169944),
                0.45: (0.2996889573, 2.0062467617),
            },
        ),
    ],
    ids=["three equal arcs", "chord construction"],
)
def test_radii_by_rise(construct, rows):
    """Radii over the half-span at rises of 0.45 to 0.9 of it, to ten decimals; computed."""
    for rise, radii in rows.items():
        assert construct(2.0, rise).radii_mm == pytest.approx(radii, abs=1e-10)


def test_chord_construction_halves_the_crown_at_the_chords_slope():
    """The half-angle of the crown arc is atan(rise / half-span), for any rise; computed."""
    for rise in (0.2, 0.45, 0.5, 0.7, 0.9):
        shape = three_centred_least_ratio(2.0, rise)
        assert shape.sector_angles_rad[1] == pytest.approx(math.atan(rise), rel=1e-15)
        assert three_centred(2.0, rise, shape.radii_mm[0]).sector_angles_rad[1] == pytest.approx(
            math.atan(rise), rel=1e-12
        )


@pytest.mark.parametrize("shape", [three_centred_sixty(2000.0, 600.0), three_centred(4000.0, 900.0, 500.0)])
def test_arcs_add_up_to_half_a_turn(shape):
    """Said in Storck's dictionary: text seen."""
    assert math.degrees(math.fsum(chain_of(shape).sweeps_rad)) == pytest.approx(180.0, abs=1e-12)
