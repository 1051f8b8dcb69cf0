"""Curves as primitives: true arcs and ellipses where the curve is one, fine chords where it is none."""

from __future__ import annotations

import math

import numpy as np

from survey.curves import ArchShape, ChainOfArcs, Curve, Ellipse, curve_of
from survey.curves.protocol import Floats
from survey.sheets.drawing import Arc, EllipticArc, Polyline, Style

CHORD_TOLERANCE_MM = 0.01
"""Greatest gap between a curve that is neither arc nor ellipse (a parallel of an ellipse) and its chords."""


def curve_primitives(
    curve: Curve | ArchShape,
    style: Style,
    *,
    start_mm: float | None = None,
    end_mm: float | None = None,
) -> tuple[Arc | EllipticArc | Polyline, ...]:
    """A curve, or its part between two stations, in model millimetres.

    Parameters
    ----------
    curve : Curve or ArchShape
        A chain of arcs gives one :class:`Arc` for each of its arcs, an ellipse one :class:`EllipticArc`; any
        other curve gives a :class:`Polyline` within ``CHORD_TOLERANCE_MM`` of it.
    style : Style
    start_mm, end_mm : float, optional
        Stations of the part; the springings by default.

    Examples
    --------
    >>> from survey.curves import segmental
    >>> from survey.sheets.drawing import Layer
    >>> (arc,) = curve_primitives(segmental(2400.0, 400.0), Style(Layer.CURVE))
    >>> round(arc.radius, 3), round(arc.centre[1], 3)
    (2000.0, -1600.0)
    """
    walked: Curve = curve_of(curve) if isinstance(curve, ArchShape) else curve
    start = 0.0 if start_mm is None else start_mm
    end = walked.length_mm if end_mm is None else end_mm
    if isinstance(walked, ChainOfArcs):
        return _arcs(walked, start, end, style)
    if isinstance(walked, Ellipse):
        angles = walked.eccentric_angle(np.array([start, end]))
        first, last = math.pi - float(angles[1]), math.pi - float(angles[0])
        semi_x, semi_y = walked.half_span_mm, walked.rise_mm
        return (EllipticArc(walked.centre_mm, semi_x, semi_y, walked.tilt_rad, first, last, style),)
    return (Polyline(_pairs(walked.point(chord_stations(walked, start, end))), style),)


def _arcs(chain: ChainOfArcs, start: float, end: float, style: Style) -> tuple[Arc, ...]:
    """The arcs of a chain between two stations; the first and last go on beyond the springings."""
    arcs = []
    station, normal = 0.0, chain.start_direction_rad + math.pi / 2
    last = len(chain.radii_mm) - 1
    for k, (radius, sweep) in enumerate(zip(chain.radii_mm, chain.sweeps_rad, strict=True)):
        begins = start if k == 0 else max(start, station)
        ends = end if k == last else min(end, station + radius * sweep)
        if ends > begins:
            low, high = normal - (ends - station) / radius, normal - (begins - station) / radius
            x, y = chain.centres_mm[k]
            arcs.append(Arc((float(x), float(y)), radius, low, high, style))
        station += radius * sweep
        normal -= sweep
    return tuple(arcs)


def chord_stations(
    curve: Curve, start_mm: float, end_mm: float, tolerance_mm: float = CHORD_TOLERANCE_MM
) -> Floats:
    """Stations whose chords keep within a tolerance of the curve, closer where it bends more.

    Notes
    -----
    A chord of length c under curvature k is off by c^2 k / 8, so stations are spread with the density
    sqrt(k / (8 tolerance)), here for four fifths of the tolerance since curvature varies along a chord.
    """
    fine = np.linspace(start_mm, end_mm, 721)
    density = np.sqrt(np.abs(curve.curvature(fine)) / (8.0 * 0.8 * tolerance_mm))
    passed = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2.0 * np.diff(fine))])
    n_chords = max(8, math.ceil(passed[-1]))
    if passed[-1] == 0.0:
        return np.linspace(start_mm, end_mm, n_chords + 1)
    stations = np.interp(np.linspace(0.0, passed[-1], n_chords + 1), passed, fine)
    stations[0], stations[-1] = start_mm, end_mm
    return stations


def _pairs(xy_mm: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in xy_mm)
