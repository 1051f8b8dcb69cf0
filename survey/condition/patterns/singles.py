"""Single courses that stand apart from all others, one after the other, each with the evidence for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.patterns.noise_model import CourseNoise, TemplateFit, fit_template
from survey.fitting.result import Estimate

LOOKED_AT_SIGMAS = 3.0
"""Courses closer than this to what all others say of them, where the scatter has them counted in, are not
looked at further."""
TOLD_ABOVE = 1.0
"""Evidence below which no further one is sought."""
MOST_SINGLES = 6


@dataclass(frozen=True, slots=True)
class Single:
    """One course apart: its index among the values, how far it stands off, and the evidence for it."""

    index: int
    step: Estimate
    evidence: float


def courses_apart(noise: CourseNoise) -> tuple[Single, ...]:
    """Courses that stand apart by themselves, the most evident first.

    Notes
    -----
    Each is judged beside those found before it, so that one does not make its neighbour look out of line. The
    evidence is the log of how much likelier the values are once it may stand off by any amount, less half the
    log of the number of courses for that amount, and the log of that number for the choice of the course.
    Both sides may choose the scatter that suits them: a course far out swells the irregularity found with it
    counted in, and would hide behind it.
    """
    spread = np.sqrt(np.maximum(noise.own_precision, np.finfo(float).tiny))
    candidates = np.flatnonzero(np.abs(noise.best.pull) / spread > LOOKED_AT_SIGMAS).tolist()
    chosen: list[int] = []
    evidence: list[float] = []
    told, before = None, 0.0
    while candidates and len(chosen) < MOST_SINGLES:
        tried = [_with(noise, [*chosen, k]) for k in candidates]
        best = int(np.argmax([fit.evidence for fit in tried]))
        gain = tried[best].evidence - before - float(np.log(len(noise.values)))
        if gain < TOLD_ABOVE:
            break
        told, before = tried[best], tried[best].evidence
        chosen.append(candidates.pop(best))
        evidence.append(gain)
    if told is None:
        return ()
    sigma = np.sqrt(np.diag(told.covariance))
    return tuple(
        Single(k, Estimate(float(step), float(s)), gain)
        for k, step, s, gain in zip(chosen, told.coefficient, sigma, evidence, strict=True)
    )


def _with(noise: CourseNoise, courses: list[int]) -> TemplateFit:
    templates = np.zeros((len(noise.values), len(courses)))
    templates[courses, np.arange(len(courses))] = 1.0
    return fit_template(noise, templates)
