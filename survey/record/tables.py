"""A CSV file as a spreadsheet saved it: its encoding, its separator, its headings, its rows as text."""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from survey.record.findings import Findings, listed, nearest, one_line
from survey.record.numbers import NumberStyle, style_of

_SEPARATORS = (",", ";", "\t")
_SEPARATOR_WORDS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_UNIT_IN_HEADING = re.compile(r"^(?P<name>.*?)\s*[(\[]\s*(?P<unit>[^)\]]*?)\s*[)\]]$")


@dataclass(frozen=True, slots=True)
class Schema:
    """Which columns a file has.

    Attributes
    ----------
    file : str
        File name inside the record folder.
    columns : tuple of str
        Every heading, in the order a new file is written.
    required : frozenset of str
        Headings without which the file means nothing.
    lengths : frozenset of str
        Columns of lengths in ``measure.unit``; they decide how the file writes its numbers.
    """

    file: str
    columns: tuple[str, ...]
    required: frozenset[str]
    lengths: frozenset[str]


@dataclass(frozen=True, slots=True)
class Row:
    """One filled row: its number as a spreadsheet shows it, and its cells by heading, cleaned."""

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Table:
    """A CSV file read as text."""

    schema: Schema
    columns: frozenset[str]
    rows: tuple[Row, ...]
    style: NumberStyle
    heading_units: Mapping[str, str] = field(default_factory=dict)
    """Units written behind headings, as in ``x (mm)``."""


def clean_text(text: str) -> str:
    """Free text without control characters, odd blanks or blanks at its ends.

    Examples
    --------
    >>> clean_text(" north\\u00a0door\\x07 ")
    'north door'
    """
    if text.isascii() and text.isprintable():
        return text.strip()
    plain = "".join(" " if ch.isspace() else ch for ch in text)
    kept = "".join(ch for ch in plain if unicodedata.category(ch) not in ("Cc", "Cf", "Cs"))
    return kept.strip()


def read_table(path: Path, schema: Schema, findings: Findings, *, coarse_unit: bool = False) -> Table | None:
    """Read one CSV file of a record.

    Parameters
    ----------
    path : Path
    schema : Schema
    findings : Findings
        Gets a fault for everything that cannot be read and a doubt for everything left unread.
    coarse_unit : bool
        As in :func:`~survey.record.numbers.style_of`.

    Returns
    -------
    Table or None
        None when the file as a whole cannot be read.
    """
    text = decoded(path.read_bytes(), schema.file, findings)
    if text is None:
        return None
    # A spreadsheet takes a first line "sep=;" as an instruction and does not show it as a row.
    told = re.match(r"sep=([,;\t])\r?\n", text, re.IGNORECASE)
    if told:
        text = text[told.end() :]
    separator = told[1] if told else _separator(text, schema)
    rows = _rows(text, separator, schema.file, findings)
    heading_at = next((i for i, row in enumerate(rows) if any(cell.strip() for cell in row)), None)
    if heading_at is None:
        return Table(schema, frozenset(schema.columns), (), NumberStyle())
    headings, units = _headings(rows[heading_at], heading_at + 1, schema, findings)
    if not schema.required.issubset(headings) or len(set(headings) - {""}) < sum(map(bool, headings)):
        return None
    filled: list[Row] = []
    for number, cells in enumerate(rows[heading_at + 1 :], start=heading_at + 2):
        row = _row(cells, number, headings, separator, findings, schema.file)
        if row is not None:
            filled.append(row)
    lengths = [cell for row in filled for column in schema.lengths if (cell := row.cells.get(column, ""))]
    style = style_of(lengths, plain_points=separator != ";", coarse_unit=coarse_unit)
    _tell_exponents(filled, schema, findings)
    if style.mixed:
        findings.doubt(
            schema.file,
            "some numbers have a decimal point and others a decimal comma",
            "each was read in the only way it can be; write all of them alike",
        )
    if style.by_unit == ",":
        findings.doubt(
            schema.file,
            "every comma has three digits behind it and was read as a decimal comma",
            "were they thousands, nothing would be measured finer than the whole unit",
        )
    return Table(schema, frozenset(headings) - {""}, tuple(filled), style, units)


def _tell_exponents(rows: list[Row], schema: Schema, findings: Findings) -> None:
    for column in schema.columns:
        if column not in schema.lengths:
            continue
        short = [row for row in rows if re.search(r"[0-9][eE][+-]?[0-9]", row.cells.get(column, ""))]
        if short:
            findings.doubt(
                schema.file,
                f"'{one_line(short[0].cells[column])}' is in exponent form ({len(short)} such)",
                "digits are lost: format the column as plain numbers in the spreadsheet and save again",
                row=short[0].number,
                column=column,
            )


def decoded(data: bytes, file: str, findings: Findings) -> str | None:
    """Text of a file: UTF-8, UTF-16, or Windows-1252 with a doubt; None with a fault."""
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        findings.fault(
            file, "is a spreadsheet workbook, not text", "save it from the spreadsheet as CSV (UTF-8)"
        )
        return None
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (b"\xff\xfe", "utf-16-le"),
        (b"\xfe\xff", "utf-16-be"),
    ):
        if data.startswith(mark):
            return _strict(data[len(mark) :], encoding, file, findings)
    if b"\x00" in data[:4096]:
        # Without a mark the zero bytes of ASCII letters tell which half of a pair comes first.
        odd, even = data[1:4096:2].count(0), data[0:4096:2].count(0)
        return _strict(data, "utf-16-le" if odd > even else "utf-16-be", file, findings)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = len(data[: error.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n"))
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            _undecodable(file, findings)
            return None
        findings.doubt(
            file,
            f"is not UTF-8 (line {line}); it was read as Windows-1252",
            "look at the accented letters, and save it as CSV UTF-8",
        )
        return text


def _strict(data: bytes, encoding: str, file: str, findings: Findings) -> str | None:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        _undecodable(file, findings)
        return None


def _undecodable(file: str, findings: Findings) -> None:
    findings.fault(
        file, "is not text in UTF-8, UTF-16 or Windows-1252", "save it from the spreadsheet as CSV (UTF-8)"
    )


def _separator(text: str, schema: Schema) -> str:
    first = next((line for line in text.splitlines() if line.strip(" \t,;\"'\ufeff")), "")

    def known(separator: str) -> int:
        cells = next(csv.reader([first], delimiter=separator), [])
        return sum(_heading(cell)[0] in schema.columns for cell in cells)

    return max(_SEPARATORS, key=known)


def _rows(text: str, separator: str, file: str, findings: Findings) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[list[str]] = []
    try:
        rows.extend(reader)
    except csv.Error:
        findings.fault(
            file,
            "a quotation mark is opened and not closed, or stands inside a cell",
            "close it, or take it out",
            row=len(rows) + 1,
        )
    return rows


def _heading(cell: str) -> tuple[str, str]:
    name = clean_text(cell).lower()
    match = _UNIT_IN_HEADING.match(name)
    return (match["name"], match["unit"]) if match else (name, "")


def _headings(
    cells: list[str], number: int, schema: Schema, findings: Findings
) -> tuple[list[str], dict[str, str]]:
    named = [_heading(cell) for cell in cells]
    headings = [name if name in schema.columns else "" for name, _ in named]
    units = {name: unit for name, unit in named if unit and name in schema.lengths}
    for name, count in Counter(headings).items():
        if name and count > 1:
            findings.fault(
                schema.file,
                f"the heading '{name}' stands {count} times",
                "keep one of them",
                row=number,
                column=name,
            )
    unknown = [name for name, _ in named if name and name not in schema.columns]
    missing = sorted(schema.required - set(headings), key=schema.columns.index)
    if missing and not any(headings):
        findings.fault(
            schema.file,
            "holds none of the headings",
            f"write above the first row: {', '.join(schema.columns)}",
            row=number,
        )
        return headings, units
    for name in missing:
        meant = nearest(name, unknown)
        remedy = (
            f"is '{one_line(meant)}' meant for it?" if meant else f"add the heading '{name}' to row {number}"
        )
        findings.fault(schema.file, f"the column '{name}' is missing", remedy, row=number, column=name)
    if unknown and not missing:
        shown = listed(f"'{one_line(name)}'" for name in unknown)
        findings.doubt(
            schema.file,
            f"{shown} {'is no column' if len(unknown) == 1 else 'are no columns'} of this file, left unread",
            f"the columns are {', '.join(schema.columns)}",
            row=number,
        )
    return headings, units


def _row(
    cells: list[str], number: int, headings: list[str], separator: str, findings: Findings, file: str
) -> Row | None:
    texts = [clean_text(cell) for cell in cells]
    if not any(texts):
        return None
    if any(texts[len(headings) :]):
        remedy = "take the extra cells out"
        if separator == ",":
            remedy = "with decimal commas separate the cells by semicolons, or take the extra cells out"
        findings.fault(file, f"has {len(texts)} cells under {len(headings)} headings", remedy, row=number)
        return None
    if len(texts) == 1 and len(headings) > 1:
        other = next((s for s in _SEPARATORS if s != separator and cells[0].count(s) >= 2), None)
        if other:
            findings.fault(
                file,
                f"is separated by {_SEPARATOR_WORDS[other]}, the headings by {_SEPARATOR_WORDS[separator]}",
                "separate every row like the headings",
                row=number,
            )
            return None
    return Row(number, {name: text for name, text in zip(headings, texts, strict=False) if name})
