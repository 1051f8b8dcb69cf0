"""The handbook constructions of one and three centres and the ellipse: from the few lengths a mason starts
with to an arch shape."""

from __future__ import annotations

import math

from survey.curves.checks import checked_lengths
from survey.curves.shape import ArchShape, Family
from survey.errors import GeometryError


def semicircular(
    half_span_mm: float, *, axis_x_mm: float = 0.0, springing_y_mm: float = 0.0, tilt_rad: float = 0.0
) -> ArchShape:
    """Half a circle struck from the middle of the springing line: rise = half-span = radius."""
    checked_lengths(half_span_mm=half_span_mm)
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
    checked_lengths(span_mm=span_mm, rise_mm=rise_mm)
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
    checked_lengths(span_mm=span_mm, rise_mm=rise_mm)
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
    checked_lengths(span_mm=span_mm, rise_mm=rise_mm, haunch_radius_mm=haunch_radius_mm)
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
    checked_lengths(span_mm=span_mm, rise_mm=rise_mm)
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
    checked_lengths(span_mm=span_mm, rise_mm=rise_mm)
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
    checked_lengths(span_mm=span_mm)
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
    checked_lengths(span_mm=span_mm)
    s = span_mm / 2
    return ArchShape(
        Family.THREE_CENTRED, s, (1.5 - math.sqrt(3) / 2) * s, (s / 2, 1.5 * s), (math.pi / 3, math.pi / 6),
        axis_x_mm, springing_y_mm, tilt_rad,
    )  # fmt: skip
