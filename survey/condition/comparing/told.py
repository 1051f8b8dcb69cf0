"""What moved between two surveys, in sentences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.comparing.movement import CourseMovement, End, MovedPiece
from survey.condition.comparing.tie import SurveyTie, Tie
from survey.condition.words import capital, course_list, course_run
from survey.fitting.result import Estimate

SURE_SIGMAS = 2.6
"""Spread, settlement and crown are told beyond this: noise alone does that once in a hundred times."""
PIECE_SIGMAS = 3.0
"""A piece is told where one of its five figures is beyond this: noise alone does that to one in a hundred."""
WHOLE_SHARE = 0.9
"""A piece of more of a ring's courses than this is the whole ring."""
HALF_SHARES = (0.35, 0.65)
"""A piece of between these shares of a ring's courses, reaching one springing, is a half."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """Springings further apart, right one lower than the left, crown lower, mm."""

    spread_mm: Estimate
    settlement_mm: Estimate
    crown_drop_mm: Estimate


def sentences(
    tie: SurveyTie, courses: tuple[CourseMovement, ...], pieces: tuple[MovedPiece, ...], sizes: Sizes
) -> tuple[str, ...]:
    """The tie first, then springings and crown, pieces, runs of courses, and what to read again."""
    said = [
        *_springing_sentences(tie, sizes),
        *_crown_sentences(tie, sizes.crown_drop_mm),
        *(_piece_sentence(piece, tie) for piece in pieces),
        *_run_sentences(courses, pieces),
    ]
    if not said:
        said.append("Nothing moved beyond the uncertainty of the two surveys.")
    unseen = _unseen_sentences(tie, sizes.settlement_mm, pieces)
    return (tie.because, *said, *unseen, *_misread_sentences(courses))


def is_moving(piece: MovedPiece) -> bool:
    """Whether it turned, or either of its ends moved, beyond the uncertainty."""
    ends = (size for end in (piece.left_end, piece.right_end) for size in (end.right_mm, end.up_mm))
    return any(abs(size.value) > PIECE_SIGMAS * size.sigma for size in (piece.turn_rad, *ends))


def _springing_sentences(tie: SurveyTie, sizes: Sizes) -> list[str]:
    said = []
    if _is_sure(sizes.spread_mm):
        way = "further apart" if sizes.spread_mm.value > 0 else "closer together"
        said.append(f"The springings stand {_much(sizes.spread_mm)} {way} than before.")
    if _is_sure(sizes.settlement_mm):
        which = "right" if sizes.settlement_mm.value > 0 else "left"
        unless = ", unless y was out of plumb in one of the surveys" if tie.is_plumb_by_hand else ""
        said.append(f"The {which} springing has sunk {_much(sizes.settlement_mm)} against the other{unless}.")
    return said


def _crown_sentences(tie: SurveyTie, crown: Estimate) -> list[str]:
    if not _is_sure(crown):
        return []
    way = "dropped" if crown.value > 0 else "risen"
    against = "the datum points" if tie.by is Tie.DATUM else "the mean level of the springings"
    return [f"The crown has {way} {_much(crown)} against {against}."]


def _unseen_sentences(tie: SurveyTie, settlement: Estimate, pieces: tuple[MovedPiece, ...]) -> list[str]:
    """How far a springing may have sunk unseen, where no datum tells."""
    if tie.by is Tie.DATUM or not np.isfinite(settlement.sigma) or _is_sure(settlement):
        return []
    if any(_leans(piece, tie) for piece in pieces):
        return []
    return [
        f"A springing that sank less than {SURE_SIGMAS * settlement.sigma:.0f} mm against the other would "
        "not show: two datum points would tell it closer."
    ]


def _misread_sentences(courses: tuple[CourseMovement, ...]) -> list[str]:
    """One sentence a ring, courses in a row told by the first and the last."""
    said = []
    for ring in sorted({c.ring for c in courses}):
        number = [c.course for c in courses if c.ring == ring and c.misread]
        if not number:
            continue
        said.append(
            f"The edges of {course_list(number)} of ring {ring} moved too differently to be right: "
            "measure again."
        )
    return said


def _is_sure(size: Estimate) -> bool:
    return bool(np.isfinite(size.sigma) and abs(size.value) > SURE_SIGMAS * size.sigma)


def _much(size: Estimate) -> str:
    return f"{abs(size.value):.1f} mm (± {2 * size.sigma:.1f})"


def _piece_sentence(piece: MovedPiece, tie: SurveyTie) -> str:
    """Which part went as one piece, and how either of its ends moved."""
    where = f"{course_run(piece.first_course, piece.last_course)} of ring {piece.ring}"
    part = _part(piece)
    if part:
        where = f"{part} of ring {piece.ring}, {course_run(piece.first_course, piece.last_course)},"
    if _leans(piece, tie):
        lower = "right" if piece.fall_mm.value > 0 else "left"
        hand = ", or y was out of plumb in one of the surveys" if tie.is_plumb_by_hand else ""
        return (
            f"{capital(where)} turned as one piece: its {lower} end went down {_much(piece.fall_mm)} against "
            f"the other; a springing sank{hand}."
        )
    left, right = _way(piece.left_end), _way(piece.right_end)
    return f"{capital(where)} went as one piece: its left end {left}, its right end {right}."


def _leans(piece: MovedPiece, tie: SurveyTie) -> bool:
    """Whether a whole ring turned, tied by the middle between its springings: which end held is not known."""
    return tie.by is Tie.SPRINGINGS and piece.share > WHOLE_SHARE and _is_sure(piece.fall_mm)


def _part(piece: MovedPiece) -> str:
    if piece.share > WHOLE_SHARE:
        return "the whole"
    if HALF_SHARES[0] <= piece.share <= HALF_SHARES[1] and abs(piece.middle_share - 0.5) > 0.15:
        return "the left half" if piece.middle_share < 0.5 else "the right half"
    return ""


def _way(end: End) -> str:
    told = []
    if _is_sure(end.right_mm):
        told.append(f"{_much(end.right_mm)} to the {'right' if end.right_mm.value > 0 else 'left'}")
    if _is_sure(end.up_mm):
        told.append(f"{_much(end.up_mm)} {'up' if end.up_mm.value > 0 else 'down'}")
    return " and ".join(told) if told else "still within the uncertainty"


def _is_in(course: CourseMovement, pieces: tuple[MovedPiece, ...]) -> bool:
    return any(p.ring == course.ring and p.first_course <= course.course <= p.last_course for p in pieces)


@dataclass(frozen=True, slots=True)
class _Told:
    """What is said of a course: against the tied points, or against its neighbours."""

    course: CourseMovement
    outwards_mm: Estimate
    along_mm: Estimate
    against: str = ""

    def goes_on_from(self, last: _Told) -> bool:
        """Whether it is of the run that ends with the last one."""
        same_way = (last.outwards_mm.value > 0) == (self.outwards_mm.value > 0)
        near = self.course.course - last.course.course <= 2
        return self.course.ring == last.course.ring and near and same_way and self.against == last.against


def _told(course: CourseMovement, pieces: tuple[MovedPiece, ...]) -> _Told | None:
    """None of a course of which its piece tells all."""
    inside = _is_in(course, pieces)
    if course.by_itself and (inside or not (_is_sure(course.outwards_mm) or _is_sure(course.along_mm))):
        return _Told(course, course.alone_outwards_mm, course.alone_along_mm, "neighbours")
    return None if inside else _Told(course, course.outwards_mm, course.along_mm)


def _run_sentences(courses: tuple[CourseMovement, ...], pieces: tuple[MovedPiece, ...]) -> list[str]:
    """One sentence a run of courses that moved the same way; a single still course does not end a run.

    Only courses that moved are listed in it, and none of which a piece tells all.
    """
    runs: list[list[_Told]] = []
    for told in (_told(c, pieces) for c in courses if c.moved):
        if told is None:
            continue
        if runs and told.goes_on_from(runs[-1][-1]):
            runs[-1].append(told)
        else:
            runs.append([told])
    return [_run_sentence(run) for run in runs]


def _run_sentence(run: list[_Told]) -> str:
    upto = "" if len(run) == 1 else "up to "
    out = max((t.outwards_mm for t in run), key=lambda size: abs(size.value))
    along = max((t.along_mm for t in run), key=lambda size: abs(size.value))
    ways = []
    if _is_sure(out) or not _is_sure(along):
        ways.append(f"{upto}{_much(out)} {'outwards' if out.value > 0 else 'into the opening'}")
    if _is_sure(along):
        ways.append(f"{upto}{_much(along)} along the soffit")
    where = capital(course_list([t.course.course for t in run]))
    against = f" against {'its' if len(run) == 1 else 'their'} neighbours" if run[0].against else ""
    return f"{where} of ring {run[0].course.ring} moved {' and '.join(ways)}{against}."
