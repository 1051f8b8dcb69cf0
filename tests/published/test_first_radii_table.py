"""Five-centred arches of French bridge practice, set out by a table of first radii.

Source: the table of the 1830s credited to Michal, first radius over span against rise over span, for five
equal arcs of 36 degrees: values from memory. The closing radii and the radius of curvature of the ellipse
that the table follows were computed independently. The closure sums are in Annales de mathematiques pures
et appliquees (Gergonne) 4 (1813-14) p. 260: text seen.
"""

import math

import numpy as np
import pytest

from survey.curves import Ellipse, curve_of, five_centred

FIRST_RADIUS = {0.36: 0.278, 0.35: 0.265, 0.34: 0.252, 0.33: 0.239, 0.32: 0.225, 0.31: 0.212, 0.30: 0.198}
"""Rise over span to first radius over span: values from memory."""

CLOSED_FROM_TABLE = {0.36: (0.44288, 0.72963), 0.33: (0.41382, 0.80075), 0.30: (0.38868, 0.86677)}
"""Second and third radius that close the arch on the table's first: computed independently."""

CURVATURE_AT_18_DEGREES = {
    0.36: 0.27817,
    0.35: 0.26405,
    0.34: 0.25022,
    0.33: 0.23667,
    0.32: 0.22343,
    0.31: 0.21048,
    0.30: 0.19786,
}
"""Radius of curvature over span of the ellipse where its normal rises 18 degrees: computed independently."""

CLOSED_FROM_ELLIPSE = {
    0.36: (0.2782, 0.4426, 0.7301),
    0.33: (0.2367, 0.4184, 0.7948),
    0.30: (0.1979, 0.3890, 0.8664),
}
"""All three radii with that first radius: computed independently."""


@pytest.mark.parametrize(("rise", "radii"), CLOSED_FROM_TABLE.items())
def test_table_closes(rise, radii):
    shape = five_centred(1.0, rise, FIRST_RADIUS[rise])
    assert shape.radii_mm[1:] == pytest.approx(radii, abs=5e-6)
    assert [math.degrees(a) for a in shape.sector_angles_rad] == pytest.approx([36.0, 36.0, 18.0])


@pytest.mark.parametrize(("rise", "radius"), CURVATURE_AT_18_DEGREES.items())
def test_default_is_the_ellipses_curvature_at_eighteen_degrees(rise, radius):
    assert five_centred(1.0, rise).radii_mm[0] == pytest.approx(radius, abs=5e-6)
    # and by the ellipse itself, at the station where its normal has turned 18 degrees from level
    ellipse = Ellipse((0.0, 0.0), 500.0, 1000.0 * rise)
    turned = np.arctan2(*ellipse.normal(np.linspace(0.0, ellipse.length_mm / 2, 20001)).T[::-1])
    station = np.interp(-math.radians(180 - 18), -turned, np.linspace(0.0, ellipse.length_mm / 2, 20001))
    assert 1 / float(ellipse.curvature(station)) == pytest.approx(1000.0 * radius, abs=0.01)


def test_table_follows_the_ellipse():
    """Every remembered figure is within 0.003 of the span of the default."""
    for rise, remembered in FIRST_RADIUS.items():
        assert five_centred(1.0, rise).radii_mm[0] == pytest.approx(remembered, abs=0.003)


@pytest.mark.parametrize(("rise", "radii"), CLOSED_FROM_ELLIPSE.items())
def test_default_closes(rise, radii):
    shape = five_centred(1.0, rise)
    assert shape.radii_mm == pytest.approx(radii, abs=5e-5)
    crown_of_ellipse = 0.25 / rise
    assert 1.0 < shape.radii_mm[2] / crown_of_ellipse < 1.06


@pytest.mark.parametrize("rise", FIRST_RADIUS)
def test_closure_sums(rise):
    """Sums over one half of radius times the difference of cosines and of sines: half-span and rise."""
    shape = five_centred(2000.0, 2000.0 * rise, 2000.0 * FIRST_RADIUS[rise])
    edges = np.radians([0.0, 36.0, 72.0, 90.0])
    assert -np.diff(np.cos(edges)) @ shape.radii_mm == pytest.approx(1000.0, rel=1e-14)
    assert np.diff(np.sin(edges)) @ shape.radii_mm == pytest.approx(2000.0 * rise, rel=1e-14)
    assert curve_of(shape).length_mm == pytest.approx(2 * np.diff(edges) @ shape.radii_mm, rel=1e-14)
