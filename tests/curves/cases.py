"""Curves of every family and proportion for the geometry tests, and hypothesis strategies that draw them."""

from __future__ import annotations

import math

from hypothesis import strategies as st

from survey.curves import (
    ArchShape,
    ChainOfArcs,
    Curve,
    DisplacedCurve,
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred,
    three_centred_least_ratio,
    three_centred_sixty,
)

SHAPES = {
    "semicircular": semicircular(1000.0),
    "small semicircular": semicircular(250.0, axis_x_mm=-300.0, springing_y_mm=1200.0),
    "segmental": segmental(2400.0, 400.0),
    "very flat segmental": segmental(3000.0, 60.0, tilt_rad=-0.01),
    "ellipse": elliptical(4000.0, 900.0),
    "tilted ellipse": elliptical(2000.0, 600.0, axis_x_mm=150.0, springing_y_mm=2100.0, tilt_rad=0.03),
    "wide ellipse": elliptical(20000.0, 3000.0),
    "very flat ellipse": elliptical(2000.0, 100.0),
    "tall ellipse": elliptical(1000.0, 800.0),
    "round ellipse": elliptical(1000.0, 500.0),
    "three-centred": three_centred(4000.0, 900.0, 500.0),
    "three-centred of sixty degrees": three_centred_sixty(2000.0, 600.0, tilt_rad=0.02),
    "three-centred of least ratio": three_centred_least_ratio(1500.0, 350.0),
    "five-centred": five_centred(4000.0, 1300.0, axis_x_mm=40.0),
}


def offset_both_ways(shape: ArchShape) -> list[Curve]:
    """The intrados, an extrados and a rib inside, as far as the shape allows."""
    curve = curve_of(shape)
    least = 1 / max(abs(float(k)) for k in curve.curvature([0.0, curve.length_mm / 2]))
    return [curve, curve.offset(240.0), curve.offset(-0.6 * min(least, 100.0))]


CURVES: dict[str, Curve] = {
    f"{name}, {which}": curve
    for name, shape in SHAPES.items()
    for which, curve in zip(("intrados", "extrados", "rib"), offset_both_ways(shape), strict=True)
}
"""Every shape with a parallel on either side."""

UNEVEN = ChainOfArcs((0.0, 0.0), math.radians(80), (700.0, 1500.0, 400.0), (0.6, 0.8, 1.3))
"""A chain without symmetry, as a moved arch may leave it."""

CURVES["uneven chain"] = UNEVEN


def _displaced(name: str, parallel_mm: float) -> DisplacedCurve:
    base = curve_of(SHAPES[name])
    stations = [share * base.length_mm for share in (0.11, 0.2, 0.34, 0.48, 0.55, 0.71, 0.86)]
    return DisplacedCurve(base, stations, (3.0, -4.0, 7.0, 6.0, -2.0, 1.0, 5.0), parallel_mm)


DISPLACED = {
    f"{name} displaced, parallel {parallel:g}": _displaced(name, parallel)
    for name in ("semicircular", "segmental", "three-centred", "ellipse", "tilted ellipse")
    for parallel in (0.0, 120.0, -20.0)
}
"""Curves led through standing bricks, with parallels."""

ALL = CURVES | DISPLACED

half_spans = st.floats(250.0, 10000.0)
places = st.floats(-5000.0, 5000.0)
tilts = st.floats(-0.1, 0.1)


@st.composite
def shapes(draw: st.DrawFn) -> ArchShape:
    """Any family, spans of 0.5 to 20 m, any place and a small tilt."""
    s = draw(half_spans)
    where = {"axis_x_mm": draw(places), "springing_y_mm": draw(places), "tilt_rad": draw(tilts)}
    family = draw(st.sampled_from(["semicircular", "segmental", "elliptical", "three", "five"]))
    if family == "semicircular":
        return semicircular(s, **where)
    if family == "segmental":
        return segmental(2 * s, draw(st.floats(0.02, 1.0)) * s, **where)
    if family == "elliptical":
        return elliptical(2 * s, draw(st.floats(0.1, 1.8)) * s, **where)
    if family == "five":
        return five_centred(2 * s, draw(st.floats(0.5, 0.95)) * s, **where)
    rise = draw(st.floats(0.2, 0.95)) * s
    return three_centred(2 * s, rise, draw(st.floats(0.3, 0.9)) * rise, **where)
