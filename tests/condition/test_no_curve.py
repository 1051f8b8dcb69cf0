"""An arch set out to none of the families: nothing is named that rests on the nearest curve."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from condition.factory import LaidRing, fit_of, note, record_of

from survey.condition import DeviationMap, map_deviations
from survey.condition.no_curve import NO_CURVE
from survey.curves import semicircular
from survey.fitting.result import Verdict
from survey.record.model import Condition, Record

SHAPE = semicircular(1500.0)
N = 76
AWAY = {c: 25.0 * math.sin(9.0 * c / N) + (-14.0 if c == 40 else 0.0) for c in range(1, N + 1)}
"""Deviations of an arch that leaves its nearest curve in long runs, one course out of line."""


def judged(record: Record, *, none: bool, insisted: bool = False) -> DeviationMap:
    fit = fit_of(record, SHAPE, irregularity_mm=1.2, correlation_length_mm=185.0)
    if none:
        verdict = Verdict(None, True, {SHAPE.family: 1e-9}, "none fits", None)
        fit = replace(fit, verdict=verdict, is_insisted=insisted)
    return map_deviations(record, fit)


def laid(off: Mapping[int, float]) -> Record:
    return record_of(SHAPE, [LaidRing(N, deviation_mm=off)], noise_seed=11)


def test_one_sentence_stands_in_place_of_all_patterns_that_rest_on_the_curve() -> None:
    record = laid(AWAY)
    assert {p.name for p in judged(record, none=False).patterns} - {NO_CURVE}
    (pattern,) = judged(record, none=True).patterns
    assert (pattern.name, pattern.first_course, pattern.last_course) == (NO_CURVE, 1, N)
    assert "against the nearest curve only and say nothing of damage" in pattern.sentence
    assert math.isclose(pattern.evidence, 9 * math.log(10.0))


def test_a_curve_the_surveyor_insists_on_is_judged_by_whatever_the_verdict() -> None:
    record = laid(AWAY)
    insisted, with_curve = judged(record, none=True, insisted=True), judged(record, none=False)
    assert [p.name for p in insisted.patterns] == [p.name for p in with_curve.patterns]
    assert [c.flag for c in insisted.courses] == [c.flag for c in with_curve.courses]


def test_no_course_is_called_out_for_its_deviation_but_the_figures_stay() -> None:
    record = laid(AWAY)
    map_, with_curve = judged(record, none=True), judged(record, none=False)
    words = ("the opening", "bed leans")
    assert any(w in c.flag for c in with_curve.courses for w in words)
    assert not any(w in c.flag for c in map_.courses for w in words)
    assert not any(w in x.what for x in map_.worst for w in words)
    np.testing.assert_array_equal(map_.column(1, "deviation_mm"), with_curve.column(1, "deviation_mm"))


def test_a_step_in_the_soffit_is_called_out_without_a_curve() -> None:
    worst = judged(laid(AWAY), none=True).worst
    assert {39, 40} <= {x.course for x in worst if "next course" in x.what}


def test_a_repair_noted_on_site_is_named_without_a_figure_off_the_curve() -> None:
    notes = tuple(note(1, c, condition=Condition.REPLACED) for c in (20, 21, 22))
    record = replace(laid(AWAY), courses=notes)
    (repair,) = (p for p in judged(record, none=True).patterns if p.name == "noted repair")
    assert repair.sentence == "Courses 20 to 22 of ring 1 were replaced, as noted on site."
