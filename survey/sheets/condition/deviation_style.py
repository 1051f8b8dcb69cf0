"""How a deviation looks: tint for its size, hatch direction for its side; black and white reads too."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from survey.condition.result import CourseDeviation
from survey.record.model import Condition
from survey.sheets.drawing import Anchor, Box, Dash, Hatch, Layer, Primitive, Style, Text
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import rectangle
from survey.sheets.kit.schedule import figure

OUTWARD_PALE, OUTWARD_DEEP = "#cfe0f0", "#86aed4"
INWARD_PALE, INWARD_DEEP = "#f7dcc0", "#e3a063"
"""Blue for outwards and orange for inwards stay apart in every common kind of colour blindness."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the scale: from a lower bound, in tolerances, upwards."""

    least: float
    style: Style


def _style(fill: str, hatch: Hatch = Hatch.NONE) -> Style:
    return ink.area(Layer.DEVIATION, fill, hatch)


STEPS: tuple[Step, ...] = (
    Step(-math.inf, _style(INWARD_DEEP, Hatch.BACK_DIAGONAL)),
    Step(-2.0, _style(INWARD_PALE, Hatch.BACK_DIAGONAL)),
    Step(-1.0, _style(ink.WHITE)),
    Step(1.0, _style(OUTWARD_PALE, Hatch.DIAGONAL)),
    Step(2.0, _style(OUTWARD_DEEP, Hatch.DIAGONAL)),
)
"""The scale, symmetric about zero: within the tolerance, up to twice it, and beyond."""
NOT_MEASURED = _style(ink.WHITE, Hatch.DOTS)
NOTED = (Condition.LOOSE, Condition.CRACKED)
"""States drawn with a heavy outline."""
MISSING = ink.pen(Layer.DEVIATION, ink.FINE_MM, dash=Dash.DASHED)


def deviation_style(deviation_mm: float, tolerance_mm: float) -> Style:
    """Fill of a course by its deviation; dotted where nothing was measured (NaN).

    Examples
    --------
    >>> deviation_style(3.0, 5.0).hatch, deviation_style(-6.0, 5.0).hatch, deviation_style(12.0, 5.0).fill
    (<Hatch.NONE: 'none'>, <Hatch.BACK_DIAGONAL: 'back_diagonal'>, '#86aed4')
    """
    if math.isnan(deviation_mm):
        return NOT_MEASURED
    share = deviation_mm / tolerance_mm
    return [step.style for step in STEPS if share >= step.least][-1]


def course_style(course: CourseDeviation, tolerance_mm: float) -> Style:
    """Look of a course: dashed where it is missing, heavy where noted cracked or loose."""
    if course.condition is Condition.MISSING:
        return MISSING
    style = deviation_style(course.deviation_mm, tolerance_mm)
    return replace(style, width_mm=ink.HEAVY_MM) if course.condition in NOTED else style


def deviation_scale(
    left: float, top: float, tolerance_mm: float, *, of: str = "the soffit"
) -> list[Primitive]:
    """The scale as a row of fields with their bounds in mm, and what the other marks mean; 120 by 17 mm."""
    bounds = [figure(step.least * tolerance_mm, 1) for step in STEPS[1:]]
    width, height = 14.0, 4.0
    marks: list[Primitive] = [
        Text((left, top - ink.TEXT_MM), f"Deviation of {of}, mm", ink.TEXT_MM, ink.letters(), bold=True)
    ]
    y = top - ink.TEXT_MM - 6.5
    for n, step in enumerate(STEPS):
        marks.append(rectangle(Box(left + n * width, y, width, height), step.style))
    for n, words in enumerate(bounds, start=1):
        at = (left + n * width, y - 1.0 - ink.SMALL_TEXT_MM)
        marks.append(Text(at, words, ink.SMALL_TEXT_MM, ink.letters(), Anchor.MIDDLE))
    marks.append(_below((left, y), "into the opening", Anchor.LEFT))
    marks.append(_below((left + 2.5 * width, y), "within tolerance", Anchor.MIDDLE))
    marks.append(_below((left + len(STEPS) * width, y), "outwards", Anchor.RIGHT))
    x = left + len(STEPS) * width + 8.0
    samples = (
        (NOT_MEASURED, "not measured"),
        (MISSING, "missing"),
        (ink.area(Layer.DEVIATION, width_mm=ink.HEAVY_MM), "noted cracked or loose"),
    )
    for n, (style, words) in enumerate(samples):
        field = Box(x, top - 4.0 - 5.8 * n, 9.0, 3.6)
        marks.append(rectangle(field, style))
        marks.append(Text((x + 11.0, field.bottom + 0.9), words, ink.SMALL_TEXT_MM, ink.letters()))
    return marks


def _below(corner: tuple[float, float], words: str, anchor: Anchor) -> Text:
    at = (corner[0], corner[1] - 2.6 - 2 * ink.SMALL_TEXT_MM)
    return Text(at, words, ink.SMALL_TEXT_MM, ink.letters(colour=ink.GREY), anchor)
