"""Which curve the arch is rebuilt to: a fitted family, or a moved arch's original, present or surveyed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.curves import curve_of, five_centred, segmental, semicircular, three_centred
from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.errors import PlanError
from survey.fitting.result import ArchFit, Movement, Piece
from survey.rebuild.plan import CurveChoice


@dataclass(frozen=True, slots=True)
class ChosenCurve:
    """The shape to build to, the word for it, and what has to be said about it."""

    shape: ArchShape
    choice: str
    notes: tuple[str, ...] = ()


def choose_curve(fit: ArchFit, choice: CurveChoice | Family | None) -> ChosenCurve:
    """Pick the curve of a whole rebuild.

    Parameters
    ----------
    fit : ArchFit
    choice : CurveChoice, Family or None
        None takes the present curve of a moved arch, and the chosen family's curve of any other.

    Raises
    ------
    PlanError
        When a family is asked for that was not fitted.
    """
    if isinstance(choice, Family):
        return _family(fit, choice)
    if fit.movement is None:
        notes: tuple[str, ...] = ()
        if choice is CurveChoice.ORIGINAL or choice is CurveChoice.PRESENT:
            notes = (f"No movement was found: the {choice} curve is the surveyed one.",)
        return ChosenCurve(fit.best.shape, str(choice) if choice else str(fit.chosen), notes)
    if choice is CurveChoice.SURVEYED:
        return ChosenCurve(fit.best.shape, str(choice))
    if choice is CurveChoice.ORIGINAL:
        note = (
            f"Rebuilt to the curve before it moved: the springings have to be brought back by "
            f"{fit.movement.spread_mm.value:.0f} mm first."
        )
        return ChosenCurve(fit.movement.original.shape, str(choice), (note,))
    return _present(fit.movement)


def repair_choice(fit: ArchFit, choice: CurveChoice | Family | None) -> ChosenCurve:
    """The base curve of a repair: the shape as it stands, of the fitted or a named family.

    Raises
    ------
    PlanError
        When the original or the present curve of a moved arch is asked for, on which no standing brick lies.
    """
    if isinstance(choice, Family):
        return _family(fit, choice)
    if choice in (CurveChoice.ORIGINAL, CurveChoice.PRESENT):
        raise PlanError(
            f"a repair leaves standing bricks where they are, on the surveyed curve, but the {choice} curve "
            "was asked for; leave the curve out, or rebuild the whole arch (--scope whole)"
        )
    return ChosenCurve(fit.best.shape, str(choice) if choice else str(fit.chosen))


def _family(fit: ArchFit, family: Family) -> ChosenCurve:
    candidate = fit.candidates.get(family)
    if candidate is None or not candidate.converged:
        fitted = ", ".join(sorted(f for f, c in fit.candidates.items() if c.converged))
        why = f" ({candidate.because})" if candidate is not None and candidate.because else ""
        raise PlanError(f"no {family} curve could be fitted to this arch{why}; choose one of: {fitted}")
    notes: tuple[str, ...] = ()
    if family is not fit.chosen:
        notes = (f"Built to the {family} curve by choice; the survey speaks for {fit.chosen}.",)
    return ChosenCurve(candidate.shape, str(family), notes)


def _present(movement: Movement) -> ChosenCurve:
    """The original family and rise through the springings as they stand now."""
    shape = movement.original.shape
    line = curve_of(shape)
    ends = line.point(np.array([0.0, line.length_mm]))
    left = _moved(ends[0], movement.pieces[0])
    right = _moved(ends[1], movement.pieces[-1])
    half_mm = 0.5 * float(np.hypot(*(right - left)))
    present, note = _respanned(shape, half_mm)
    present = replace(
        present,
        axis_x_mm=float(0.5 * (left[0] + right[0])),
        springing_y_mm=float(0.5 * (left[1] + right[1])),
        tilt_rad=float(np.arctan2(right[1] - left[1], right[0] - left[0])),
    )
    notes = (
        f"Original family and rise through the springings as they stand now, {2.0 * half_mm:.0f} mm apart "
        f"({2.0 * (half_mm - shape.half_span_mm):+.0f} mm).",
        *((note,) if note else ()),
    )
    return ChosenCurve(present, str(CurveChoice.PRESENT), notes)


def _moved(xy_mm: Floats, piece: Piece) -> Floats:
    c, s = np.cos(piece.rotation_rad), np.sin(piece.rotation_rad)
    return np.asarray(np.array([[c, -s], [s, c]]) @ xy_mm + np.asarray(piece.shift_mm))


def _respanned(shape: ArchShape, half_mm: float) -> tuple[ArchShape, str]:
    """The shape with another half-span and the same rise; and what had to be given up for it."""
    span_mm, rise_mm = 2.0 * half_mm, shape.rise_mm
    if shape.family is Family.ELLIPTICAL:
        return replace(shape, half_span_mm=half_mm), ""
    if shape.family is Family.THREE_CENTRED:
        return three_centred(span_mm, rise_mm, shape.radii_mm[0]), ""
    if shape.family is Family.FIVE_CENTRED:
        return five_centred(span_mm, rise_mm, shape.radii_mm[0]), ""
    if rise_mm < half_mm:
        note = ""
        if shape.family is Family.SEMICIRCULAR:
            note = (
                "A semicircle cannot keep its rise over a wider span: the arch is planned as a segment "
                "through the present springings and the original rise."
            )
        return segmental(span_mm, rise_mm), note
    note = ""
    if rise_mm - half_mm > 0.05:
        note = (
            f"The springings have come closer: a circle through them with the original rise would pass "
            f"beyond the semicircle, so the rise is {half_mm:.1f} mm instead of {rise_mm:.1f} mm."
        )
    return semicircular(half_mm), note
