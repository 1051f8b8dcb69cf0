"""Tables: every row is printed once, nothing overlaps, and what cannot fit is refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets.legibility import outside, overprints, sheet_texts

from survey.errors import DrawingError
from survey.sheets.drawing import Anchor, Box, Sheet
from survey.sheets.kit.schedule import (
    Column,
    Schedule,
    figure,
    fixed,
    flow,
    rows_that_fit,
    schedule_height_mm,
    schedule_primitives,
    schedule_width_mm,
)

COLUMNS = (Column("course"), Column("from\nleft"), Column("note", Anchor.LEFT, wrap_mm=30.0))


def table(n: int, note: str = "a note that needs two lines in its column") -> Schedule:
    rows = tuple((f"{k}", figure(17.3 * k, 1), note if k % 3 == 0 else "") for k in range(n))
    return Schedule(COLUMNS, rows, "Courses", ruled_before=frozenset({0, n // 2}))


@given(st.integers(0, 90), st.floats(60.0, 260.0), st.floats(40.0, 200.0))
@settings(max_examples=25, deadline=None)
def test_flow_prints_every_row_once_inside_the_box(n, width, height):
    schedule, box = table(n), Box(10.0, 10.0, width, height)
    pages = flow(schedule, box)
    printed = []
    for page in pages:
        sheet = Sheet("p", "p", width + 20.0, height + 20.0, (), page)
        assert not overprints(sheet)
        assert not outside(sheet, 10.0 - 1e-6)
        printed += [t.text for t in sheet_texts(sheet) if not t.bold]
    entries = [entry for row in schedule.rows for entry in row if entry]
    assert "".join(printed).replace(" ", "") == "".join(entries).replace(" ", "")


def test_columns_are_wider_than_their_entries():
    sheet = Sheet("p", "p", 200.0, 300.0, (), schedule_primitives(table(12), 5.0, 295.0))
    assert not overprints(sheet)
    assert schedule_width_mm(table(12)) < 70.0


def test_height_is_where_the_last_rule_stands():
    marks = schedule_primitives(table(12), 5.0, 295.0)
    assert min(y for m in marks if hasattr(m, "start") for _, y in (m.start, m.end)) == pytest.approx(
        295.0 - schedule_height_mm(table(12))
    )


def test_rows_that_fit_do_and_one_more_would_not():
    schedule = table(40)
    for height in (30.0, 61.3, 100.0):
        count = rows_that_fit(schedule, height)
        part = Schedule(COLUMNS, schedule.rows[:count], "Courses")
        more = Schedule(COLUMNS, schedule.rows[: count + 1], "Courses")
        assert schedule_height_mm(part) <= height + 1e-9 < schedule_height_mm(more)
    assert rows_that_fit(schedule, 1e4) == 40


def test_parts_of_a_table_keep_its_widths():
    whole = fixed(table(200))
    part = fixed(Schedule(COLUMNS, whole.rows[:2], "Courses", widths_mm=whole.widths_mm))
    assert schedule_width_mm(part) == schedule_width_mm(whole)


def test_row_with_too_few_entries_is_refused():
    with pytest.raises(DrawingError, match=r"row 2 of the table 'T' has 1 entry for 2 columns"):
        schedule_width_mm(Schedule((Column("a"), Column("b")), (("1", "2"), ("3",)), "T"))


def test_table_wider_than_the_sheet_is_refused():
    with pytest.raises(DrawingError, match=r"the table 'Courses' is \d+ mm wide and the sheet has 30 mm"):
        flow(table(3), Box(0.0, 0.0, 30.0, 100.0))


def test_row_higher_than_the_sheet_is_refused():
    schedule = Schedule((Column("a", Anchor.LEFT, wrap_mm=10.0),), (("word " * 40,),), "T")
    with pytest.raises(DrawingError, match=r"row 1 of the table 'T' needs \d+ mm and there are \d+ mm"):
        flow(schedule, Box(0.0, 0.0, 50.0, 60.0))


@pytest.mark.parametrize(
    ("value", "decimals", "printed"),
    [(-0.04, 1, "0.0"), (0.0, 0, "0"), (-3.25, 1, "−3.2"), (float("nan"), 2, ""), (1e6, 0, "1000000")],
)
def test_figures(value, decimals, printed):
    assert figure(value, decimals) == printed
