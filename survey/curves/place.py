"""From the setting-out numbers of a shape to the curve they describe."""

from __future__ import annotations

import math

from survey.curves.arcs import ChainOfArcs
from survey.curves.ellipse import Ellipse
from survey.curves.shape import ArchShape, Family


def curve_of(shape: ArchShape) -> ChainOfArcs | Ellipse:
    """The intrados of a shape, standing where the shape says.

    Examples
    --------
    >>> from survey.curves.constructions import segmental
    >>> round(curve_of(segmental(2400.0, 400.0)).length_mm, 3)
    2574.004
    """
    if shape.family is Family.ELLIPTICAL:
        return Ellipse(
            (shape.axis_x_mm, shape.springing_y_mm), shape.half_span_mm, shape.rise_mm, shape.tilt_rad
        )  # fmt: skip
    left = (
        shape.axis_x_mm - shape.half_span_mm * math.cos(shape.tilt_rad),
        shape.springing_y_mm - shape.half_span_mm * math.sin(shape.tilt_rad),
    )
    return ChainOfArcs.symmetric(left, shape.radii_mm, shape.sector_angles_rad, tilt_rad=shape.tilt_rad)
