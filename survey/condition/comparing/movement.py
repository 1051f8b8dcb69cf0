"""What moved between two surveys: one course, and a piece of a ring that went as one."""

from __future__ import annotations

from dataclasses import dataclass

from survey.fitting.result import Estimate

NOT_KNOWN = Estimate(float("nan"), float("nan"))


@dataclass(frozen=True, slots=True)
class CourseMovement:
    """How one course moved from the first survey to the second, in the first one's arch frame.

    ``outwards_mm`` is along the normal (negative: into the opening), ``along_mm`` along the soffit towards
    the right springing. ``moved`` where that is beyond both uncertainties; ``misread`` where its edges cannot
    all be right. ``alone_outwards_mm`` and ``alone_along_mm`` are what of it its neighbours, gone as one
    piece, do not share, NaN where they did not; ``by_itself`` where that is beyond both uncertainties, to
    which the tie of the surveys adds nothing.
    """

    ring: int
    course: int
    station_mm: float
    outwards_mm: Estimate
    along_mm: Estimate
    moved: bool
    misread: bool
    alone_outwards_mm: Estimate = NOT_KNOWN
    alone_along_mm: Estimate = NOT_KNOWN
    by_itself: bool = False


@dataclass(frozen=True, slots=True)
class End:
    """How an end of a piece moved: to the right and up, mm, the tie's uncertainty counted in."""

    right_mm: Estimate
    up_mm: Estimate


@dataclass(frozen=True, slots=True)
class MovedPiece:
    """Courses of one ring, from the first to the last, that went as one rigid piece.

    ``share`` is how much of the ring's courses it holds; ``middle_share`` the place of its middle among
    them, 0 at the left springing and 1 at the right one. ``turn_rad`` is positive against the clock,
    ``fall_mm`` how much its right end sank against its left one by it.
    """

    ring: int
    first_course: int
    last_course: int
    share: float
    middle_share: float
    left_end: End
    right_end: End
    turn_rad: Estimate
    fall_mm: Estimate
