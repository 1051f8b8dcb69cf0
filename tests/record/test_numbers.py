"""Numbers as people and spreadsheets write them."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.record.numbers import CellError, NumberStyle, read_number, readings, style_of

_POINT = style_of(["12.5"])
_COMMA = style_of(["12,5"])
_NOTHING = NumberStyle()
_SEMICOLONS = NumberStyle(plain_points=False)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1234", 1234.0),
        ("12.5", 12.5),
        ("12,5", 12.5),
        ("-12,5", -12.5),
        ("+12.5", 12.5),
        ("\u221212.5", -12.5),
        ("\u201312.5", -12.5),
        (".5", 0.5),
        (",5", 0.5),
        ("5.", 5.0),
        (" 7 ", 7.0),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1.234.567", 1234567.0),
        ("1,234,567", 1234567.0),
        ("0,234", 0.234),
        ("0.234", 0.234),
        ("1234,567", 1234.567),
        ("1 234", 1234.0),
        ("1 234,567", 1234.567),
        ("1\u00a0234.5", 1234.5),
        ("1\u202f234,5", 1234.5),
        ("1\u2009234\u2009567", 1234567.0),
        ("1'234.5", 1234.5),
        ("1\u2019234.5", 1234.5),
        ("1.5E+03", 1500.0),
        ("1,234e2", 123.4),
        ("0", 0.0),
        ("-0.0", 0.0),
    ],
)
def test_cells_that_can_mean_one_thing(text: str, value: float) -> None:
    for style in (_NOTHING, _POINT, _COMMA, _SEMICOLONS):
        assert read_number(text, style) == value


@pytest.mark.parametrize(
    ("text", "style", "value"),
    [
        ("1.234", _NOTHING, 1.234),
        ("1.234", _POINT, 1.234),
        ("1,234", _COMMA, 1.234),
        ("1,234", style_of(["1,234.5"]), 1234.0),
        ("1,234", style_of(["1,234,567"]), 1234.0),
        ("1.234", style_of(["1.234,5"]), 1234.0),
        ("1.234", style_of(["1.234.567"], plain_points=False), 1234.0),
        ("1,234", style_of(["450123,456"]), 1.234),
        ("1.000", _NOTHING, 1.0),
    ],
)
def test_two_readings_are_decided_by_the_file(text: str, style: NumberStyle, value: float) -> None:
    assert read_number(text, style) == value


@pytest.mark.parametrize(
    ("text", "style", "message"),
    [
        ("1,234", _NOTHING, "'1,234' could mean 1.234 or 1234; write 1,2340 if the comma is a decimal sign"),
        ("1,234", _POINT, "'1,234' could mean 1.234 or 1234; write 1.234 if the comma is a decimal sign"),
        ("1.234", _COMMA, "'1.234' could mean 1.234 or 1234; write 1,234 if the point is a decimal sign"),
        (
            "1.234",
            _SEMICOLONS,
            "'1.234' could mean 1.234 or 1234; write 1.2340 if the point is a decimal sign",
        ),
        (
            "-12,500",
            _NOTHING,
            "'-12,500' could mean -12.5 or -12500; write -12,5000 if the comma is a decimal",
        ),
        ("1.234", style_of(["12,5", "12.5"]), "'1.234' could mean 1.234 or 1234; write 1.2340 if"),
        ("1.234", style_of(["12,5", "1.234.567", "1.5"]), "'1.234' could mean 1.234 or 1234; write"),
        ("12,5,3", _COMMA, "'12,5,3' is not a number; write it like 1234.5"),
        ("1.23.4", _NOTHING, "'1.23.4' is not a number; write it like 1234.5"),
        ("12 34", _NOTHING, "'12 34' is not a number; write it like 1234.5"),
        ("1_000", _NOTHING, "'1_000' is not a number; write it like 1234.5"),
        ("١٢", _NOTHING, "'١٢' is not a number; write it like 1234.5"),
        ("-", _NOTHING, "'-' is not a number; write it like 1234.5"),
        (".", _NOTHING, "'.' is not a number; write it like 1234.5"),
        ("0x10", _NOTHING, "'0x10' is not a number alone; write only the number"),
        ("12 mm", _NOTHING, "'12 mm' is not a number alone; write only the number"),
        ("3'6\"", _NOTHING, "'3'6\"' is not a number alone; write only the number"),
        ("nan", _NOTHING, "'nan' is not a finite number; measure it again, or leave the row out"),
        ("-Inf", _NOTHING, "'-Inf' is not a finite number; measure it again"),
        ("#DIV/0!", _NOTHING, "'#DIV/0!' is not a finite number; measure it again"),
        ("1e999", _NOTHING, "'1e999' is too large to be a length; measure or write it again"),
    ],
)
def test_cells_that_are_refused(text: str, style: NumberStyle, message: str) -> None:
    with pytest.raises(CellError) as caught:
        read_number(text, style)
    assert str(caught.value).startswith(message)


_STYLES = [
    style_of(cells, plain_points=plain)
    for cells in ([], ["12.5"], ["12,5"], ["12.5", "12,5"])
    for plain in (True, False)
]


@pytest.mark.parametrize("style", _STYLES)
@pytest.mark.parametrize("cell", ["1,234", "1.234", "-12,500", "12.345", "999.001", "1,000"])
def test_both_remedies_of_two_readings_are_read_as_they_promise(cell: str, style: NumberStyle) -> None:
    """What the fault says to write is read in the same file as the value it stands for."""
    meant = sorted((way.value for way in readings(cell)), key=abs)
    try:
        assert read_number(cell, style) in meant
        return
    except CellError as caught:
        error = caught
    told = re.fullmatch(r"write (\S+) if the (?:point|comma) is a decimal sign.*, else (\S+)", error.remedy)
    assert told is not None, error.remedy
    assert [read_number(text, style) for text in told.groups()] == meant
    if "settles" in error.remedy:
        settled = style_of([cell, told[1]], plain_points=style.plain_points)
        assert read_number(cell, settled) == meant[0]


@pytest.mark.parametrize(
    ("cells", "value"),
    [
        (["12.345", "13.456", "7"], 12.345),
        (["12,345", "13,456"], 12.345),
        (["12,345", "0,5"], 12.345),
        (["12.345", "1.234,5"], 12345.0),
        (["12,345", "1,234.5"], 12345.0),
        (["12,345", "12.345"], None),
        (["12.345", "12,5"], None),
    ],
)
def test_three_digits_behind_a_sign_are_decimals_of_a_metre(cells: list[str], value: float | None) -> None:
    """Unless a cell of the file proves otherwise: nobody measures an arch to the whole metre."""
    style = style_of(cells, plain_points=False, coarse_unit=True)
    if value is None:
        with pytest.raises(CellError, match="could mean"):
            read_number(cells[0], style)
    else:
        assert read_number(cells[0], style) == value


def test_thousands_and_decimals_cannot_be_one_sign() -> None:
    assert readings("1.234.5") == ()
    assert readings("1,234,5") == ()
    assert readings("1 234.567,8") == ()


@given(
    st.floats(-1e9, 1e9).map(lambda value: round(value, 3)), st.sampled_from(["", ".", " ", "\u00a0", "'"])
)
def test_comma_file_reads_what_was_written(value: float, thousands: str) -> None:
    written = f"{value:,.3f}".replace(",", "_").replace(".", ",").replace("_", thousands)
    assert read_number(written, _COMMA) == pytest.approx(value, rel=0, abs=1e-12 * max(1.0, abs(value)))


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e11, max_value=1e11))
def test_what_python_writes_is_read_exactly(value: float) -> None:
    assert read_number(repr(value), _POINT) == value


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    ways = readings(text)
    if len(ways) == 1 and math.isfinite(ways[0].value):
        assert read_number(text, _NOTHING) == ways[0].value
    elif not ways:
        with pytest.raises(CellError) as caught:
            read_number(text, _NOTHING)
        assert len(str(caught.value).splitlines()) == 1
