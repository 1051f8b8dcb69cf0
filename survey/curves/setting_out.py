"""What a mason needs to draw an arch full size: centres, radii, pins, string and rod."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from survey.curves.arcs import ChainOfArcs
from survey.curves.ellipse import Ellipse
from survey.curves.place import curve_of
from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family

ARC_NAMES = {1: ("arch",), 2: ("haunch", "crown"), 3: ("springing", "haunch", "crown")}
"""What the arcs of one half are called, from the springing to the crown, by their number."""


@dataclass(frozen=True, slots=True, eq=False)
class SettingOut:
    """The figures an arch is set out with. Points stand where the shape stands, tilt and all.

    Attributes
    ----------
    shape : ArchShape
    centres_mm : (k, 2) float
        Centres of all arcs from the left springing to the right one; none for an ellipse.
    radii_mm, sweeps_rad : tuple of float
        Radius and angle of each of these arcs.
    junctions_mm : (k + 1, 2) float
        Where the arcs begin and end, the springings first and last; none for an ellipse.
    foci_mm : (2, 2) or (0, 2) float
        Where the two pins for the string go; none for arcs.
    string_mm : float or None
        Length of the string between the two pins, which is the longer axis.
    trammel_mm : (half-span, rise) or None
        Distances of the two marks on the rod from its pencil: the first is kept on the upright axis, the
        second on the springing line.
    length_mm : float
        Arc length of the intrados.
    area_mm2 : float
        Area between the intrados and the springing line.
    springing_radius_mm, crown_radius_mm : float
        Radii of curvature of the intrados there.
    skewback_rad : float
        Angle of the joint at the springing above the springing line, 0 where the arch leaves the wall plumb.
    """

    shape: ArchShape
    centres_mm: Floats
    radii_mm: tuple[float, ...]
    sweeps_rad: tuple[float, ...]
    junctions_mm: Floats
    foci_mm: Floats
    string_mm: float | None
    trammel_mm: tuple[float, float] | None
    length_mm: float
    area_mm2: float
    springing_radius_mm: float
    crown_radius_mm: float
    skewback_rad: float

    def sentences(self) -> tuple[str, ...]:
        """The setting out in plain words, lengths to the millimetre.

        Examples
        --------
        >>> from survey.curves.constructions import segmental
        >>> print(setting_out(segmental(2400.0, 400.0)).sentences()[1])
        Strike the arch with 2000 mm from a centre 1600 mm below the middle of the springing line.
        """
        span, rise = self.shape.span_mm, self.shape.rise_mm
        drawing = _of_arcs(self) if self.shape.radii_mm else _of_ellipse(self)
        return (
            f"Draw the springing line {span:.0f} mm long and square up its middle; the crown stands "
            f"{rise:.0f} mm above it.",
            *drawing,
            *_tilt(self.shape),
            f"Check: the curve from springing to springing measures {self.length_mm:.0f} mm.",
        )


def setting_out(shape: ArchShape) -> SettingOut:
    """Work out the setting-out figures of a shape.

    Notes
    -----
    Area under arcs: the polygon of the junctions and a segment R^2 (w - sin w) / 2 on each chord; under the
    ellipse pi a b / 2. Radii of curvature of the ellipse: b^2 / a at the springing, a^2 / b at the crown.

    Examples
    --------
    >>> from survey.curves.constructions import elliptical
    >>> figures = setting_out(elliptical(2000.0, 600.0))
    >>> figures.foci_mm.tolist(), figures.string_mm, round(figures.crown_radius_mm, 3)
    ([[-800.0, 0.0], [800.0, 0.0]], 2000.0, 1666.667)
    """
    curve = curve_of(shape)
    s, h = shape.half_span_mm, shape.rise_mm
    if isinstance(curve, Ellipse):
        nothing = np.empty((0, 2))
        return SettingOut(
            shape, nothing, (), (), nothing, curve.foci_mm, 2 * max(s, h), (s, h),
            curve.length_mm, math.pi * s * h / 2, h * h / s, s * s / h, 0.0,
        )  # fmt: skip
    return SettingOut(
        shape, curve.centres_mm, curve.radii_mm, curve.sweeps_rad, curve.junctions_mm, np.empty((0, 2)),
        None, None, curve.length_mm, _area(curve), shape.radii_mm[0], shape.radii_mm[-1],
        math.pi / 2 - math.fsum(shape.sector_angles_rad),
    )  # fmt: skip


def _area(chain: ChainOfArcs) -> float:
    """Area between a chain of arcs and the chord from its start to its end."""
    x, y = (chain.junctions_mm - chain.junctions_mm[0]).T
    polygon = -0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    radius, sweep = np.array(chain.radii_mm), np.array(chain.sweeps_rad)
    return polygon + float(np.sum(radius**2 * (sweep - np.sin(sweep)) / 2))


def _of_arcs(figures: SettingOut) -> list[str]:
    """How to strike the arcs, from the springing to the crown, and where the joints point."""
    shape = figures.shape
    level = setting_out(replace(shape, axis_x_mm=0.0, springing_y_mm=0.0, tilt_rad=0.0))
    n = len(shape.radii_mm)
    said = []
    for k, (name, radius) in enumerate(zip(ARC_NAMES[n], shape.radii_mm, strict=True)):
        plural, how_far = ("arc", "a centre") if k == n - 1 else ("arcs", "centres")
        arcs = name if name == "arch" else f"{name} {plural}"
        where = _place(level.centres_mm[k])
        from_where = where if where.startswith("the middle") else f"{how_far} {where}"
        said.append(f"Strike the {arcs} with {radius:.0f} mm from {from_where}.")
    for k in range(1, n):
        x, y = level.junctions_mm[k]
        said.append(
            f"The {ARC_NAMES[n][k - 1]} and {ARC_NAMES[n][k]} arcs meet {abs(x):.0f} mm left and right of "
            f"the middle and {y:.0f} mm above the springing line, in line with both their centres."
        )
    if shape.family is Family.SEGMENTAL:
        said.append(
            f"The skewbacks lie in line with the centre, {math.degrees(figures.skewback_rad):.1f} degrees "
            "above the springing line."
        )
    said.append(
        "Every joint points to the centre." if n == 1 else "Every joint points to the centre of its own arc."
    )
    return said


def _place(centre_mm: Floats) -> str:
    """Where a centre stands against the middle of the springing line, to the millimetre."""
    x, y = round(abs(float(centre_mm[0]))), round(float(centre_mm[1]))
    if x == 0 and y == 0:
        return "the middle of the springing line"
    if x == 0:
        return f"{abs(y)} mm {'below' if y < 0 else 'above'} the middle of the springing line"
    if y == 0:
        return f"{x} mm left and right of the middle on the springing line"
    side = "below" if y < 0 else "above"
    return f"{x} mm left and right of the middle and {abs(y)} mm {side} the springing line"


def _of_ellipse(figures: SettingOut) -> list[str]:
    """The string and the rod, and where the joints point."""
    s, h = figures.shape.half_span_mm, figures.shape.rise_mm
    reach = math.sqrt(abs(s - h) * (s + h))
    if round(reach) == 0:
        return [
            f"Strike the arch with {s:.0f} mm from the middle of the springing line: this ellipse is a "
            "semicircle.",
            "Every joint points to the centre.",
        ]
    if s > h:
        pins = f"on the springing line, {reach:.0f} mm left and right of the middle"
    else:
        pins = f"on the upright axis, {reach:.0f} mm above and below the middle"
    return [
        f"By string: drive two pins {pins}; tie a string of {2 * max(s, h):.0f} mm between them, draw it "
        "taut with the pencil and run the pencil round.",
        f"By rod: mark a rod at {s:.0f} mm and {h:.0f} mm from its pencil; keep the mark at {s:.0f} mm on "
        f"the upright axis and the mark at {h:.0f} mm on the springing line.",
        "Joints are square to the curve and do not point to the middle: at each joint draw the lines to "
        "the two pins and halve the angle between them.",
        "The back of the ring is no ellipse: measure its depth along the joints.",
    ]


def _tilt(shape: ArchShape) -> list[str]:
    """A springing line that is out of level, in words."""
    fall = shape.span_mm * math.sin(shape.tilt_rad)
    if round(abs(fall)) == 0:
        return []
    side = "right" if fall > 0.0 else "left"
    return [f"The springing line is out of level: its {side} end stands {abs(fall):.0f} mm higher."]
