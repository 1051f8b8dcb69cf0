"""A record damaged in any way is read or told in single lines; nothing else ever comes out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from record.record_folder import SOUND, write_folder
from record.site_record import Stand, arch_points, write_site_record

from survey.record import check_record
from survey.record.read import examine

_SETTINGS = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=120
)
_PIECES = st.one_of(
    st.text(max_size=6),
    st.sampled_from(
        [
            ",",
            ";",
            "\t",
            "\n",
            '"',
            "0",
            "-",
            "1e308",
            "9" * 30,
            "nan",
            "[[rings]]\n",
            "=",
            "\ufeff",
            "left",
            "2",
        ]
    ),
)


def _holds(folder: Path) -> None:
    report = check_record(folder)
    examination = examine(folder)
    assert (examination.record is None) == bool(examination.faults)
    for line in (*report.faults, *report.doubts):
        assert len(str(line).splitlines()) == 1, line
    if examination.record is not None:
        points = examination.record.points
        assert np.all(np.isfinite(points.xy_mm))
        assert np.all(np.isfinite(points.w_mm))
        assert np.all(points.sigma_mm > 0.0)


@_SETTINGS
@given(
    file=st.sampled_from(sorted(SOUND)),
    start=st.integers(0, 600),
    length=st.integers(0, 25),
    piece=_PIECES,
)
@example(file="points.csv", start=0, length=600, piece="")
def test_any_damage_is_told(tmp_path: Path, file: str, start: int, length: int, piece: str) -> None:
    whole = SOUND[file]
    damaged = whole[:start] + piece + whole[start + length :]
    _holds(write_folder(tmp_path, {**SOUND, file: damaged.encode("utf-8", "replace")}))


_COORDINATE = st.one_of(st.floats(-1e11, 1e11), st.floats(-1e3, 1e3), st.just(0.0))


@_SETTINGS
@given(st.lists(st.tuples(_COORDINATE, _COORDINATE, _COORDINATE), min_size=1, max_size=12), st.booleans())
def test_any_points_give_a_record_or_faults(tmp_path: Path, places: list, alike: bool) -> None:
    rows, _ = arch_points()
    site = np.array(places)
    if alike:
        site = np.repeat(site[:1], len(site), axis=0)
    _holds(write_site_record(tmp_path, site, rows[: len(site)][::-1]))
    _holds(write_site_record(tmp_path, Stand(turn_rad=1.0).site(site), ["intrados,,,"] * len(site)))
