"""Faults read as one line each: file, row, column, why, what to do."""

import pytest

from survey.errors import ArchSurveyError, Fault, RecordError


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
