"""Single courses that stand apart from all others, one after the other, each with the evidence for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.patterns.noise_model import CourseNoise, TemplateFit, likeliest_template
from survey.curves.protocol import Floats
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
    told: TemplateFit | None = None
    before = 0.0
    while candidates and len(chosen) < MOST_SINGLES:
        best, tried = likeliest_template(noise, _each_with(len(noise.values), chosen, candidates))
        gain = tried.evidence - before - float(np.log(len(noise.values)))
        if gain < TOLD_ABOVE:
            break
        told, before = tried, tried.evidence
        chosen.append(candidates.pop(best))
        evidence.append(gain)
    if told is None:
        return ()
    sigma = np.sqrt(np.diag(told.covariance))
    return tuple(
        Single(k, Estimate(float(step), float(s)), gain)
        for k, step, s, gain in zip(chosen, told.coefficient, sigma, evidence, strict=True)
    )


def _each_with(n: int, chosen: list[int], candidates: list[int]) -> Floats:
    """Templates (n, m, k) of the courses chosen and one of m candidates."""
    templates = np.zeros((n, len(candidates), len(chosen) + 1))
    templates[chosen, :, np.arange(len(chosen))] = 1.0
    templates[candidates, np.arange(len(candidates)), -1] = 1.0
    return templates
