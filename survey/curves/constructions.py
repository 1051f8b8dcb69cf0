"""The handbook constructions: from the few lengths a mason starts with to an arch shape."""

from __future__ import annotations

import math

import numpy as np

from survey.curves.shape import ArchShape, Family
from survey.errors import GeometryError

FIFTH_OF_HALF_TURN = math.pi / 5
"""Angle of each arc of a five-centred arch of equal arcs, 36 degrees."""


def _positive(**lengths_mm: float) -> None:
    """Refuse lengths that are not finite and above 0, by the name they were given under."""
    for name, value in lengths_mm.items():
        if not (math.isfinite(value) and value > 0.0):
            raise GeometryError(f"{name} = {value:g} was given; a length in mm above 0 is needed")


def semicircular(
    half_span_mm: float, *, axis_x_mm: float = 0.0, springing_y_mm: float = 0.0, tilt_rad: float = 0.0
) -> ArchShape:
    """Half a circle struck from the middle of the springing line: rise = half-span = radius."""
    _positive(half_span_mm=half_span_mm)
    return ArchShape(
        Family.SEMICIRCULAR, half_span_mm, half_span_mm, (half_span_mm,), (math.pi / 2,),
        axis_x_mm, springing_y_mm, tilt_rad,
    )  # fmt: skip


def segmental(
    span_mm: float,
    rise_mm: float,
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """One circular arc through both springings and the crown, of no more than a semicircle.

    Raises
    ------
    GeometryError
        When the rise is more than half the span.

    Notes
    -----
    With half-span s and rise h: R = (s^2 + h^2) / (2 h), half-angle = 2 atan(h / s).

    References
    ----------
    Brick Institute of America, Technical Note 31A (1967, reprinted Masonry Magazine, August 1975, p. 15):
    text seen.

    Examples
    --------
    >>> shape = segmental(2400.0, 400.0)
    >>> shape.radii_mm, round(math.degrees(shape.sector_angles_rad[0]), 4)
    ((2000.0,), 36.8699)
    """
    _positive(span_mm=span_mm, rise_mm=rise_mm)
    s = span_mm / 2
    if rise_mm > s:
        raise GeometryError(
            f"a segmental arch of span {span_mm:g} mm was given a rise of {rise_mm:g} mm; at most half the "
            f"span, {s:g} mm, makes a segment (a horseshoe arch of more than a semicircle is not among the "
            "families)"
        )
    radius = (s * s + rise_mm * rise_mm) / (2 * rise_mm)
    return ArchShape(
        Family.SEGMENTAL,
        s,
        rise_mm,
        (radius,),
        (2 * math.atan2(rise_mm, s),),
        axis_x_mm,
        springing_y_mm,
        tilt_rad,
    )


def elliptical(
    span_mm: float,
    rise_mm: float,
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Half an ellipse: semi-axes half-span s and rise h; a flat one has its foci at sqrt(s^2 - h^2)."""
    _positive(span_mm=span_mm, rise_mm=rise_mm)
    return ArchShape(
        Family.ELLIPTICAL, span_mm / 2, rise_mm, (), (), axis_x_mm, springing_y_mm, tilt_rad
    )  # fmt: skip


def three_centred(
    span_mm: float,
    rise_mm: float,
    haunch_radius_mm: float,
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Three-centred arch by span, rise and the radius of its haunches.

    Raises
    ------
    GeometryError
        Unless haunch radius < rise < half-span.

    Notes
    -----
    With half-span s, rise h, haunch radius r, crown radius R = ((s - r)^2 + h^2 - r^2) / (2 (h - r)); the
    line of centres makes the angle A = atan((R - h) / (s - r)) with the springing line, which is the angle
    of the haunch arc: (s - r) = (R - r) cos A, (R - h) = (R - r) sin A.

    Examples
    --------
    >>> [round(radius, 1) for radius in three_centred(4000.0, 900.0, 500.0).radii_mm]
    [500.0, 3512.5]
    """
    _positive(span_mm=span_mm, rise_mm=rise_mm, haunch_radius_mm=haunch_radius_mm)
    s, h, r = span_mm / 2, rise_mm, haunch_radius_mm
    if not r < h < s:
        raise GeometryError(
            f"a three-centred arch of span {span_mm:g} mm was given a rise of {h:g} mm and a haunch radius "
            f"of {r:g} mm; the rise must be below half the span ({s:g} mm) and the haunch radius below the "
            "rise"
        )
    centre_drop = (s - h) * (s - r + h - r) / (2 * (h - r))
    haunch = math.atan2(centre_drop, s - r)
    return ArchShape(
        Family.THREE_CENTRED, s, h, (r, h + centre_drop), (haunch, math.pi / 2 - haunch),
        axis_x_mm, springing_y_mm, tilt_rad,
    )  # fmt: skip


def three_centred_sixty(
    span_mm: float,
    rise_mm: float,
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Three-centred arch of three equal 60-degree arcs.

    Raises
    ------
    GeometryError
        When the rise is not above 2 - sqrt 3 of the half-span (the haunches would vanish) and below the
        half-span.

    Notes
    -----
    With half-span s and rise h: r = (h - (2 - sqrt 3) s) / (sqrt 3 - 1), R = 2 s - r.

    References
    ----------
    Usually credited to Christiaan Huygens; no first source seen.

    Examples
    --------
    >>> [round(radius, 3) for radius in three_centred_sixty(2000.0, 600.0).radii_mm]
    [453.59, 1546.41]
    """
    _positive(span_mm=span_mm, rise_mm=rise_mm)
    s, h = span_mm / 2, rise_mm
    least = (2 - math.sqrt(3)) * s
    if not least < h < s:
        raise GeometryError(
            f"three equal arcs cannot carry a span of {span_mm:g} mm on a rise of {h:g} mm; the rise must "
            f"be above {least:.1f} mm and below {s:g} mm, or another construction chosen"
        )
    r = (h - least) / (math.sqrt(3) - 1)
    return ArchShape(
        Family.THREE_CENTRED,
        s,
        h,
        (r, 2 * s - r),
        (math.pi / 3, math.pi / 6),
        axis_x_mm,
        springing_y_mm,
        tilt_rad,
    )


def three_centred_least_ratio(
    span_mm: float,
    rise_mm: float,
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Three-centred arch by the chord construction, the one whose radii differ least (least R / r).

    Draw the chord from springing to crown, take half-span less rise off it from the crown, bisect what is
    left square to the chord: the bisector meets the springing line and the axis at the two centres.

    Raises
    ------
    GeometryError
        When the rise is not below half the span.

    Notes
    -----
    With half-span s, rise h and chord c = sqrt(s^2 + h^2): r = c (c - (s - h)) / (2 s),
    R = c (c + (s - h)) / (2 h); the half-angle of the crown arc is atan(h / s).

    References
    ----------
    Construction seen on a French site page on the basket-handle arch ("anse de panier", haldati.fr) and in
    a French drawing of 1911; credited to Bossut from memory. Formula and least ratio computed
    independently.

    Examples
    --------
    >>> [round(radius, 3) for radius in three_centred_least_ratio(2000.0, 600.0).radii_mm]
    [446.762, 1522.063]
    """
    _positive(span_mm=span_mm, rise_mm=rise_mm)
    s, h = span_mm / 2, rise_mm
    if not h < s:
        raise GeometryError(
            f"a three-centred arch of span {span_mm:g} mm was given a rise of {h:g} mm; it must be below "
            f"half the span, {s:g} mm"
        )
    chord = math.hypot(s, h)
    radii = (chord * (chord - (s - h)) / (2 * s), chord * (chord + (s - h)) / (2 * h))
    return ArchShape(
        Family.THREE_CENTRED,
        s,
        h,
        radii,
        (math.atan2(s, h), math.atan2(h, s)),
        axis_x_mm,
        springing_y_mm,
        tilt_rad,
    )


def three_centred_thirds(
    span_mm: float, *, axis_x_mm: float = 0.0, springing_y_mm: float = 0.0, tilt_rad: float = 0.0
) -> ArchShape:
    """Three-centred arch on a springing line cut in thirds; its rise follows from the span.

    The haunch centres stand a third of the span from the springings and the crown centre below them at the
    tip of an equilateral triangle.

    Notes
    -----
    With half-span s: r = 2 s / 3, R = 4 s / 3, rise = (4/3 - 1/sqrt 3) s = 0.75598 s.

    References
    ----------
    F. Maquaire, web page on the basket-handle arch (fmaquaire.free.fr): rise 0.756 of the half-span, text
    seen.

    Examples
    --------
    >>> round(three_centred_thirds(3500.0).rise_mm)
    1323
    """
    _positive(span_mm=span_mm)
    s = span_mm / 2
    return ArchShape(
        Family.THREE_CENTRED, s, (4 / 3 - 1 / math.sqrt(3)) * s,
        (2 * s / 3, 4 * s / 3), (math.pi / 3, math.pi / 6),
        axis_x_mm, springing_y_mm, tilt_rad,
    )  # fmt: skip


def three_centred_quarters(
    span_mm: float, *, axis_x_mm: float = 0.0, springing_y_mm: float = 0.0, tilt_rad: float = 0.0
) -> ArchShape:
    """Three-centred arch on a springing line cut in quarters; its rise follows from the span.

    Notes
    -----
    With half-span s: r = s / 2, R = 3 s / 2, rise = (3/2 - sqrt(3)/2) s = 0.63397 s; the three centres make
    an equilateral triangle. Computed independently, no source seen.
    """
    _positive(span_mm=span_mm)
    s = span_mm / 2
    return ArchShape(
        Family.THREE_CENTRED, s, (1.5 - math.sqrt(3) / 2) * s, (s / 2, 1.5 * s), (math.pi / 3, math.pi / 6),
        axis_x_mm, springing_y_mm, tilt_rad,
    )  # fmt: skip


def five_centred(
    span_mm: float,
    rise_mm: float,
    first_radius_mm: float | None = None,
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Five-centred arch of five equal 36-degree arcs.

    Parameters
    ----------
    first_radius_mm : float or None
        Radius of the arcs at the springings; by default the radius of curvature of the ellipse of the same
        span and rise at the middle of that arc, where its normal rises 18 degrees.

    Raises
    ------
    GeometryError
        When the other two radii cannot be closed on the span and rise.

    Notes
    -----
    The other two radii close on the half-span and the rise; see :func:`five_centred_free`. The default is
    a^2 b^2 / (a^2 cos^2 18 + b^2 sin^2 18)^(3/2) with a the half-span and b the rise.

    References
    ----------
    Table of first radii used for French bridges in the 1830s and credited to Michal: values from memory,
    met within 0.003 of the span by the default.

    Examples
    --------
    >>> [round(radius, 1) for radius in five_centred(1000.0, 360.0, 278.0).radii_mm]
    [278.0, 442.9, 729.6]
    """
    _positive(span_mm=span_mm, rise_mm=rise_mm)
    if first_radius_mm is None:
        a, b = span_mm / 2, rise_mm
        middle = FIFTH_OF_HALF_TURN / 2
        first_radius_mm = a * a * b * b / math.hypot(a * math.cos(middle), b * math.sin(middle)) ** 3
    return five_centred_free(
        span_mm,
        rise_mm,
        first_radius_mm,
        first_angle_rad=FIFTH_OF_HALF_TURN,
        second_angle_rad=FIFTH_OF_HALF_TURN,
        axis_x_mm=axis_x_mm,
        springing_y_mm=springing_y_mm,
        tilt_rad=tilt_rad,
    )


def five_centred_free(
    span_mm: float,
    rise_mm: float,
    first_radius_mm: float,
    *,
    first_angle_rad: float,
    second_angle_rad: float,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Five-centred arch by span, rise, first radius and the angles of the first two arcs of each half.

    Raises
    ------
    GeometryError
        When the two angles leave nothing of the quarter turn, or a radius that closes the arch is not
        positive.

    Notes
    -----
    With e_k the running sum of the sector angles from the springing (0 to 90 degrees), closure on half-span
    s and rise h is sum r_k (cos e_{k-1} - cos e_k) = s and sum r_k (sin e_k - sin e_{k-1}) = h, linear in
    r_2 and r_3.

    References
    ----------
    General closure sums: Annales de mathematiques pures et appliquees (Gergonne) 4 (1813-14) p. 260, text
    seen.
    """
    _positive(
        span_mm=span_mm,
        rise_mm=rise_mm,
        first_radius_mm=first_radius_mm,
        first_angle_rad=first_angle_rad,
        second_angle_rad=second_angle_rad,
    )
    third = math.pi / 2 - first_angle_rad - second_angle_rad
    if third <= 0.0:
        raise GeometryError(
            f"the first two arcs take {math.degrees(first_angle_rad):g} and "
            f"{math.degrees(second_angle_rad):g} degrees; together they must stay below 90 degrees so that "
            "the crown arc has an angle"
        )
    running = np.cumsum([0.0, first_angle_rad, second_angle_rad, third])
    across, up = -np.diff(np.cos(running)), np.diff(np.sin(running))
    across[-1] = math.cos(running[2])  # the last edge is plumb by definition
    wanted = np.array([span_mm / 2 - first_radius_mm * across[0], rise_mm - first_radius_mm * up[0]])
    second_radius, third_radius = np.linalg.solve(np.stack([across[1:], up[1:]]), wanted)
    if min(second_radius, third_radius) <= 0.0:
        raise GeometryError(
            f"a five-centred arch of span {span_mm:g} mm, rise {rise_mm:g} mm and first radius "
            f"{first_radius_mm:g} mm would need radii of {second_radius:.1f} and {third_radius:.1f} mm; "
            "all must be above 0 mm, so change the first radius or the angles"
        )
    return ArchShape(
        Family.FIVE_CENTRED,
        span_mm / 2,
        rise_mm,
        (first_radius_mm, float(second_radius), float(third_radius)),
        (first_angle_rad, second_angle_rad, third),
        axis_x_mm,
        springing_y_mm,
        tilt_rad,
    )
