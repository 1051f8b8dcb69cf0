"""What a fit recovered of a simulated arch, and the figures over many."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from recovery.oracle import oracle_spread
from recovery.simulated import SimulatedArch

from survey.curves import curve_of
from survey.curves.shape import Family
from survey.fitting import fit_arch
from survey.fitting.result import ArchFit, Candidate, Estimate

Z95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Recovered:
    """One arch: its true kind and what was said of it. Errors are fitted minus true, mm; NaN if not said."""

    kind: str
    family: Family | None
    said: Family | None
    clear: bool
    probability: float
    none: bool
    claims_movement: bool
    figures: dict[str, tuple[float, float]]
    """Error and standard uncertainty of each figure of the true family's curve (the original if moved)."""
    spread: tuple[float, float, float]
    """Fitted, standard uncertainty, true."""
    settlement: tuple[float, float, float]
    crown_courses: float
    seconds: float
    oracle: tuple[float, float] = (float("nan"), float("nan"))
    """Error and standard uncertainty of the spread of one who knows family, hinges and scatter."""
    unseen_mm: float = float("nan")
    """Spread said to show, where no movement is claimed; infinite where none is said to."""

    @property
    def right(self) -> bool:
        """Whether the family named is the true one."""
        return self.said is self.family and not self.none


def recover(arch: SimulatedArch, kind: str) -> Recovered:
    """Fit a simulated arch and compare with its truth."""
    start = time.perf_counter()
    fit = fit_arch(arch.record)
    seconds = time.perf_counter() - start
    true_family = None if arch.spec.other is not None else arch.shape.family
    said = fit.verdict.family
    candidate = _of_true_family(fit, true_family)
    moved = fit.movement
    true = arch.movement
    nothing = (np.nan, np.nan, np.nan)
    spread = settlement = nothing
    crown = np.nan
    if moved is not None and true is not None:
        spread = (moved.spread_mm.value, moved.spread_mm.sigma, true.spread_mm)
        settlement = (moved.settlement_mm.value, moved.settlement_mm.sigma, true.settlement_mm)
        crown = _crown_courses(arch, moved.hinges[1].station_mm, moved.original)
    return Recovered(
        kind=kind,
        family=true_family,
        said=said,
        clear=fit.verdict.clear,
        probability=max(fit.verdict.probability.values()),
        none=fit.verdict.clear and said is None,
        claims_movement=moved is not None,
        figures={} if candidate is None else _figures(arch, candidate),
        spread=spread,
        settlement=settlement,
        crown_courses=crown,
        seconds=seconds,
        oracle=nothing[:2] if true is None else tuple(oracle_spread(arch)),
        unseen_mm=np.nan if fit.unseen_movement is None else fit.unseen_movement.spread_mm,
    )


def _of_true_family(fit: ArchFit, family: Family | None) -> Candidate | None:
    if family is None:
        return None
    if fit.movement is not None:
        original = fit.movement.original
        return original if original.family is family else None
    return fit.candidates.get(family)


def _figures(arch: SimulatedArch, candidate: Candidate) -> dict[str, tuple[float, float]]:
    shape = arch.shape
    true = {"half_span_mm": shape.half_span_mm, "rise_mm": shape.rise_mm}
    true |= {f"radius_{k + 1}_mm": r for k, r in enumerate(shape.radii_mm)}
    said: dict[str, Estimate] = dict(candidate.figures)
    return {
        name: (said[name].value - value, said[name].sigma) for name, value in true.items() if name in said
    }


def _crown_courses(arch: SimulatedArch, station: Estimate, original: Candidate) -> float:
    """How far the crown hinge was placed from the true one, in courses."""
    true = curve_of(arch.shape).length_mm
    said = curve_of(original.shape).length_mm
    return float((station.value / said - arch.crown_hinge_mm / true) * arch.n_courses)


def coverage(pairs: list[tuple[float, float]]) -> float:
    """Share of errors within their 95 % interval."""
    error = np.array(pairs)
    return float(np.mean(np.abs(error[:, 0]) <= Z95 * error[:, 1])) if len(error) else float("nan")
