"""What the report says of the curve: a difference only where there are two, the unit in readable figures."""

from __future__ import annotations

from dataclasses import replace

from sheets.condition_cases import demo

from survey.fitting.result import Module
from survey.sheets.report.report import _fit_section


def test_the_difference_of_two_curves_is_told_and_that_of_one_is_not() -> None:
    fit = demo("cellar_doorway").fit
    apart = fit.verdict.largest_difference_mm
    told = f"Over the arch the two likeliest curves lie at most {apart:.1f} mm apart."
    assert told in _fit_section(fit, ()).sentences
    alone = replace(fit, verdict=replace(fit.verdict, largest_difference_mm=None))
    assert not any("likeliest curves" in words for words in _fit_section(alone, ()).sentences)


def test_the_unit_is_told_in_figures_a_mason_reads() -> None:
    unit = Module(278.6, 0.4, "Castilian foot", "a table", 4.99712, 2.00213, 0.001)
    said = _fit_section(replace(demo("cellar_doorway").fit, module=unit), ()).sentences
    wanted = "Module: Castilian foot, 278.6 mm; span 5.00, rise 2.00 units (such a match by chance: 0.1 %)."
    assert wanted in said
