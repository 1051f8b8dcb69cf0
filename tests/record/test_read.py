"""Every fault and every doubt by its exact lines, and the record a sound folder gives."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import numpy as np
import pytest
from record.record_folder import POINTS, SOUND, spoiled, write_folder

from survey.errors import Fault, RecordError
from survey.record import RecordCounts, Status, check_record, read_record
from survey.record.model import UNKNOWN, Condition, Edge, Feature, Laid

_HERE = Path(__file__).parent
_FAULTS = tomllib.loads((_HERE / "faults.toml").read_text(encoding="utf-8"))["case"]
_DOUBTS = tomllib.loads((_HERE / "doubts.toml").read_text(encoding="utf-8"))["case"]


def _without(*names: str) -> dict[str, str | bytes]:
    return {name: content for name, content in SOUND.items() if name not in names}


def _lines(faults: tuple[Fault, ...]) -> list[str]:
    return [str(fault) for fault in faults]


@pytest.mark.parametrize("case", _FAULTS, ids=lambda case: f"{case['file']}: {case['new'][:30]!r}")
def test_every_fault_has_its_lines(tmp_path: Path, case: dict) -> None:
    folder = spoiled(tmp_path, case["file"], case["old"], case["new"])
    with pytest.raises(RecordError) as caught:
        read_record(folder)
    assert str(caught.value).split("\n") == case["lines"]
    report = check_record(folder)
    assert _lines(report.faults) == case["lines"]
    assert report.status is Status.FAULTY


@pytest.mark.parametrize("case", _DOUBTS, ids=lambda case: f"{case['file']}: {case['new'][:30]!r}")
def test_every_doubt_has_its_lines(tmp_path: Path, case: dict) -> None:
    folder = spoiled(tmp_path, case["file"], case["old"], case["new"])
    assert _lines(read_record(folder).doubts) == case["lines"]
    report = check_record(folder)
    assert (report.status, report.faults, _lines(report.doubts)) == (Status.DOUBTFUL, (), case["lines"])


_FOLDERS: list[tuple[dict[str, str | bytes], list[str]]] = [
    (
        _without("arch.toml"),
        ["arch.toml: is missing; start from the one that python -m survey new FOLDER writes"],
    ),
    (
        _without("points.csv"),
        [
            "points.csv: is missing, and no other source of geometry is there;"
            " measure the intrados and both springings"
        ],
    ),
    (
        {**_without("points.csv"), "offsets.csv": "line,along,offset\nA,1,2\n"},
        [
            "offsets.csv: offsets from strings and levels are not read yet;"
            " give the points in points.csv as well"
        ],
    ),
    (
        {**_without("points.csv"), "ties.csv": "from,to,distance\nA,B,2\n"},
        [
            "ties.csv: tape distances between named points are not read yet;"
            " give the points in points.csv as well"
        ],
    ),
    (
        {**_without("points.csv"), "arch.toml": '[scan]\nfile = "a.laz"\n' + SOUND["arch.toml"]},
        ["arch.toml, [scan]: point clouds are not read yet; give the points in points.csv as well"],
    ),
    (
        {**SOUND, "points.csv": POINTS.splitlines()[0] + "\n"},
        ["points.csv: has no rows: nothing is measured yet; measure the intrados and both springings"],
    ),
    (
        {**SOUND, "points.csv": b""},
        ["points.csv: has no rows: nothing is measured yet; measure the intrados and both springings"],
    ),
    (
        {**SOUND, "points.csv": b"PK\x03\x04xl/workbook.xml"},
        ["points.csv: is a spreadsheet workbook, not text; save it from the spreadsheet as CSV (UTF-8)"],
    ),
    (
        {**SOUND, "points.csv": b"\xff\xfeabc"},
        [
            "points.csv: is not text in UTF-8, UTF-16 or Windows-1252;"
            " save it from the spreadsheet as CSV (UTF-8)"
        ],
    ),
    (
        {**SOUND, "courses.csv": b"ring,course,note\n1,1,\x81\n"},
        [
            "courses.csv: is not text in UTF-8, UTF-16 or Windows-1252;"
            " save it from the spreadsheet as CSV (UTF-8)"
        ],
    ),
    (
        {**SOUND, "arch.toml": b"PK\x03\x04"},
        ["arch.toml: is a spreadsheet workbook, not text; save it from the spreadsheet as CSV (UTF-8)"],
    ),
]


@pytest.mark.parametrize(("files", "lines"), _FOLDERS, ids=[lines[0][:40] for _, lines in _FOLDERS])
def test_files_missing_or_unreadable(tmp_path: Path, files: dict[str, str | bytes], lines: list[str]) -> None:
    with pytest.raises(RecordError) as caught:
        read_record(write_folder(tmp_path, files))
    assert str(caught.value).split("\n") == lines


def test_invalid_toml_of_no_usual_kind_is_told_with_its_line(tmp_path: Path) -> None:
    # The words in brackets are the standard library's and change with it.
    (fault,) = check_record(spoiled(tmp_path, "arch.toml", "depth = 105", "depth = {105")).faults
    assert (fault.file, fault.row) == ("arch.toml", 9)
    assert fault.reason.startswith("is not valid TOML (")
    assert fault.remedy == "look at this line and the one before it"


@pytest.mark.parametrize("name", ["arch.toml", "points.csv"])
def test_a_folder_in_the_place_of_a_file_is_told(tmp_path: Path, name: str) -> None:
    folder = write_folder(tmp_path, _without(name))
    (folder / name).mkdir()
    with pytest.raises(RecordError) as caught:
        read_record(folder)
    assert (
        str(caught.value) == f"{name}: is no file but a folder or the like; put the file itself in its place"
    )


def test_a_third_springing_on_the_wrong_side_is_doubted(tmp_path: Path) -> None:
    row = "SR,200.0,0.0,,springing,1,,right,,"
    folder = spoiled(tmp_path, "points.csv", row, f"{row}\nSX,201.0,-3.0,,springing,1,,left,,")
    assert (
        "points.csv row 4, column edge: is the left springing like row 2, but lies 401.0 mm from it;"
        " one of the two is the right springing, or misread"
    ) in _lines(read_record(folder).doubts)


@pytest.mark.skipif(
    not hasattr(os, "getuid") or os.name == "nt", reason="file names differ by case only on some systems"
)
def test_two_files_of_one_name_are_a_fault(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, {**SOUND, "Points.CSV": POINTS})
    if len(list(folder.iterdir())) == len(SOUND):
        pytest.skip("this file system holds names of either case as one")
    assert _lines(check_record(folder).faults) == [
        "points.csv: stands twice, as Points.CSV and points.csv; keep one of them"
    ]


def test_file_that_cannot_be_opened_is_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write_folder(tmp_path, SOUND)

    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert _lines(check_record(folder).faults)[:2] == [
        "arch.toml: cannot be opened (Permission denied);"
        " close it elsewhere, or give yourself the right to read it",
        "points.csv: cannot be opened (Permission denied);"
        " close it elsewhere, or give yourself the right to read it",
    ]


def test_folder_that_is_none_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match=r"^nowhere: is no folder; give the folder that holds arch\.toml$"):
        read_record(tmp_path / "nowhere")
    report = check_record(tmp_path / "no\nwhere")
    assert _lines(report.faults) == ["no where: is no folder; give the folder that holds arch.toml"]
    assert (report.status, report.counts) == (Status.FAULTY, RecordCounts())


def test_workbook_beside_the_record_is_told(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, {**SOUND, "courses.xlsx": b"PK"} | {"courses.csv": SOUND["courses.csv"]})
    assert read_record(folder).doubts == ()
    (folder / "courses.csv").unlink()
    assert _lines(read_record(folder).doubts) == [
        "courses.xlsx: is not read; save it as courses.csv (CSV, UTF-8)"
    ]


def test_unread_source_beside_points_is_a_doubt(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, {**SOUND, "offsets.csv": "line,along,offset\nA,1,2\n"})
    assert _lines(read_record(folder).doubts) == [
        "offsets.csv: offsets from strings and levels are not read yet and were left out;"
        " only points.csv was used"
    ]
    write_folder(tmp_path, {"offsets.csv": "line,along,offset\n"})
    assert read_record(folder).doubts == ()


def test_all_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    files = {
        "arch.toml": SOUND["arch.toml"].replace("depth = 105", "depht = 105"),
        "points.csv": POINTS.replace("A1L,-189.6", "A1L,x").replace("A5R,189.6", "A5R,y"),
        "courses.csv": SOUND["courses.csv"].replace("sound", "sond", 1),
        "salvage.csv": SOUND["salvage.csv"].replace("70.5", "-70.5"),
        "laid.csv": SOUND["laid.csv"].replace("left", "lft", 1),
    }
    with pytest.raises(RecordError) as caught:
        read_record(write_folder(tmp_path, files))
    where = [(fault.file, fault.row, fault.column) for fault in caught.value.faults]
    assert where == [
        ("arch.toml", None, "rings[1].depth"),
        ("arch.toml", None, "rings[1].depht"),
        ("points.csv", 4, "x"),
        ("points.csv", 13, "x"),
        ("courses.csv", 3, "condition"),
        ("salvage.csv", 2, "width"),
        ("laid.csv", 2, "edge"),
    ]
    assert all("\n" not in line for line in _lines(caught.value.faults))


def test_sound_record(tmp_path: Path) -> None:
    record = read_record(write_folder(tmp_path, SOUND))
    assert (record.name, record.unit, record.has_depth, record.doubts) == ("Small arch", "mm", False, ())
    assert record.folder == tmp_path
    points = record.points
    assert points.name[:3] == ("SL", "SR", "A1L")
    assert list(points.feature[:3]) == [Feature.SPRINGING, Feature.SPRINGING, Feature.INTRADOS]
    assert list(points.edge[:3]) == [Edge.LEFT, Edge.RIGHT, Edge.LEFT]
    assert points.course.tolist() == [UNKNOWN, UNKNOWN, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    assert points.row.tolist() == list(range(2, 14))
    assert set(points.sigma_mm) == {1.5}
    assert np.all(points.w_mm == 0.0)
    site = record.frame.to_site(points.xy_mm)
    np.testing.assert_allclose(site[2], [-189.6, 6.6, 0.0], rtol=0, atol=1e-12)
    (ring,) = record.rings
    assert (ring.courses, ring.depth_mm, ring.brick_width_mm, ring.laid) == (5, 105.0, 70.0, Laid.RADIAL)
    springing, first = record.courses[:2]
    assert (springing.course, springing.width_mm, springing.joint_mm) == (0, None, 12.3)
    assert (first.width_mm, first.condition, first.reuse, first.row) == (70.0, Condition.SOUND, True, 3)
    assert [(b.brick, b.width_mm, b.depth_mm, b.ring) for b in record.salvage] == [
        ("B1", 70.5, 105.0, 1),
        ("B2", 69.5, None, None),
    ]
    assert [(m.course, m.edge, m.along_mm) for m in record.laid] == [
        (1, Edge.LEFT, 12.3),
        (1, Edge.RIGHT, 82.4),
        (2, Edge.LEFT, 94.6),
    ]


def test_names_are_kept_as_text_without_control_characters(tmp_path: Path) -> None:
    files = {
        **SOUND,
        "arch.toml": SOUND["arch.toml"].replace("Small arch", r"../../<b>Süd\u0007</b>\n=1+1"),
        "points.csv": POINTS.replace("A1L,", '"=cmd|\x07\'<x>',
        ).replace("<x>", '<x>",', 1),
        "courses.csv": SOUND["courses.csv"].replace("12.1,sound,yes,", '12.1,sound,yes,"two\nlines\u200b"'),
    }  # fmt: skip
    record = read_record(write_folder(tmp_path, files))
    assert record.name == "../../<b>Süd</b> =1+1"
    assert record.points.name[2] == "=cmd|'<x>"
    assert record.courses[1].note == "two lines"


def test_record_needs_no_courses_ring_or_edge(tmp_path: Path) -> None:
    points = "point,x,y,feature\n" + "".join(
        f"P{i},{x},{60.0 - x * x / 700.0},intrados\n" for i, x in enumerate(range(-200, 201, 40))
    )
    arch = '[arch]\nname = "Bare"\n[measure]\nunit = "mm"\npoint_sigma = 2\n'
    record = read_record(write_folder(tmp_path, {"arch.toml": arch, "points.csv": points}))
    assert len(record.points) == 11
    assert _lines(record.doubts) == [
        "arch.toml, rings: describes no ring;"
        " add a [[rings]] table: without it no deviations by course and no rebuild",
        "points.csv: the left and the right springing were not measured;"
        " measure where the arch leaves its support: only that fixes where it ends",
    ]
