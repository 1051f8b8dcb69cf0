"""Centres and radii, or foci and string: the marks a curve is struck from, with labels that stay clear."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.curves import ArchShape, ChainOfArcs, Ellipse, curve_of
from survey.sheets.drawing import XY, Anchor, Box, Circle, Dash, Layer, Line, Primitive, Style, Text
from survey.sheets.kit import ink
from survey.sheets.kit.schedule import figure

_REACH_MM = 2.0
"""Half length of a centre's cross on paper."""
_LIFT_MM = 0.9
_HALF_ROUND_RAD = math.radians(150.0)


@dataclass(frozen=True, slots=True)
class Striking:
    """Marks in model millimetres, and what labels need on paper (model millimetres over the scale).

    ``wanted`` holds the candidates of each label, best first; ``keep_out`` the crosses no label may cover.
    """

    marks: tuple[Primitive, ...]
    wanted: tuple[tuple[Text, ...], ...]
    keep_out: tuple[Box, ...]


def striking(shape: ArchShape, scale: float) -> Striking:
    """What a curve is struck from, for a drawing at 1 : ``scale``."""
    curve = curve_of(shape)
    return _centres(curve, scale) if isinstance(curve, ChainOfArcs) else _foci(curve, scale)


def _foci(curve: Ellipse, scale: float) -> Striking:
    """Two pins and the string over the crown."""
    crown = _pair(curve.point(curve.length_mm / 2))
    points = [_pair(focus) for focus in curve.foci_mm]
    marks: list[Primitive] = [Line(at, crown, _thin()) for at in points]
    for at in points:
        marks += _cross(at, scale)
    names = tuple(_names(_paper(at, scale), f"F{n}") for n, at in enumerate(points, start=1))
    return Striking(tuple(marks), names, tuple(_cross_box(at, scale) for at in points))


def _centres(curve: ChainOfArcs, scale: float) -> Striking:
    """Centres with the radii to the ends of their arcs, each radius written once."""
    stations = [0.0, *(float(s) for s in curve.breaks_mm), curve.length_mm]
    n_arcs = len(curve.radii_mm)
    marks: list[Primitive] = []
    radii: list[tuple[Text, ...]] = []
    names: list[tuple[Text, ...]] = []
    for k, radius in enumerate(curve.radii_mm):
        at = _pair(curve.centres_mm[k])
        ends = [_pair(curve.point(station)) for station in _ends(curve, stations[k : k + 2])]
        n = min(k, n_arcs - 1 - k) + 1
        marks += [Line(at, end, _thin()) for end in ends]
        if k == n - 1:
            middle = _pair(curve.point((stations[k] + stations[k + 1]) / 2))
            lines = ends if n_arcs == 1 or k else [middle]
            if lines == [middle]:
                marks.append(Line(at, middle, _thin()))
            radii.append(_radius_texts(at, lines, f"R{n} = {figure(radius)}", scale))
        marks += _cross(at, scale)
        names.append(_names(_paper(at, scale), f"C{n}"))
    boxes = tuple(_cross_box(_pair(centre), scale) for centre in curve.centres_mm)
    return Striking(tuple(marks), (*names, *radii), boxes)


def _ends(curve: ChainOfArcs, stations: list[float]) -> list[float]:
    """Stations that the radii of an arc are drawn to: its ends, or for a single arc of nearly half a round,
    whose radii to its ends would run along the springing line, points well up on either side."""
    if len(curve.radii_mm) == 1 and curve.sweeps_rad[0] > _HALF_ROUND_RAD:
        return [share * curve.length_mm for share in (0.3, 0.7)]
    return stations


def _radius_texts(centre: XY, ends: Sequence[XY], words: str, scale: float) -> tuple[Text, ...]:
    """Candidates for a radius written along its line, from two thirds outwards, then further in."""
    candidates = []
    for share in (0.66, 0.5, 0.8, 0.35, 0.9, 0.2):
        for end in ends:
            turn = math.atan2(end[1] - centre[1], end[0] - centre[0])
            upright = turn if abs(turn) <= math.pi / 2 + 1e-9 else turn - math.copysign(math.pi, turn)
            x = (centre[0] + share * (end[0] - centre[0])) / scale - _LIFT_MM * math.sin(upright)
            y = (centre[1] + share * (end[1] - centre[1])) / scale + _LIFT_MM * math.cos(upright)
            style = ink.letters(Layer.SETTING_OUT, ink.GREY)
            candidates.append(Text((x, y), words, ink.SMALL_TEXT_MM, style, Anchor.MIDDLE, upright))
    return tuple(candidates)


def _names(at: XY, name: str) -> tuple[Text, ...]:
    """Candidates for the name of a centre on paper: below right, below left, above right, above left."""
    style = ink.letters(Layer.SETTING_OUT, ink.ACCENT)
    below, above = at[1] - 4.4, at[1] + 3.0
    places = (
        (at[0] + 1.2, below, Anchor.LEFT),
        (at[0] - 1.2, below, Anchor.RIGHT),
        (at[0] + 1.2, above, Anchor.LEFT),
        (at[0] - 1.2, above, Anchor.RIGHT),
    )
    return tuple(Text((x, y), name, ink.TEXT_MM, style, anchor, bold=True) for x, y, anchor in places)


def _cross(at: XY, scale: float) -> list[Primitive]:
    """A small ringed cross."""
    pen = ink.pen(Layer.SETTING_OUT, ink.MEDIUM_MM, ink.ACCENT)
    reach = _REACH_MM * scale
    return [
        Line((at[0] - reach, at[1]), (at[0] + reach, at[1]), pen),
        Line((at[0], at[1] - reach), (at[0], at[1] + reach), pen),
        Circle(at, 1.0, pen),
    ]


def _cross_box(at: XY, scale: float) -> Box:
    x, y = _paper(at, scale)
    return Box(x, y, 0.0, 0.0).grown(_REACH_MM)


def _thin() -> Style:
    return ink.pen(Layer.SETTING_OUT, ink.HAIR_MM, ink.GREY, dash=Dash.DASHED)


def _paper(at: XY, scale: float) -> XY:
    return at[0] / scale, at[1] / scale


def _pair(xy: Sequence[float] | np.ndarray) -> XY:
    return float(xy[0]), float(xy[1])
