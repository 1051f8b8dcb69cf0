"""What the fit sheet says: the verdict, the candidates, the figures, the points, how the curve is struck."""

from __future__ import annotations

import math

from survey.curves import Family, setting_out
from survey.curves.setting_out import ARC_NAMES
from survey.fitting.result import ArchFit, Candidate, Estimate
from survey.sheets.columns import Part, Said
from survey.sheets.drawing import Anchor
from survey.sheets.lettering import plain_text
from survey.sheets.schedule import Column, Schedule, figure

FAMILY_NAMES: dict[Family, str] = {
    Family.SEMICIRCULAR: "semicircular",
    Family.SEGMENTAL: "segmental",
    Family.ELLIPTICAL: "elliptical",
    Family.THREE_CENTRED: "three-centred",
    Family.FIVE_CENTRED: "five-centred",
}
"""Family names as a mason reads them."""
COVERAGE = 1.96
"""Half width of a 95 % interval in standard uncertainties."""
_MOST_NAMES = 12


def fit_parts(fit: ArchFit) -> list[Part]:
    """Everything the fit sheet says, the verdict first."""
    parts: list[Part] = [_verdict(fit), candidate_table(fit)]
    title = "Figures of the chosen curve, mm"
    if fit.movement is not None:
        title = "Figures of the shape as it stands, mm"
        parts.append(figure_table(fit.movement.original, "Figures before it moved, mm"))
    parts.append(figure_table(fit.best, title))
    parts.append(Said("How it is struck", setting_out(fit.best.shape).sentences()))
    parts.append(Said("Points, courses and unit", tuple(_facts(fit))))
    failed = [c for c in fit.candidates.values() if not c.converged and c.because]
    if failed:
        reasons = tuple(f"{FAMILY_NAMES[c.family]}: {c.because}" for c in failed)
        parts.append(Said("Candidates that did not fit", reasons))
    if fit.notes:
        parts.append(Said("What the fit cannot know", fit.notes))
    return [part for part in parts if isinstance(part, Said) or part.rows]


def headline(fit: ArchFit) -> str:
    """The verdict in a few words."""
    if fit.verdict.family is None:
        return "Verdict: none of these families"
    name = FAMILY_NAMES[fit.verdict.family]
    return f"Verdict: {name}" if fit.verdict.clear else f"Verdict: cannot tell; likeliest {name}"


def _verdict(fit: ArchFit) -> Said:
    sentences = [fit.verdict.because]
    if fit.movement is not None:
        chance = figure(100.0 * fit.movement.probability)
        sentences.append(f"It has moved (probability {chance} %). {fit.movement.because}".strip())
    if fit.best.construction:
        sentences.append(f"It agrees with a handbook construction: {fit.best.construction}.")
    return Said(headline(fit), tuple(s for s in sentences if s))


def candidate_table(fit: ArchFit) -> Schedule:
    """Every family with its probability and main figures, the likeliest first."""
    columns = (
        Column("family", Anchor.LEFT),
        Column("probability\n%"),
        Column("half-span"),
        Column("rise"),
        Column("radii", Anchor.LEFT, wrap_mm=34.0),
        Column("rms"),
    )
    ordered = sorted(fit.candidates.values(), key=lambda c: -fit.verdict.probability.get(c.family, 0.0))
    return Schedule(columns, tuple(_candidate_row(fit, c) for c in ordered), "Candidates, mm")


def _candidate_row(fit: ArchFit, candidate: Candidate) -> tuple[str, ...]:
    name = FAMILY_NAMES[candidate.family]
    probability = figure(100 * fit.verdict.probability.get(candidate.family, 0.0), 1)
    if not candidate.converged:
        return (name, probability, "", "", "did not fit", "")
    shape = candidate.shape
    return (
        name,
        probability,
        figure(shape.half_span_mm, 1),
        figure(shape.rise_mm, 1),
        ", ".join(figure(r, 0) for r in shape.radii_mm),
        figure(candidate.rms_mm, 2),
    )


def figure_table(candidate: Candidate, title: str) -> Schedule:
    """Figures of a curve that were found from the points, with standard uncertainty and 95 % interval."""
    named = [
        ("half_span_mm", "half-span", 1.0),
        ("rise_mm", "rise", 1.0),
        ("length_mm", "length along the intrados", 1.0),
    ]
    arcs = ARC_NAMES[len(candidate.shape.radii_mm)] if candidate.shape.radii_mm else ()
    for k, arc in enumerate(arcs, start=1):
        named.append((f"radius_{k}_mm", f"radius at the {arc}" if len(arcs) > 1 else "radius", 1.0))
    named.append(("sector_1_rad", "first sector, degrees", math.degrees(1.0)))
    named.append(("tilt_rad", "tilt, degrees", math.degrees(1.0)))
    columns = (
        Column("figure", Anchor.LEFT),
        Column("value"),
        Column("standard\nuncertainty"),
        Column("95 % interval"),
    )
    rows = tuple(
        _figure_row(words, candidate.figures[name], factor)
        for name, words, factor in named
        if name in candidate.figures and candidate.figures[name].sigma > 0
    )
    return Schedule(columns, rows, title)


def _figure_row(words: str, estimate: Estimate, factor: float) -> tuple[str, ...]:
    value, sigma = estimate.value * factor, estimate.sigma * factor
    decimals = 2 if factor != 1.0 else 1
    low, high = value - COVERAGE * sigma, value + COVERAGE * sigma
    interval = f"{figure(low, decimals)} to {figure(high, decimals)}"
    return (words, figure(value, decimals), figure(sigma, 2), interval)


def _facts(fit: ArchFit) -> list[str]:
    """Which points were used, how regular the arch is, its courses, and the unit it was set out in."""
    points = fit.points
    aside = [n for n, out in zip(points.name, points.set_aside, strict=True) if out]
    sentences = [f"{len(points.name) - len(aside)} points were used."]
    if aside:
        sentences.append(f"Set aside as gross: {_listed(aside)}.")
    if points.down_weighted:
        sentences.append(f"Counted for less than half: {_listed(list(points.down_weighted))}.")
    sentences.append(
        f"The arch itself is irregular by {figure(fit.irregularity_mm, 1)} mm (standard deviation along the "
        f"normal), alike over {figure(fit.correlation_length_mm)} mm of its length."
    )
    for count in fit.courses:
        how = "as counted on site" if count.counted else "inferred from the rhythm"
        sentences.append(f"Ring {count.ring}: {count.count} courses, {how}.")
        sentences += [count.doubt] if count.doubt else []
    if fit.module is not None:
        unit = fit.module
        sentences.append(
            f"It seems set out in units of {figure(unit.unit_mm, 1)} ± {figure(unit.unit_sigma_mm, 1)} mm "
            f"({unit.name}): span {unit.span_units:g}, rise {unit.rise_units:g}; such a match comes by "
            f"chance in {figure(100 * unit.chance_probability, 1)} %."
        )
    return sentences


def _listed(names: list[str]) -> str:
    """Point names in a row, the rest of a long list counted."""
    shown = ", ".join(plain_text(name) for name in names[:_MOST_NAMES])
    more = len(names) - _MOST_NAMES
    return f"{shown} and {more} more" if more > 0 else shown
