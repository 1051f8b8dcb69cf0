"""The elliptical arch against elliptic integrals in high precision and the string construction.

Sources: the complete and incomplete elliptic integrals of the second kind as mpmath evaluates them to 30
digits, computed independently; NIST Digital Library of Mathematical Functions, 19.30(i), for the arc of an
ellipse, value from memory. The string through two pins is described on a French site page on the
basket-handle arch ("anse de panier, methode de tracage", haldati.fr): text seen.
"""

import math

import mpmath
import numpy as np
import pytest

from survey.curves import Ellipse, curve_of, elliptical, setting_out

PERIMETER_OVER_LONG_AXIS = {
    0.1: 2.0319870900504,
    0.2: 2.1010044539689,
    0.25: 2.1446054437892,
    0.3: 2.1929550347845,
    0.4: 2.3013112595665,
    0.45: 2.3603446220361,
    0.5: 2.4221120551369,
    0.6: 2.5526998863398,
    0.7: 2.691184490736,
    0.75: 2.7629365200887,
    0.8: 2.8361667888974,
    0.9: 2.9865802162624,
    1.0: math.pi,
}
"""Computed independently; 2.4221 at one half also remembered from handbooks."""

ARC_TO_ECCENTRIC_ANGLE = {
    15: 245.694466476708,
    30: 542.400103222078,
    45: 911.728258645637,
    60: 1350.45404348861,
    75: 1841.489448143,
    90: 2360.344622036088,
}
"""Half-span 2000, rise 900: arc from the springing, by eccentric angle in degrees; computed independently."""


@pytest.mark.parametrize(("ratio", "wanted"), PERIMETER_OVER_LONG_AXIS.items())
def test_half_perimeter(ratio, wanted):
    """A flat and a tall arch of the same axes are halves of the same ellipse; to thirteen decimals."""
    flat, tall = Ellipse((0.0, 0.0), 1000.0, 1000.0 * ratio), Ellipse((0.0, 0.0), 1000.0 * ratio, 1000.0)
    assert flat.length_mm / 1000.0 == pytest.approx(wanted, abs=1e-13)
    assert tall.length_mm / 1000.0 == pytest.approx(wanted, abs=1e-13)


@pytest.mark.parametrize(("degrees", "arc"), ARC_TO_ECCENTRIC_ANGLE.items())
def test_arc_from_the_springing(degrees, arc):
    ellipse = Ellipse((0.0, 0.0), 2000.0, 900.0)
    assert math.degrees(ellipse.eccentric_angle(arc)) == pytest.approx(degrees, abs=1e-11)
    assert float(ellipse.locate(ellipse.point_at(math.radians(degrees))).station_mm) == pytest.approx(
        arc, abs=1e-10
    )


def test_whole_intrados():
    """4720.689244072176, computed independently."""
    assert curve_of(elliptical(4000.0, 900.0)).length_mm == pytest.approx(4720.689244072176, abs=1e-11)


@pytest.mark.parametrize(("a", "b"), [(2000.0, 900.0), (10000.0, 60.0), (400.0, 900.0), (1000.0, 999.999)])
def test_stations_against_integrals_of_thirty_digits(a, b):
    """Points at given stations lie at the eccentric angles whose arcs mpmath finds to be those stations."""
    ellipse = Ellipse((0.0, 0.0), a, b)
    s = np.linspace(ellipse.first_station_mm, ellipse.last_station_mm, 25)
    angle = ellipse.eccentric_angle(s)
    with mpmath.workdps(30):
        m = 1 - (mpmath.mpf(b) / a) ** 2
        arcs = [
            float(a * (mpmath.ellipe(m) - mpmath.ellipe(mpmath.pi / 2 - mpmath.mpf(float(t)), m)))
            for t in angle
        ]
    np.testing.assert_allclose(arcs, s, rtol=0, atol=1e-12 * ellipse.length_mm)


@pytest.mark.parametrize("distance", [240.0, -300.0])
def test_stations_of_the_parallel_against_quadrature(distance):
    """Arc length of the parallel integrated by mpmath from its speed, w + d a b / w^2."""
    a, b = 2000.0, 900.0
    parallel = Ellipse((0.0, 0.0), a, b).offset(distance)

    def speed(t):
        w = mpmath.sqrt(a**2 * mpmath.sin(t) ** 2 + b**2 * mpmath.cos(t) ** 2)
        return w + distance * a * b / w**2

    for share in (0.05, 0.3, 0.5, 0.9, 1.0):
        s = share * parallel.length_mm
        t = float(parallel.eccentric_angle(s))
        with mpmath.workdps(25):
            arc = float(mpmath.quad(speed, [0, t / 3, 2 * t / 3, t]))
        assert arc == pytest.approx(s, abs=1e-9)


def test_pins_string_and_radii():
    """Half-span 1000, rise 600: pins 800 out, half perimeter 2552.700, radii 360 and 1666.667; computed."""
    figures = setting_out(elliptical(2000.0, 600.0))
    np.testing.assert_allclose(figures.foci_mm, [[-800.0, 0.0], [800.0, 0.0]], rtol=1e-15)
    assert figures.string_mm == 2000.0
    assert figures.length_mm == pytest.approx(2552.700, abs=5e-4)
    assert figures.springing_radius_mm == pytest.approx(360.0, rel=1e-15)
    assert figures.crown_radius_mm == pytest.approx(1666.667, abs=5e-4)


@pytest.mark.parametrize(
    ("x", "y", "normal_deg", "to_centre_deg"),
    [(500.0, 519.615, 19.107, 43.898), (900.0, 261.53, 51.089, 73.796)],
)
def test_joints_are_normals_and_not_lines_to_the_middle(x, y, normal_deg, to_centre_deg):
    """Leaning from upright on the same ellipse, computed independently."""
    curve = curve_of(elliptical(2000.0, 600.0))
    located = curve.locate([x, y])
    assert float(located.distance_mm) == pytest.approx(0.0, abs=5e-3)
    across, up = curve.normal(located.station_mm)
    assert math.degrees(math.atan2(across, up)) == pytest.approx(normal_deg, abs=1e-3)
    assert math.degrees(math.atan2(x, y)) == pytest.approx(to_centre_deg, abs=1e-3)


def test_extrados_of_even_depth_is_no_ellipse():
    """Depth 240: where the point goes, put in the ellipse 1240 x 840, gives 1.0113 and not 1; computed."""
    curve = curve_of(elliptical(2000.0, 600.0))
    outer = curve.offset(240.0)
    outside = outer.point(outer.locate([707.107, 424.264]).station_mm)
    np.testing.assert_allclose(outside, [830.586, 630.062], rtol=0, atol=1e-3)
    assert (outside[0] / 1240.0) ** 2 + (outside[1] / 840.0) ** 2 == pytest.approx(1.0113, abs=5e-5)
