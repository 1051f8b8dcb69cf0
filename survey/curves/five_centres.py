"""Basket-handle arches of five centres, closed on their span and rise."""

from __future__ import annotations

import math

import numpy as np

from survey.curves.checks import checked_lengths
from survey.curves.shape import ArchShape, Family
from survey.errors import GeometryError

FIFTH_OF_HALF_TURN = math.pi / 5
"""Angle of each arc of a five-centred arch of equal arcs, 36 degrees."""


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
    checked_lengths(span_mm=span_mm, rise_mm=rise_mm)
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
    checked_lengths(
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


def five_centred_of_radii(
    span_mm: float,
    rise_mm: float,
    radii_mm: tuple[float, float, float],
    *,
    axis_x_mm: float = 0.0,
    springing_y_mm: float = 0.0,
    tilt_rad: float = 0.0,
) -> ArchShape:
    """Five-centred arch by span, rise and its three radii, which must grow from the springing to the crown.

    Raises
    ------
    GeometryError
        When the radii do not grow, or no arcs of these radii close on the span and rise.

    Notes
    -----
    The lines of centres run from the first centre, on the springing line at s - r_1 from the middle, by r_2
    - r_1 under the angle a_1 and by r_3 - r_2 under a_1 + a_2 to the third centre, on the axis at r_3 - h
    below the springing line: two sides of a triangle over a known third one.

    Examples
    --------
    >>> shape = five_centred_of_radii(1000.0, 360.0, five_centred(1000.0, 360.0, 278.0).radii_mm)
    >>> [round(math.degrees(angle), 6) for angle in shape.sector_angles_rad]
    [36.0, 36.0, 18.0]
    """
    checked_lengths(span_mm=span_mm, rise_mm=rise_mm)
    for place, radius in zip(("first", "second", "third"), radii_mm, strict=True):
        checked_lengths(**{f"{place} radius": radius})
    first, second, third = radii_mm
    lower, upper = second - first, third - second
    if min(lower, upper) <= 0.0:
        raise GeometryError(
            f"radii of {first:g}, {second:g} and {third:g} mm were given; they must grow from the "
            "springing to the crown, or the arch has fewer centres"
        )
    across, down = span_mm / 2 - first, third - rise_mm
    whole = math.hypot(across, down)
    if not (abs(lower - upper) < whole < lower + upper):
        raise GeometryError(_no_closure(span_mm, rise_mm, radii_mm))
    at_first = math.acos((whole**2 + lower**2 - upper**2) / (2 * whole * lower))
    at_bend = math.acos((whole**2 - lower**2 - upper**2) / (2 * lower * upper))
    first_angle = math.atan2(down, across) - at_first
    third_angle = math.pi / 2 - first_angle - at_bend
    if min(first_angle, third_angle) <= 0.0:
        raise GeometryError(_no_closure(span_mm, rise_mm, radii_mm))
    return ArchShape(
        Family.FIVE_CENTRED,
        span_mm / 2,
        rise_mm,
        radii_mm,
        (first_angle, at_bend, third_angle),
        axis_x_mm,
        springing_y_mm,
        tilt_rad,
    )


def _no_closure(span_mm: float, rise_mm: float, radii_mm: tuple[float, float, float]) -> str:
    return (
        f"arcs of {radii_mm[0]:g}, {radii_mm[1]:g} and {radii_mm[2]:g} mm radius do not meet over a span "
        f"of {span_mm:g} mm and a rise of {rise_mm:g} mm; change a radius, or give the angles and let the "
        "radii follow"
    )
