"""The face frame: found again wherever the arch stands, in any unit, on any grid."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from record.site_record import Stand, arch_points, write_site_record

from survey.errors import RecordError
from survey.record import read_record
from survey.record.face import fit_trace
from survey.record.model import FaceFrame

_SETTINGS = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=40
)
_turns = st.floats(-math.pi, math.pi)
_stands = st.builds(Stand, st.floats(-4.5e8, 4.5e8), st.floats(-5.5e9, 5.5e9), st.floats(-4e5, 4e6), _turns)


def _check_frame(frame: FaceFrame) -> None:
    axes = np.array([frame.x_axis, frame.y_axis, frame.w_axis])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), rtol=0, atol=1e-15)
    assert np.linalg.det(axes) == pytest.approx(1.0, abs=1e-15)
    assert frame.y_axis.tolist() == [0.0, 0.0, 1.0]


@_SETTINGS
@given(stand=_stands)
def test_frame_is_found_again_anywhere(tmp_path: Path, stand: Stand) -> None:
    rows, truth = arch_points()
    site = stand.site(truth)
    record = read_record(write_site_record(tmp_path, site, rows))
    _check_frame(record.frame)
    assert record.has_depth
    assert record.doubts == ()
    # A coordinate of 5.5e9 mm holds no more than 5e-7 mm; the frame must add nothing to that.
    loss = 4.0 * np.spacing(np.abs(site).max())
    places = np.column_stack([record.points.xy_mm, record.points.w_mm])
    shift = places[0] - truth[0]
    np.testing.assert_allclose(places - shift, truth, rtol=0, atol=max(loss, 1e-9) * 4.0)
    assert abs(shift[2]) < max(loss, 1e-9) * 4.0
    back = record.frame.to_site(record.points.xy_mm) + record.points.w_mm[:, None] * record.frame.w_axis
    np.testing.assert_allclose(back, site, rtol=0, atol=max(loss, 1e-9))


def test_large_grid_keeps_a_millionth_of_a_millimetre(tmp_path: Path) -> None:
    rows, truth = arch_points()
    site = Stand(4.5e8, -4.5e8, 2.1e5, 1.1).site(truth)
    # Rounded to what the file shall hold: a tenth of a micrometre.
    site = np.round(site, 4)
    record = read_record(write_site_record(tmp_path, site, rows, unit="m", in_mm=1000.0))
    places = np.column_stack([record.points.xy_mm, record.points.w_mm])
    step = np.linalg.norm(np.diff(places, axis=0), axis=1)
    np.testing.assert_allclose(step, np.linalg.norm(np.diff(truth, axis=0), axis=1), rtol=0, atol=3e-4)
    back = record.frame.to_site(record.points.xy_mm) + record.points.w_mm[:, None] * record.frame.w_axis
    np.testing.assert_allclose(back, site, rtol=0, atol=1e-6)


@pytest.mark.parametrize(
    ("unit", "in_mm"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4), ("ft", 304.8)]
)
def test_same_arch_in_every_unit(tmp_path: Path, unit: str, in_mm: float) -> None:
    rows, truth = arch_points()
    site = Stand(12_000.0, 8_000.0, 1_200.0, 0.4).site(truth)
    known = f"[known]\nspan = {{ value = {1400 / in_mm!r}, sigma = {3 / in_mm!r} }}\n"
    reference = read_record(write_site_record(tmp_path / "mm", site, rows))
    record = read_record(write_site_record(tmp_path / "u", site, rows, unit=unit, in_mm=in_mm, extra=known))
    np.testing.assert_allclose(record.points.xy_mm, reference.points.xy_mm, rtol=0, atol=1e-9)
    np.testing.assert_allclose(record.points.sigma_mm, 2.0, rtol=1e-15)
    np.testing.assert_allclose(record.frame.origin_mm, reference.frame.origin_mm, rtol=0, atol=1e-9)
    assert record.point_sigma_mm == pytest.approx(2.0, rel=1e-15)
    assert record.rings[0].depth_mm == pytest.approx(115.0, rel=1e-15)
    assert record.rings[0].brick_width_mm == pytest.approx(118.0, rel=1e-15)
    assert record.known.span is not None
    assert record.known.span.value_mm == pytest.approx(1400.0, rel=1e-15)
    assert record.known.span.sigma_mm == pytest.approx(3.0, rel=1e-15)


def test_trace_is_the_total_least_squares_line() -> None:
    # Within a few millimetres of the line every point keeps nearly full weight, so the line must be the one
    # of the smallest singular vector, got here by another road.
    random = np.random.default_rng(5)
    along = np.array([math.cos(0.7), math.sin(0.7)])
    plan = random.uniform(-700.0, 700.0, 400)[:, None] * along + random.normal(0.0, 1.0, (400, 2))
    xyz = np.column_stack([plan, random.uniform(0.0, 500.0, 400)])
    trace = fit_trace(xyz, np.full(400, 50.0))
    assert trace is not None
    _, _, rows = np.linalg.svd(plan - plan.mean(axis=0))
    assert abs(trace.along @ rows[1]) < 2e-5
    assert abs((trace.middle_mm - plan.mean(axis=0)) @ rows[1]) < 2e-3


def test_stray_points_do_not_turn_the_face(tmp_path: Path) -> None:
    rows, truth = arch_points()
    random = np.random.default_rng(11)
    truth = truth + random.normal(0.0, 2.0, truth.shape)
    clean = read_record(write_site_record(tmp_path / "a", Stand(turn_rad=0.3).site(truth), rows))
    truth[[4, 9, 20]] += [[0.0, 0.0, 1000.0], [0.0, 0.0, -400.0], [0.0, 0.0, 900.0]]
    record = read_record(write_site_record(tmp_path / "b", Stand(turn_rad=0.3).site(truth), rows))
    turn = math.acos(min(1.0, float(record.frame.x_axis @ clean.frame.x_axis)))
    assert math.degrees(turn) < 0.1
    assert [doubt.row for doubt in record.doubts] == [6, 11, 22]


def test_points_beside_the_face_do_not_move_it(tmp_path: Path) -> None:
    rows, truth = arch_points()
    beside = ["datum,,,", "crack,,,", "other,,,"] * 30
    away = np.column_stack([np.linspace(-900, 900, 90), np.full(90, 300.0), np.linspace(20, 500, 90)])
    clean = read_record(write_site_record(tmp_path / "a", Stand().site(truth), rows))
    both = np.vstack([truth, away])
    record = read_record(write_site_record(tmp_path / "b", Stand().site(both), rows + beside))
    np.testing.assert_allclose(record.frame.w_axis, clean.frame.w_axis, rtol=0, atol=1e-12)
    np.testing.assert_allclose(record.points.w_mm[-90:], away[:, 2], rtol=0, atol=1e-9)


def test_trace_uncertainty_is_unbiased() -> None:
    rows, truth = arch_points()
    random = np.random.default_rng(3)
    turns = []
    for _ in range(200):
        noisy = Stand().site(truth + random.normal(0.0, 2.0, truth.shape))
        trace = fit_trace(noisy, np.full(len(rows), 2.0))
        assert trace is not None
        turns.append(math.atan(trace.along[1] / trace.along[0]))
    # By least squares the turn's standard deviation is sigma over the root of the summed squares along the
    # face; robust weights cost a few per cent.
    expected = 2.0 / np.sqrt(np.sum((truth[:, 0] - truth[:, 0].mean()) ** 2))
    assert abs(np.mean(turns)) < 4.0 * expected / math.sqrt(200.0)
    assert np.std(turns) == pytest.approx(expected, rel=0.25)


@pytest.mark.parametrize(("lean_deg", "word"), [(1.0, "forward"), (-1.5, "back")])
@pytest.mark.parametrize("turn_rad", [0.0, 2.5])
@pytest.mark.parametrize("half", [False, True])
def test_lean_is_told_and_does_not_turn_the_face(
    tmp_path: Path, lean_deg: float, word: str, turn_rad: float, half: bool
) -> None:
    rows, truth = arch_points()
    if half:
        kept = [i for i, place in enumerate(truth) if place[0] < 100.0 or i < 2]
        rows, truth = [rows[i] for i in kept], truth[kept]
    random = np.random.default_rng(8)
    leaning = truth + np.column_stack(
        [np.zeros((len(truth), 2)), truth[:, 1] * math.tan(math.radians(lean_deg))]
    )
    leaning = leaning + random.normal(0.0, 0.5, truth.shape)
    record = read_record(write_site_record(tmp_path, Stand(turn_rad=turn_rad).site(leaning), rows))
    (told,) = [doubt for doubt in record.doubts if "leans" in doubt.reason]
    match = re.fullmatch(r"the face leans (\w+) by ([\d.]+)° from plumb", told.reason)
    assert match is not None
    assert match[1] == word
    assert float(match[2]) == pytest.approx(abs(lean_deg), abs=0.1)
    across = record.frame.x_axis[:2] @ [-math.sin(turn_rad), math.cos(turn_rad)]
    assert abs(math.degrees(math.asin(across))) < 0.1


_NOT_UPRIGHT = [
    (
        np.array([1.0, 0.0, 0.0]),
        np.array([0.0, 1.0, 0.0]),
        "points.csv, z: the points on the arch do not stand in one upright face: half of them are more than"
        " 131 mm off it; see that z is the height, or leave z blank where x and y already lie in the face",
    ),
    (
        np.array([0.0, 0.0, 1.0]),
        np.array([0.0, 1e-3, 1.0]),
        "points.csv, z: the points on the arch stand over one spot of the plan, so the face has no direction;"
        " measure both springings, or leave z blank where x and y already lie in the face",
    ),
]


@pytest.mark.parametrize(("right", "up", "line"), _NOT_UPRIGHT, ids=["lying", "a plumb line"])
def test_what_is_no_upright_face_is_refused(
    tmp_path: Path, right: np.ndarray, up: np.ndarray, line: str
) -> None:
    rows, truth = arch_points()
    site = truth[:, :1] * right + truth[:, 1:2] * up
    with pytest.raises(RecordError) as caught:
        read_record(write_site_record(tmp_path, site, rows))
    assert str(caught.value) == line


def test_one_point_has_no_face(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="stand over one spot of the plan"):
        read_record(write_site_record(tmp_path, np.array([[1.0, 2.0, 3.0]]), ["intrados,1,1,left"]))
    assert fit_trace(np.zeros((1, 3)), np.ones(1)) is None
    assert fit_trace(np.zeros((5, 3)), np.ones(5)) is None


def test_known_levels_are_moved_into_the_face_frame(tmp_path: Path) -> None:
    rows, truth = arch_points()
    site = Stand(5e6, 7e6, 1_240.0, 0.2).site(truth)
    known = "[known]\nspringing_y = { value = 1240, sigma = 1 }\nrise = { value = 560, sigma = 2 }\n"
    record = read_record(write_site_record(tmp_path, site, rows, extra=known))
    assert record.known.springing_y is not None
    assert record.known.springing_y.value_mm == pytest.approx(record.points.xy_mm[0, 1], abs=1e-9)
    assert record.known.rise is not None
    assert record.known.rise.value_mm == 560.0
    assert record.known.span is None


def test_known_axis_needs_plane_coordinates(tmp_path: Path) -> None:
    rows, truth = arch_points()
    known = "[known]\naxis_x = { value = 12, sigma = 1 }\n"
    with pytest.raises(RecordError) as caught:
        read_record(write_site_record(tmp_path, Stand().site(truth), rows, extra=known))
    assert str(caught.value) == (
        "arch.toml, known.axis_x: cannot be given where points have z: a site grid has no single x for"
        " the axis; take it out, or measure the springing points"
    )
