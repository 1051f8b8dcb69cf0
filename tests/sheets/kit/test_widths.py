"""Widths and print of tables: as wide as their words ask for, as large as costs no further page."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets.legibility import outside, overprints, said

from survey.sheets.drawing import Anchor, Box, Sheet, Text
from survey.sheets.kit.lettering import text_width_mm
from survey.sheets.kit.schedule import (
    Column,
    Schedule,
    figure,
    flow,
    pages_needed,
    schedule_height_mm,
    schedule_primitives,
    schedule_width_mm,
)
from survey.sheets.kit.widths import LARGE_PRINT_MM, in_large_print, widened

NOTE = "a note that needs two lines in its column"
COLUMNS = (Column("course"), Column("from\nleft"), Column("note", Anchor.LEFT, wrap_mm=30.0))
BOX = Box(0.0, 0.0, 380.0, 200.0)


def table(n: int, note: str = NOTE) -> Schedule:
    rows = tuple((f"{k}", figure(17.3 * k, 1), note if k % 3 == 0 else "") for k in range(n))
    return Schedule(COLUMNS, rows, "Courses", ruled_before=frozenset({0, n // 2}))


def lines_of(schedule: Schedule) -> list[str]:
    marks = schedule_primitives(schedule, 0.0, 200.0)
    return [m.text for m in marks if isinstance(m, Text) and not m.bold]


def test_a_short_table_is_set_in_the_largest_print_that_needs_no_further_page():
    short = in_large_print(table(8), BOX)
    assert short.height_mm == LARGE_PRINT_MM[0]
    heads = [m for m in flow(short, BOX)[0] if isinstance(m, Text) and m.text == short.title]
    assert {m.height_mm for m in heads} == {LARGE_PRINT_MM[0]}
    for rows in (40, 120, 300, 5000):
        chosen = in_large_print(table(rows), BOX)
        assert len(flow(chosen, BOX)) <= len(flow(table(rows), BOX))


@pytest.mark.parametrize("rows", [8, 40, 120, 300])
def test_no_larger_print_would_do_whatever_the_width(rows):
    pages = len(flow(table(rows), BOX))
    chosen = in_large_print(table(rows), BOX)
    for height in (h for h in LARGE_PRINT_MM if h > chosen.height_mm):
        for wrap in range(30, 120, 3):
            columns = (*COLUMNS[:2], replace(COLUMNS[2], wrap_mm=wrap * height / 2.0))
            tried = replace(table(rows), height_mm=height, columns=columns)
            assert schedule_width_mm(tried) > BOX.width or len(flow(tried, BOX)) > pages


def test_a_few_rows_over_are_taken_on_by_a_smaller_print():
    rows = tuple((f"{k}", figure(17.3 * k, 1), "") for k in range(900))
    own = Schedule(COLUMNS, rows, "Courses", height_mm=2.2)
    counts = [n for n in range(100, 900) if _pages(own, n, 2.0) < _pages(own, n, 2.2)]
    assert counts
    for n in counts[:: max(1, len(counts) // 5)]:
        chosen = in_large_print(replace(own, rows=rows[:n]), BOX)
        assert chosen.height_mm == 2.0
        assert len(flow(chosen, BOX)) == _pages(own, n, 2.0)


def _pages(schedule: Schedule, n: int, height: float) -> int:
    """Pages of the first rows of a table whose last column holds no words and keeps its heading's width."""
    narrow = replace(COLUMNS[2], wrap_mm=text_width_mm("note", height, bold=True))
    tried = replace(schedule, rows=schedule.rows[:n], height_mm=height, columns=(*COLUMNS[:2], narrow))
    return pages_needed(tried, BOX)


def test_a_column_that_has_room_does_not_wrap():
    schedule = in_large_print(table(8), BOX)
    assert lines_of(schedule).count(NOTE) == 3
    assert schedule.columns[2].wrap_mm == pytest.approx(text_width_mm(NOTE, schedule.height_mm))


def test_short_words_take_no_more_than_they_need():
    schedule = Schedule((Column("a", Anchor.LEFT, wrap_mm=60.0),), (("short",),), "T", 2.2)
    assert widened(schedule, 300.0).columns[0].wrap_mm == pytest.approx(text_width_mm("short", 2.2))


@given(st.floats(10.0, 300.0), st.integers(1, 12), st.integers(1, 12))
@settings(max_examples=60, deadline=None)
def test_widened_columns_stay_in_the_width_and_never_take_more_lines(width, n, m):
    columns = (
        Column("no."),
        Column("one", Anchor.LEFT, wrap_mm=20.0),
        Column("two", Anchor.LEFT, wrap_mm=30.0),
    )
    schedule = Schedule(columns, (("1", "word " * n, "other " * m),), "T", 2.2)
    wide = widened(schedule, width)
    assert schedule_width_mm(wide) <= max(width, schedule_width_mm(schedule)) + 1e-6
    assert schedule_height_mm(wide) <= schedule_height_mm(schedule) + 1e-9


def test_no_room_leaves_the_least_widths():
    assert widened(table(8), 10.0) == table(8)


def test_a_table_wider_than_its_box_is_left_to_be_refused():
    assert in_large_print(table(8), Box(0.0, 0.0, 40.0, 200.0)) == table(8)


def test_every_entry_is_printed_on_the_paper():
    large = in_large_print(table(120), BOX)
    for page in (pages := flow(large, BOX)):
        sheet = Sheet("p", "p", 390.0, 210.0, (), page)
        assert overprints(sheet) == []
        assert outside(sheet) == []
    words = said(tuple(Sheet("p", "p", 390.0, 210.0, (), page) for page in pages))
    assert all(figure(17.3 * k, 1) in words for k in range(120))
