"""The print of cautions: as large as costs nothing else, never below the least, never left out."""

from __future__ import annotations

import re

import pytest
from sheets.condition_cases import moved
from sheets.legibility import sheet_texts
from sheets.worked import works

from survey.errors import DrawingError
from survey.sheets.condition.movement_sheet import movement_sheet
from survey.sheets.drawing import Box, Layer
from survey.sheets.kit import ink
from survey.sheets.kit.caution_print import CAUTION_PRINTS_MM, in_caution_print
from survey.sheets.kit.columns import Said, cautioned_columns
from survey.sheets.kit.furniture import CAUTION_MM
from survey.sheets.kit.page import TitleBlock, finish
from survey.sheets.rebuild.cutting import cutting_sheets
from survey.sheets.rebuild.elevation_sheet import elevation_pages
from survey.sheets.rebuild.rhythm import rhythm_sheets
from survey.sheets.rebuild.rib import rib_sheets
from survey.sheets.rebuild.template import template_pages
from survey.sheets.rebuild.templets import templet_sheets

WORKS = works()


def test_prints_are_tried_from_the_largest_and_none_is_below_what_reads_on_a_site():
    assert list(CAUTION_PRINTS_MM) == sorted(CAUTION_PRINTS_MM, reverse=True)
    assert CAUTION_PRINTS_MM[0] == CAUTION_MM == 2.5
    assert CAUTION_PRINTS_MM[-1] >= 2.0


@pytest.mark.parametrize(("dear_above", "taken"), [(9.0, 2.5), (2.3, 2.2), (2.1, 2.0)])
def test_the_largest_print_that_costs_no_more_is_taken(dear_above, taken):
    assert in_caution_print(lambda size: size, lambda size: (float(size > dear_above),)) == taken


def test_a_print_that_does_not_fit_is_passed_over():
    def make(size):
        if size > 2.4:
            raise DrawingError("no room")
        return size

    assert in_caution_print(make, lambda _: (1.0,)) == 2.2


def test_what_does_not_fit_in_any_print_is_refused():
    def make(_size):
        raise DrawingError("no room")

    with pytest.raises(DrawingError, match="no room"):
        in_caution_print(make, lambda _: (1.0,))


def test_words_beside_cautions_take_no_further_sheet_for_their_print():
    column, further = Box(0.0, 0.0, 120.0, 100.0), (Box(0.0, 0.0, 120.0, 200.0),)
    warned = ("keep from under the arch until it is propped. " * 6,)
    for n_words in range(0, 60, 5):
        parts = [Said("Words", ("some words to set " * 5,) * n_words)] if n_words else []
        pages = cautioned_columns(parts, warned, column, further)
        sizes = {m.height_mm for m in pages[0] if m.style.layer is Layer.CAUTION and hasattr(m, "height_mm")}
        assert min(sizes) >= 2.0
        if n_words == 0:
            assert sizes == {CAUTION_MM}


def made_sheets(made):
    block = TitleBlock.of(made.record)
    yield from finish(elevation_pages(made.record, made.fit, made.plan), block)
    yield from finish(template_pages(made.record, made.plan, "A4")[:1], block)
    for make in (cutting_sheets, rhythm_sheets, rib_sheets, templet_sheets):
        yield from make(made.record, made.fit, made.plan)


@pytest.mark.parametrize("name", ["gateway", "window", "large"])
def test_nothing_on_a_sheet_for_the_site_is_smaller_than_the_least_print(name):
    for sheet in made_sheets(WORKS[name]):
        small = {t.text for t in sheet_texts(sheet) if t.height_mm < ink.SMALL_TEXT_MM - 1e-9}
        # names of tiles on the map of a template are as small as its tiles
        assert {words for words in small if not re.fullmatch(r"[A-Z]+\d+", words)} == set(), sheet.title


def test_cautions_are_printed_large_where_the_sheet_has_room():
    made = WORKS["gateway"]
    for sheet in (*rhythm_sheets(made.record, made.fit, made.plan), movement_sheet_of("spread semicircle")):
        sizes = {t.height_mm for t in sheet_texts(sheet) if t.style.layer is Layer.CAUTION}
        assert sizes == {CAUTION_MM}


def movement_sheet_of(name):
    made = moved(name)
    return movement_sheet(made.record, made.fit, made.map_)[0]
