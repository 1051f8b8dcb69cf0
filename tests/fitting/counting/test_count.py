"""Counting courses: laid rings whose count is known, with gaps, misnumbering, and nothing measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from condition.factory import BOTH, LaidRing, left_edges_mm, note, record_of

from survey.curves import curve_of, elliptical, segmental, semicircular
from survey.curves.shape import ArchShape
from survey.fitting.counting.count import count_courses, course_numbers, edges_to_courses
from survey.fitting.counting.edge_readings import (
    LEFT,
    MID,
    OUTER,
    RIGHT,
    UNLABELLED,
    along_mm,
    place_points,
    ring_offset_mm,
    station_of_along,
)
from survey.fitting.counting.numbering import number_points
from survey.fitting.result import CourseCount
from survey.record.model import UNKNOWN, Condition, Edge, Feature, Laid, Record, Ring

SHAPE = semicircular(1000.0)
N = 51


def count(record: Record, shape: ArchShape = SHAPE) -> CourseCount:
    curve = curve_of(replace(shape, axis_x_mm=0.0, springing_y_mm=0.0))
    return count_courses(record, curve, (shape.axis_x_mm, shape.springing_y_mm))[0]


def without(*missing: int, n: int = N) -> list[int]:
    return [c for c in range(1, n + 1) if c not in missing]


def test_a_whole_ring_needs_no_reckoning() -> None:
    found = count(record_of(SHAPE, [LaidRing(N, recorded=N)]))
    assert (found.count, found.counted, found.gaps, found.doubt) == (N, True, (), "")
    assert found.probability == {N: 1.0}


@pytest.mark.parametrize("missing", [range(20, 26), range(1, 5), range(47, 52), range(26, 27)])
def test_a_gap_is_counted_from_the_rhythm_when_the_far_side_is_numbered_on(missing: range) -> None:
    label = {c: c - len(missing) for c in range(missing.stop, N + 1)}
    laid = LaidRing(N, surveyed=without(*missing), label=label)
    found = count(record_of(SHAPE, [laid], noise_seed=1))
    assert found.count == N
    (gap,) = found.gaps
    assert gap.count == len(missing)
    assert gap.probability[len(missing)] > 0.95
    numbers = course_numbers(found, [label.get(c, c) for c in laid.surveyed or ()])
    assert list(numbers.values()) == list(laid.surveyed or ())


@pytest.mark.parametrize("missing", [range(20, 26), range(1, 5), range(47, 52)])
def test_a_gap_reaches_from_edge_to_edge(missing: range) -> None:
    laid = LaidRing(N, surveyed=without(*missing), recorded=N)
    (gap,) = count(record_of(SHAPE, [laid])).gaps
    left = left_edges_mm(np.pi * 1000.0, laid)
    assert (gap.after_course, gap.before_course) == (missing.start - 1, missing.stop)
    start = left[missing.start - 2] + 50.0 if missing.start > 1 else 0.0
    end = left[missing.stop - 1] if missing.stop <= N else np.pi * 1000.0
    assert gap.station_start_mm == pytest.approx(start, abs=1e-6)
    assert gap.station_end_mm == pytest.approx(end, abs=1e-6)


def test_two_gaps_are_counted_each_by_itself() -> None:
    missing = [*range(10, 14), *range(30, 37)]
    label = {c: c - 4 for c in range(14, 30)} | {c: c - 11 for c in range(37, N + 1)}
    found = count(record_of(SHAPE, [LaidRing(N, surveyed=without(*missing), label=label)], noise_seed=3))
    assert [g.count for g in found.gaps] == [4, 7]
    assert found.count == N


def test_courses_noted_missing_between_standing_ones_that_were_not_surveyed() -> None:
    notes = [note(1, c, condition=Condition.SOUND) for c in (20, 21, 25, 26)]
    notes += [note(1, c, condition=Condition.MISSING) for c in (22, 23, 24)]
    found = count(record_of(SHAPE, [LaidRing(N, surveyed=without(*range(20, 27)))], notes=notes))
    (gap,) = found.gaps
    assert (found.count, gap.after_course, gap.before_course, gap.count) == (N, 21, 25, 3)
    laid = LaidRing(N)
    left = left_edges_mm(np.pi * 1000.0, laid)
    assert gap.station_start_mm == pytest.approx(left[20] + 50.0, abs=0.5)
    assert gap.station_end_mm == pytest.approx(left[24], abs=0.5)


def test_two_runs_missing_within_one_stretch_share_what_the_rhythm_says() -> None:
    notes = [note(1, c, condition=Condition.MISSING) for c in (20, 21, 23)]
    notes.append(note(1, 22, condition=Condition.SOUND))
    found = count(record_of(SHAPE, [LaidRing(N, surveyed=without(20, 21, 22, 23))], notes=notes))
    assert [(g.after_course, g.before_course, g.count) for g in found.gaps] == [(19, 22, 2), (22, 24, 1)]
    assert found.count == N


def test_a_survey_of_every_third_course_has_no_gaps() -> None:
    found = count(record_of(SHAPE, [LaidRing(N, surveyed=range(1, N + 1, 3), recorded=N)]))
    assert (found.count, found.gaps, found.doubt) == (N, (), "")


def test_a_course_left_out_by_the_numbers_is_named() -> None:
    label = {c: c - 1 for c in range(31, N + 1)}
    surveyed = without(30)
    found = count(record_of(SHAPE, [LaidRing(N, surveyed=surveyed, label=label, recorded=N - 1)]))
    assert found.count == N - 1
    assert "Between courses 29 and 30" in found.doubt
    assert "1 are missing" in found.doubt


def test_a_recorded_count_that_is_not_what_stands_is_doubted_and_kept() -> None:
    found = count(record_of(SHAPE, [LaidRing(N, recorded=N + 2)]))
    assert found.counted
    assert found.count == N + 2
    assert f"make it {N}" in found.doubt
    assert found.probability[N] > 0.5


def test_a_number_out_of_order_is_named_and_its_course_still_counted() -> None:
    found = count(record_of(SHAPE, [LaidRing(N, label={20: 44, 44: 20}, recorded=N)]))
    assert found.count == N
    assert found.gaps == ()
    assert "Course 44 of ring 1 was surveyed just after course 19" in found.doubt


def test_numbers_from_right_to_left_are_turned_round() -> None:
    missing = range(40, 44)
    label = {c: N + 1 - c for c in range(1, N + 1)}
    found = count(record_of(SHAPE, [LaidRing(N, surveyed=without(*missing), label=label)]))
    assert "right to left" in found.doubt
    assert found.count == N
    assert [(g.after_course, g.before_course) for g in found.gaps] == [(39, 44)]


def test_a_distance_of_no_whole_number_of_courses_is_to_be_measured_again() -> None:
    laid = LaidRing(N)
    left = left_edges_mm(np.pi * 1000.0, laid)
    left[25:] += 0.45 * (left[1] - left[0])
    left = left[left < np.pi * 1000.0 - 50.0]
    found = count(record_of(SHAPE, [LaidRing(len(left), along_mm=left)]))
    assert "Between courses 25 and 26" in found.doubt or found.count in (N - 1, N)


def test_gross_errors_are_not_taken_for_gaps() -> None:
    record = record_of(SHAPE, [LaidRing(N)], noise_seed=5)
    xy = record.points.xy_mm.copy()
    xy[40] += [55.0, -20.0]
    xy[81] -= [30.0, 45.0]
    found = count(replace(record, points=replace(record.points, xy_mm=xy)))
    assert (found.count, found.gaps) == (N, ())


def test_an_outer_ring_is_counted_along_its_own_curve() -> None:
    shape = elliptical(2000.0, 600.0)
    rings = [LaidRing(37, recorded=37), LaidRing(49, ring=2, depth_mm=120.0, collar_mm=10.0, surveyed=without(
        *range(20, 27), n=49))]  # fmt: skip
    record = record_of(shape, rings, noise_seed=2)
    inner, outer = count_courses(record, curve_of(shape), (0.0, 0.0))
    assert inner.count == 37
    assert outer.count == 49
    (gap,) = outer.gaps
    curve = curve_of(shape)
    left = left_edges_mm(curve.offset(250.0).length_mm, rings[1])
    stations = station_of_along(curve, [left[18] + 50.0, left[26]], 250.0)
    assert (gap.station_start_mm, gap.station_end_mm) == pytest.approx(tuple(stations), abs=3.0)


def test_cut_work_prefers_an_odd_count_and_rough_work_does_not() -> None:
    # Nothing but the length: 20 and 21 courses of 150 mm fit about alike.
    length = np.pi * 1000.0
    ring = Ring(1, None, 240.0, (length - 21.5 * 10.0) / 20.5)
    record = record_of(SHAPE, [LaidRing(2, surveyed=())])
    odds = {
        cut: dict(count(replace(record, rings=(replace(ring, cut=cut),))).probability)
        for cut in ("uncut", "cut")
    }
    assert odds["cut"][21] / odds["cut"][20] == pytest.approx(
        3 * odds["uncut"][21] / odds["uncut"][20], rel=1e-6
    )


def test_a_ring_not_surveyed_is_counted_from_arch_toml_its_notes_or_its_length() -> None:
    bare = record_of(SHAPE, [LaidRing(N, surveyed=())])
    by_length = count(bare)
    assert not by_length.counted
    assert abs(by_length.count - (np.pi * 1000.0 - 10.0) / 60.0) < 1.0
    assert len(by_length.probability) > 3
    recorded = count(replace(bare, rings=(replace(bare.rings[0], courses=52),)))
    assert (recorded.count, recorded.counted, recorded.doubt) == (52, True, "")
    noted = count(
        replace(bare, courses=tuple(note(1, c, width_mm=50.0, joint_mm=10.0) for c in range(1, 53)))
    )
    assert (noted.count, noted.counted) == (52, False)


def test_a_count_that_leaves_no_room_for_joints_is_doubted() -> None:
    bare = record_of(SHAPE, [LaidRing(N, surveyed=(), recorded=70)])
    found = count(bare)
    assert found.count == 70
    assert "joints of -" in found.doubt


def test_a_single_surveyed_course_leaves_both_sides_open() -> None:
    found = count(record_of(SHAPE, [LaidRing(N, surveyed=[26])]))
    assert len(found.gaps) == 2
    assert abs(found.count - N) <= 3


@pytest.mark.parametrize("edge_noted", [True, False])
@pytest.mark.parametrize("edges", [BOTH, (Edge.MID,)])
def test_points_without_numbers_are_counted(edges: tuple[Edge, ...], edge_noted: bool) -> None:
    missing = range(20, 26)
    bare = dict.fromkeys(range(1, N + 1), UNKNOWN)
    laid = LaidRing(N, surveyed=without(*missing), label=bare, edges=edges, edge_noted=edge_noted)
    found = count(record_of(SHAPE, [laid], noise_seed=4, sigma_mm=1.5))
    assert found.count == N
    assert [g.count for g in found.gaps] == [6]


def test_points_numbered_on_one_side_of_a_gap_only() -> None:
    missing = range(20, 26)
    laid = LaidRing(N, surveyed=without(*missing), label=dict.fromkeys(range(26, N + 1), UNKNOWN))
    record = record_of(SHAPE, [laid], noise_seed=4)
    found = count(record)
    assert found.count == N
    numbered = number_points(record, curve_of(SHAPE), (0.0, 0.0))
    assert numbered.places.course[-4] == N - len(missing) + 6


def test_a_scan_shows_no_rhythm_and_leaves_the_count_to_the_length() -> None:
    along = np.sort(np.random.default_rng(0).uniform(0, np.pi * 1000.0, 400))
    found = edges_to_courses(along, np.full(400, UNLABELLED), 2.0, 50.0)
    assert not found.believable
    assert (found.course == -1).all()
    few = edges_to_courses(along[::4], np.full(100, UNLABELLED), 2.0, 50.0)
    assert not few.believable


def test_a_stray_point_and_missed_edges_do_not_break_the_chain() -> None:
    left = 9.0 + 60.0 * np.arange(30)
    along = np.sort(np.concatenate([left, left + 50.0, [left[12] + 25.0]]))
    along = np.delete(along, [7, 20])
    found = edges_to_courses(along, np.full(len(along), UNLABELLED), 1.0, 50.0)
    assert found.believable
    assert found.course.max() == 30
    assert np.count_nonzero(found.course == -1) == 1
    assert along[found.course == -1] == left[12] + 25.0
    rest = found.course > 0
    place = np.where(found.edge[rest] == LEFT, 0.0, 50.0)
    assert along[rest] == pytest.approx(9.0 + 60.0 * (found.course[rest] - 1) + place)
    assert found.joint_mm == pytest.approx(10.0)


def test_noted_edges_are_kept_and_middles_fall_half_way() -> None:
    found = edges_to_courses([0, 25, 50, 60, 110, 145], [LEFT, MID, RIGHT, LEFT, RIGHT, MID], 1.0, 50.0)
    assert found.course.tolist() == [1, 1, 1, 2, 2, 3]
    assert found.edge.tolist() == [LEFT, MID, RIGHT, LEFT, RIGHT, MID]


def test_arc_length_of_a_parallel_ring_and_back() -> None:
    curve = curve_of(segmental(2400.0, 400.0))
    outer = curve.offset(250.0)
    station = np.linspace(0.0, curve.length_mm, 7)
    along = along_mm(curve, station, 250.0)
    assert along[-1] == pytest.approx(outer.length_mm, abs=1e-8)
    assert outer.point(along) == pytest.approx(curve.point(station) + 250.0 * curve.normal(station), abs=1e-7)
    assert station_of_along(curve, along, 250.0) == pytest.approx(station, abs=1e-7)


def test_points_without_a_ring_go_to_the_nearest_surface() -> None:
    rings = [
        LaidRing(N),
        LaidRing(60, ring=2, collar_mm=10.0, depth_mm=120.0, surfaces=(Feature.INTRADOS, Feature.EXTRADOS)),
    ]
    record = record_of(SHAPE, rings)
    lost = replace(record, points=replace(record.points, ring=np.full(len(record.points), UNKNOWN)))
    placed = place_points(lost, curve_of(SHAPE), (0.0, 0.0))
    assert placed.ring[:-2].tolist() == record.points.ring[:-2].tolist()
    assert (placed.ring[-2:] == UNKNOWN).all()
    outer = placed.surface == OUTER
    assert np.abs(placed.deviation_mm[outer]).max() < 1e-9


def test_collars_lie_below_their_own_ring() -> None:
    rings = (
        Ring(1, None, 240.0, 50.0, collar_mm=99.0),
        Ring(2, None, 120.0, 50.0, collar_mm=10.0),
        Ring(3, None, 120.0, 50.0, collar_mm=8.0),
    )
    assert [ring_offset_mm(rings, k) for k in (1, 2, 3)] == [0.0, 250.0, 378.0]


def test_a_sawtooth_ring_counts_the_width_its_bricks_show() -> None:
    turn = np.radians(45.0)
    shown = 50.0 / np.cos(turn)
    record = record_of(
        SHAPE, [LaidRing(38, width_mm=shown, surveyed=without(*range(10, 14), n=38))], noise_seed=1
    )
    ring = replace(record.rings[0], brick_width_mm=50.0, laid=Laid.SAWTOOTH, turn_rad=float(turn))
    assert count(replace(record, rings=(ring,))).count == 38


def test_the_answer_does_not_depend_on_where_the_arch_stands() -> None:
    missing = range(20, 26)
    laid = LaidRing(N, surveyed=without(*missing))
    here = count(record_of(SHAPE, [laid], noise_seed=7))
    moved = replace(SHAPE, axis_x_mm=12345.0, springing_y_mm=-678.0)
    there = count(record_of(moved, [laid], noise_seed=7), moved)
    assert dict(here.probability) == pytest.approx(dict(there.probability), abs=1e-9)


def test_edges_on_the_back_alone_serve_as_well() -> None:
    missing = range(20, 26)
    laid = LaidRing(N, surveyed=without(*missing), surfaces=(Feature.EXTRADOS,))
    found = count(record_of(SHAPE, [laid], noise_seed=7))
    assert found.count == N
    assert [g.count for g in found.gaps] == [6]


def test_right_edges_alone_serve_as_well() -> None:
    laid = LaidRing(N, surveyed=without(*range(20, 26)), edges=(Edge.RIGHT,))
    found = count(record_of(SHAPE, [laid], noise_seed=7))
    assert found.count == N


def test_left_and_right_edges_the_wrong_way_round_change_names() -> None:
    record = record_of(SHAPE, [LaidRing(N, recorded=N)])
    edge = record.points.edge.copy()
    turn = record.points.course >= 40
    edge[turn] = [Edge.LEFT if e is Edge.RIGHT else Edge.RIGHT for e in edge[turn]]
    wrong = replace(record, points=replace(record.points, edge=edge))
    numbered = number_points(wrong, curve_of(SHAPE), (0.0, 0.0))
    right = number_points(record, curve_of(SHAPE), (0.0, 0.0))
    assert numbered.places.edge.tolist() == right.places.edge.tolist()
    assert "wrong way round in ring 1, course 40" in count(wrong).doubt


def test_a_course_out_of_order_with_no_free_place_is_left_out() -> None:
    record = record_of(SHAPE, [LaidRing(N, label={20: 60}, recorded=N)])
    numbered = number_points(record, curve_of(SHAPE), (0.0, 0.0))
    assert "Course 60" in numbered.doubts[1][0]
    assert np.count_nonzero(numbered.places.course == 20) == 2
    doubled = record_of(SHAPE, [LaidRing(N, label={20: 60, 21: 20}, recorded=N)])
    assert 60 not in number_points(doubled, curve_of(SHAPE), (0.0, 0.0)).places.course


def test_a_course_read_past_its_neighbour_keeps_its_number_and_is_no_gap() -> None:
    record = record_of(SHAPE, [LaidRing(N, edges=(Edge.MID,))], noise_seed=1)
    xy = record.points.xy_mm.copy()
    xy[20] += 0.65 * (xy[22] - xy[20])
    found = count(replace(record, points=replace(record.points, xy_mm=xy)))
    assert (found.count, found.gaps, found.doubt) == (N, (), "")
