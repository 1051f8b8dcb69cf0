"""How the rib of a centre is struck: centres and rods, or foci and string, in sentences for the bench."""

from __future__ import annotations

import math

import numpy as np

from survey.curves import ArchShape, ChainOfArcs, DisplacedCurve, Ellipse, Floats, curve_of
from survey.rebuild.plan import RingPlan


def plain_mm(value: float) -> str:
    """A length for a sentence: to a tenth, without a needless nought.

    Examples
    --------
    >>> plain_mm(1975.0), plain_mm(546.41), plain_mm(-0.01)
    ('1975', '546.4', '0')
    """
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def striking_sentences(shape: ArchShape, inwards_mm: float, rings: tuple[RingPlan, ...]) -> tuple[str, ...]:
    """How to strike soffit and rib, the level of the centres, and the rods for the backs of the rings.

    Lengths are taken from the middle of the springing line: right and left along it, up and down square to
    it. ``inwards_mm`` is how far the rib lies inside the soffit.
    """
    drawn = curve_of(shape)
    if isinstance(drawn, Ellipse):
        lines = _string(shape, drawn, inwards_mm)
    else:
        lines = _rods(shape, drawn, drawn.offset(-inwards_mm))
    innermost = min(rings, key=lambda ring: ring.ring, default=None)
    if innermost is not None and isinstance(innermost.inner, DisplacedCurve):
        return (*lines, _leading(innermost.inner))
    return (*lines, *_backs(drawn, rings))


def _leading(soffit: DisplacedCurve) -> str:
    """What to do where the soffit leads from standing brick to standing brick."""
    off = float(np.abs(soffit.offsets_mm).max())
    return (
        f"The arch stands up to {plain_mm(off)} mm off that curve. Cut the rib to the ordinates, which "
        "follow the "
        "standing bricks, and try it against them before it is lagged."
    )


def _local(shape: ArchShape, xy_mm: Floats) -> Floats:
    """Points in the arch's own axes: origin at the middle of the springing line, x along it."""
    cos, sin = math.cos(shape.tilt_rad), math.sin(shape.tilt_rad)
    x, y = xy_mm[..., 0] - shape.axis_x_mm, xy_mm[..., 1] - shape.springing_y_mm
    return np.stack([cos * x + sin * y, cos * y - sin * x], axis=-1)


def _place(x_mm: float, y_mm: float) -> str:
    """Where a centre lies, in words."""
    if abs(x_mm) < 0.05:
        across = "on the middle line"
    else:
        across = f"{plain_mm(abs(x_mm))} mm {'right' if x_mm > 0 else 'left'} of the middle line"
    if abs(y_mm) < 0.05:
        return f"{across}, on the springing line"
    return f"{across}, {plain_mm(abs(y_mm))} mm {'above' if y_mm > 0 else 'below'} the springing line"


def _rods(shape: ArchShape, soffit: ChainOfArcs, rib: ChainOfArcs) -> tuple[str, ...]:
    """Radius rods and centres of a chain of arcs; soffit and rib share their centres."""
    centres = _local(shape, soffit.centres_mm)
    if len(centres) == 1:
        return (
            f"Strike the rib with a rod of {plain_mm(rib.radii_mm[0])} mm from one centre "
            f"{_place(*centres[0])}; the soffit's radius is {plain_mm(soffit.radii_mm[0])} mm from the same "
            "centre.",
        )
    junctions = _local(shape, rib.junctions_mm)
    n_half = (len(centres) + 1) // 2
    names = {2: ("side", "crown"), 3: ("side", "middle", "crown")}[n_half]
    lines = []
    for k in range(n_half):
        x, y = abs(centres[k, 0]), centres[k, 1]
        many = "s" if k < n_half - 1 else ""
        rods = (
            f"{names[k].capitalize()} arc{many}: rod of {plain_mm(rib.radii_mm[k])} mm for the rib "
            f"({plain_mm(soffit.radii_mm[k])} mm for the soffit)"
        )
        if many:
            level = f"{plain_mm(abs(y))} mm {'above' if y > 0 else 'below'}" if abs(y) >= 0.05 else "on"
            centre = (
                f"two centres {plain_mm(x)} mm left and right of the middle line, {level} the springing line"
            )
        else:
            centre = f"the centre {_place(0.0, float(y))}"
        lines.append(f"{rods} from {centre}.")
    for k in range(1, n_half):
        x, y = abs(junctions[k, 0]), junctions[k, 1]
        lines.append(
            f"On the rib the {names[k - 1]} and {names[k]} arcs meet {plain_mm(x)} mm left and right of the "
            "middle line, "
            f"{plain_mm(y)} mm above the springing line; both centres and the meeting point lie on one "
            "straight line: check it."
        )
    return tuple(lines)


def _backs(drawn: ChainOfArcs | Ellipse, rings: tuple[RingPlan, ...]) -> tuple[str, ...]:
    """Where the back of each ring lies."""
    lines = []
    for ring in rings:
        if isinstance(ring.outer, ChainOfArcs):
            n_half = (len(ring.outer.radii_mm) + 1) // 2
            *firsts, last = (plain_mm(radius) for radius in ring.outer.radii_mm[:n_half])
            radii = f"{', '.join(firsts)} and {last}" if firsts else last
            lines.append(
                f"Ring {ring.ring}: its back lies {radii} mm from the same centre{'s' * (n_half > 1)}."
            )
        elif isinstance(drawn, Ellipse):
            lines.append(
                f"Ring {ring.ring}: gauge its back off the soffit, {plain_mm(ring.depth_gauge_mm)} mm "
                "outwards and "
                "square to it."
            )
    return tuple(lines)


def _string(shape: ArchShape, soffit: Ellipse, inwards_mm: float) -> tuple[str, ...]:
    """Pins and string of an elliptical soffit, and how the rib is gauged off it."""
    foci = _local(shape, soffit.foci_mm)
    a, b = soffit.half_span_mm, soffit.rise_mm
    if a >= b:
        reach = plain_mm(abs(float(foci[1, 0])))
        pins = f"two pins on the springing line, {reach} mm left and right of the middle"
        found = f"found from the crown with a rod of {plain_mm(a)} mm"
    else:
        reach = plain_mm(abs(float(foci[1, 1])))
        pins = f"two pins on the middle line, {reach} mm above and below the springing line"
        found = f"found from either springing with a rod of {plain_mm(b)} mm"
    return (
        f"Strike the soffit first: {pins} ({found}), and a string of {plain_mm(2.0 * max(a, b))} mm from "
        "pin to pin; "
        "the pencil in the tight string draws the soffit. A string with a loop round both pins is "
        f"{plain_mm(2.0 * max(a, b) + float(np.hypot(*(foci[1] - foci[0]))))} mm round.",
        f"Then gauge the rib off the soffit, {plain_mm(inwards_mm)} mm inwards and square to the curve at "
        "every point: the parallel "
        "of an ellipse is not an ellipse, so do not strike the rib with a shorter string. Check it by the "
        "ordinates.",
        "Joints halve the angle between the lines from the two pins; they do not point to the middle.",
    )
