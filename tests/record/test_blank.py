"""An empty record folder: accepted as empty, filled in with a spreadsheet, never written over another."""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import get_args

import pytest
from record.record_folder import ARCH, POINTS, write_folder

from survey.errors import RecordError
from survey.record import Status, check_record, read_record, write_blank_record
from survey.record.arch_file import ArchFile, KnownSection, RingSection
from survey.record.blank import ARCH_TOML, SHEETS
from survey.record.model import Tolerances


def test_blank_record_is_empty_and_no_fault(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "arch"
    write_blank_record(folder)
    report = check_record(folder)
    assert report.status is Status.EMPTY
    assert str(report.status) == "empty: nothing measured yet"
    assert (report.faults, report.doubts) == ((), ())
    assert sorted(path.name for path in folder.iterdir()) == [
        "arch.toml",
        "courses.csv",
        "laid.csv",
        "points.csv",
        "salvage.csv",
    ]
    for schema in SHEETS:
        assert (folder / schema.file).read_text() == ",".join(schema.columns) + "\n"


def test_blank_record_cannot_be_used_yet(tmp_path: Path) -> None:
    write_blank_record(tmp_path)
    with pytest.raises(RecordError) as caught:
        read_record(tmp_path)
    assert str(caught.value).split("\n") == [
        "arch.toml, arch.name: is blank; write it",
        "points.csv: has no rows: nothing is measured yet; measure the intrados and both springings",
    ]


def test_begun_arch_file_is_still_empty(tmp_path: Path) -> None:
    write_blank_record(tmp_path)
    (tmp_path / "arch.toml").write_text(ARCH_TOML.replace('name = ""', 'name = "Oven mouth"'))
    assert check_record(tmp_path).status is Status.EMPTY
    (tmp_path / "arch.toml").write_text(ARCH_TOML.replace('unit = "mm"', 'unit = "m'))
    report = check_record(tmp_path)
    assert report.status is Status.FAULTY
    assert [fault.row for fault in report.faults] == [13]


def _uncommented() -> str:
    """The blank arch.toml with the # taken away from every line that can be used."""
    return re.sub(r"(?m)^# (?=\[|[a-z_]+ = )", "", ARCH_TOML).replace('name = ""', 'name = "x"', 1)


def test_every_remark_of_the_blank_arch_file_is_valid(tmp_path: Path) -> None:
    write_blank_record(tmp_path)
    used = _uncommented()
    (tmp_path / "arch.toml").write_text(used, encoding="utf-8")
    report = check_record(tmp_path)
    assert (report.status, report.faults) == (Status.EMPTY, ())
    (tmp_path / "points.csv").write_text(POINTS)
    (tmp_path / "arch.toml").write_text(used.replace("courses = 33", "courses = 5"), encoding="utf-8")
    assert read_record(tmp_path).rings[0].thickness_mm == 240.0


def test_blank_arch_file_shows_every_key_that_is_read() -> None:
    """Tables of sources that are not read yet are left out; every other key of every table stands there."""
    shown = tomllib.loads(_uncommented())
    unread = {"lines", "tied", "scan", "photo"}
    assert shown.keys() == ArchFile.model_fields.keys() - unread
    assert shown["rings"][0].keys() == RingSection.model_fields.keys()
    for table in shown.keys() - {"rings"}:
        section = ArchFile.model_fields[table].annotation
        members = [m for m in (section, *get_args(section)) if hasattr(m, "model_fields")]
        assert shown[table].keys() == members[0].model_fields.keys(), table
    for known in shown["known"].values():
        assert known.keys() == KnownSection.model_fields.keys()


def test_values_said_to_be_the_usual_ones_are(tmp_path: Path) -> None:
    lines = ARCH_TOML.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("# [tolerance]"))
    table = "\n".join(line.removeprefix("# ") for line in lines[start : lines.index("", start)])
    files = {"arch.toml": f"{ARCH}\n{table}\n", "points.csv": POINTS}
    tolerances = read_record(write_folder(tmp_path, files)).tolerances
    for name in (field.name for field in fields(Tolerances)):
        assert getattr(tolerances, name) == pytest.approx(getattr(Tolerances(), name), rel=1e-3), name


def test_rows_filled_in_make_it_a_record(tmp_path: Path) -> None:
    write_blank_record(tmp_path)
    (tmp_path / "points.csv").write_text(POINTS.replace(",1,", ",,"))
    (tmp_path / "arch.toml").write_text(ARCH_TOML.replace('name = ""', 'name = "Oven mouth"'))
    assert read_record(tmp_path).name == "Oven mouth"


def test_notes_without_points_are_not_empty(tmp_path: Path) -> None:
    write_blank_record(tmp_path)
    with (tmp_path / "salvage.csv").open("a") as stream:
        stream.write("B1,52,,,\n")
    report = check_record(tmp_path)
    assert report.status is Status.FAULTY
    assert [fault.file for fault in report.faults] == ["arch.toml", "points.csv"]
    assert report.counts.salvaged == 1


@pytest.mark.parametrize("name", ["arch.toml", "holiday.jpg", ".hidden"])
def test_folder_in_use_is_never_touched(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / name).write_text("keep")
    with pytest.raises(RecordError, match=r"^mine: already exists and is not empty; give a new folder$"):
        write_blank_record(folder)
    assert [(path.name, path.read_text()) for path in folder.iterdir()] == [(name, "keep")]


def test_file_in_the_way_is_never_touched(tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("keep")
    with pytest.raises(RecordError, match="already exists"):
        write_blank_record(tmp_path / "mine")
    assert (tmp_path / "mine").read_text() == "keep"


def test_refused_disk_leaves_no_part_of_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path, target: Path) -> None:
        raise OSError(28, "No space left on device", str(path), None, str(target))

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OSError, match="No space left"):
        write_blank_record(tmp_path / "mine")
    assert list((tmp_path / "mine").iterdir()) == []
