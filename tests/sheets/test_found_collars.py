"""Sheets draw a ring at the collar joint the fit found as they draw it where arch.toml gives that joint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from condition.factory import LaidRing, fit_of, record_of

from survey.condition import map_deviations
from survey.condition.comparing.compare import compare_records
from survey.curves import semicircular
from survey.fitting.result import ArchFit, Collar
from survey.rebuild import plan_rebuild
from survey.record.model import Record
from survey.sheets.condition.comparison_sheet import comparison_sheet
from survey.sheets.condition.sets import make_deviation_sets
from survey.sheets.drawing import Sheet
from survey.sheets.fit.sets import make_fit_sets
from survey.sheets.rebuild.sets import make_rebuild_sets
from survey.sheets.render.svg import render_svg

SHAPE = semicircular(900.0)
RINGS = [
    LaidRing(45, 55.0, depth_mm=110.0),
    LaidRing(51, 55.0, ring=2, depth_mm=110.0, collar_mm=11.0),
]
GIVEN = record_of(SHAPE, RINGS)
FIT = fit_of(GIVEN, SHAPE)


def fit_sheets(record: Record, fit: ArchFit) -> list[Sheet]:
    return [sheet for made in make_fit_sets(record, fit) for sheet in made.sheets]


def deviation_sheets(record: Record, fit: ArchFit) -> list[Sheet]:
    made = make_deviation_sets(record, fit, map_deviations(record, fit))
    return [sheet for each in made for sheet in each.sheets]


def rebuild_sheets(record: Record, fit: ArchFit) -> list[Sheet]:
    """All but the cutting list, whose quantities say whether the joint was recorded."""
    made = make_rebuild_sets(record, fit, plan_rebuild(record, fit))
    drawn = [each for each in made if not each.tiled and each.name != "cutting"]
    return [sheet for each in drawn for sheet in each.sheets]


def comparison_sheets(record: Record, fit: ArchFit) -> list[Sheet]:
    compared = compare_records(record, fit, record, fit)
    return list(comparison_sheet(record, record, compared, fit_a=fit))


@pytest.mark.parametrize("draw", [fit_sheets, deviation_sheets, rebuild_sheets, comparison_sheets])
def test_a_ring_is_drawn_where_it_was_found(draw: Callable[[Record, ArchFit], list[Sheet]]) -> None:
    inner, outer = GIVEN.rings
    silent = replace(GIVEN, rings=(inner, replace(outer, collar_mm=0.0, collar_given=False)))
    found = replace(FIT, collars=(Collar(2, 11.0, None, None, 102, "", False),))
    wanted = [render_svg(sheet) for sheet in draw(GIVEN, FIT)]
    assert wanted
    assert [render_svg(sheet) for sheet in draw(silent, found)] == wanted
