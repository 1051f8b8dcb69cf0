"""Doubts about points: gaps, points off the face, and slips found wherever they are made and nowhere else."""

from __future__ import annotations

from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from record.record_folder import write_folder
from record.site_record import N_COURSES, Stand, arch_points, write_site_record

from survey.record import read_record
from survey.record.order import _longest_rising

_STAND = Stand(4_000.0, 7_000.0, 1_200.0, 0.5)
_QUIET = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)


def _doubts(folder: Path) -> list[str]:
    return [str(doubt) for doubt in read_record(folder).doubts]


def test_gap_is_told_unless_its_bricks_are_missing(tmp_path: Path) -> None:
    rows, truth = arch_points()
    kept = [i for i, row in enumerate(rows) if row.split(",")[2] not in ("6", "7", "8", "9")]
    folder = write_site_record(tmp_path, _STAND.site(truth[kept]), [rows[i] for i in kept])
    wide = np.linalg.norm(truth[11] - truth[20])
    told = (
        f"points.csv: nothing was measured on the intrados for {wide:.0f} mm between P11 and P12;"
        " measure there, or note the courses missing in courses.csv"
    )
    assert _doubts(folder) == [told]
    notes = "ring,course,condition\n" + "".join(
        f"1,{course},{'missing' if 6 <= course <= 9 else 'sound'}\n" for course in range(1, N_COURSES + 1)
    )
    write_folder(folder, {"courses.csv": notes})
    assert _doubts(folder) == []
    write_folder(folder, {"courses.csv": notes.replace("1,7,missing", "1,7,sound")})
    assert _doubts(folder) == [told]


def test_a_flat_row_without_a_gap_has_none(tmp_path: Path) -> None:
    """A row of bricks with errors of a millimetre is ordered along itself, however little it rises."""
    rows, truth = arch_points()
    error = np.random.default_rng(3).normal(0.0, 1.0, len(truth))
    truth[:, 0] = np.concatenate([[-700.0, 700.0], np.linspace(-690.0, 690.0, len(truth) - 2)])
    truth[:, 1] = error
    assert not any(
        "nothing was measured" in told
        for told in _doubts(write_site_record(tmp_path, _STAND.site(truth), rows))
    )


@pytest.mark.parametrize(("w_mm", "where"), [(250.0, "in front of"), (-180.0, "behind")])
def test_springing_off_the_face_is_told(tmp_path: Path, w_mm: float, where: str) -> None:
    rows, truth = arch_points()
    truth[0, 2] = w_mm
    assert _doubts(write_site_record(tmp_path, _STAND.site(truth), rows)) == [
        f"points.csv row 2: P0 stands {abs(w_mm):.0f} mm {where} the face; measure it again, or call it other"
    ]


def test_far_point_is_told_once(tmp_path: Path) -> None:
    rows, truth = arch_points()
    truth[7] += [0.0, 0.0, 52_345.6]
    (told,) = _doubts(write_site_record(tmp_path, _STAND.site(truth), rows))
    assert told.startswith("points.csv row 9: P7: stands 52345.6 mm off its neighbours")


@_QUIET
@given(
    index=st.integers(2, 2 * N_COURSES + 1),
    axis=st.sampled_from([0, 1, 2]),
    slip_mm=st.sampled_from([-1000.0, 1000.0]),
    seed=st.integers(0, 1000),
    numbered=st.booleans(),
)
def test_metre_slip_is_found_and_named(
    tmp_path: Path, index: int, axis: int, slip_mm: float, seed: int, numbered: bool
) -> None:
    rows, truth = arch_points()
    if not numbered:
        rows = [row if row.startswith("springing") else "intrados,1,," for row in rows]
    site = _STAND.site(truth + np.random.default_rng(seed).normal(0.0, 2.0, truth.shape))
    site[index, axis] += slip_mm
    record = read_record(write_site_record(tmp_path, site, rows))
    # In one of some twenty thousand draws the noise alone leans the face by four standard uncertainties.
    (doubt,) = [doubt for doubt in record.doubts if "leans" not in doubt.reason]
    assert (doubt.row, doubt.column) == (index + 2, "xyz"[axis])
    assert doubt.reason.endswith("from its neighbours: a slip of a metre?")


@pytest.mark.parametrize("numbered", [True, False])
def test_no_slip_is_seen_in_ordinary_noise(tmp_path: Path, numbered: bool) -> None:
    rows, truth = arch_points()
    if not numbered:
        rows = [row if row.startswith("springing") else "intrados,1,," for row in rows]
    random = np.random.default_rng(17)
    for number in range(150):
        site = _STAND.site(truth + random.normal(0.0, 3.0, truth.shape))
        assert _doubts(write_site_record(tmp_path / str(number), site, rows)) == []


def test_points_in_no_order_raise_no_slips(tmp_path: Path) -> None:
    rows, truth = arch_points()
    order = np.random.default_rng(4).permutation(np.arange(2, len(rows)))
    order = np.concatenate([[0, 1], order])
    bare = [rows[0], rows[1]] + ["intrados,1,,"] * (len(rows) - 2)
    assert _doubts(write_site_record(tmp_path, _STAND.site(truth[order]), bare)) == []


@given(st.lists(st.integers(0, 6), max_size=9))
def test_longest_rising_run_against_every_choice(values: list[int]) -> None:
    run = _longest_rising(np.array(values, dtype=float))
    assert run == sorted(run)
    assert all(values[i] <= values[j] for i, j in pairwise(run))
    longest = max(
        (
            n
            for n in range(len(values) + 1)
            for chosen in combinations(values, n)
            if list(chosen) == sorted(chosen)
        ),
        default=0,
    )
    assert len(run) == longest
