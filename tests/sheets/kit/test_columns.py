"""Columns of words and tables: everything is set once, in order, inside its column; nothing runs over."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheets.pictures import NASTY

from survey.errors import DrawingError
from survey.sheets.drawing import Anchor, Box, Sheet, Text
from survey.sheets.kit.columns import GAP_MM, Said, flow_parts
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.schedule import Column, Schedule

FIRST = (Box(20.0, 30.0, 90.0, 60.0),)
FURTHER = (Box(20.0, 30.0, 90.0, 200.0), Box(120.0, 30.0, 90.0, 200.0))
COLUMNS = (Column("no."), Column("what", Anchor.LEFT, wrap_mm=40.0))


def words(page):
    return [mark.text for mark in page if isinstance(mark, Text)]


def table(n_rows, title="Courses"):
    return Schedule(COLUMNS, tuple((str(k), f"course {k}") for k in range(1, n_rows + 1)), title)


def held(page, boxes):
    return all(
        any(box.grown(0.5).holds(text_box(mark)) for box in boxes) for mark in page if isinstance(mark, Text)
    )


@given(
    st.lists(
        st.one_of(
            st.integers(1, 90).map(table),
            st.lists(
                st.sampled_from(["short.", "a longer sentence " * 9, NASTY]), min_size=1, max_size=30
            ).map(lambda s: Said("Heading", tuple(s))),
        ),
        max_size=5,
    )
)
def test_every_row_and_sentence_is_set_once_and_inside_a_column(parts):
    pages = flow_parts(parts, FIRST, FURTHER)
    assert held(pages[0], FIRST)
    assert all(held(page, FURTHER) for page in pages[1:])
    shown = [text for page in pages for text in words(page)]
    wanted = [row[1] for part in parts if isinstance(part, Schedule) for row in part.rows]
    assert [text for text in shown if text.startswith("course ")] == wanted
    n_sentences = sum(len(part.sentences) for part in parts if isinstance(part, Said))
    assert sum(text.startswith("– ") for text in shown) == n_sentences


def test_a_part_that_goes_on_says_so_once():
    first, *more = flow_parts([Said("Doubts", ("x " * 300,) * 40)], FIRST, FURTHER)
    assert words(first)[0] == "Doubts"
    titles = [text for page in more for text in words(page) if "Doubts" in text]
    assert titles == ["Doubts, continued"] * len(titles)
    assert len(titles) >= 2


def test_the_rules_of_a_table_go_on_with_their_rows():
    ruled = Schedule(COLUMNS, table(60).rows, "Courses", ruled_before=frozenset({5, 40}))
    pages = flow_parts([ruled], FIRST, FURTHER)
    assert len(pages) == 2
    assert [text for text in words(pages[1]) if text.isdigit()][-1] == "60"


def test_a_sentence_higher_than_a_column_ends_with_an_ellipsis():
    low = (Box(0.0, 0.0, 60.0, 22.0),)
    (page,) = flow_parts([Said("Long", ("on and on " * 100,))], low, low)
    assert words(page)[-1].endswith("…")
    assert held(page, low)


def test_parts_stand_apart():
    page = flow_parts([Said("One", ("a.",)), Said("Two", ("b.",))], FURTHER, FURTHER)[0]
    a, two = (next(m for m in page if isinstance(m, Text) and m.text == t) for t in ("– a.", "Two"))
    assert text_box(a).bottom - text_box(two).top > GAP_MM - 2.0


def test_nothing_to_say_is_one_empty_page():
    assert flow_parts([], FIRST, FURTHER) == ((),)
    assert flow_parts([table(0)], FIRST, FURTHER) == ((),)


LOW = (Box(0.0, 0.0, 90.0, 8.0),)


@pytest.mark.parametrize(
    ("part", "boxes", "message"),
    [
        (table(3), (Box(0.0, 0.0, 30.0, 90.0),), "the table 'Courses' is .* wide and the column has 30 mm"),
        (table(3), LOW, "a row of the table 'Courses' does not fit a column 8 mm high"),
        (Said("Heading", ("words",)), LOW, "a column 8 mm high holds no line of words"),
    ],
)
def test_what_can_never_fit_is_refused(part, boxes, message):
    with pytest.raises(DrawingError, match=message):
        flow_parts([part], boxes, boxes)


def test_a_sheet_of_flowed_pages_can_be_made():
    pages = flow_parts([table(200)], FIRST, FURTHER)
    sheets = [Sheet("words", "Words", 297.0, 210.0, (), page) for page in pages]
    assert len(sheets) > 1


@given(st.integers(0, 12), st.integers(2, 60))
def test_no_row_is_parted_from_its_table_unless_that_saves_a_page(n_sentences, n_rows):
    """Over one column of each size: however much stands above it, no piece of a table is a single row."""
    above = [Said("Heading", ("short.",) * n_sentences)] if n_sentences else []
    pages = flow_parts([*above, table(n_rows)], FIRST, FURTHER[:1])
    pieces = [n for page in pages if (n := sum(text.startswith("course ") for text in words(page)))]
    assert sum(pieces) == n_rows
    assert min(pieces) >= 2 or len(pages) == 1
