"""The same table in every dialect and encoding a spreadsheet may save it in."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from record.record_folder import ARCH, POINTS, SOUND, write_folder

from survey.errors import RecordError
from survey.record import check_record, read_record
from survey.record.findings import Findings
from survey.record.points_file import SCHEMA
from survey.record.tables import clean_text, decoded, read_table

Rows = list[tuple[str, float, float]]


def _csv(rows: Rows, separator: str, number: Callable[[float], str], heading: list[str] | None = None) -> str:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\r\n")
    writer.writerow(heading or ["point", "x", "y", "feature", "note"])
    for name, x, y in rows:
        writer.writerow([name, number(x), number(y), "intrados", ""])
    return out.getvalue()


def _point(value: float) -> str:
    return f"{value:.1f}"


def _comma(value: float) -> str:
    return f"{value:.1f}".replace(".", ",")


def _german(value: float) -> str:
    return f"{value:,.1f}".translate(str.maketrans(",.", ".,"))


def _french(value: float) -> str:
    return f"{value:,.1f}".replace(",", "\u202f").replace(".", ",")


def _swiss(value: float) -> str:
    return f"{value:,.1f}".replace(",", "\u2019")


DIALECTS: dict[str, Callable[[Rows], bytes]] = {
    "comma, UTF-8": lambda rows: _csv(rows, ",", _point).encode(),
    "comma, UTF-8 with mark": lambda rows: _csv(rows, ",", _point).encode("utf-8-sig"),
    "semicolon, decimal comma": lambda rows: _csv(rows, ";", _comma).encode("utf-8-sig"),
    "semicolon, thousands points": lambda rows: _csv(rows, ";", _german).encode(),
    "semicolon, thousands blanks, UTF-16 big-endian": lambda rows: (
        b"\xfe\xff" + _csv(rows, ";", _french).encode("utf-16-be")
    ),
    "tab, decimal comma, UTF-16 little-endian": lambda rows: (
        b"\xff\xfe" + _csv(rows, "\t", _comma).encode("utf-16-le")
    ),
    "tab, UTF-16 without mark": lambda rows: _csv(rows, "\t", _point).encode("utf-16-le"),
    "comma, UTF-16 big-endian without mark": lambda rows: _csv(rows, ",", _point).encode("utf-16-be"),
    "comma, quoted decimal commas": lambda rows: _csv(rows, ",", _comma).encode(),
    "comma, quoted thousands commas": lambda rows: _csv(rows, ",", lambda v: f"{v:,.1f}").encode(),
    "semicolon, thousands apostrophes": lambda rows: _csv(rows, ";", _swiss).encode(),
    "told separator": lambda rows: b"sep=;\r\n" + _csv(rows, ";", _comma).encode(),
    "loud headings": lambda rows: _csv(
        rows, ";", _comma, [" Point ", "X", "\u00a0y", "FEATURE", "Note"]
    ).encode(),
    "old line ends": lambda rows: _csv(rows, ",", _point).replace("\r\n", "\r").encode(),
    "blanks behind cells": lambda rows: _csv(rows, "\t", lambda v: f" {v:.1f}\u00a0").encode(),
}

_names = st.lists(
    st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=8),
    min_size=1,
    max_size=6,
    unique=True,
)
_values = st.integers(-90_000_000, 90_000_000).filter(lambda tenths: tenths % 10).map(lambda t: t / 10.0)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=40)
@given(st.data())
def test_same_table_in_every_dialect(tmp_path: Path, data: st.DataObject) -> None:
    names = data.draw(_names)
    rows = [(name, data.draw(_values), data.draw(_values)) for name in names]
    for label, dialect in DIALECTS.items():
        findings = Findings()
        (tmp_path / "points.csv").write_bytes(dialect(rows))
        record_file = write_folder(tmp_path, {"arch.toml": ARCH})
        points = check_record(record_file)
        assert points.counts.points == len(rows), (label, points.faults)
        record = read_record(record_file)
        assert record.points.name == tuple(clean_text(name) for name in names), label
        assert record.points.row.tolist() == list(range(2, len(rows) + 2)), label
        site = record.frame.to_site(record.points.xy_mm)[:, :2]
        np.testing.assert_allclose(site, [(x, y) for _, x, y in rows], rtol=1e-14, atol=1e-9, err_msg=label)
        assert findings.faults == []


@pytest.mark.parametrize("label", ["comma, UTF-8", "semicolon, decimal comma", "old line ends"])
def test_windows_1252_is_read_with_a_doubt(tmp_path: Path, label: str) -> None:
    text = DIALECTS[label]([("Süd–Ost", 1.5, 2.5)]).decode("utf-8-sig")
    folder = write_folder(tmp_path, {"arch.toml": ARCH, "points.csv": text.encode("cp1252")})
    record = read_record(folder)
    assert record.points.name == ("Süd–Ost",)
    told = [str(doubt) for doubt in record.doubts if "1252" in doubt.reason]
    assert told == [
        "points.csv: is not UTF-8 (line 2); it was read as Windows-1252;"
        " look at the accented letters, and save it as CSV UTF-8"
    ]


def test_rows_are_counted_as_a_spreadsheet_shows_them(tmp_path: Path) -> None:
    text = (
        "\n"
        ";;;;;;;;;\n"
        "point;x;y;feature;note\n"
        "\n"
        'P1;0,5;1,5;intrados;"a note\nof three\nlines"\n'
        " ; ;\u00a0; ;\n"
        "P2;wrong;2,5;intrados;\n"
    )
    (fault,) = check_record(write_folder(tmp_path, {"arch.toml": ARCH, "points.csv": text})).faults
    assert str(fault) == "points.csv row 7, column x: 'wrong' is not a number; write it like 1234.5"


def test_trailing_and_lacking_cells(tmp_path: Path) -> None:
    text = (
        "point,x,y,feature,ring,course,edge,note,,,\nP1,0.5,1.5,intrados\nP2,1.5,1.5,intrados,1,,,,,,,,,,\n"
    )
    record = read_record(write_folder(tmp_path, {"arch.toml": ARCH, "points.csv": text}))
    assert record.points.ring.tolist() == [-1, 1]


def test_unit_in_a_heading_that_agrees(tmp_path: Path) -> None:
    text = POINTS.replace("point,x,y,z", "Point,X [mm],Y (MM),z")
    assert read_record(write_folder(tmp_path, {**SOUND, "points.csv": text})).doubts == ()


def test_separator_that_only_the_notes_hold(tmp_path: Path) -> None:
    text = POINTS.replace("left,,\nSR", "left,,near; very; near\nSR")
    record = read_record(write_folder(tmp_path, {**SOUND, "points.csv": text}))
    assert len(record.points) == 12


@given(st.binary(max_size=200))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=150)
def test_any_bytes_give_a_table_or_faults(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "points.csv"
    path.write_bytes(content)
    findings = Findings()
    table = read_table(path, SCHEMA, findings)
    assert (table is not None) or findings.faults
    for fault in (*findings.faults, *findings.doubts):
        assert len(str(fault).splitlines()) == 1


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=100))
def test_text_survives_its_encodings(text: str) -> None:
    plain = text.lstrip("\ufeff")
    for encoding in ("utf-8-sig", "utf-16"):
        findings = Findings()
        assert decoded(plain.encode(encoding), "x.csv", findings) == plain
        assert findings.faults == []


def _metres(separator: str, sign: str) -> str:
    """The small arch in metres to three decimals, in a town's grid: no cell proves its decimal sign."""
    lines = ["point;x;y;feature".replace(";", separator)]
    for row in POINTS.splitlines()[1:]:
        name, x, y, _, feature, *_ = row.split(",")
        cells = (name, *(f"{400.0 + float(v) / 1000.0:.3f}".replace(".", sign) for v in (x, y)), feature)
        lines.append(separator.join(cells))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(("separator", "sign"), [(";", "."), (";", ","), ("\t", ","), (",", ".")])
def test_metres_to_three_decimals_are_read(tmp_path: Path, separator: str, sign: str) -> None:
    arch = ARCH.replace('"mm"', '"m"').replace("1.5", "0.0015").replace("105", "0.105").replace("70", "0.07")
    files = {"arch.toml": arch, "points.csv": _metres(separator, sign)}
    record = read_record(write_folder(tmp_path, files))
    assert np.ptp(record.points.xy_mm[:, 0]) == pytest.approx(400.0, abs=1e-6)
    told = [doubt for doubt in record.doubts if "comma" in doubt.reason]
    assert len(told) == (sign == ",")


def test_numbers_that_could_mean_two_things_are_told_once_a_column(tmp_path: Path) -> None:
    """In millimetres the same file may hold thousands: refused, with the cure, and the cure cures it."""
    text = _metres(";", ".")
    folder = write_folder(tmp_path, {"arch.toml": ARCH, "points.csv": text})
    with pytest.raises(RecordError) as caught:
        read_record(folder)
    assert str(caught.value).split("\n") == [
        "points.csv row 2, column x: '399.800' could mean 399.8 or 399800; write 399.8000 if the point is a"
        " decimal sign (one such number settles how the whole file is read), else 399800",
        "points.csv row 2, column y: '400.000' could mean 400 or 400000; write 400.0000 if the point is a"
        " decimal sign (one such number settles how the whole file is read), else 400000",
        "points.csv, column x: 11 more rows have the same fault as row 2: rows 3–13",
        "points.csv, column y: 11 more rows have the same fault as row 2: rows 3–13",
    ]
    write_folder(folder, {"points.csv": text.replace("399.800", "399.8000")})
    assert len(read_record(folder).points) == 12
