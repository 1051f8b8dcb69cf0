"""Runs of courses that stand apart: repair patches on another curve or of another lot, and single courses."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from survey.condition.courses.middles import middle_of, scatter_of
from survey.condition.courses.ring_table import RingTable
from survey.condition.hinged import hinged_deviation, off_neighbours
from survey.condition.patterns.edge_chain import edge_chain, whole_courses
from survey.condition.patterns.noise_model import (
    CourseNoise,
    independent_noise,
)
from survey.condition.patterns.rhythm import Laid, OtherRhythm, other_rhythms
from survey.condition.patterns.run_search import likeliest_run, share_in
from survey.condition.patterns.singles import Single
from survey.condition.result import Pattern
from survey.condition.words import capital, course_run
from survey.curves.protocol import Floats
from survey.fitting.result import Estimate, Movement
from survey.record.model import Condition, Tolerances

PATCH_ABOVE, NOTED_ABOVE = 1.5, 2.5
"""Evidence a run needs to be named for its deviations, and for widths or joints that were noted."""
DROPPED_ABOVE = 3.0
"""Evidence a single course needs: odds of twenty to one. Of 600 simulated arches without any 1 was named."""
LEAST_SHARE = 0.5
"""The middle course of a run has at least this share of its step; else a single one makes the run."""
SHORTEST_PATCH = 3
LONGEST_PATCH_SHARE = 0.45
LEAST_STEP_MM = 2.0
"""A patch that stands off by less is not worth naming (judgement)."""
USUAL_STEP_MM = 8.0
"""How far patches stand off the curve, as a standard deviation (judgement)."""
USUAL_OTHER_MM = 3.0
"""How much wider or narrower bricks and joints of repairs are, likewise."""
LEAST_LOT_RATIO = 0.03
"""Bricks of another lot differ by at least this share of their width (judgement)."""
FEWEST_COURSES = 12
DRAWN_IN_SPREADS = 3.0
"""Widths and joints further out than this many times their scatter are drawn in to it."""
NOTED_EVIDENCE = float(np.log(50.0))
"""What a note of replaced courses is worth by itself (judgement)."""


def _where(table: RingTable, first: int, last: int) -> str:
    return f"{capital(course_run(first, last))} of ring {table.ring.ring}"


def offset_patch(
    table: RingTable, known: np.ndarray, noise: CourseNoise, apart: Mapping[int, float]
) -> tuple[Pattern, ...]:
    """A run of courses that stands off the curve of its neighbours by one amount, with a step at its ends.

    Parameters
    ----------
    table : RingTable
    known : (n,) bool
        The courses the noise is about.
    noise : CourseNoise
    apart : mapping of int to float
        How far single courses stand off, by course: one at the end of the run and off as far belongs to it.
    """
    run = likeliest_run(
        noise,
        shortest=SHORTEST_PATCH,
        longest=_longest(noise),
        usual_step=USUAL_STEP_MM,
        named_above=PATCH_ABOVE,
    )
    if run is None:
        return ()
    step, sigma = run.step.value, run.step.sigma
    if abs(step) < LEAST_STEP_MM or share_in(noise.values, run) < LEAST_SHARE:
        return ()
    course = table.course[known]
    first, last = int(course[run.first]), int(course[run.last])
    alike = {c for c, off in apart.items() if LEAST_SHARE <= off / step <= 1.0 / LEAST_SHARE}
    while first - 1 in alike:
        first -= 1
    while last + 1 in alike:
        last += 1
    side = "inside" if step < 0 else "outside"
    sentence = (
        f"{_where(table, first, last)} stand {abs(step):.0f} mm (± {2 * sigma:.0f}) {side} the curve of the "
        "courses on both sides, with a step where they begin and end: a repair laid to another curve."
    )
    return (
        Pattern("repair patch", sentence, table.ring.ring, first, last, Estimate(step, sigma), run.evidence),
    )


def other_rhythm(table: RingTable) -> tuple[Pattern, ...]:
    """Runs of bricks or joints wider or narrower than the rest, beside what a mason varies anyhow.

    By the edges of the bricks where enough courses were read at both; else by widths and joints as noted.
    """
    if len(whole_courses(table)) >= FEWEST_COURSES:
        runs = other_rhythms(edge_chain(table))
    else:
        runs = (
            *_noted_run(table, table.width_mm, Laid.BRICKS),
            *_noted_run(table, table.joint_mm, Laid.JOINTS),
        )
    return tuple(_rhythm_pattern(table, run) for run in runs if _is_worth_naming(table, run))


def _is_worth_naming(table: RingTable, run: OtherRhythm) -> bool:
    size = abs(run.size.value)
    if run.laid is Laid.JOINTS:
        return size >= LEAST_STEP_MM
    return size >= LEAST_LOT_RATIO * middle_of(table.width_mm)


def _rhythm_pattern(table: RingTable, run: OtherRhythm) -> Pattern:
    where, much = _where(table, run.first, run.last), _by_how_much(run.size)
    if run.laid is Laid.JOINTS:
        name = "change of rhythm"
        sentence = f"{where} are laid with joints {much} than the rhythm around them: "
        sentence += "repointed, repaired, or opened."
    else:
        name = "repair patch"
        also = ""
        if run.laid is Laid.BRICKS_IN_PITCH:
            also = f", their joints as much {'narrower' if run.size.value > 0 else 'wider'}"
        sentence = f"{where} have bricks {much} than the rest{also}: another lot, most likely a repair."
    return Pattern(name, sentence, table.ring.ring, run.first, run.last, run.size, run.evidence)


def _by_how_much(size: Estimate) -> str:
    return f"{abs(size.value):.1f} mm (± {2 * size.sigma:.1f}) {'wider' if size.value > 0 else 'narrower'}"


def _noted_run(table: RingTable, values: Floats, laid: Laid) -> tuple[OtherRhythm, ...]:
    """The evident run among widths or joints, each by itself.

    Single values far out are drawn in first, and most of the run must share in the step: one misread value
    is no run.
    """
    known = np.isfinite(values)
    course = table.course[known]
    if np.count_nonzero(known) < FEWEST_COURSES:
        return ()
    middle = middle_of(values)
    reach = DRAWN_IN_SPREADS * max(scatter_of(values, middle), 0.5)
    drawn_in = np.clip(values[known], middle - reach, middle + reach)
    noise = _independent(table.station_mm[known], drawn_in)
    run = likeliest_run(
        noise,
        shortest=SHORTEST_PATCH,
        longest=_longest(noise),
        usual_step=USUAL_OTHER_MM,
        named_above=NOTED_ABOVE,
    )
    if run is None or share_in(drawn_in, run) < LEAST_SHARE:
        return ()
    # Drawn in, a whole run is too small: its middle course tells its size.
    size = Estimate(share_in(values[known], run) * run.step.value, run.step.sigma)
    return (OtherRhythm(int(course[run.first]), int(course[run.last]), size, run.evidence, laid),)


def _odd(values: Floats) -> np.ndarray:
    """Mask (n,) of single values far out of their scatter."""
    known = np.isfinite(values)
    if not known.any():
        return known
    middle = middle_of(values)
    spread = max(scatter_of(values, middle), 0.5)
    return np.asarray(
        np.abs(np.where(known, values, middle) - middle) > DRAWN_IN_SPREADS * spread, dtype=bool
    )


def _independent(station: Floats, values: Floats) -> CourseNoise:
    """Values beside a mean, a trend and a change from springings to crown, as a mason works them in."""
    at = 2 * (station - station.min()) / float(np.ptp(station)) - 1
    return independent_noise(station, values, np.column_stack([np.ones(len(at)), at, np.abs(at)]))


def _longest(noise: CourseNoise) -> int:
    return int(len(noise.values) * LONGEST_PATCH_SHARE)


def moved_courses(
    table: RingTable,
    known: np.ndarray,
    noise: CourseNoise,
    singles: tuple[Single, ...],
    tolerances: Tolerances,
    movement: Movement | None,
) -> tuple[Pattern, ...]:
    """Single courses that slipped: every reading of the course shows it, its neighbours do not.

    A course read at one place only, or whose edges or width contradict each other, is never named: that may
    be a misreading. In an arch that has moved it must stand out from its piece as well: at a hinge whole
    pieces leave the curve the arch shows now.
    """
    at = np.flatnonzero(known)
    odd = _odd(table.width_mm)
    beside = None if movement is None else off_neighbours(hinged_deviation(table, movement))
    found: list[Pattern] = []
    for single in singles:
        i, step = int(at[single.index]), single.step.value
        if single.evidence < DROPPED_ABOVE or abs(step) <= tolerances.intrados_mm or odd[i]:
            continue
        if beside is not None and np.sign(step) * beside[i] < 0.5 * abs(step):
            continue
        if _all_readings_show(table, i, float(noise.values[single.index]) - step, step):
            found.append(_moved_course(table, int(table.course[i]), single.step, single.evidence))
    return tuple(found)


def _all_readings_show(table: RingTable, i: int, around: float, step: float) -> bool:
    if np.isfinite(table.edges_apart_mm[i]):
        return False
    readings = table.edge_deviation_mm[i]
    readings = readings[np.isfinite(readings)]
    shown = np.sign(step) * (readings - around) > 0.5 * abs(step)
    return len(readings) >= 2 and bool(shown.all())


def _moved_course(table: RingTable, course: int, size: Estimate, evidence: float) -> Pattern:
    where = _where(table, course, course)
    much = f"{abs(size.value):.0f} mm (± {2 * size.sigma:.0f})"
    if size.value < 0:
        sentence = (
            f"{where} has dropped {much} out of line with its neighbours; all readings on it agree. Keep "
            "from under it until it is propped."
        )
        return Pattern("dropped course", sentence, table.ring.ring, course, course, size, evidence)
    sentence = f"{where} stands {much} back from its neighbours; all readings on it agree."
    return Pattern("recessed course", sentence, table.ring.ring, course, course, size, evidence)


def noted_repairs(table: RingTable, *, judged: bool = True) -> tuple[Pattern, ...]:
    """Runs of courses noted on site as replaced; how far off the curve only where it can be judged by."""
    replaced = np.array([c is Condition.REPLACED for c in table.condition])
    edge = np.flatnonzero(np.diff(np.concatenate([[0], replaced.astype(np.int64), [0]])))
    found = []
    for start, end in zip(edge[::2], edge[1::2], strict=True):
        first, last = int(table.course[start]), int(table.course[end - 1])
        own = table.deviation_mm[start:end]
        own = own[np.isfinite(own)]
        told = judged and len(own) > 1
        size = Estimate(float(own.mean()), float(own.std() / np.sqrt(len(own)))) if told else None
        sentence = (
            f"{_where(table, first, last)} {'was' if first == last else 'were'} replaced, as noted on site"
        )
        sentence += f"; on average {size.value:+.0f} mm off the curve." if size is not None else "."
        found.append(
            Pattern(
                "noted repair",
                sentence,
                table.ring.ring,
                first,
                last,
                size if size is not None else Estimate(float("nan"), float("nan")),
                NOTED_EVIDENCE,
            )
        )
    return tuple(found)
