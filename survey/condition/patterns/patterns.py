"""Patterns of distress, named only with evidence."""

from __future__ import annotations

import numpy as np

from survey.condition.courses.ring_table import RingTable
from survey.condition.no_curve import has_curve, nothing_to_judge_by
from survey.condition.patterns.faces import springing_levels, twisted_face
from survey.condition.patterns.noise_model import CourseNoise, course_noise, outliers
from survey.condition.patterns.runs import (
    moved_courses,
    noted_repairs,
    offset_patch,
    other_rhythm,
)
from survey.condition.patterns.sag import NAMED_ABOVE
from survey.condition.patterns.sag_or_hinges import smooth_sag
from survey.condition.patterns.singles import courses_apart
from survey.condition.result import Pattern
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit
from survey.fitting.solving.noise import Scatter
from survey.record.model import Record

FEWEST_COURSES = 12
"""Fewer measured courses than this show no pattern."""
MOST_AT_HINGE = 6
"""A run of so many courses about a hinge is more than its open joint."""


def find_patterns(
    record: Record, fit: ArchFit, tables: tuple[RingTable, ...], slopes: tuple[Floats, ...]
) -> tuple[Pattern, ...]:
    """Every pattern with enough evidence, the most evident first.

    Parameters
    ----------
    record : Record
    fit : ArchFit
    tables : tuple of RingTable
    slopes : tuple of (n, k) float
        How far each ring's courses follow the curve's parameters.

    Notes
    -----
    Where the arch was set out to none of the families, what leaves the nearest of them is the curve's own
    shape and no distress: then only what needs no curve is named, and one sentence says so.
    """
    found: list[Pattern] = list(springing_levels(record, fit))
    judged = has_curve(fit)
    if not judged:
        found.append(nothing_to_judge_by(tables[0], fit.verdict))
    for table in tables:
        found.extend(noted_repairs(table, judged=judged))
        found.extend(twisted_face(table, record.tolerances, fit))
        if judged:
            found.extend(run for run in other_rhythm(table) if not _is_open_hinge(run, table, fit))
    if judged:
        found.extend(_off_the_curve(record, fit, tables, slopes))
    return tuple(sorted(found, key=lambda p: -p.evidence))


def _is_open_hinge(run: Pattern, table: RingTable, fit: ArchFit) -> bool:
    """Whether a short run of other joints or bricks is no more than the joint that a hinge has opened."""
    if fit.movement is None or run.last_course - run.first_course >= MOST_AT_HINGE:
        return False
    share = table.station_mm / curve_of(fit.best.shape).length_mm
    original = curve_of(fit.movement.original.shape).length_mm
    for hinge in fit.movement.hinges:
        after = int(np.searchsorted(share, hinge.station_mm.value / original))
        if hinge.is_told and 0 < after < len(share):
            left, right = int(table.course[after - 1]), int(table.course[after])
            if run.first_course <= right and run.last_course >= left:
                return True
    return False


def _off_the_curve(
    record: Record, fit: ArchFit, tables: tuple[RingTable, ...], slopes: tuple[Floats, ...]
) -> list[Pattern]:
    """Patterns seen in how far the courses stand off the curve."""
    found: list[Pattern] = []
    sag_told = False
    for table, slope in zip(tables, slopes, strict=True):
        known = np.isfinite(table.deviation_mm)
        if np.count_nonzero(known) < FEWEST_COURSES:
            continue
        noise = _deviation_noise(fit, table, slope, known)
        singles = courses_apart(noise)
        tame, apart = known, outliers(noise)
        apart[[single.index for single in singles if single.evidence >= NAMED_ABOVE]] = True
        smooth = noise
        if apart.any() and np.count_nonzero(~apart) >= FEWEST_COURSES:
            tame = known.copy()
            tame[np.flatnonzero(known)[apart]] = False
            smooth = _deviation_noise(fit, table, slope, tame)
        if not sag_told and (fit.movement is None or table.ring.ring == 1):
            told = smooth_sag(fit, table, slope, known=tame, noise=smooth, tolerances=record.tolerances)
            sag_told = told is not None
            if told is not None:
                found.append(told.pattern)
                if fit.movement is None:
                    smooth = _deviation_noise(fit, table, slope, tame, told.sag.columns)
        if fit.movement is None:
            off = {int(table.course[known][single.index]): single.step.value for single in singles}
            patches = offset_patch(table, tame, smooth, off)
            found.extend(patches)
            if patches:
                # A course of the patch stands apart from the rest, but not from its patch.
                noise = _deviation_noise(fit, table, slope, known, _within(table, patches[0])[known])
                singles = courses_apart(noise)
        found.extend(moved_courses(table, known, noise, singles, record.tolerances, fit.movement))
    return found


def _within(table: RingTable, patch: Pattern) -> Floats:
    """Column (n, 1) that is 1 for the courses of a patch."""
    inside = (table.course >= patch.first_course) & (table.course <= patch.last_course)
    return np.asarray(inside[:, None], dtype=float)


def _deviation_noise(
    fit: ArchFit, table: RingTable, slopes: Floats, known: np.ndarray, told: Floats | None = None
) -> CourseNoise:
    """Deviations of the known courses beside what the curve can follow, and what has been told already."""
    station = table.station_mm[known]
    follow = slopes[known]
    guess = Scatter(fit.irregularity_mm, fit.correlation_length_mm)
    return course_noise(
        station,
        table.deviation_mm[known],
        np.sqrt(table.reading_variance_mm2[known]),
        follow if told is None else np.column_stack([follow, told]),
        guess,
    )
