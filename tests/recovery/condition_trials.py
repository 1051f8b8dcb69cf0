"""How the condition of simulated arches is recovered: deviations, missing courses, patterns.

Arches of known truth (spans 0.9 to 6 m, 40 to 160 courses, five families, points of sigma 0.8 to 2.5 mm,
irregularity 0.5 to 3 mm alike over 0.7 to 4 courses, 2 % gross errors, gaps of 3 courses to a fifth of the
arch) are fitted and mapped as any record is.

    python tests/recovery/condition_trials.py            writes CONDITION.md beside this file (some minutes)
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # so that it runs as a script, too

from recovery.simulated import SimulatedArch, random_gaps, random_spec, simulate

from survey.condition import map_deviations
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.curves.shape import ArchShape
from survey.fitting import fit_arch
from survey.fitting.count import count_courses
from survey.fitting.options import FitOptions
from survey.record.model import UNKNOWN, Feature, Record

FIRST_SEED = 70_000


class Numbers(StrEnum):
    """How the surveyor numbered the courses."""

    AS_BUILT = "numbered as built"
    NUMBERED_ON = "numbered on across the gap"
    NONE = "not numbered at all"


class Flaw(StrEnum):
    """What is wrong with an arch beside its irregularity."""

    DROPPED = "one course dropped by 12 mm"
    PATCH = "a patch of 8 courses 12 mm off the curve"
    SLIGHT_PATCH = "a patch of 8 courses 8 mm off the curve"


NAMES = {
    Flaw.DROPPED: "dropped course",
    Flaw.PATCH: "repair patch",
    Flaw.SLIGHT_PATCH: "repair patch",
}
STEP_MM = {Flaw.DROPPED: 12.0, Flaw.PATCH: 12.0, Flaw.SLIGHT_PATCH: 8.0}


def still_arch(seed: int) -> SimulatedArch:
    """An arch that has not moved, its count left out of the record."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    spec = random_spec(rng)
    return simulate(replace(spec, gaps=random_gaps(rng, spec.n_courses), counted=False, movement=None), seed)


@dataclass(frozen=True, slots=True, eq=False)
class DeviationTrial:
    """One arch mapped: errors of its courses' deviations over their stated uncertainty, and what was named.

    ``gross`` marks courses of which an edge carries a gross error.
    """

    score: Floats
    gross: np.ndarray
    patterns: tuple[str, ...]
    moved: bool
    right_family: bool
    arch: SimulatedArch
    curve: Curve
    origin_mm: tuple[float, float]


def map_trial(seed: int, *, family_known: bool) -> DeviationTrial:
    """Fit and map one arch; its true deviations are those from the curve it was laid to."""
    arch = still_arch(seed)
    family = arch.shape.family
    fit = fit_arch(arch.record, FitOptions(chosen=family) if family_known else None)
    map_ = map_deviations(arch.record, fit)
    points = arch.record.points
    on = points.on(Feature.INTRADOS) & (points.ring == 1)
    truth = dict(zip(points.course[on].tolist(), arch.deviation_mm[on].tolist(), strict=True))
    gross = set(points.course[on & arch.gross].tolist())
    rows = [r for r in map_.ring(1) if np.isfinite(r.deviation_mm) and r.course in truth]
    score = np.array([(r.deviation_mm - truth[r.course]) / r.deviation_sigma_mm for r in rows])
    return DeviationTrial(
        score,
        np.array([r.course in gross for r in rows]),
        tuple(p.name for p in map_.patterns),
        fit.movement is not None,
        fit.chosen is family,
        arch,
        curve_of(fit.best.shape),
        fit.origin_mm,
    )


def coverage(trials: Iterable[DeviationTrial]) -> float:
    """Share of all courses whose true deviation lies in the stated 95 % interval."""
    return float(np.mean(np.abs(np.concatenate([t.score for t in trials])) < 1.96))


def renumbered(arch: SimulatedArch, numbers: Numbers) -> Record:
    """The record as another surveyor would have numbered it."""
    course = arch.record.points.course.copy()
    known = course != UNKNOWN
    if numbers is Numbers.NUMBERED_ON:
        standing = np.unique(course[known])
        course[known] = np.searchsorted(standing, course[known]) + 1
    elif numbers is Numbers.NONE:
        course[known] = UNKNOWN
    return replace(arch.record, points=replace(arch.record.points, course=course))


def count_is_right(
    arch: SimulatedArch, curve: Curve, origin_mm: tuple[float, float], numbers: Numbers
) -> bool:
    """Whether the courses of ring 1 are counted as they were laid."""
    found = count_courses(renumbered(arch, numbers), curve, origin_mm)[0]
    return found.count == arch.n_courses


def true_curve(arch: SimulatedArch) -> tuple[Curve, tuple[float, float]]:
    """The curve the arch was laid to, in its own frame, and that frame's origin."""
    shape: ArchShape = replace(arch.shape, axis_x_mm=0.0, springing_y_mm=0.0)
    return curve_of(shape), (arch.shape.axis_x_mm, arch.shape.springing_y_mm)


def flawed(arch: SimulatedArch, flaw: Flaw, seed: int) -> tuple[Record, int]:
    """The record with a flaw, and the course it begins at."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    points = arch.record.points
    standing = np.unique(points.course[points.on(Feature.INTRADOS) & (points.ring == 1)])
    length = 1 if flaw is Flaw.DROPPED else 8
    step = STEP_MM[flaw] * (-1.0 if flaw is Flaw.DROPPED else float(rng.choice([-1, 1])))
    starts = [c for c in standing[2 : -length - 2] if np.isin(np.arange(c, c + length), standing).all()]
    first = int(rng.choice(starts))
    curve, origin = true_curve(arch)
    xy = points.xy_mm.copy()
    on = (points.course >= first) & (points.course < first + length) & (points.ring == 1)
    station = curve.locate(xy[on] - origin).station_mm
    xy[on] += step * curve.normal(station)
    return replace(arch.record, points=replace(points, xy_mm=xy)), first


def flaw_is_named(seed: int, flaw: Flaw) -> bool:
    """Whether a flaw put into an arch is named where it is."""
    arch = still_arch(seed)
    record, first = flawed(arch, flaw, seed)
    fit = fit_arch(record, FitOptions(chosen=arch.shape.family))
    return any(
        p.name == NAMES[flaw] and abs(p.first_course - first) <= 2
        for p in map_deviations(record, fit).patterns
    )


def report(n_arches: int = 300, n_flaws: int = 60) -> str:
    """The whole run as a page of Markdown."""
    given = [map_trial(seed, family_known=True) for seed in range(n_arches)]
    found = [map_trial(seed, family_known=False) for seed in range(n_arches)]
    scores = np.concatenate([t.score for t in given])
    gross = np.concatenate([t.gross for t in given])
    named = Counter(name for t in found for name in t.patterns)
    lines = [
        "# Condition of simulated arches",
        "",
        f"{n_arches} arches that have not moved; remade by `python tests/recovery/condition_trials.py`.",
        "",
        "## Deviations",
        "",
        "Share of courses whose true deviation lies in the stated 95 % interval:",
        "",
        "| arches | courses | share |",
        "| --- | --- | --- |",
        f"| family known | {len(scores)} | {coverage(given):.1%} |",
        f"| family as found ({np.mean([t.right_family for t in found]):.0%} right) "
        f"| {sum(len(t.score) for t in found)} | {coverage(found):.1%} |",
        f"| family known, courses without a gross error | {np.count_nonzero(~gross)} "
        f"| {np.mean(np.abs(scores[~gross]) < 1.96):.1%} |",
        f"| family known, courses with a gross error | {np.count_nonzero(gross)} "
        f"| {np.mean(np.abs(scores[gross]) < 1.96):.1%} |",
        "",
        "## Courses counted",
        "",
        "Count right, against the fitted curve:",
        "",
        "| numbers in the record | all arches | arches with a gap |",
        "| --- | --- | --- |",
        *_count_rows(found),
        "",
        "## Patterns",
        "",
        f"On these arches, which have none, a pattern is named in "
        f"{np.mean([bool(t.patterns) for t in found]):.1%}"
        + (f" ({', '.join(f'{name}: {n}' for name, n in named.most_common())})." if named else "."),
        f"Movement is claimed in {np.mean([t.moved for t in found]):.1%}.",
        "",
        f"Put into {n_flaws} arches each, whose irregularity of up to 3 mm hides much:",
        "",
        "| flaw | named where it is |",
        "| --- | --- |",
        *(f"| {flaw} | {np.mean([flaw_is_named(s, flaw) for s in range(n_flaws)]):.0%} |" for flaw in Flaw),
        "",
    ]
    return "\n".join(lines)


def _count_rows(trials: list[DeviationTrial]) -> list[str]:
    gap = [bool(t.arch.spec.gaps) for t in trials]
    right = {
        numbers: [count_is_right(t.arch, t.curve, t.origin_mm, numbers) for t in trials]
        for numbers in Numbers
    }
    rows = []
    for numbers in Numbers:
        across = [ok for ok, has in zip(right[numbers], gap, strict=True) if has]
        rows.append(f"| {numbers} | {np.mean(right[numbers]):.1%} | {np.mean(across):.1%} of {len(across)} |")
    return rows


if __name__ == "__main__":
    target = Path(__file__).with_name("CONDITION.md")
    target.write_text(report(), encoding="utf-8")
    print(f"wrote {target}")
