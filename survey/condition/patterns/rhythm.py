"""A run of courses laid in another rhythm: other bricks, other joints, or other bricks in the same pitch."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from survey.condition.courses.middles import middle_of
from survey.condition.patterns.block_sums import BlockSums, ChainInverse, block_sums
from survey.condition.patterns.edge_chain import EdgeChain, WeighedChain, weighed_chain
from survey.condition.patterns.misread_edges import own_scatter, without_misread
from survey.condition.patterns.run_search import Run, likeliest_among, log_mean_ratio, windows_of
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints
from survey.fitting.result import Estimate

NAMED_ABOVE = 1.75
"""Evidence needed. Of 600 simulated arches laid to one rhythm 1 reached it."""
WIDTH_SCATTERS_MM = (0.5, 1.0, 2.0, 4.0)
JOINT_SCATTERS_MM = (0.7, 1.5, 3.0)
"""How much bricks and joints of one ring vary, as standard deviations: all are tried."""
SHORTEST = 3
LONGEST_SHARE = 0.45
USUAL_STEP_MM = 3.0
"""How much wider or narrower bricks and joints of a repair are, as a standard deviation (judgement)."""
HOPELESS_BELOW = -0.4
"""Evidence under the scatter the ring itself shows below which the others are not tried."""
UNLIKELY_BELOW, UNLIKELY_RATIO = 10.0, 3.0
"""Scatters are not tried whose log likelihood without any run is below the best by more than so much and so
many times the evidence under the scatter the ring itself shows."""
LEAST_SHARE = 0.5
"""The middle course of a run has at least this share of its step; else a single one makes the run."""
FEWEST_COURSES = 12
MOST_RUNS = 3


class Laid(StrEnum):
    """What differs in a run."""

    BRICKS = "bricks"
    JOINTS = "joints"
    BRICKS_IN_PITCH = "bricks in the same pitch"


_REACH = {
    Laid.BRICKS: ((0,), (1.0,)),
    Laid.JOINTS: ((1,), (1.0,)),
    Laid.BRICKS_IN_PITCH: ((-1, 0, 1), (-0.5, 1.0, -0.5)),
}
"""Steps that change with a course, counted from its width, and by how much."""


@dataclass(frozen=True, slots=True)
class OtherRhythm:
    """Courses that stand apart in width or joint: first and last, by how much, and the evidence."""

    first: int
    last: int
    size: Estimate
    evidence: float
    laid: Laid


def other_rhythms(chain: EdgeChain) -> tuple[OtherRhythm, ...]:
    """Every evident run of one ring, by what differs; a further one is sought beside those found.

    Nothing where fewer than twelve courses were read at both edges.
    """
    if len(chain.whole) < FEWEST_COURSES:
        return ()
    chain = without_misread(chain)
    found: list[OtherRhythm] = []
    while len(found) < MOST_RUNS and (told := _likeliest(chain)) is not None:
        found.append(OtherRhythm(told.first + 1, told.last + 1, told.run.step, told.run.evidence, told.laid))
        chain = chain.beside(told.template)
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class _Told:
    """A run, its first and last course from 0, what differs, and the steps (n,) it changes."""

    run: Run
    first: int
    last: int
    laid: Laid
    template: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Weighing:
    """A weighed chain by courses, for runs in which one thing differs."""

    laid: Laid
    chain: WeighedChain
    pull: Floats
    log_likelihood: float
    run_precision: BlockSums


def _likeliest(chain: EdgeChain) -> _Told | None:
    n = len(chain.whole)
    windows = windows_of(n, SHORTEST, int(n * LONGEST_SHARE))
    shown = weighed_chain(chain, *own_scatter(chain))
    ratios = [log_mean_ratio(w, windows, USUAL_STEP_MM) for w in _by_courses(chain, shown)]
    evident = float(np.logaddexp.reduce(ratios) - np.log(len(ratios)))
    if evident < HOPELESS_BELOW:
        return None
    tried = [weighed_chain(chain, w, j) for w in WIDTH_SCATTERS_MM for j in JOINT_SCATTERS_MM]
    # A run makes up for a scatter that explains the steps worse by about its evidence, not by far more.
    least = max(w.log_likelihood for w in tried) - UNLIKELY_BELOW - UNLIKELY_RATIO * max(evident, 0.0)
    weighings = [v for w in tried if w.log_likelihood >= least for v in _by_courses(chain, w)]
    run = likeliest_among(weighings, windows, usual_step=USUAL_STEP_MM, named_above=NAMED_ABOVE)
    if run is None:
        return None
    weighing = weighings[run.weighing]
    first, last = int(chain.whole[run.first]), int(chain.whole[run.last])
    template = _template(chain.n_courses, weighing.laid, first, last)
    told = _Told(run, first, last, weighing.laid, template)
    return told if _shared(chain, weighing, told) >= LEAST_SHARE else None


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """Steps (m, e) that change for each of m courses of a run, in order, and how much of each by 1 mm."""

    step: Ints
    share: Floats

    def of(self, steps: Floats) -> Floats:
        """What steps (2 N - 1,) come to for each course (m,)."""
        return np.asarray((steps[self.step] * self.share).sum(axis=1))


def _parts(laid: Laid, course: Ints, n_courses: int) -> _Parts:
    """What changes for each of the courses (m,) of a ring, counted from 0."""
    reach, share = _REACH[laid]
    step = 2 * course[:, None] + np.array(reach)
    # No joint before the first course nor after the last was read as one.
    there = (step >= 0) & (step < 2 * n_courses - 1)
    return _Parts(np.clip(step, 0, 2 * n_courses - 2), np.where(there, share, 0.0))


def _by_courses(chain: EdgeChain, weighed: WeighedChain) -> list[_Weighing]:
    """The chain under one scatter, for all that may differ in a run."""
    inverse = weighed.without_usual()
    log_ratio = np.log(np.maximum(inverse.ratio, np.finfo(float).tiny)).cumsum()
    found = []
    for laid in Laid:
        parts = _parts(laid, chain.whole, chain.n_courses)
        step, share = parts.step.ravel(), parts.share.ravel()
        own, along = inverse.diagonal[step], log_ratio[step]
        ratio = np.exp(np.diff(along, prepend=along[0]))
        matrix = ChainInverse(share**2 * own, share * own, share, ratio)
        columns = share[:, None] * weighed.weighed[step]
        sums = block_sums(matrix, columns, weighed.inverse, every=parts.step.shape[1])
        found.append(_Weighing(laid, weighed, parts.of(weighed.pull), weighed.log_likelihood, sums))
    return found


def _template(n_courses: int, laid: Laid, first: int, last: int) -> Floats:
    """Steps (2 N - 1,) as a run of courses from 0 changes them by 1 mm."""
    template = np.zeros(2 * n_courses - 1)
    parts = _parts(laid, np.arange(first, last + 1), n_courses)
    np.add.at(template, parts.step, parts.share)
    return template


def _shared(chain: EdgeChain, weighing: _Weighing, told: _Told) -> float:
    """How much of a run's step its middle course has, beside what is usual."""
    rest = chain.step_mm - told.run.step.value * told.template
    left = chain.step_mm - chain.usual @ weighing.chain.usual_coefficients(rest)
    parts = _parts(told.laid, chain.whole[told.run.first : told.run.last + 1], chain.n_courses)
    changed = parts.of(told.template)
    # The last course has no joint after it that was read.
    shown = parts.of(left)[changed > 0.0] / changed[changed > 0.0]
    return middle_of(shown) / told.run.step.value
