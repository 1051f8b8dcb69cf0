"""Faults read as one line each: file, row, column, why, what to do."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.errors import ArchSurveyError, Fault, RecordError, lines_of, row_ranges


@pytest.mark.parametrize(
    ("fault", "line"),
    [
        (
            Fault("points.csv", "'12,5,3' is not a number", "write 12.5", row=14, column="x"),
            "points.csv row 14, column x: '12,5,3' is not a number; write 12.5",
        ),
        (
            Fault("arch.toml", "0 is not allowed", "give a length", column="rings.depth"),
            "arch.toml, rings.depth:",
        ),
        (Fault("arch.toml", "there is no such file", "run new"), "arch.toml: there is no such file; run new"),
        (
            Fault("laid.csv", "the row is short", "fill it", row=3),
            "laid.csv row 3: the row is short; fill it",
        ),
    ],
)
def test_a_fault_says_where_why_and_what_to_do(fault, line):
    assert str(fault).startswith(line)


def test_a_record_error_prints_every_fault_on_its_own_line():
    faults = (
        Fault("points.csv", "no rows", "measure"),
        Fault("arch.toml", "no unit", "name one", column="measure.unit"),
    )
    error = RecordError(faults)
    assert str(error).splitlines() == [str(fault) for fault in faults]
    assert isinstance(error, ArchSurveyError)
    assert isinstance(error, ValueError)


def test_every_row_of_a_kind_is_told_though_not_on_a_line_of_its_own():
    """Rows 2 to 60 but for 20 and 41 lack their x; two other faults stand among them."""
    blank = [n for n in range(2, 61) if n not in (20, 41)]
    faults = [Fault("points.csv", "is blank", "fill it in", n, "x") for n in blank]
    others = [
        Fault("points.csv", "'a' is not a number", "write it like 1234.5", 20, "x"),
        Fault("points.csv", "is blank", "fill it in", 41, "y"),
    ]
    lines = lines_of([*faults[:30], *others, *faults[30:]])
    assert lines[:5] == tuple(str(fault) for fault in faults[:5])
    assert (
        lines[5]
        == "points.csv, column x: 52 more rows have the same fault as row 2: rows 7–19, 21–40 and 42–60"
    )
    assert lines[6:] == tuple(str(fault) for fault in others)


def test_kinds_differ_by_file_column_and_reason_but_not_by_the_cells_they_quote():
    words = [
        Fault("points.csv", f"'{w}' is not a number", "write it", n, "x") for n, w in enumerate("abcdefgh")
    ]
    assert len(lines_of(words)) == 6
    for other in (
        replace(words[0], file="laid.csv"),
        replace(words[0], column="y"),
        replace(words[0], reason="'a' is not a finite number"),
    ):
        assert len(lines_of([*words, other])) == 7
    same = replace(words[0], row=9, reason="'nothing to measure' is not a number")
    assert lines_of([*words, same])[5].endswith("rows 5–7 and 9")


def test_a_single_further_row_keeps_its_own_line():
    blank = [Fault("points.csv", "is blank", "fill it in", n, "x") for n in range(2, 8)]
    assert lines_of(blank) == tuple(str(fault) for fault in blank)


def test_what_one_remedy_mends_is_told_once():
    open_ones = [
        Fault("points.csv", f"'1,{n}00' could mean two", "write", n, "x", told_once=True) for n in (2, 3, 4)
    ]
    assert lines_of(open_ones[:1]) == (str(open_ones[0]),)
    assert lines_of(open_ones[:2])[1:] == (
        "points.csv, column x: 1 more row has the same fault as row 2: row 3",
    )
    assert lines_of(open_ones)[1:] == (
        "points.csv, column x: 2 more rows have the same fault as row 2: rows 3 and 4",
    )


def test_faults_without_a_row_are_never_drawn_together():
    same = [Fault("arch.toml", "is missing", "write it", column="rings[1].depth")] * 9
    assert len(lines_of(same)) == 9


@given(st.sets(st.integers(1, 300)))
def test_ranges_name_every_row_and_no_other(rows):
    named = set()
    for word in row_ranges(sorted(rows)).replace(" and ", ", ").split(", "):
        first, _, last = word.partition("–")
        named |= set(range(int(first), int(last or first) + 1)) if first else set()
    assert named == rows
