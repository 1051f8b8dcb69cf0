"""What the fit sheet says: the verdict, the candidates, the figures, the points, how the curve is struck."""

from __future__ import annotations

import math

from survey.curves import Family, setting_out
from survey.curves.setting_out import ARC_NAMES
from survey.fitting.result import ArchFit, Candidate, Estimate
from survey.sheets.drawing import Anchor
from survey.sheets.kit.columns import Part, Said
from survey.sheets.kit.lettering import plain_text
from survey.sheets.kit.schedule import Column, Schedule, figure

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
    if fit.movement is None:
        curve = chosen_words(fit)
        parts.append(figure_table(fit.best, f"Figures of the {curve} curve, mm"))
        title = "How it is struck" if curve == "chosen" else f"How the {curve} curve is struck"
        parts.append(Said(title, setting_out(fit.best.shape).sentences()))
    else:
        original = fit.movement.original
        parts.append(figures_before_and_now(original, fit.best))
        parts.append(Said("How the arch was struck before it moved", setting_out(original.shape).sentences()))
        struck = setting_out(fit.best.shape).sentences()
        parts.append(Said("How a curve through the shape as it stands is struck", struck))
    parts.append(Said("Points, courses and unit", tuple(_facts(fit))))
    failed = [c for c in fit.candidates.values() if not c.converged and c.because]
    if failed:
        reasons = tuple(f"{FAMILY_NAMES[c.family]}: {c.because}" for c in failed)
        parts.append(Said("Candidates that did not fit", reasons))
    if fit.notes:
        parts.append(Said("What the fit cannot know", fit.notes))
    return [part for part in parts if isinstance(part, Said) or part.rows]


def chosen_words(fit: ArchFit) -> str:
    """What the curve drawn heavy is: the chosen one, as the arch stands, or but the nearest."""
    if fit.movement is not None:
        return "chosen, as it stands"
    return "chosen" if fit.verdict.family is not None else "nearest"


def headline(fit: ArchFit) -> str:
    """The verdict in a few words."""
    if fit.verdict.family is None:
        return "Verdict: none of these families"
    name = FAMILY_NAMES[fit.verdict.family] + ("" if fit.movement is None else ", and it has moved")
    return f"Verdict: {name}" if fit.verdict.clear else f"Verdict: cannot tell; likeliest {name}"


def _verdict(fit: ArchFit) -> Said:
    sentences = [fit.verdict.because]
    if fit.movement is not None:
        chance = figure(100.0 * fit.movement.probability)
        sentences.append(f"It has moved (probability {chance} %). {fit.movement.because}".strip())
    meant = fit.best if fit.movement is None else fit.movement.original
    if meant.construction:
        agrees = "It agrees" if fit.movement is None else "Before it moved it agreed"
        sentences.append(f"{agrees} with a handbook construction: {meant.construction}.")
    return Said(headline(fit), tuple(s for s in sentences if s))


def candidate_table(fit: ArchFit) -> Schedule:
    """Every family with its probability and main figures, the likeliest first; the nearest if none fits."""
    columns = (
        Column("family", Anchor.LEFT),
        Column("probability\n%"),
        Column("half-span"),
        Column("rise"),
        Column("radii", Anchor.LEFT, wrap_mm=34.0),
        Column("rms"),
    )
    ordered = sorted(fit.candidates.values(), key=lambda c: -fit.verdict.probability.get(c.family, 0.0))
    if fit.verdict.clear and fit.verdict.family is None:
        ordered.sort(key=lambda candidate: (not candidate.converged, candidate.rms_mm))
    title = "Candidates, mm" if fit.movement is None else "Candidates for the shape as it stands, mm"
    return Schedule(columns, tuple(_candidate_row(fit, c) for c in ordered), title)


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
    columns = (
        Column("figure", Anchor.LEFT),
        Column("value"),
        Column("standard\nuncertainty"),
        Column("95 % interval"),
    )
    return Schedule(columns, tuple((words, *row) for words, row in _figure_rows(candidate).items()), title)


def figures_before_and_now(original: Candidate, now: Candidate) -> Schedule:
    """Figures of an arch before it moved, and beside them those of the shape as it stands."""
    columns = (
        Column("figure", Anchor.LEFT),
        Column("before\nit moved"),
        Column("±1σ"),
        Column("95 % interval"),
        Column("as it\nstands"),
        Column("±1σ"),
    )
    before, after = _figure_rows(original), _figure_rows(now)
    rows = tuple(
        (words, *before.get(words, ("", "", "")), *after.get(words, ("", ""))[:2])
        for words in dict.fromkeys((*before, *after))
    )
    return Schedule(columns, rows, "Figures before it moved and as it stands, mm")


def _figure_rows(candidate: Candidate) -> dict[str, tuple[str, str, str]]:
    """Value, standard uncertainty and 95 % interval of every figure found from the points, by its name."""
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
    return {
        words: _figure_row(candidate.figures[name], factor)
        for name, words, factor in named
        if name in candidate.figures and candidate.figures[name].sigma > 0
    }


def _figure_row(estimate: Estimate, factor: float) -> tuple[str, str, str]:
    value, sigma = estimate.value * factor, estimate.sigma * factor
    decimals = 2 if factor != 1.0 else 1
    low, high = value - COVERAGE * sigma, value + COVERAGE * sigma
    interval = f"{figure(low, decimals)} to {figure(high, decimals)}"
    return (figure(value, decimals), figure(sigma, 2), interval)


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
            f"({unit.name}): span {figure(unit.span_units, 2)}, rise {figure(unit.rise_units, 2)}; such a "
            f"match comes by chance in {figure(100 * unit.chance_probability, 1)} %."
        )
    return sentences


def _listed(names: list[str]) -> str:
    """Point names in a row, the rest of a long list counted."""
    shown = ", ".join(plain_text(name) for name in names[:_MOST_NAMES])
    more = len(names) - _MOST_NAMES
    return f"{shown} and {more} more" if more > 0 else shown
