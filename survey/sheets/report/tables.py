"""Tables of the report: candidates, worst courses, templets, laying order, quantities."""

from __future__ import annotations

import math

from survey.condition.result import DeviationMap
from survey.fitting.result import ArchFit
from survey.rebuild.plan import RebuildPlan, Templet
from survey.sheets.condition.worst_words import advice_once
from survey.sheets.drawing import Anchor
from survey.sheets.kit.schedule import Column, Schedule, figure
from survey.sheets.report.step_words import common_clauses, own_words

_LEFT = Anchor.LEFT


def candidates_schedule(fit: ArchFit) -> Schedule:
    """Every family with its probability and its main figures, the likeliest first."""
    columns = (
        Column("curve", _LEFT),
        Column("probability\n%"),
        Column("clear\nspan"),
        Column("rise"),
        Column("radii", _LEFT),
        Column("rms of\npoints"),
    )
    ordered = sorted(fit.candidates.values(), key=lambda c: -fit.verdict.probability.get(c.family, 0.0))
    rows = []
    for candidate in ordered:
        name = candidate.family.value.replace("_", "-")
        probability = figure(100.0 * fit.verdict.probability.get(candidate.family, 0.0), 1)
        shape = candidate.shape
        if not candidate.converged:
            rows.append((name, probability, "", "", "did not fit", ""))
            continue
        radii = ", ".join(figure(radius) for radius in shape.radii_mm)
        span, rise = figure(2 * shape.half_span_mm, 1), figure(shape.rise_mm, 1)
        rows.append((name, probability, span, rise, radii, figure(candidate.rms_mm, 1)))
    return Schedule(columns, tuple(rows), "Curves tried, mm")


def worst_schedule(map_: DeviationMap) -> Schedule:
    """The courses to look at first."""
    columns = (
        Column("ring/\ncourse", _LEFT),
        Column("what", _LEFT, wrap_mm=42.0),
        Column("how much", _LEFT, wrap_mm=42.0),
        Column("what to do", _LEFT, wrap_mm=60.0),
    )
    rows = tuple(
        (f"{w.ring}/{w.course}", w.what, w.how_much, todo)
        for w, todo in zip(map_.worst, advice_once(map_.worst), strict=True)
    )
    return Schedule(columns, rows, "Courses to look at first")


def templets_schedule(plan: RebuildPlan) -> Schedule:
    """Cut and moulded pieces still needed, with the courses they serve."""
    columns = (
        Column("templet", _LEFT),
        Column("pieces"),
        *([Column("laid\nalready")] if some_laid(plan) else ()),
        Column("width\nintrados"),
        Column("width\nextrados"),
        Column("depth"),
        Column("bevel\ndegrees"),
        Column("cut", _LEFT),
        Column("ring: courses", _LEFT, wrap_mm=62.0),
    )
    rows = tuple(
        (
            t.name,
            *pieces_cells(plan, t),
            figure(t.width_intrados_mm, 1),
            figure(t.width_extrados_mm, 1),
            figure(t.depth_mm),
            figure(math.degrees(t.bevel_rad), 2),
            "cut" if t.cut else "whole",
            courses_cell(plan, t),
        )
        for t in plan.templets
    )
    return Schedule(columns, rows)


def some_laid(plan: RebuildPlan) -> bool:
    """Whether any piece of a templet is laid already."""
    return any(len(plan.still_to_cut(t)) < t.count for t in plan.templets)


def pieces_cells(plan: RebuildPlan, templet: Templet) -> tuple[str, ...]:
    """Pieces still to cut and, once any piece of the plan is laid, how many of this templet are."""
    to_cut = len(plan.still_to_cut(templet))
    return (f"{to_cut}", f"{templet.count - to_cut}") if some_laid(plan) else (f"{to_cut}",)


def courses_cell(plan: RebuildPlan, templet: Templet) -> str:
    """The courses pieces are still to be cut for."""
    return course_runs(plan.still_to_cut(templet)) or "all laid"


def course_runs(courses: tuple[tuple[int, int], ...]) -> str:
    """(ring, course) pairs in words, runs drawn together.

    Examples
    --------
    >>> course_runs(((1, 3), (1, 4), (1, 5), (1, 9), (2, 1)))
    '1: 3–5, 9; 2: 1'
    """
    parts = []
    for ring in sorted({r for r, _ in courses}):
        numbers = sorted(c for r, c in courses if r == ring)
        runs: list[list[int]] = []
        for number in numbers:
            if runs and number == runs[-1][-1] + 1:
                runs[-1].append(number)
            else:
                runs.append([number])
        words = (f"{run[0]}–{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)
        parts.append(f"{ring}: {', '.join(words)}")
    return "; ".join(parts)


def laying_schedule(plan: RebuildPlan) -> Schedule:
    """The order of laying; steps at which a second person checks are marked.

    What holds for every brick of a ring is not in it
    (:func:`survey.sheets.report.step_words.every_brick`).
    """
    common = common_clauses(plan)
    columns = (
        Column("step"),
        Column("ring"),
        Column("course"),
        Column("side", _LEFT),
        Column("from\nspringing"),
        Column("from\ncrown"),
        Column("bevel\ndegrees"),
        Column("joint\nbelow"),
        Column("joint\nabove"),
        Column("depth\ngauge"),
        Column("which brick, and what else", _LEFT, wrap_mm=44.0),
    )
    rows = tuple(
        (
            f"{s.step}",
            f"{s.ring}",
            f"{s.course}",
            s.side,
            figure(s.from_springing_mm, 1),
            figure(s.from_crown_mm, 1),
            figure(math.degrees(s.bevel_rad), 1),
            figure(s.joint_below_mm, 1),
            figure(s.joint_above_mm, 1),
            figure(s.depth_gauge_mm),
            ("STOP: " if s.stop else "") + own_words(s, common),
        )
        for s in plan.laying
    )
    return Schedule(columns, rows)


def quantities_schedule(plan: RebuildPlan) -> Schedule:
    """Bricks, mortar and timber with the wastage allowed."""
    columns = (
        Column("item", _LEFT, wrap_mm=46.0),
        Column("amount"),
        Column("waste\n%"),
        Column("order"),
        Column("unit", _LEFT),
        Column("note", _LEFT, wrap_mm=56.0),
    )
    rows = tuple(
        (q.item, _amount(q.amount), figure(100 * q.waste_ratio), _amount(q.order), q.unit, q.note)
        for q in plan.quantities
    )
    return Schedule(columns, rows)


def _amount(value: float) -> str:
    """Whole counts without decimals, measures with three figures."""
    return (
        figure(value)
        if value == round(value)
        else figure(value, 0 if value >= 100 else 1 if value >= 10 else 2)
    )
