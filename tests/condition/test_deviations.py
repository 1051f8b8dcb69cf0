"""Deviations course by course on rings laid by hand: every figure is known to the last digit."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from condition.factory import FAMILIES, LaidRing, fit_of, left_edges_mm, note, record_of

from survey.condition import DeviationMap, map_deviations
from survey.curves import curve_of, elliptical, five_centred, segmental, semicircular, three_centred_sixty
from survey.curves.shape import ArchShape, Family
from survey.record.model import UNKNOWN, Condition, Edge, Feature, Record, SurveyPoints, Tolerances

SHAPE = semicircular(1000.0)
N = 51
SHAPES = {
    Family.SEMICIRCULAR: SHAPE,
    Family.SEGMENTAL: segmental(2400.0, 400.0),
    Family.ELLIPTICAL: elliptical(2400.0, 900.0),
    Family.THREE_CENTRED: three_centred_sixty(2400.0, 900.0),
    Family.FIVE_CENTRED: five_centred(2400.0, 850.0, 620.0),
}
BOTH_SURFACES = (Feature.INTRADOS, Feature.EXTRADOS)


def mapped(record: Record, shape: ArchShape = SHAPE, **options: float) -> DeviationMap:
    return map_deviations(record, fit_of(record, shape, **options))


def without(*missing: int, n: int = N) -> list[int]:
    return [c for c in range(1, n + 1) if c not in missing]


@pytest.mark.parametrize("family", FAMILIES)
def test_every_ring_of_every_family_comes_back_as_laid(family: Family) -> None:
    shape = SHAPES[family]
    off = {10: 4.0, 11: -3.0}
    rings = [
        LaidRing(37, deviation_mm=off, surfaces=BOTH_SURFACES, w_mm={5: 2.5}),
        LaidRing(
            43,
            ring=2,
            depth_mm=120.0,
            collar_mm=12.0,
            deviation_mm={7: -6.0},
            bed_tilt_rad={9: 0.05},
            surfaces=BOTH_SURFACES,
        ),
    ]
    map_ = mapped(record_of(shape, rings), shape)
    curve = curve_of(shape)
    for laid, offset in zip(rings, (0.0, 252.0), strict=True):
        expected = [laid.deviation_mm.get(c, 0.0) for c in range(1, laid.n_courses + 1)]
        assert map_.column(laid.ring, "deviation_mm") == pytest.approx(expected, abs=1e-6)
        left = left_edges_mm(curve.offset(offset).length_mm, laid)
        joint = left[1] - left[0] - 50.0
        assert map_.column(laid.ring, "width_mm") == pytest.approx(np.full(laid.n_courses, 50.0), abs=1e-6)
        assert map_.column(laid.ring, "joint_mm") == pytest.approx(np.full(laid.n_courses, joint), abs=1e-5)
        tilt = [laid.bed_tilt_rad.get(c, 0.0) for c in range(1, laid.n_courses + 1)]
        assert map_.column(laid.ring, "joint_tilt_rad") == pytest.approx(tilt, abs=1e-6)
    lip = map_.column(1, "lip_mm")
    assert (lip[8], lip[9], lip[10]) == pytest.approx((4.0, -7.0, 3.0), abs=1e-6)
    assert np.isnan(lip[-1])
    assert map_.column(1, "face_offset_mm")[[3, 4]] == pytest.approx([0.0, 2.5])
    assert not map_.column(1, "inferred").any()


def test_stations_and_places_of_an_outer_ring_are_on_the_fitted_intrados() -> None:
    rings = [LaidRing(N), LaidRing(60, ring=2, depth_mm=120.0, collar_mm=10.0, deviation_mm={20: 8.0})]
    row = mapped(record_of(SHAPE, rings)).ring(2)[19]
    left = left_edges_mm(np.pi * 1250.0, rings[1])[19]
    middle = (left + 25.0) / 1250.0
    assert row.station_mm == pytest.approx(middle * 1000.0, abs=1e-6)
    assert (row.start_mm, row.end_mm) == pytest.approx((left * 0.8, (left + 50.0) * 0.8), abs=1e-6)
    assert (row.x_mm, row.y_mm) == pytest.approx(
        (-1258.0 * np.cos(middle), 1258.0 * np.sin(middle)), abs=1e-6
    )


def test_the_map_does_not_depend_on_where_the_arch_stands() -> None:
    laid = LaidRing(N, deviation_mm={20: -7.0})
    far = replace(SHAPE, axis_x_mm=4321.0, springing_y_mm=-987.0)
    here, there = mapped(record_of(SHAPE, [laid])), mapped(record_of(far, [laid]), far)
    for name in ("x_mm", "y_mm", "station_mm", "deviation_mm"):
        assert here.column(1, name) == pytest.approx(there.column(1, name), abs=1e-7)


def test_uncertainty_joins_the_readings_and_the_curve() -> None:
    both = mapped(record_of(SHAPE, [LaidRing(N)], sigma_mm=2.0), sigma_mm=0.6)
    one = mapped(record_of(SHAPE, [LaidRing(N, edges=(Edge.MID,))], sigma_mm=2.0), sigma_mm=0.6)
    # Axis and level move a circle along its normal by cos and sin, the radius by one: together sqrt 2.
    assert both.column(1, "deviation_sigma_mm") == pytest.approx(np.full(N, np.sqrt(2.0 + 0.72)), rel=1e-9)
    assert one.column(1, "deviation_sigma_mm") == pytest.approx(np.full(N, np.sqrt(4.0 + 0.72)), rel=1e-9)


@pytest.mark.parametrize("edge", [Edge.LEFT, Edge.RIGHT, Edge.MID])
def test_one_edge_alone_places_the_course_by_its_usual_width(edge: Edge) -> None:
    laid = LaidRing(N, edges=(edge,), deviation_mm={9: 5.0})
    map_ = mapped(record_of(SHAPE, [laid]))
    left = left_edges_mm(np.pi * 1000.0, laid)
    assert map_.column(1, "station_mm") == pytest.approx(left + 25.0, abs=1e-6)
    assert map_.column(1, "deviation_mm")[8] == pytest.approx(5.0, abs=1e-6)
    assert np.isnan(map_.column(1, "width_mm")).all()
    assert np.isnan(map_.column(1, "lip_mm")).all()


def test_the_back_alone_is_measured_against_the_outer_curve() -> None:
    laid = LaidRing(N, surfaces=(Feature.EXTRADOS,), deviation_mm={9: 5.0})
    map_ = mapped(record_of(SHAPE, [laid]))
    assert map_.column(1, "deviation_mm")[[7, 8]] == pytest.approx([0.0, 5.0], abs=1e-6)
    assert np.isnan(map_.column(1, "joint_tilt_rad")).all()


def test_notes_stand_in_for_what_was_not_surveyed() -> None:
    notes = [note(1, 9, width_mm=48.0, joint_mm=13.0, condition=Condition.LOOSE)]
    row = mapped(record_of(SHAPE, [LaidRing(N, edges=(Edge.MID,))], notes=notes)).ring(1)[8]
    assert (row.width_mm, row.joint_mm, row.condition) == (48.0, 13.0, Condition.LOOSE)


@pytest.mark.parametrize("missing", [range(20, 26), range(1, 5), range(47, 52)])
def test_missing_courses_are_placed_by_the_rhythm(missing: range) -> None:
    laid = LaidRing(N, surveyed=without(*missing), recorded=N)
    rows = mapped(record_of(SHAPE, [laid])).ring(1)
    assert [r.course for r in rows] == list(range(1, N + 1))
    left = left_edges_mm(np.pi * 1000.0, laid)
    for row in rows:
        gone = row.course in missing
        assert row.inferred is gone
        assert math.isnan(row.deviation_mm) is gone
        assert math.isnan(row.deviation_sigma_mm) is gone
        assert (row.condition is Condition.MISSING) is gone
        assert row.start_mm == pytest.approx(left[row.course - 1], abs=1e-6)
        assert row.end_mm == pytest.approx(left[row.course - 1] + 50.0, abs=1e-6)
        on_curve = np.hypot(row.x_mm, row.y_mm)
        assert on_curve == pytest.approx(1000.0, abs=1e-6)


def test_the_far_side_of_a_gap_numbered_on_is_counted_on() -> None:
    missing = range(20, 26)
    laid = LaidRing(
        N, surveyed=without(*missing), label={c: c - 6 for c in range(26, N + 1)}, deviation_mm={30: 9.0}
    )
    rows = mapped(record_of(SHAPE, [laid])).ring(1)
    assert len(rows) == N
    assert [r.course for r in rows if r.condition is Condition.MISSING] == list(missing)
    assert rows[29].deviation_mm == pytest.approx(9.0, abs=1e-6)


def test_points_without_numbers_are_mapped_as_well() -> None:
    laid = LaidRing(
        N, label=dict.fromkeys(range(1, N + 1), UNKNOWN), edge_noted=False, deviation_mm={30: 9.0}
    )
    column = mapped(record_of(SHAPE, [laid], noise_seed=1, sigma_mm=0.5)).column(1, "deviation_mm")
    assert len(column) == N
    assert int(np.argmax(column)) == 29


def test_unsurveyed_courses_that_stand_are_neither_measured_nor_missing() -> None:
    map_ = mapped(record_of(SHAPE, [LaidRing(N, surveyed=range(1, N + 1, 3), recorded=N)]))
    row = map_.ring(1)[1]
    assert row.inferred
    assert row.condition is Condition.UNKNOWN
    assert np.isnan(row.deviation_mm)


def test_a_ring_nobody_measured_has_its_courses_in_equal_joints() -> None:
    rings = [LaidRing(N, recorded=N), LaidRing(60, ring=2, depth_mm=120.0, surveyed=(), recorded=60)]
    rows = mapped(record_of(SHAPE, rings)).ring(2)
    left = left_edges_mm(np.pi * 1240.0, rings[1]) * 1000.0 / 1240.0
    assert [r.start_mm for r in rows] == pytest.approx(list(left), abs=1e-6)
    assert all(r.inferred and np.isnan(r.deviation_mm) for r in rows)
    assert not any(r.condition is Condition.MISSING for r in rows)


def test_points_without_depth_have_no_face_offset() -> None:
    map_ = mapped(record_of(SHAPE, [LaidRing(N, w_mm={5: 9.0})], has_depth=False))
    assert np.isnan(map_.column(1, "face_offset_mm")).all()
    assert not any("face" in c.flag for c in map_.courses)


def test_without_springing_points_the_last_joint_is_not_guessed() -> None:
    joints = mapped(record_of(SHAPE, [LaidRing(N)], springings=False)).column(1, "joint_mm")
    assert np.isnan(joints[-1])
    assert np.isfinite(joints[:-1]).all()


def test_an_edge_that_cannot_be_right_is_left_out_and_flagged() -> None:
    record = record_of(SHAPE, [LaidRing(N)], noise_seed=2)
    xy = record.points.xy_mm.copy()
    xy[40] *= 1.03
    row = mapped(replace(record, points=replace(record.points, xy_mm=xy))).ring(1)[20]
    assert abs(row.deviation_mm) < 3.0
    assert row.deviation_sigma_mm == pytest.approx(np.sqrt(1.0 + 0.5), rel=1e-9)
    assert "mm apart: measure again" in row.flag


@pytest.mark.parametrize(
    ("laid", "flag"),
    [
        (LaidRing(N, deviation_mm={20: -7.0}), "7 mm into the opening"),
        (LaidRing(N, deviation_mm={20: 7.0}), "7 mm back from the opening"),
        (LaidRing(N, w_mm={20: 5.0}), "5 mm proud of the face"),
        (LaidRing(N, w_mm={20: -5.0}), "5 mm behind the face"),
        (LaidRing(N, bed_tilt_rad={20: 0.06}, surfaces=BOTH_SURFACES), "bed leans 3.4° to the right"),
        (LaidRing(N, bed_tilt_rad={20: -0.06}, surfaces=BOTH_SURFACES), "bed leans 3.4° to the left"),
    ],
)
def test_flags_speak_in_words(laid: LaidRing, flag: str) -> None:
    rows = mapped(record_of(SHAPE, [replace(laid, cut="mixed")], sigma_mm=0.5)).ring(1)
    assert flag in rows[19].flag
    lips = {18, 19} if laid.deviation_mm else set()
    assert all(r.flag == "" for i, r in enumerate(rows) if i not in {19} | lips)


def test_a_lip_and_a_joint_are_flagged() -> None:
    left = left_edges_mm(np.pi * 1000.0, LaidRing(N))
    left[25:] += 6.0
    map_ = mapped(
        record_of(
            SHAPE,
            [LaidRing(N, along_mm=left, deviation_mm=dict.fromkeys(range(11, N + 1), 4.0))],
            sigma_mm=0.5,
        )
    )
    assert map_.ring(1)[9].flag == "4 mm lower than the next course"
    assert map_.ring(1)[24].flag == "joint after it 6 mm wider than usual"


@pytest.mark.parametrize(("size", "sigma"), [(4.5, 0.2), (7.0, 5.0)])
def test_no_flag_within_the_tolerance_or_the_uncertainty(size: float, sigma: float) -> None:
    laid = LaidRing(N, deviation_mm={20: size}, edges=(Edge.MID,))
    assert all(r.flag == "" for r in mapped(record_of(SHAPE, [laid], sigma_mm=sigma)).ring(1))


def test_the_jobs_own_tolerance_decides() -> None:
    record = record_of(SHAPE, [LaidRing(N, deviation_mm={20: 4.0}, edges=(Edge.MID,))], sigma_mm=0.5)
    assert mapped(record).ring(1)[19].flag == ""
    tight = replace(record, tolerances=Tolerances(intrados_mm=3.0))
    assert mapped(tight).ring(1)[19].flag == "4 mm back from the opening"


@pytest.mark.parametrize(("cut", "flagged"), [("uncut", False), ("cut", True), ("mixed", True)])
def test_one_bed_of_an_uncut_brick_leans_by_half_its_width(cut: str, flagged: bool) -> None:
    # Left beds lean by half a brick over the radius, as parallel sides do.
    lean = dict.fromkeys(range(1, N + 1), 0.025 / 0.4)
    shape = semicircular(400.0)
    laid = LaidRing(21, edges=(Edge.LEFT,), bed_tilt_rad=lean, surfaces=BOTH_SURFACES, cut=cut)
    map_ = mapped(record_of(shape, [laid], sigma_mm=0.5), shape)
    assert map_.column(1, "joint_tilt_rad") == pytest.approx(np.full(21, 0.0625), abs=1e-9)
    assert any("bed" in c.flag for c in map_.courses) is flagged


def test_beds_of_parallel_sides_read_on_both_sides_cancel() -> None:
    record = record_of(SHAPE, [LaidRing(N, surfaces=BOTH_SURFACES)])
    assert np.abs(mapped(record).column(1, "joint_tilt_rad")).max() < 1e-9


def test_unlabelled_edges_of_a_numbered_course_give_its_middle() -> None:
    laid = LaidRing(N, edge_noted=False, deviation_mm={20: -8.0})
    map_ = mapped(record_of(SHAPE, [laid]))
    assert map_.column(1, "deviation_mm")[19] == pytest.approx(-8.0, abs=1e-6)
    left = left_edges_mm(np.pi * 1000.0, laid)
    assert map_.column(1, "station_mm") == pytest.approx(left + 25.0, abs=1e-6)


def test_nothing_is_changed_by_mapping() -> None:
    record = record_of(SHAPE, [LaidRing(N, surveyed=without(20))], noise_seed=1)
    before = record.points.xy_mm.copy(), record.points.course.copy()
    mapped(record)
    assert np.array_equal(record.points.xy_mm, before[0])
    assert np.array_equal(record.points.course, before[1])


def test_points_of_a_scan_are_averaged_over_the_courses_they_lie_on() -> None:
    laid = LaidRing(N, recorded=N, surveyed=())
    bare = record_of(SHAPE, [laid], springings=False)
    rng = np.random.default_rng(0)
    station = rng.uniform(0, np.pi * 1000.0, 4000)
    left = left_edges_mm(np.pi * 1000.0, laid)
    dent = (station >= left[19]) & (station <= left[19] + 50.0)
    radius = 1000.0 + rng.normal(0, 1.0, 4000) - 8.0 * dent
    xy = np.column_stack([-radius * np.cos(station / 1000.0), radius * np.sin(station / 1000.0)])
    n = len(xy)
    points = SurveyPoints(
        tuple(f"S{i}" for i in range(n)),
        xy,
        np.zeros(n),
        np.ones(n),
        _filled(n, Feature.INTRADOS),
        np.full(n, UNKNOWN),
        np.full(n, UNKNOWN),
        _filled(n, Edge.UNKNOWN),
        np.arange(n),
    )
    map_ = mapped(replace(bare, points=points))
    column = map_.column(1, "deviation_mm")
    assert column[19] == pytest.approx(-8.0, abs=0.6)
    assert np.abs(np.delete(column, 19)).max() < 0.8
    assert map_.column(1, "deviation_sigma_mm").max() < 1.0
    assert map_.column(1, "inferred").all()


def test_more_courses_than_recorded_keep_their_places() -> None:
    laid = LaidRing(N, surveyed=without(20, 21), recorded=N - 1)
    map_ = mapped(record_of(SHAPE, [laid]))
    left = left_edges_mm(np.pi * 1000.0, laid)
    assert map_.column(1, "start_mm") == pytest.approx(left, abs=1e-6)
    assert len(map_.ring(1)) == N


def _filled(n: int, value: object) -> np.ndarray:
    array = np.empty(n, dtype=object)
    array[:] = value
    return array


def test_a_course_passed_over_beyond_the_count_said_is_no_fault_of_the_map() -> None:
    # arch.toml says one course less than stand; the last but one was not measured.
    ring = LaidRing(N, surveyed=without(N - 1), recorded=N - 2)
    record = record_of(SHAPE, [ring])
    map_ = mapped(record)
    assert map_.column(1, "deviation_mm")[: N - 2] == pytest.approx(np.zeros(N - 2), abs=1e-6)


def test_bricks_that_would_overlap_were_misread_and_are_no_narrow_joint() -> None:
    left = left_edges_mm(curve_of(SHAPE).length_mm, LaidRing(N))
    record = record_of(SHAPE, [LaidRing(N)])
    points = record.points
    curve = curve_of(SHAPE)
    at = np.flatnonzero((points.course == 20) & (points.edge == Edge.RIGHT))[0]
    xy = points.xy_mm.copy()
    xy[at] = curve.point([left[19] + 50.0 + 30.0])[0]
    map_ = mapped(replace(record, points=replace(points, xy_mm=xy)))
    row = map_.ring(1)[19]
    assert row.joint_mm < -15.0
    assert f"overlaps the next course by {-row.joint_mm:.0f} mm: measure both edges again" in row.flag
    assert "narrower than usual" not in row.flag
    line = next(w for w in map_.worst if w.course == 20)
    assert line.todo == "Measure this course's right edge and the next one's left edge again."
