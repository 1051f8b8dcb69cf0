"""How the condition of simulated arches is recovered: deviations, missing courses, patterns.

Arches of known truth (spans 0.9 to 6 m, 40 to 160 courses, five families, points of sigma 0.8 to 2.5 mm,
irregularity 0.5 to 3 mm alike over 0.7 to 4 courses, 2 % gross errors, gaps of 3 courses to a fifth of the
arch) are fitted and mapped as any record is.

    python tests/recovery/condition_trials.py [COMMIT]   writes CONDITION.md beside this file (some minutes)
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

from recovery.condition_power import ORACLE_SENTENCE, Naming, name_quickly, naming, power_lines
from recovery.flaw_oracle import TOLD_ABOVE, log_ratio
from recovery.flaws import (
    LEANING,
    Flaw,
    Flawed,
    flawed,
    leaning,
    sag_mm,
    still_arch,
)
from recovery.simulated import SimulatedArch, random_spec, simulate

from survey.condition import map_deviations
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.errors import ArchSurveyError
from survey.fitting import fit_arch
from survey.fitting.counting.count import count_courses
from survey.fitting.curve_uncertainty import curve_slopes
from survey.fitting.options import FitOptions
from survey.fitting.result import ArchFit
from survey.record.model import UNKNOWN, Feature, Record, Tolerances

MOVED_SEED = 90_000
NO_ORACLE = (Flaw.TWIST, Flaw.UNLEVEL)
"""Flaws of which the readings are not those of the sound arch moved."""
SAG_TOLERANCE_MM = Tolerances().intrados_mm
"""A sag within the tolerance of an intrados is not to be named."""


class Numbers(StrEnum):
    """How the surveyor numbered the courses."""

    AS_BUILT = "numbered as built"
    NUMBERED_ON = "numbered on across the gap"
    NONE = "not numbered at all"


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


def name_flaw(seed: int, flaw: Flaw) -> Naming:
    """Put a flaw into an arch, fit it with its family known, and see what is named."""
    arch = still_arch(seed)
    put = flawed(arch, flaw, seed)
    try:
        fit = fit_arch(put.record, FitOptions(chosen=arch.shape.family))
    except ArchSurveyError:
        return Naming(found=False, wrong=(), moved=False, refused=True)
    named = naming(put, map_deviations(put.record, fit))
    if flaw not in NO_ORACLE:
        named = replace(named, oracle=log_ratio(arch, put, fit.best) > TOLD_ABOVE)
    return replace(named, beyond_mm=_beyond_mm(arch, fit)) if flaw is Flaw.SAG else named


def _beyond_mm(arch: SimulatedArch, fit: ArchFit) -> float:
    """Depth of the sag put into an arch that is left when the fitted family follows it as well as it can."""
    length = curve_of(fit.best.shape).length_mm
    share = np.linspace(0.0, 1.0, 201)
    slopes = curve_slopes(fit.best, share * length)
    hangs = -sag_mm(arch, share)
    return -float((hangs - slopes @ np.linalg.lstsq(slopes, hangs, rcond=None)[0]).min())


def moved_names(seed: int) -> Naming:
    """What is named beside the movement in an arch that has spread and has nothing else."""
    rng = np.random.default_rng(MOVED_SEED + seed)
    arch = simulate(replace(random_spec(rng, moved=True), counted=False), seed)
    fit = fit_arch(arch.record, FitOptions(chosen=arch.shape.family))
    return naming(Flawed(arch.record, frozenset()), map_deviations(arch.record, fit))


def report(
    n_arches: int = 300, n_flaws: int = 60, n_moved: int = 150, n_power: int = 30, *, commit: str = ""
) -> str:
    """The whole run as a page of Markdown, with the commit it was made at where that is given."""
    given = [map_trial(seed, family_known=True) for seed in range(n_arches)]
    found = [map_trial(seed, family_known=False) for seed in range(n_arches)]
    scores = np.concatenate([t.score for t in given])
    gross = np.concatenate([t.gross for t in given])
    lines = [
        "# Condition of simulated arches",
        "",
        f"{n_arches} arches that have not moved; remade by `python tests/recovery/condition_trials.py COMMIT`"
        + (f", here at commit {commit}." if commit else "."),
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
        *_false_names(found),
        *_flaw_lines(n_flaws, n_moved),
        *power_lines(n_power),
        "",
    ]
    return "\n".join(lines)


def _false_names(found: list[DeviationTrial]) -> list[str]:
    """What is named in sound arches."""
    named = Counter(name for t in found for name in t.patterns)
    return [
        "## Patterns",
        "",
        f"On the arches above, which have none, a pattern is named in "
        f"{np.mean([bool(t.patterns) for t in found]):.1%}"
        + (f" ({', '.join(f'{name}: {n}' for name, n in named.most_common())})." if named else "."),
        f"Movement is claimed in {np.mean([t.moved for t in found]):.1%}.",
        "",
    ]


def _flaw_lines(n_flaws: int, n_moved: int) -> list[str]:
    """What is named in flawed arches."""
    lean = [leaning_names(seed) for seed in range(n_flaws)]
    moved = [moved_names(seed) for seed in range(n_moved)]
    smooth = sum("smooth sag" in n.wrong for n in moved)
    flawed_names = {flaw: [name_flaw(seed, flaw) for seed in range(n_flaws)] for flaw in Flaw}
    beyond = [n.found for n in flawed_names[Flaw.SAG] if n.beyond_mm > SAG_TOLERANCE_MM]
    refused = sum(n.refused for named in flawed_names.values() for n in named)
    return [
        f"Put into {n_flaws} arches each, whose irregularity of up to 3 mm hides much. A run is found where "
        "it is when it and the run named have half of both together in common. " + ORACLE_SENTENCE,
        "",
        "| flaw | found where it is | an oracle | something else named | movement claimed |",
        "| --- | --- | --- | --- | --- |",
        *(_naming_row(flaw, named) for flaw, named in flawed_names.items()),
        _naming_row(LEANING, lean, sound=True),
        _naming_row(f"a spread of 0.4 to 1.5 % of the span ({n_moved} arches)", moved, sound=True),
        "",
        f"In {len(beyond)} of the sagging arches more than {SAG_TOLERANCE_MM:g} mm hang below any curve of "
        f"their family; of these {np.mean(beyond):.0%} are named.",
        f"Of all flawed arches {refused} could not be fitted. Of the {n_moved} that have spread {smooth} are "
        "told to hang smoothly.",
    ]


def leaning_names(seed: int) -> Naming:
    """What is named in a sound arch whose wall leans."""
    arch = still_arch(seed)
    return name_quickly(arch, Flawed(leaning(arch, seed), frozenset()))


def _naming_row(what: str, named: list[Naming], *, sound: bool = False) -> str:
    found = "none to find" if sound else f"{np.mean([n.found for n in named]):.0%}"
    told = [n.oracle for n in named if n.oracle is not None]
    oracle = f"{np.mean(told):.0%}" if told else "–"
    return (
        f"| {what} | {found} | {oracle} | {np.mean([bool(n.wrong) for n in named]):.0%} "
        f"| {np.mean([n.moved for n in named]):.0%} |"
    )


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
    target.write_text(report(commit="".join(sys.argv[1:2])), encoding="utf-8")
    print(f"wrote {target}")
