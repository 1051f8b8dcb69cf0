"""Every sheet of every demo record, through the real rooms: legible, on the paper, with its cautions."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest
from sheets.legibility import outside, overprints, said

from survey.condition import map_deviations
from survey.fitting import fit_arch
from survey.rebuild import plan_rebuild
from survey.record import read_record
from survey.sheets.condition.sets import make_deviation_sets
from survey.sheets.fit.sets import make_fit_sets
from survey.sheets.rebuild.sets import make_rebuild_sets
from survey.sheets.record.sets import make_record_sets

DEMOS = Path(__file__).parents[2] / "datasets"
NAMES = sorted(path.parent.name for path in DEMOS.glob("*/arch.toml"))


@lru_cache
def rebuilt(name):
    record = read_record(DEMOS / name)
    fit = fit_arch(record)
    plan = plan_rebuild(record, fit)
    return plan, make_rebuild_sets(record, fit, plan)


@lru_cache
def sets_of(name):
    record = read_record(DEMOS / name)
    fit = fit_arch(record)
    map_ = map_deviations(record, fit)
    return (
        *make_record_sets(record),
        *make_fit_sets(record, fit),
        *make_deviation_sets(record, fit, map_),
        *rebuilt(name)[1],
    )


def test_there_are_demo_records():
    assert len(NAMES) >= 3


@pytest.mark.parametrize("name", NAMES)
def test_no_sheet_prints_text_over_text_or_off_the_paper(name):
    for made in sets_of(name):
        for sheet in made.sheets:
            assert overprints(sheet) == [], sheet.name
            assert outside(sheet, 5.0) == [], sheet.name


@pytest.mark.parametrize("name", NAMES)
def test_every_set_that_leads_to_work_prints_all_cautions(name):
    plan, sets = rebuilt(name)
    for made in sets:
        words = said(made.sheets)
        assert all(caution in words for caution in plan.cautions), made.name


@pytest.mark.parametrize("name", NAMES)
def test_sheets_of_a_set_have_names_of_their_own(name):
    names = [sheet.name for made in sets_of(name) for sheet in made.sheets]
    assert len(names) == len(set(names))
