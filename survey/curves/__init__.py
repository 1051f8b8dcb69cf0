"""Plane geometry, the ground floor: two kinds of curve carry every arch.

A :class:`ChainOfArcs` (semicircular, segmental, three-centred, five-centred) and an :class:`Ellipse` with
its parallels meet one protocol, :class:`Curve`: points, tangents, normals and curvature at stations along
the arc, stations and signed distances of any points, parallel curves, equal division. An :class:`ArchShape`
holds the numbers a mason sets an arch out with; the constructions make shapes from a span and a rise, and
:func:`curve_of` makes curves from shapes.

Millimetres and radians; x right, y up; stations run from the left springing; distances are positive away
from the opening.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from survey.curves.arcs import ChainOfArcs
from survey.curves.constructions import (
    elliptical,
    segmental,
    semicircular,
    three_centred,
    three_centred_least_ratio,
    three_centred_quarters,
    three_centred_sixty,
    three_centred_thirds,
)
from survey.curves.ellipse import Ellipse, EllipseParallel
from survey.curves.five_centres import five_centred, five_centred_free, five_centred_of_radii
from survey.curves.place import curve_of
from survey.curves.protocol import Curve, Floats, Frame, Located
from survey.curves.setting_out import SettingOut, setting_out
from survey.curves.shape import ArchShape, Family

if TYPE_CHECKING:
    from survey.curves.displaced import DisplacedCurve

__all__ = [
    "ArchShape",
    "ChainOfArcs",
    "Curve",
    "DisplacedCurve",
    "Ellipse",
    "EllipseParallel",
    "Family",
    "Floats",
    "Frame",
    "Located",
    "SettingOut",
    "curve_of",
    "elliptical",
    "five_centred",
    "five_centred_free",
    "five_centred_of_radii",
    "segmental",
    "semicircular",
    "setting_out",
    "three_centred",
    "three_centred_least_ratio",
    "three_centred_quarters",
    "three_centred_sixty",
    "three_centred_thirds",
]


def __getattr__(name: str) -> Any:
    if name != "DisplacedCurve":  # loaded when asked for: only a soffit that follows its bricks needs it
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from survey.curves.displaced import DisplacedCurve

    return DisplacedCurve
