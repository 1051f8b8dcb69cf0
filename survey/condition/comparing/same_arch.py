"""Whether two surveys can be of one arch: what no arch survives is asked about before movement is told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.comparing.tie import SurveyTie, Tie
from survey.condition.words import capital, n_courses
from survey.errors import FitError
from survey.fitting.result import ArchFit, CourseCount, Estimate
from survey.record.model import Edge, Feature, Record

DOUBTED_SHARE = 0.03
"""A change of span or rise by more than this share of the span is doubted.

Thin semicircles fall at a spread of about 2 % of their clear span, reckoned with hinges that stay where they
are (computed independently); thicker ones stand more, so it may be true, but it is asked about first.
"""
REFUSED_SHARE = 0.10
"""A change by more than this share is no movement: no springings part so far without a collapse between."""
SURE_SIGMAS = 4.0
"""A difference within this many standard uncertainties of the two fits is no reason for doubt."""
SURE_COUNT = 0.95
"""Probability above which a count of courses is taken as known."""
FEWEST_COMMON_SHARE = 0.25
"""Fewer courses in common than this share of the smaller survey's: the surveys hardly meet."""
MOST_MISREAD_SHARE = 1 / 3
"""More courses whose edges cannot all be right than this share: they are not the same courses."""
NUMBERED_APART_PITCHES = 0.5
"""Courses that all slid along the soffit by more than this are numbered otherwise."""
QUESTION = "Are these two surveys of the same arch?"


@dataclass(frozen=True, slots=True)
class Change:
    """A length of the arch in both surveys: how it is told, its values, and the uncertainty of the change."""

    words: str
    earlier_mm: float
    later_mm: float
    sigma_mm: float

    @property
    def size_mm(self) -> float:
        """Later less earlier."""
        return self.later_mm - self.earlier_mm

    def is_over(self, limit_mm: float) -> bool:
        """Whether it is beyond both a limit and its own uncertainty."""
        return bool(abs(self.size_mm) > max(limit_mm, SURE_SIGMAS * self.sigma_mm))

    def __str__(self) -> str:
        """In words."""
        return (
            f"{self.words} was {self.earlier_mm:.0f} mm in the earlier survey and is {self.later_mm:.0f} mm "
            "in the later one"
        )


@dataclass(frozen=True, slots=True)
class Common:
    """What the courses of ring 1 read in both surveys tell.

    Attributes
    ----------
    n_earlier, n_later, n_common, n_misread : int
        Courses read in each survey, in both, and those of them whose edges cannot all be right.
    slid_pitches : float
        Median slide along the soffit over the pitch of the courses; NaN with none in common.
    """

    n_earlier: int
    n_later: int
    n_common: int
    n_misread: int
    slid_pitches: float


def check_same_arch(record_a: Record, fit_a: ArchFit, record_b: Record, fit_b: ArchFit) -> tuple[str, ...]:
    """Doubts, in sentences, from the sizes of two arches; none where they agree as well as one arch can.

    Raises
    ------
    FitError
        Span, rise or number of courses differ by more than any movement makes of one arch.
    """
    changes = (_span(record_a, fit_a, record_b, fit_b), _rise(fit_a, fit_b))
    span = min(fit_a.best.shape.span_mm, fit_b.best.shape.span_mm)
    counts = _counts(fit_a, fit_b)
    far = [str(change) for change in changes if change.is_over(REFUSED_SHARE * span)]
    if counts is not None and abs(counts[0] - counts[1]) > REFUSED_SHARE * min(counts):
        far.append(_told_counts(counts))
    if far:
        raise FitError(
            f"the two surveys are not of one arch: {'; '.join(far)}; no movement makes that of one arch. "
            "Give two records of the same arch, or, if they are, measure its springings again and see "
            "whether both records give the same unit"
        )
    odd = [str(change) for change in changes if change.is_over(DOUBTED_SHARE * span)]
    if counts is not None and counts[0] != counts[1]:
        odd.append(_told_counts(counts))
    return tuple(f"{capital(words)}." for words in odd)


def check_datums(tie: SurveyTie, span_mm: float) -> None:
    """Refuse datum points that only share their names.

    Raises
    ------
    FitError
        They miss each other by more than any disturbance of a mark explains.
    """
    if tie.by is Tie.DATUM and tie.misfit_mm > DOUBTED_SHARE * span_mm:
        raise FitError(
            f"the datum points {', '.join(tie.names)} have the same names in both surveys but stand "
            f"{tie.misfit_mm:.0f} mm off each other: they are other points, or it is another arch. Give them "
            "names of their own in one of the records, and the surveys are tied by their springings"
        )


def doubts_of_courses(common: Common) -> tuple[str, ...]:
    """Doubts, in sentences, from the courses both surveys have."""
    said = []
    fewer = min(common.n_earlier, common.n_later)
    if common.n_common < FEWEST_COMMON_SHARE * fewer:
        n = common.n_common
        said.append(
            f"Only {n_courses(n)} {'was' if n == 1 else 'were'} read in both surveys, of "
            f"{common.n_earlier} and {common.n_later}."
        )
    if common.n_misread > MOST_MISREAD_SHARE * common.n_common:
        said.append(
            f"The edges of {common.n_misread} of the {n_courses(common.n_common)} read in both moved too "
            "differently to be those of the same bricks."
        )
    elif abs(common.slid_pitches) > NUMBERED_APART_PITCHES:
        way = "right" if common.slid_pitches > 0 else "left"
        said.append(
            f"The courses of ring 1 all lie about {abs(common.slid_pitches):.1f} of a course further {way} "
            "under the same numbers: they are numbered otherwise in one of the surveys."
        )
    return tuple(said)


def asked(doubts: tuple[str, ...]) -> tuple[str, ...]:
    """The question and its reasons in one sentence after the other, before anything else is said."""
    if not doubts:
        return ()
    return (
        f"{QUESTION} {' '.join(doubts)} What follows holds only if they are, and if these readings are "
        "right: see to that first.",
    )


def _told_counts(counts: tuple[int, int]) -> str:
    return f"ring 1 has {n_courses(counts[0])} in the earlier survey and {counts[1]} in the later one"


def _counts(fit_a: ArchFit, fit_b: ArchFit) -> tuple[int, int] | None:
    """Courses of ring 1 in both surveys; None where one of them is not known."""
    found = [next((c for c in fit.courses if c.ring == 1), None) for fit in (fit_a, fit_b)]
    known = [count.count for count in found if count is not None and _is_known(count)]
    return (known[0], known[1]) if len(known) == 2 else None


def _is_known(count: CourseCount) -> bool:
    return count.counted or count.probability.get(count.count, 0.0) >= SURE_COUNT


def _span(record_a: Record, fit_a: ArchFit, record_b: Record, fit_b: ArchFit) -> Change:
    """Between the springings where both surveys have them, else of the fitted curves."""
    apart = [_apart(record) for record in (record_a, record_b)]
    if apart[0] is not None and apart[1] is not None:
        return _change("the clear span", apart[0], apart[1])
    wide = [_figure(fit, "half_span_mm", fit.best.shape.half_span_mm) for fit in (fit_a, fit_b)]
    return _change("the fitted span", *(Estimate(2 * w.value, 2 * w.sigma) for w in wide))


def _rise(fit_a: ArchFit, fit_b: ArchFit) -> Change:
    return _change("the rise", *(_figure(fit, "rise_mm", fit.best.shape.rise_mm) for fit in (fit_a, fit_b)))


def _change(words: str, earlier: Estimate, later: Estimate) -> Change:
    return Change(words, earlier.value, later.value, float(np.hypot(earlier.sigma, later.sigma)))


def _figure(fit: ArchFit, name: str, value: float) -> Estimate:
    """A figure of the fitted curve, with an uncertainty of 0 where the curve has none of its own."""
    known = fit.best.figures.get(name)
    return Estimate(value, known.sigma if known is not None else 0.0)


def _apart(record: Record) -> Estimate | None:
    """Distance between the springing points of a record."""
    points = record.points
    middles, variances = [], []
    for side in (Edge.LEFT, Edge.RIGHT):
        on = points.on(Feature.SPRINGING) & np.asarray(points.edge == side, dtype=bool)
        if not on.any():
            return None
        weight = points.sigma_mm[on] ** -2.0
        middles.append(weight @ points.xy_mm[on] / weight.sum())
        variances.append(1.0 / weight.sum())
    return Estimate(float(np.hypot(*(middles[1] - middles[0]))), float(np.sqrt(sum(variances))))
