"""The setting-out sheet names the curve it is about where an arch has more than one."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheets.cases import cases
from sheets.condition_cases import DEMOS, MOVES, demo, moved
from sheets.handmade import RingSpec, handmade
from sheets.legibility import outside, overprints, said

from survey.curves import segmental, setting_out
from survey.rebuild import plan_rebuild
from survey.sheets.fit.facts import facts_schedule
from survey.sheets.fit.setting_out_sheet import how_to_read, setting_out_pages
from survey.sheets.kit.page import TitleBlock, finish


def words_of(choice: str, *, has_moved: bool) -> tuple[str, tuple[str, ...]]:
    """Everything the sheets say, and the sentences of the plan's curve."""
    made = next(iter(cases().values()))
    movement = moved(next(iter(MOVES))).fit.movement if has_moved else None
    plan = replace(made.plan, choice=choice)
    pages = setting_out_pages(replace(made.fit, movement=movement), plan)
    return said(finish(pages, TitleBlock.of(made.record))), setting_out(plan.shape).sentences()


@pytest.mark.parametrize(
    ("choice", "title"),
    [
        ("original", "How the intrados is set out, as before it moved"),
        ("present", "How the intrados is set out, to the springings of today"),
        ("surveyed", "How the intrados is set out, through the arch as it stands"),
        ("segmental", "How the intrados is set out, through the arch as it stands"),
    ],
)
def test_a_moved_arch_says_which_curve_is_set_out(choice: str, title: str) -> None:
    words, sentences = words_of(choice, has_moved=True)
    assert title in words
    assert all(sentence in words for sentence in sentences)


def test_an_arch_that_has_not_moved_has_but_one_curve() -> None:
    words, _ = words_of("segmental", has_moved=False)
    assert "How the intrados is set out" in words
    assert "How the intrados is set out," not in words


@pytest.mark.parametrize("n_notes", [0, 3, 40, 160])
def test_notes_stand_below_a_short_table_and_on_pages_of_their_own_below_a_long_one(n_notes):
    made = handmade(shape=segmental(1400.0, 200.0), rings=(RingSpec(100.0, 60.0, 20),), missing=range(0))
    said_in_full = tuple(f"Note {k}: the joints of this course are wide." for k in range(n_notes))
    plan = replace(made.plan, warnings=(), notes=said_in_full)
    sheets = finish(setting_out_pages(made.fit, plan), TitleBlock.of(made.record))
    words = said(sheets)
    assert all(f"Note {k}:" in words for k in range(n_notes))
    assert all(overprints(sheet) == [] and outside(sheet, 10.0) == [] for sheet in sheets)
    titles = [sheet.title for sheet in sheets[1:]]
    table = "Setting-out table of the courses"
    if n_notes == 3:
        assert titles == [f"{table}, and notes"]
    else:
        assert titles[0] in (table, f"{table}, and notes")
        assert n_notes < 160 or titles[:2] == [table, "Notes to the rebuild"]
        assert n_notes or titles == [table]


@pytest.mark.parametrize("name", DEMOS)
def test_where_the_middle_of_the_rib_stands_is_told_where_it_is_not_that_of_the_frame(name):
    """The marks' own two ways to count x differ by it."""
    made = demo(name)
    plan = plan_rebuild(made.record, made.fit)
    mark = plan.centring.marks[0]
    off = mark.x_mm - mark.from_axis_mm
    told = f"The rib's own middle stands at x = {off:.1f}.".replace("-", "−")
    assert (told in " ".join(how_to_read(plan))) == (abs(off) >= 0.05)


@pytest.mark.parametrize(("name", "headings"), [("cellar_doorway", 3), ("cart_gateway", 2)])
def test_a_curve_without_uncertainties_has_no_column_for_them(name: str, headings: int) -> None:
    # The gateway is built to the springings of today: a curve of the plan, not one that was fitted.
    case = demo(name)
    table = facts_schedule(case.fit, plan_rebuild(case.record, case.fit))
    assert len(table.columns) == headings
    assert all(len(row) == headings for row in table.rows)
