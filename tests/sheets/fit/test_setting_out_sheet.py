"""The setting-out sheet names the curve it is about where an arch has more than one."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheets.cases import cases
from sheets.condition_cases import MOVES, moved
from sheets.legibility import said

from survey.curves import setting_out
from survey.sheets.fit.setting_out_sheet import setting_out_pages
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
