"""What is named in simulated arches by the size of the flaw, beside what an oracle tells."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from recovery.flaw_oracle import TOLD_ABOVE, log_ratio
from recovery.flaws import Flawed, dropped, patched, rejointed, relaid, sagging, still_arch
from recovery.simulated import SimulatedArch

from survey.condition import DeviationMap, map_deviations
from survey.fitting import fit_arch
from survey.fitting.options import FitOptions

PATCH_LENGTHS = (4, 8, 12, 16)
PATCH_RATIOS = (2.0, 3.0, 4.0, 6.0)
"""Offsets of patches and single courses, over the scatter of the arch's courses as they are surveyed."""
JOINT_LENGTHS = (4, 8, 12)
JOINT_RATIOS = (1.0, 1.5, 2.0, 3.0)
"""Changes of joints, over the scatter of the arch's joints as they are surveyed."""
LOT_LENGTHS = (5, 10, 15)
LOT_STEPS_MM = (2.0, 3.0, 4.0, 6.0)
SAG_RATIOS = (0.5, 1.0, 1.5, 2.0)
"""Sags, over the usual one."""
UNEVEN_JOINTS = 0.12
"""Scatter of the simulated joints themselves, as a share of a joint."""
ORACLE_SENTENCE = (
    "An oracle knows the flaw's place and size, every scatter and the gross errors, has only the curve to "
    "fit, and tells the flaw where the likelihood ratio with and without it is above 4 nats:"
)


@dataclass(frozen=True, slots=True)
class Naming:
    """What was named in one flawed arch: the flaw where it is, anything else, a movement.

    ``beyond_mm`` is how much of a sag no curve of the family can follow; NaN for other flaws. ``refused``
    where the arch could not be fitted. ``oracle`` is whether one who knows the flaw would tell it; None where
    that is not asked.
    """

    found: bool
    wrong: tuple[str, ...]
    moved: bool
    beyond_mm: float = float("nan")
    refused: bool = False
    oracle: bool | None = None


class Power(NamedTuple):
    """Shares of flaws of one size that are found, and that an oracle tells."""

    found: float
    oracle: float


def naming(flaw: Flawed, map_: DeviationMap) -> Naming:
    """What a map of a flawed arch names."""
    told = [flaw.is_told_by(p) for p in map_.patterns]
    wrong = tuple(p.name for p, right in zip(map_.patterns, told, strict=True) if not right)
    return Naming(any(told), wrong, map_.movement is not None)


def name_quickly(arch: SimulatedArch, put: Flawed, *, movement: bool = False, oracle: bool = False) -> Naming:
    """What is named with no other family and, unless asked for, no movement tried and no oracle."""
    family = arch.shape.family
    fit = fit_arch(put.record, FitOptions(families=(family,), movement=movement, chosen=family))
    named = naming(put, map_deviations(put.record, fit))
    if not oracle:
        return named
    return replace(named, oracle=log_ratio(arch, put, fit.best) > TOLD_ABOVE)


def course_scatter_mm(arch: SimulatedArch) -> float:
    """How far surveyed courses of a sound arch scatter about their curve: irregularity and two readings."""
    return float(np.hypot(arch.spec.irregularity_mm, arch.spec.point_sigma_mm / np.sqrt(2)))


def joint_scatter_mm(arch: SimulatedArch) -> float:
    """How far the surveyed joints of a sound arch scatter: their unevenness and two readings."""
    return float(np.hypot(UNEVEN_JOINTS * np.mean(arch.joints_mm), arch.spec.point_sigma_mm * np.sqrt(2)))


def power_of(
    put: Callable[[SimulatedArch, int, float], Flawed], seeds: Iterable[int], *, movement: bool = False
) -> Power:
    """Shares found of a flaw put into arches without gaps: by arch, seed and sign."""
    named = []
    for seed in seeds:
        arch = still_arch(seed, gaps=False)
        sign = 1.0 if seed % 2 else -1.0
        named.append(name_quickly(arch, put(arch, seed, sign), movement=movement, oracle=True))
    return Power(float(np.mean([n.found for n in named])), float(np.mean([bool(n.oracle) for n in named])))


def single_power(ratio: float, seeds: Iterable[int]) -> Power:
    """Of single courses so far off."""
    return power_of(lambda a, seed, sign: dropped(a, sign * ratio * course_scatter_mm(a), seed), seeds)


def patch_power(length: int, ratio: float, seeds: Iterable[int]) -> Power:
    """Of patches of so many courses and so far off."""
    return power_of(
        lambda a, seed, sign: patched(a, length, sign * ratio * course_scatter_mm(a), seed), seeds
    )


def joint_power(length: int, ratio: float, seeds: Iterable[int]) -> Power:
    """Of changes of joints over so many courses."""
    return power_of(
        lambda a, seed, sign: rejointed(a, length, sign * ratio * joint_scatter_mm(a), seed), seeds
    )


def lot_power(length: int, step_mm: float, seeds: Iterable[int]) -> Power:
    """Of so many courses of other bricks."""
    return power_of(lambda a, seed, sign: relaid(a, length, sign * step_mm, seed), seeds)


def sag_power(ratio: float, seeds: Iterable[int]) -> Power:
    """Of sags so many times the usual one, a movement tried as well."""
    return power_of(lambda a, _, __: sagging(a, ratio), seeds, movement=True)


def power_lines(n_power: int) -> list[str]:
    """What size of flaw is seen."""
    seeds = range(n_power)
    over = tuple(f"{ratio:g} × the scatter" for ratio in PATCH_RATIOS)
    joints = tuple(f"{ratio:g} × the scatter" for ratio in JOINT_RATIOS)
    lots = tuple(f"{step:g} mm" for step in LOT_STEPS_MM)
    sags = tuple(f"{ratio:g} × the usual sag" for ratio in SAG_RATIOS)
    return [
        "",
        "## What size of flaw is seen",
        "",
        f"Share found in {n_power} arches a field, and behind the stroke what an oracle tells. Single "
        "courses and patches by how far they stand off over the scatter of the arch's courses as surveyed "
        "(the root mean square of its deviations):",
        "",
        *_table_head("courses", over),
        _power_row("1", [single_power(r, seeds) for r in PATCH_RATIOS]),
        *(_power_row(f"{n}", [patch_power(n, r, seeds) for r in PATCH_RATIOS]) for n in PATCH_LENGTHS),
        "",
        "Courses laid with other joints, over the scatter of the arch's joints as surveyed:",
        "",
        *_table_head("courses", joints),
        *(_power_row(f"{n}", [joint_power(n, r, seeds) for r in JOINT_RATIOS]) for n in JOINT_LENGTHS),
        "",
        "Courses of other bricks, their joints the other way, by how much wider or narrower they are:",
        "",
        *_table_head("courses", lots),
        *(_power_row(f"{n}", [lot_power(n, step, seeds) for step in LOT_STEPS_MM]) for n in LOT_LENGTHS),
        "",
        "A crown hanging smoothly, by so many times 0.8 % of the span or 12 mm:",
        "",
        *_table_head("", sags),
        _power_row("sag", [sag_power(ratio, seeds) for ratio in SAG_RATIOS]),
    ]


def _table_head(first: str, columns: Sequence[str]) -> list[str]:
    return [f"| {first} | " + " | ".join(columns) + " |", "| --- |" + " --- |" * len(columns)]


def _power_row(what: str, powers: Sequence[Power]) -> str:
    return f"| {what} | " + " | ".join(f"{p.found:.0%} / {p.oracle:.0%}" for p in powers) + " |"
