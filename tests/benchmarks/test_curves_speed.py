"""How long the geometry takes for a hundred thousand points, and for the few of one arch."""

import numpy as np
import pytest

from survey.curves import DisplacedCurve, curve_of, elliptical, five_centred, semicircular, three_centred

CURVES = {
    "semicircular": curve_of(semicircular(1000.0)),
    "three-centred": curve_of(three_centred(4000.0, 900.0, 500.0)),
    "five-centred": curve_of(five_centred(4000.0, 1300.0)),
    "ellipse": curve_of(elliptical(4000.0, 900.0)),
    "parallel of the ellipse": curve_of(elliptical(4000.0, 900.0)).offset(240.0),
    "displaced": DisplacedCurve(curve_of(semicircular(1000.0)), (500.0, 1500.0, 2500.0), (0.0, 9.0, -4.0)),
}


@pytest.mark.parametrize("n", [100, 100_000])
@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES.keys())
def test_locate(benchmark, curve, n):
    rng = np.random.default_rng(1)
    s = rng.uniform(0.0, curve.length_mm, n)
    xy = curve.point(s) + rng.normal(0.0, 20.0, (n, 1)) * curve.normal(s)
    located = benchmark(curve.locate, xy)
    assert np.abs(located.station_mm - s).max() < 1e-8


@pytest.mark.parametrize("n", [100, 100_000])
@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES.keys())
def test_point(benchmark, curve, n):
    s = curve.divide(n - 1)
    points = benchmark(curve.point, s)
    assert points.shape == (n, 2)
