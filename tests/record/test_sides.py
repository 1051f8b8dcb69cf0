"""Left and right: from springings, courses, edges or the view, in that order; contradictions are faults."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from record.record_folder import POINTS, SOUND, spoiled, write_folder
from record.site_record import Stand, arch_points, write_site_record

from survey.errors import RecordError
from survey.record import check_record, read_record

_STAND = Stand(4_000.0, -7_000.0, 1_200.0, 2.2)


def _outside(distance_mm: float) -> str:
    x, y, _ = _STAND.site(np.array([[250.0, 0.0, distance_mm]]))[0]
    return f"[view]\noutside = [{x}, {y}]\n"


def _rows(*, springings: bool, courses: bool, edges: bool) -> list[str]:
    rows, _ = arch_points()
    bare = []
    for row in rows:
        feature, ring, course, edge = row.split(",")
        keeps_edge = springings if feature == "springing" else edges
        bare.append(",".join([feature, ring, course if courses or edges else "", edge if keeps_edge else ""]))
    return bare


def _scrambled(rows: list[str]) -> list[str]:
    """Course numbers that do not run along the arch, so that edges alone can tell."""
    order = np.random.default_rng(2).permutation(15) + 1
    return [re.sub(r",1,(\d+),", lambda match: f",1,{order[int(match[1]) - 1]},", row) for row in rows]


@pytest.mark.parametrize(
    ("rows", "extra"),
    [
        (_rows(springings=True, courses=False, edges=False), ""),
        (_rows(springings=False, courses=True, edges=False), ""),
        (_scrambled(_rows(springings=False, courses=True, edges=True)), ""),
        (_rows(springings=False, courses=False, edges=False), _outside(3_000.0)),
        (_rows(springings=True, courses=True, edges=True), _outside(3_000.0)),
    ],
    ids=["springings", "courses", "edges", "view", "all"],
)
def test_each_thing_tells_left_from_right(tmp_path: Path, rows: list[str], extra: str) -> None:
    _, truth = arch_points()
    record = read_record(write_site_record(tmp_path, _STAND.site(truth), rows, extra=extra))
    np.testing.assert_allclose(record.frame.x_axis, [np.cos(2.2), np.sin(2.2), 0.0], rtol=0, atol=1e-9)
    assert record.points.xy_mm[0, 0] < record.points.xy_mm[1, 0]
    assert not any("left from right" in doubt.reason for doubt in record.doubts)


@pytest.mark.parametrize(("turn_rad", "sign"), [(0.4, 1.0), (2.2, -1.0)])
def test_without_any_sign_growing_x_is_taken_with_a_doubt(
    tmp_path: Path, turn_rad: float, sign: float
) -> None:
    _, truth = arch_points()
    rows = _rows(springings=False, courses=False, edges=False)
    record = read_record(write_site_record(tmp_path, Stand(turn_rad=turn_rad).site(truth), rows))
    assert record.frame.x_axis[0] == pytest.approx(abs(np.cos(turn_rad)), abs=1e-9)
    assert (record.points.xy_mm[1, 0] > record.points.xy_mm[0, 0]) == (sign > 0)
    assert (
        "points.csv: nothing tells left from right; the right hand was taken towards growing site x;"
        " mark the springing points left and right, or write [view] outside = [x, y] in arch.toml"
    ) in [str(doubt) for doubt in record.doubts]


def _mirrored(rows: list[str], feature: str) -> list[str]:
    other = {"left": "right", "right": "left"}
    return [
        re.sub("left|right", lambda m: other[m[0]], row) if row.startswith(feature) else row for row in rows
    ]


_ALL = _rows(springings=True, courses=True, edges=True)
_TAIL = "; give both as seen from outside, facing the arch; see that x and y are not swapped"


@pytest.mark.parametrize(
    ("rows", "extra", "between"),
    [
        (_mirrored(_ALL, "springing"), "", "the springing points against the course numbers"),
        (
            _mirrored(_ALL, "intrados"),
            "",
            "the springing points against the left and right edges of the courses",
        ),
        (_ALL, _outside(-3_000.0), "the springing points against [view] outside in arch.toml"),
    ],
)
def test_contradictions_are_faults(tmp_path: Path, rows: list[str], extra: str, between: str) -> None:
    _, truth = arch_points()
    with pytest.raises(RecordError) as caught:
        read_record(write_site_record(tmp_path, _STAND.site(truth), rows, extra=extra))
    assert str(caught.value) == f"points.csv: left and right contradict each other: {between}{_TAIL}"


def test_swapped_site_axes_are_found_by_the_view(tmp_path: Path) -> None:
    # Northing in the x column makes the grid left-handed: the face would come out mirrored.
    _, truth = arch_points()
    x, y, _ = _STAND.site(np.array([[0.0, 0.0, 3_000.0]]))[0]
    site = _STAND.site(truth)[:, [1, 0, 2]]
    with pytest.raises(RecordError, match="left and right contradict each other"):
        read_record(write_site_record(tmp_path, site, _ALL, extra=f"[view]\noutside = [{y}, {x}]\n"))


def test_courses_that_run_against_x_are_a_fault_without_z(tmp_path: Path) -> None:
    renumbered = re.sub(r"intrados,1,(\d)", lambda m: f"intrados,1,{6 - int(m[1])}", POINTS)
    renumbered = renumbered.replace("left", "").replace("right", "")
    report = check_record(write_folder(tmp_path, {**SOUND, "points.csv": renumbered}))
    assert [str(fault) for fault in report.faults] == [
        "points.csv: left and right contradict each other: x to the right where points have no z"
        f" against the course numbers{_TAIL}"
    ]


def test_one_swapped_course_does_not_outvote_the_others(tmp_path: Path) -> None:
    folder = spoiled(tmp_path, "points.csv", "1,1,left,,\nA1R,-126.8,37.2,,intrados,1,1,right",
                     "1,1,right,,\nA1R,-126.8,37.2,,intrados,1,1,left")  # fmt: skip
    assert [doubt.column for doubt in read_record(folder).doubts] == ["edge"]
