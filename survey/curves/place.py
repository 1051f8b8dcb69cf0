"""From the setting-out numbers of a shape to the curve they describe."""

from __future__ import annotations

import math

from survey.curves.arcs import ChainOfArcs
from survey.curves.ellipse import Ellipse
from survey.curves.shape import ArchShape, Family
from survey.errors import GeometryError

CLOSURE = 1e-6
"""Share of the half-span by which arcs may miss the crown: far below anything measured."""

N_ARCS = {
    Family.SEMICIRCULAR: 1,
    Family.SEGMENTAL: 1,
    Family.ELLIPTICAL: 0,
    Family.THREE_CENTRED: 2,
    Family.FIVE_CENTRED: 3,
}
"""How many arcs one half of each family has."""


def curve_of(shape: ArchShape) -> ChainOfArcs | Ellipse:
    """The intrados of a shape, standing where the shape says.

    Raises
    ------
    GeometryError
        When the shape has not the arcs of its family, or they miss the crown.

    Examples
    --------
    >>> from survey.curves.constructions import segmental
    >>> round(curve_of(segmental(2400.0, 400.0)).length_mm, 3)
    2574.004
    """
    n_arcs = N_ARCS[shape.family]
    if (len(shape.radii_mm), len(shape.sector_angles_rad)) != (n_arcs, n_arcs):
        raise GeometryError(
            f"a {shape.family.value} shape with {len(shape.radii_mm)} radii and "
            f"{len(shape.sector_angles_rad)} sector angles cannot be drawn; it takes {n_arcs} of each (the "
            "functions of survey.curves build it whole)"
        )
    if shape.family is Family.ELLIPTICAL:
        return Ellipse(
            (shape.axis_x_mm, shape.springing_y_mm), shape.half_span_mm, shape.rise_mm, shape.tilt_rad
        )  # fmt: skip
    _check_closure(shape)
    left = (
        shape.axis_x_mm - shape.half_span_mm * math.cos(shape.tilt_rad),
        shape.springing_y_mm - shape.half_span_mm * math.sin(shape.tilt_rad),
    )
    return ChainOfArcs.symmetric(left, shape.radii_mm, shape.sector_angles_rad, tilt_rad=shape.tilt_rad)


def _check_closure(shape: ArchShape) -> None:
    """Refuse arcs that do not lead from the springing to the crown."""
    # direction of the tangent against the springing line, from the springing down to 0 at the crown
    direction = math.fsum(shape.sector_angles_rad)
    across = up = 0.0
    for radius, angle in zip(shape.radii_mm, shape.sector_angles_rad, strict=True):
        chord = 2 * radius * math.sin(angle / 2)
        across += chord * math.cos(direction - angle / 2)
        up += chord * math.sin(direction - angle / 2)
        direction -= angle
    if math.hypot(across - shape.half_span_mm, up - shape.rise_mm) > CLOSURE * shape.half_span_mm:
        raise GeometryError(
            f"the arcs of a {shape.family.value} shape lead to a half-span of {across:.4f} mm and a rise "
            f"of {up:.4f} mm, but {shape.half_span_mm:.4f} and {shape.rise_mm:.4f} mm were given; let the "
            "functions of survey.curves work out radii and angles from the span and the rise"
        )
