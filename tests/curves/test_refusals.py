"""Every refusal of the geometry, by what is given and what is said."""

import math

import numpy as np
import pytest

from survey.curves import (
    ArchShape,
    ChainOfArcs,
    DisplacedCurve,
    Ellipse,
    Family,
    curve_of,
    elliptical,
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
from survey.curves.running import RunningLength
from survey.errors import ArchSurveyError, GeometryError

ROUND = curve_of(semicircular(1000.0))
FLAT = curve_of(elliptical(4000.0, 900.0))
QUARTER = math.pi / 2
START = (0.0, 0.0)


def chain(radii, sweeps, start=START, direction=QUARTER):
    return lambda: ChainOfArcs(start, direction, radii, sweeps)


REFUSALS = [
    # points and stations
    (lambda: ROUND.point(math.nan), "a station is not a finite number"),
    (
        lambda: ROUND.point([0.0, 5000.0]),
        "station 5000.000 mm lies beyond the curve, which can be walked from -1570",
    ),
    (lambda: FLAT.normal(-2361.0), "station -2361.000 mm lies beyond the curve"),
    (lambda: FLAT.offset(100.0).curvature(9e9), "lies beyond the curve"),
    (lambda: ROUND.locate([1.0, 2.0, 3.0]), "points of shape (3,) were given; give x and y"),
    (lambda: FLAT.locate(7.0), "points of shape () were given"),
    (lambda: ROUND.locate([[0.0, math.inf]]), "a point coordinate is not a finite number"),
    (lambda: ROUND.divide(0), "a curve cannot be divided into 0 parts; ask for 1 or more"),
    # chains of arcs
    (chain((1000.0,), (math.nan,)), "a chain of arcs was given a number that is not finite"),
    (
        chain((1000.0,), (1.0,), start=(math.inf, 0.0)),
        "a chain of arcs was given a number that is not finite",
    ),
    (chain((1000.0, 500.0), (1.0,)), "2 radii and 1 sweeps were given"),
    (chain((), ()), "0 radii and 0 sweeps were given"),
    (chain((1000.0, -500.0), (1.0, 1.0)), "an arc radius of -500 mm was given; radii must be above 0 mm"),
    (chain((1000.0, 500.0), (1.0, 0.0)), "arc sweeps of 57.2958, 0 degrees were given; each must be above 0"),
    (chain((1000.0,), (2 * math.pi,)), "all together below 360 degrees"),
    (lambda: ChainOfArcs.symmetric(START, (1.0, 2.0), (1.0,)), "2 radii and 1 sector angles were given"),
    (
        lambda: ROUND.offset(-1000.0),
        "leaves nothing of the arc of radius 1000.000 mm; go inwards by less than 1000",
    ),
    (lambda: ROUND.offset(math.nan), "an offset of nan mm leaves nothing"),
    (lambda: ROUND.offset(math.inf), "a chain of arcs was given a number that is not finite"),
    # ellipses
    (lambda: Ellipse(START, math.nan, 900.0), "an ellipse was given a number that is not finite"),
    (lambda: Ellipse(START, 1000.0, 0.0), "an ellipse of half-span 1000 mm and rise 0 mm was given"),
    (
        lambda: FLAT.offset(-405.0),
        "whose least radius of curvature is 405.000 mm; go inwards by less than 405.000",
    ),
    (lambda: FLAT.offset(math.inf), "an offset of inf mm folds up the ellipse"),
    # shapes
    (
        lambda: ArchShape(Family.ELLIPTICAL, math.inf, 1.0),
        "an arch shape was given a number that is not finite",
    ),
    (lambda: ArchShape(Family.ELLIPTICAL, 1.0, 1.0, tilt_rad=math.nan), "a number that is not finite"),
    (lambda: ArchShape(Family.ELLIPTICAL, 1000.0, -2.0), "an arch shape was given -2 for a half-span, rise"),
    (
        lambda: curve_of(ArchShape(Family.THREE_CENTRED, 1000.0, 600.0, (1.0,), (QUARTER,))),
        "a three_centred shape with 1 radii and 1 sector angles cannot be drawn; it takes 2 of each",
    ),
    (
        lambda: curve_of(ArchShape(Family.ELLIPTICAL, 1000.0, 600.0, (1.0,), ())),
        "a elliptical shape with 1 radii and 0 sector angles cannot be drawn; it takes 0 of each",
    ),
    (
        lambda: curve_of(ArchShape(Family.SEMICIRCULAR, 1000.0, 999.9, (1000.0,), (QUARTER,))),
        "lead to a half-span of 1000.0000 mm and a rise of 1000.0000 mm, but 1000.0000 and 999.9000 mm "
        "were given",
    ),
    # constructions
    (lambda: semicircular(0.0), "half_span_mm = 0 was given; it must be above 0"),
    (lambda: segmental(2000.0, -1.0), "rise_mm = -1 was given; it must be above 0"),
    (lambda: segmental(2000.0, 1001.0), "a rise of 1001 mm; at most half the span, 1000 mm, makes a segment"),
    (lambda: elliptical(math.nan, 100.0), "span_mm = nan was given"),
    (lambda: three_centred(2000.0, 600.0, 0.0), "haunch_radius_mm = 0 was given"),
    (
        lambda: three_centred(2000.0, 600.0, 600.0),
        "the rise must be below half the span (1000 mm) and the haunch",
    ),
    (lambda: three_centred(2000.0, 1000.0, 600.0), "a rise of 1000 mm and a haunch radius of 600 mm"),
    (lambda: three_centred_sixty(2000.0, math.inf), "rise_mm = inf was given"),
    (lambda: three_centred_sixty(2000.0, 267.9), "the rise must be above 267.9 mm and below 1000 mm"),
    (
        lambda: three_centred_sixty(2000.0, 1000.0),
        "three equal arcs cannot carry a span of 2000 mm on a rise of 1000",
    ),
    (lambda: three_centred_least_ratio(-1.0, 5.0), "span_mm = -1 was given"),
    (lambda: three_centred_least_ratio(2000.0, 1000.0), "it must be below half the span, 1000 mm"),
    (lambda: three_centred_thirds(0.0), "span_mm = 0 was given"),
    (lambda: three_centred_quarters(0.0), "span_mm = 0 was given"),
    (lambda: five_centred(1000.0, 0.0), "rise_mm = 0 was given"),
    (lambda: five_centred(1000.0, 360.0, -1.0), "first_radius_mm = -1 was given"),
    (lambda: five_centred(1000.0, 360.0, 700.0), "would need radii of"),
    (
        lambda: five_centred_free(1000.0, 360.0, 278.0, first_angle_rad=1.0, second_angle_rad=0.6),
        "together they must stay below 90 degrees",
    ),
    (
        lambda: five_centred_free(1000.0, 360.0, 278.0, first_angle_rad=0.0, second_angle_rad=0.6),
        "first_angle_rad = 0 was given",
    ),
    (lambda: five_centred_of_radii(1000.0, 360.0, (278.0, 0.0, 700.0)), "second radius = 0 was given"),
    (lambda: five_centred_of_radii(1000.0, -1.0, (278.0, 443.0, 700.0)), "rise_mm = -1 was given"),
    (
        lambda: five_centred_of_radii(1000.0, 360.0, (278.0, 278.0, 700.0)),
        "they must grow from the springing",
    ),
    (
        lambda: five_centred_of_radii(1000.0, 360.0, (278.0, 290.0, 300.0)),
        "radius do not meet over a span of 1000",
    ),
    (
        lambda: five_centred_of_radii(1000.0, 360.0, (100.0, 1000.0, 1020.0)),
        "radius do not meet over a span of 1000",
    ),
    # displaced curves
    (
        lambda: DisplacedCurve(ROUND, (1.0, 2.0), (1.0,)),
        "2 stations and 1 offsets were given for a displaced curve",
    ),
    (lambda: DisplacedCurve(ROUND, (), ()), "0 stations and 0 offsets were given for a displaced curve"),
    (
        lambda: DisplacedCurve(ROUND, [[1.0]], [[1.0]]),
        "1 stations and 1 offsets were given for a displaced curve",
    ),
    (lambda: DisplacedCurve(ROUND, (1.0, 9000.0), (1.0, 1.0)), "station 9000.000 mm lies beyond the curve"),
    (
        lambda: DisplacedCurve(ROUND, (1.0, 2.0), (1.0, math.nan)),
        "an offset of a displaced curve is not a finite",
    ),
    (
        lambda: DisplacedCurve(ROUND, (1.0,), (1.0,), math.inf),
        "an offset of a displaced curve is not a finite",
    ),
    (lambda: DisplacedCurve(ROUND, (1.0, 1.0), (1.0, 2.0)), "the stations of a displaced curve do not grow"),
    (lambda: DisplacedCurve(ROUND, (1.0,), (-1000.0,)), "offsets down to -1000 mm fold up a displaced curve"),
    (
        lambda: DisplacedCurve(FLAT, (1.0,), (-500.0,)),
        "whose base has a least radius of 405.0 mm; make them smaller",
    ),
    (
        lambda: DisplacedCurve(ROUND, (500.0, 1500.0, 2500.0), (0.0, -190.0, 0.0), 5000.0),
        "5000 mm outwards folds up",
    ),
    (lambda: DisplacedCurve(ROUND, (1.0,), (-10.0,)).offset(-990.0), "drawn -990 mm outwards folds up"),
    # arc length by quadrature
    (
        lambda: RunningLength.of(lambda u: 1 / np.sqrt(np.abs(u) + 1e-300), np.array([0.0, 1.0])),
        "the arc length near parameter 0 cannot be integrated",
    ),
]


@pytest.mark.parametrize(("build", "said"), REFUSALS, ids=[said for _, said in REFUSALS])
def test_refused_with_a_reason(build, said):
    with pytest.raises(GeometryError) as refusal:
        build()
    assert said in str(refusal.value)
    assert isinstance(refusal.value, ArchSurveyError)
    assert isinstance(refusal.value, ValueError)


def test_limits_themselves_are_allowed():
    for curve in (ROUND, FLAT, FLAT.offset(240.0), DisplacedCurve(FLAT, (1000.0, 2000.0), (3.0, 5.0))):
        assert np.isfinite(curve.point([curve.first_station_mm, curve.last_station_mm])).all()
