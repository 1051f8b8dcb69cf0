"""The movement made visible: the rigid pieces as they moved, and the signs to look for on site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.condition.result import CourseDeviation
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.curves.shape import Family
from survey.errors import GeometryError
from survey.fitting.before_movement import brought_back
from survey.fitting.counting.edge_readings import total_depth_mm
from survey.fitting.result import ArchFit, Estimate, Hinge, Movement, Opens, Piece
from survey.record.model import Record

SHOWN_SHARE = 0.06
"""The largest movement is drawn at about this share of the span (judgement: it reads at arm's length)."""
ROUND_FACTORS = (1, 2, 5, 10, 20, 50, 100)
POINTS_PER_PIECE = 61
CROWN = "crown"
"""What the fit calls the hinge between the haunches."""


AGAINST_SPRINGINGS = "against the mean level of the springings"
"""What the movement of a crown is measured from: one survey cannot tell which springing sank."""


@dataclass(frozen=True, slots=True, eq=False)
class PieceOutline:
    """One rigid piece: its soffit and its back from left to right, before and after, in the arch frame.

    Attributes
    ----------
    start_mm, end_mm : float
        Stations on the original.
    soffit_mm, back_mm : (n, 2) float
        Where it was.
    moved_soffit_mm, moved_back_mm : (n, 2) float
        Where it is drawn: every point taken the factor times as far as it went.
    rotation_rad : float
        How far it really turned, anticlockwise.
    """

    start_mm: float
    end_mm: float
    soffit_mm: Floats
    back_mm: Floats
    moved_soffit_mm: Floats
    moved_back_mm: Floats
    rotation_rad: float


@dataclass(frozen=True, slots=True)
class HingeView:
    """One hinge with what opens there.

    ``x_mm``, ``y_mm`` is where the drawing shows it turning, where the pieces on both sides stay together;
    ``crack_mm`` the real width of the open joint on the side that opens; ``between`` the
    courses it lies between (0 and N + 1 are the springings).
    """

    hinge: Hinge
    x_mm: float
    y_mm: float
    crack_mm: Estimate
    between: tuple[int, int]
    sign: str
    """What to look for on site, in a sentence."""


@dataclass(frozen=True, slots=True, eq=False)
class MovementView:
    """Everything a drawing of the movement needs; lengths in mm, arch frame.

    Attributes
    ----------
    factor : int
        How many times the movement is exaggerated.
    pieces : tuple of PieceOutline
        From left to right.
    hinges : tuple of HingeView
    springings_mm, moved_springings_mm : (2, 2) float
        Left and right springing of the original, and as drawn.
    sentences : tuple of str
        What moved, then the signs to look for, then what to do.
    """

    factor: int
    pieces: tuple[PieceOutline, ...]
    hinges: tuple[HingeView, ...]
    springings_mm: Floats
    moved_springings_mm: Floats
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class MovementResiduals:
    """Surveyed points against the still curve and against the moved pieces; arrays in order of station.

    Attributes
    ----------
    station_mm : (n,) float
        On the original.
    before_mm, after_mm : (n,) float
        Distance from the nearest still curve, and from the pieces as they moved, outwards positive.
    set_aside : (n,) bool
        Points the fit set aside as gross.
    still : Family
        Of the still curve: of all families the one nearest to the points, which ``Movement.rms_before_mm``
        is of. It need not be the family of the original.
    """

    station_mm: Floats
    before_mm: Floats
    after_mm: Floats
    set_aside: np.ndarray
    still: Family


def view_movement(
    record: Record,
    movement: Movement,
    courses: Sequence[CourseDeviation],
    *,
    factor: int | None = None,
) -> MovementView:
    """Draw up the pieces as they moved.

    Parameters
    ----------
    record : Record
        For the depth of its rings.
    movement : Movement
    courses : sequence of CourseDeviation
        Of ring 1, to name the courses a hinge lies between.
    factor : int, optional
        Exaggeration; without it the largest movement is drawn at about 6 % of the span.

    Raises
    ------
    GeometryError
        A factor below 1.
    """
    if factor is not None and factor < 1:
        raise GeometryError(f"exaggeration by {factor}: give a whole number from 1 upwards")
    original = curve_of(movement.original.shape)
    depth = total_depth_mm(record.rings)
    times = factor if factor is not None else fitting_factor(original, movement)
    ends = original.point([0.0, original.length_mm])
    moved_ends = np.stack(
        [_carried(ends[:1], movement.pieces[0], times)[0], _carried(ends[1:], movement.pieces[-1], times)[0]]
    )
    hinges = tuple(_hinge_view(original, depth, movement, hinge, courses, times) for hinge in movement.hinges)
    return MovementView(
        factor=times,
        pieces=tuple(_outline(original, depth, piece, times) for piece in movement.pieces),
        hinges=hinges,
        springings_mm=ends,
        moved_springings_mm=moved_ends,
        sentences=(*_what_moved(movement), *(h.sign for h in hinges), *_what_to_do(movement)),
    )


def fitting_factor(original: Curve, movement: Movement) -> int:
    """The round exaggeration that draws the largest movement at about ``SHOWN_SHARE`` of the span."""
    largest = 0.0
    for piece in movement.pieces:
        start, end = _within(original, piece)
        points = original.point(np.linspace(start, end, 9))
        largest = max(largest, float(np.hypot(*(_carried(points, piece, 1) - points).T).max()))
    span = float(np.hypot(*np.diff(original.point([0.0, original.length_mm]), axis=0)[0]))
    wanted = SHOWN_SHARE * span / max(largest, 1e-9)
    return max((f for f in ROUND_FACTORS if f <= wanted), default=1)


def movement_residuals(record: Record, fit: ArchFit, movement: Movement) -> MovementResiduals:
    """Before and after: every fitted point against the nearest still curve and the moved pieces."""
    still = min(fit.candidates.values(), key=lambda candidate: candidate.rms_mm)
    xy = fit.to_arch(record.points.xy_mm[fit.points.index])
    after = against_pieces(curve_of(movement.original.shape), movement, xy)
    order = np.argsort(after.station_mm, kind="stable")
    return MovementResiduals(
        after.station_mm[order],
        curve_of(still.shape).locate(xy).distance_mm[order],
        after.distance_mm[order],
        fit.points.set_aside[order],
        still.family,
    )


@dataclass(frozen=True, slots=True, eq=False)
class AgainstPieces:
    """Points against the pieces as they moved: stations on the original (n,), distances outwards (n,), mm."""

    station_mm: Floats
    distance_mm: Floats


def against_pieces(original: Curve, movement: Movement, xy_mm: Floats) -> AgainstPieces:
    """Stations and distances of points (n, 2) of the arch frame, each against the piece it lies on."""
    located = original.locate(brought_back(original, movement, xy_mm))
    return AgainstPieces(located.station_mm, located.distance_mm)


def _within(original: Curve, piece: Piece) -> tuple[float, float]:
    """Stations of a piece, cut off at the springings."""
    return max(piece.start_mm, 0.0), min(piece.end_mm, original.length_mm)


def _carried(points: Floats, piece: Piece, factor: int) -> Floats:
    """Points (n, 2) taken ``factor`` times as far as the piece took them.

    Scaling the displacement, not the turn, keeps pieces together at their hinges.
    """
    c, s = np.cos(piece.rotation_rad), np.sin(piece.rotation_rad)
    moved = points @ np.array([[c, s], [-s, c]]) + np.asarray(piece.shift_mm)
    return np.asarray(points + factor * (moved - points), dtype=float)


def _outline(original: Curve, depth: float, piece: Piece, factor: int) -> PieceOutline:
    start, end = _within(original, piece)
    station = np.linspace(start, end, POINTS_PER_PIECE)
    soffit = original.point(station)
    back = soffit + depth * original.normal(station)
    return PieceOutline(
        start, end, soffit, back, _carried(soffit, piece, factor), _carried(back, piece, factor),
        piece.rotation_rad,
    )  # fmt: skip


def _hinge_view(
    original: Curve,
    depth: float,
    movement: Movement,
    hinge: Hinge,
    courses: Sequence[CourseDeviation],
    factor: int,
) -> HingeView:
    at = hinge.station_mm.value
    beside = [p for p in movement.pieces if p.start_mm <= at + 1e-6 and p.end_mm >= at - 1e-6]
    out = _turning_depth(original, at, depth, beside, hinge)
    pivot = original.point([at]) + out * original.normal([at])
    shown = np.mean([_carried(pivot, piece, factor)[0] for piece in beside], axis=0)
    lever = out if hinge.opens is Opens.INTRADOS else depth - out
    crack = Estimate(lever * abs(hinge.rotation_rad.value), lever * hinge.rotation_rad.sigma)
    between = _courses_beside(original, at, courses)
    place = _place(hinge, between, courses[-1].course if courses else 0)
    x, y = (float(v) for v in shown)
    return HingeView(hinge, x, y, crack, between, _sign(hinge, crack, place))


def _turning_depth(original: Curve, at: float, depth: float, beside: list[Piece], hinge: Hinge) -> float:
    """How far behind the soffit, within the depth of the rings, the pieces at a hinge stay together.

    Where pieces of the crown share a point it is where they turn. A piece at a springing or a haunch is
    followed on the soffit alone, which cannot show where in the joint it turns: that is the arris away from
    the side that opens.
    """
    closed = 0.0 if hinge.opens is Opens.EXTRADOS else depth
    if len(beside) < 2 or hinge.where != CROWN:
        return closed
    ends = original.point([at]) + np.array([[0.0], [depth]]) * original.normal([at])
    gap = _carried(ends, beside[1], 1) - _carried(ends, beside[0], 1)
    opening = gap[1] - gap[0]
    if not opening @ opening > 0:
        return 0.0
    return depth * float(np.clip(-(gap[0] @ opening) / (opening @ opening), 0.0, 1.0))


def _courses_beside(original: Curve, station: float, courses: Sequence[CourseDeviation]) -> tuple[int, int]:
    """Numbers of the courses left and right of a station of the original."""
    if not courses:
        return 0, 1
    middle = np.array([c.station_mm for c in courses])
    number = [0, *(c.course for c in courses), courses[-1].course + 1]
    # The surveyed curve and the original differ in length by little; places are compared as shares of each.
    last = courses[-1].end_mm + courses[0].start_mm
    at = int(np.searchsorted(middle, station / original.length_mm * last))
    return number[at], number[at + 1]


def _place(hinge: Hinge, between: tuple[int, int], last: int) -> str:
    """Where to look; by the hinge's name alone at a springing, or where no courses are known (last 0)."""
    left, right = between
    if hinge.where.endswith("springing") or last == 0:
        return f"At the {hinge.where}"
    if left < 1:
        return f"At the {hinge.where}, between the left springing and course {right}"
    if right > last:
        return f"At the {hinge.where}, between course {left} and the right springing"
    return f"At the {hinge.where}, between courses {left} and {right}"


def _sign(hinge: Hinge, crack: Estimate, place: str) -> str:
    if not hinge.is_told:
        return f"{place}: whether a joint opened cannot be told; look for a crack on either face."
    width = f"about {crack.value:.1f} mm (± {2 * crack.sigma:.1f})"
    if hinge.opens is Opens.INTRADOS:
        return (
            f"{place}: a joint open at the soffit, {width} wide there and closed at the back; sand or "
            "mortar fallen from it, and bricks pinched or spalled at the back."
        )
    return (
        f"{place}: a joint open at the back, {width} wide there and mostly hidden by the fill; at the "
        "soffit a tight joint with its arris crushed or spalled."
    )


def _what_moved(movement: Movement) -> list[str]:
    spread, sunk, drop = movement.spread_mm, movement.settlement_mm, movement.crown_drop_mm
    said = []
    if abs(spread.value) > 2 * spread.sigma:
        way = "further apart" if spread.value > 0 else "closer together"
        said.append(f"The springings stand {_much(spread)} {way} than when the arch was built.")
    if abs(sunk.value) > 2 * sunk.sigma:
        which, other = ("right", "left") if sunk.value > 0 else ("left", "right")
        unless = ", unless the arch was set out so" if movement.as_one_piece else ""
        said.append(f"The {which} springing has sunk {_much(sunk)} against the {other}{unless}.")
    if abs(drop.value) > 2 * drop.sigma:
        said.append(
            f"The crown has {'dropped' if drop.value > 0 else 'risen'} {_much(drop)} {AGAINST_SPRINGINGS}."
        )
    return said


def _much(size: Estimate) -> str:
    return f"{abs(size.value):.0f} mm (± {2 * size.sigma:.0f})"


def _what_to_do(movement: Movement) -> list[str]:
    said = [
        "Put tell-tales over the cracks at the hinges and date them: an old movement that has stopped and "
        "one that goes on look the same in a single survey.",
        "This shows how the arch moved, not whether it is safe: let an engineer look at arch and abutments "
        "before anything is loosened, and prop first.",
    ]
    if movement.spread_mm.value > 2 * movement.spread_mm.sigma:
        said.insert(
            0,
            "Look for abutments that lean outwards and for cracks in the wall that fall away from the arch.",
        )
    return said
