"""Segmental arches by the formulas of a brick institute's note, and worked figures for them.

Source: Brick Institute of America, Technical Note 31A (1967, reprinted in Masonry Magazine, August 1975, p.
15): text seen. It gives the radius R = (s^2 / 4 + h^2) / (2 h) and the skewback angle both as atan(4 h s /
(s^2 - 4 h^2)) and as asin(s / 2 R). The worked figures were computed independently, from these formulas and
from plain trigonometry.
"""

import math

import numpy as np
import pytest

from survey.curves import ChainOfArcs, curve_of, segmental, setting_out

MILLIMETRE = 5e-4
"""Figures are given to three decimals of a millimetre."""

DEGREE = 5e-5
"""Angles are given to four decimals of a degree."""


@pytest.mark.parametrize(
    ("span", "rise", "radius", "half_angle_deg", "arc"),
    [(2400.0, 400.0, 2000.000, 36.8699, 2574.004), (1000.0, 150.0, 908.333, 33.3985, 1058.960)],
)
def test_radius_angle_and_arc(span, rise, radius, half_angle_deg, arc):
    """Computed independently from the note's formulas."""
    shape = segmental(span, rise)
    assert shape.radii_mm[0] == pytest.approx(radius, abs=MILLIMETRE)
    assert math.degrees(shape.sector_angles_rad[0]) == pytest.approx(half_angle_deg, abs=DEGREE)
    assert curve_of(shape).length_mm == pytest.approx(arc, abs=MILLIMETRE)


def test_centre_below_the_springing_line():
    """Span 2400, rise 400: centre 1600 below; computed independently."""
    chain = curve_of(segmental(2400.0, 400.0))
    assert isinstance(chain, ChainOfArcs)
    np.testing.assert_allclose(chain.centres_mm, [[0.0, -1600.0]], rtol=0, atol=1e-9)


def test_heights_above_the_springing_chord():
    """Ordinates of the same arch every 200 mm from the middle, computed independently."""
    x = np.arange(0.0, 1201.0, 200.0)
    heights = [400.0, 389.975, 359.592, 307.878, 233.030, 132.051, 0.0]
    curve = curve_of(segmental(2400.0, 400.0))
    located = curve.locate(np.stack([x, heights], axis=-1))
    np.testing.assert_allclose(located.distance_mm, 0.0, rtol=0, atol=MILLIMETRE)


def test_both_forms_of_the_skewback_angle():
    """Span 72 in, rise 10.8 in: 33.3985 degrees by either formula of the note, radius 65.4 in; computed."""
    span, rise, inch = 72.0, 10.8, 25.4
    shape = segmental(span * inch, rise * inch)
    radius = shape.radii_mm[0] / inch
    assert radius == pytest.approx(65.4, abs=1e-12)
    by_tangent = math.atan(4 * rise * span / (span**2 - 4 * rise**2))
    by_sine = math.asin(span / (2 * radius))
    assert shape.sector_angles_rad[0] == pytest.approx(by_tangent, rel=1e-14)
    assert shape.sector_angles_rad[0] == pytest.approx(by_sine, rel=1e-14)
    assert math.degrees(shape.sector_angles_rad[0]) == pytest.approx(33.3985, abs=DEGREE)
    # the joint at the springing leans that far from upright
    assert setting_out(shape).skewback_rad == pytest.approx(math.pi / 2 - by_sine, rel=1e-14)


@pytest.mark.parametrize(("span", "rise", "slope"), [(2400.0, 400.0, -4.0), (2400.0, 150.0, -31.5)])
def test_radius_of_a_flat_arch_hangs_on_its_rise(span, rise, slope):
    """dR/dh = 1/2 - s^2 / (8 h^2): one millimetre of rise moves the radius by 4 or by 31.5 mm; computed."""
    step = 1e-3
    higher, lower = segmental(span, rise + step), segmental(span, rise - step)
    assert (higher.radii_mm[0] - lower.radii_mm[0]) / (2 * step) == pytest.approx(slope, abs=1e-6)


def test_quarter_sagitta_rule():
    """Half the arch has nearly a quarter of its rise: 102.633 at half-chord 1264.911 against 100; computed.

    The site rule itself is remembered, without a source.
    """
    whole = segmental(2400.0, 400.0)
    half_chord = math.hypot(1200.0, 400.0)
    assert half_chord == pytest.approx(1264.911, abs=MILLIMETRE)
    curve = curve_of(whole)
    left, quarter, crown = curve.point(curve.length_mm * np.array([0.0, 0.25, 0.5]))
    sagitta = float(np.hypot(*(quarter - (left + crown) / 2)))
    assert sagitta == pytest.approx(102.633, abs=MILLIMETRE)
    half = segmental(half_chord, sagitta)
    assert half.radii_mm[0] == pytest.approx(whole.radii_mm[0], rel=1e-12)
    assert 100.0 / sagitta == pytest.approx(1 - 0.026, abs=5e-4)


@pytest.mark.parametrize(
    ("n_bricks", "joint_inside", "joint_outside"),
    [(43, 9.636, 16.656), (44, 8.311, 15.175), (45, 7.044, 13.758)],
)
def test_joints_of_uncut_bricks(n_bricks, joint_inside, joint_outside):
    """Bricks 50 thick, ring 240 deep, n + 1 joints: what intrados and extrados leave for each; computed."""
    intrados = curve_of(segmental(2400.0, 400.0))
    extrados = intrados.offset(240.0)
    for curve, joint in ((intrados, joint_inside), (extrados, joint_outside)):
        left = curve.length_mm - n_bricks * 50.0
        assert left / (n_bricks + 1) == pytest.approx(joint, abs=MILLIMETRE)
