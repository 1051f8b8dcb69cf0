"""The numbers a reader looks for first: the curve's setting-out figures and the rings, as tables."""

from __future__ import annotations

import math
from dataclasses import dataclass

from survey.curves import ChainOfArcs, curve_of
from survey.fitting.result import ArchFit
from survey.rebuild.plan import CurveChoice, RebuildPlan
from survey.sheets.drawing import Anchor
from survey.sheets.kit.schedule import Column, Schedule, figure


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of the facts beside an elevation."""

    what: str
    value: str
    sigma: str


def shape_facts(fit: ArchFit, plan: RebuildPlan) -> tuple[Fact, ...]:
    """The numbers the curve is set out with, with uncertainties where the plan follows the fitted curve."""
    shape = plan.shape
    figures = fit.best.figures if fit.best.shape == shape else {}

    def fact(what: str, value: float, name: str, decimals: int = 1, factor: float = 1.0) -> Fact:
        estimate = figures.get(name)
        sigma = "" if estimate is None else figure(factor * estimate.sigma, decimals)
        return Fact(what, figure(value, decimals), sigma)

    facts = [
        fact("clear span", 2 * shape.half_span_mm, "half_span_mm", factor=2.0),
        fact("rise", shape.rise_mm, "rise_mm"),
    ]
    for k, radius in enumerate(shape.radii_mm, start=1):
        facts.append(fact(f"radius {k}", radius, f"radius_{k}_mm"))
    for k, angle in enumerate(shape.sector_angles_rad, start=1):
        name = f"sector angle {k}, degrees"
        facts.append(Fact(name, figure(math.degrees(angle), 3), ""))
    curve = curve_of(shape)
    if not isinstance(curve, ChainOfArcs):
        apart = math.dist(curve.foci_mm[0], curve.foci_mm[1])
        facts.append(Fact("foci F1 to F2", figure(apart, 1), ""))
    facts.append(Fact("length of the intrados", figure(curve.length_mm, 1), ""))
    return tuple(facts)


def facts_schedule(fit: ArchFit, plan: RebuildPlan) -> Schedule:
    """Facts of the curve as a table; no column for uncertainties where the fit states none of this curve."""
    facts = shape_facts(fit, plan)
    columns = (Column(_family_words(plan), Anchor.LEFT), Column("mm"))
    if not any(fact.sigma for fact in facts):
        return Schedule(columns, tuple((fact.what, fact.value) for fact in facts))
    rows = tuple((fact.what, fact.value, fact.sigma) for fact in facts)
    return Schedule((*columns, Column("±1σ")), rows)


_CHOICES = {
    CurveChoice.ORIGINAL.value: ", as before it moved",
    CurveChoice.PRESENT.value: ", to the springings of today",
    CurveChoice.SURVEYED.value: ", as surveyed",
}
"""Choices of the curve in the words of the sheets; a family chosen by name needs none."""


def _family_words(plan: RebuildPlan) -> str:
    return f"{plan.shape.family.value.replace('_', '-')} curve{_CHOICES.get(plan.choice, '')}"


def rings_schedule(plan: RebuildPlan) -> Schedule:
    """Rings with counts and joints as a table."""
    columns = tuple(
        Column(heading)
        for heading in ("ring", "courses", "depth", "least\njoint", "greatest\njoint", "depth\ngauge")
    )
    rows = []
    for ring in plan.rings:
        joints = plan.joints_mm(ring.ring)
        count = f"{ring.count}" if ring.counted else f"{ring.count} (inferred)"
        rows.append(
            (
                f"{ring.ring}" + (" sawtooth" if ring.sawtooth else ""),
                count,
                figure(ring.depth_mm),
                figure(float(joints.min()), 1),
                figure(float(joints.max()), 1),
                figure(ring.depth_gauge_mm),
            )
        )
    return Schedule(columns, tuple(rows))
