"""Patterns named on arches that have them, and kept quiet on arches that do not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, left_edges_mm, note, record_of
from condition.test_movement_view import SHAPE as SMALL
from condition.test_movement_view import moved_record, spread_movement

from survey.condition import Pattern, map_deviations
from survey.condition.courses.ring_table import ring_table
from survey.condition.patterns.sag import Sag, sag_pattern
from survey.curves import curve_of, segmental, semicircular
from survey.fitting.counting.edge_readings import average_edges
from survey.fitting.counting.numbering import number_points
from survey.fitting.result import ArchFit, Piece
from survey.record.model import Condition, Edge, Feature, Record

SHAPE = semicircular(1500.0)
N = 76
WOBBLE = 1.2


def wobbling(seed: int) -> dict[int, float]:
    """Deviations by course alike over about three courses."""
    rng = np.random.default_rng(seed)
    value, off = rng.normal(), {}
    for course in range(1, N + 1):
        off[course] = WOBBLE * value
        value = 0.72 * value + np.sqrt(1 - 0.72**2) * rng.normal()
    return off


def added(off: Mapping[int, float], more: Mapping[int, float]) -> dict[int, float]:
    return {c: d + more.get(c, 0.0) for c, d in off.items()}


def patterns(record: Record) -> tuple[Pattern, ...]:
    fit = fit_of(record, SHAPE, irregularity_mm=WOBBLE, correlation_length_mm=185.0)
    return map_deviations(record, fit).patterns


def laid(off: Mapping[int, float], **options: object) -> Record:
    return record_of(SHAPE, [LaidRing(N, deviation_mm=off, **options)], noise_seed=11)  # type: ignore[arg-type]


def only(found: tuple[Pattern, ...], name: str) -> Pattern:
    assert [p.name for p in found] == [name]
    return found[0]


@pytest.mark.parametrize("seed", range(6))
def test_a_rough_arch_shows_no_pattern(seed: int) -> None:
    assert patterns(laid(wobbling(seed))) == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_dropped_course_is_named(seed: int) -> None:
    pattern = only(patterns(laid(added(wobbling(seed), {40: -14.0}))), "dropped course")
    assert (pattern.first_course, pattern.last_course, pattern.ring) == (40, 40, 1)
    assert abs(pattern.size_mm.value + 14.0) < 3 * pattern.size_mm.sigma
    assert "Course 40 of ring 1 has dropped" in pattern.sentence


def test_a_course_pushed_back_is_named() -> None:
    pattern = only(patterns(laid(added(wobbling(1), {40: 14.0}))), "recessed course")
    assert "back from its neighbours" in pattern.sentence


def test_a_course_read_at_one_place_only_is_never_called_dropped() -> None:
    assert patterns(laid(added(wobbling(1), {40: -14.0}), edges=(Edge.MID,))) == ()


def test_one_misread_edge_is_not_called_a_dropped_course() -> None:
    record = laid(wobbling(1))
    xy = record.points.xy_mm.copy()
    xy[78] *= 0.98
    assert patterns(replace(record, points=replace(record.points, xy_mm=xy))) == ()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("step", [7.0, -7.0])
def test_a_patch_on_another_curve_is_named(seed: int, step: float) -> None:
    patch = dict.fromkeys(range(30, 40), step)
    pattern = only(patterns(laid(added(wobbling(seed), patch))), "repair patch")
    assert abs(pattern.first_course - 30) <= 1
    assert abs(pattern.last_course - 39) <= 1
    assert abs(pattern.size_mm.value - step) < 3 * pattern.size_mm.sigma
    assert ("inside" if step < 0 else "outside") in pattern.sentence


def test_a_run_of_wider_bricks_is_named() -> None:
    left = left_edges_mm(np.pi * 1500.0, LaidRing(N))
    record = record_of(SHAPE, [LaidRing(N, along_mm=left, deviation_mm=wobbling(2))], noise_seed=3)
    xy = record.points.xy_mm.copy()
    rng = np.random.default_rng(4)
    for course in range(50, 60):
        angle = (left[course - 1] + 55.0) / 1500.0
        off = 1500.0 + wobbling(2)[course]
        xy[2 * course - 1] = off * np.array([-np.cos(angle), np.sin(angle)]) + rng.normal(0, 1.0, 2)
    # What the bricks gained their joints lost, which is not told a second time.
    lot = only(patterns(replace(record, points=replace(record.points, xy_mm=xy))), "repair patch")
    assert (lot.first_course, lot.last_course) == (50, 59)
    assert abs(lot.size_mm.value - 5.0) < 3 * lot.size_mm.sigma
    assert "another lot" in lot.sentence


def test_a_run_of_wider_joints_is_named() -> None:
    left = left_edges_mm(np.pi * 1500.0, LaidRing(N, width_mm=50.0))
    left[20:30] += np.arange(1, 11) * 4.0
    left[30:] = left[29] + (np.arange(31, N + 1) - 30) * (np.pi * 1500.0 - 60.0 - left[29]) / 46.0
    record = record_of(SHAPE, [LaidRing(N, along_mm=left, deviation_mm=wobbling(2))], noise_seed=3)
    pattern = only(patterns(record), "change of rhythm")
    assert abs(pattern.first_course - 20) <= 1
    assert abs(pattern.last_course - 29) <= 2
    assert 3.0 < pattern.size_mm.value < 6.0


@pytest.mark.parametrize("seed", range(3))
def test_a_smooth_sag_is_named(seed: int) -> None:
    turn = 4 * np.pi * (np.arange(1, N + 1) - 0.5) / N
    sag = dict(zip(range(1, N + 1), 9.0 * np.cos(turn) * -1.0, strict=True))
    pattern = only(patterns(laid(added(wobbling(seed), sag))), "smooth sag")
    assert pattern.size_mm.value < -5.0
    assert "no hinge" in pattern.sentence


def test_a_shape_the_circle_itself_can_follow_is_no_sag() -> None:
    angle = np.pi * (np.arange(1, N + 1) - 0.5) / N
    shifted = dict(zip(range(1, N + 1), 15.0 * np.cos(angle), strict=True))
    assert patterns(laid(added(wobbling(0), shifted))) == ()


def test_a_twisted_face_is_named_and_a_leaning_one_is_not() -> None:
    angle = np.pi * (np.arange(1, N + 1) - 0.5) / N
    rng = np.random.default_rng(5)
    lean = {c: 8.0 * np.cos(a) + 5.0 * np.sin(a) + rng.normal(0, 1.0) for c, a in enumerate(angle, 1)}
    twist = {c: lean[c] - 10.0 * np.sin(2 * a) for c, a in enumerate(angle, 1)}
    assert patterns(laid(wobbling(3), w_mm=lean)) == ()
    pattern = only(patterns(laid(wobbling(3), w_mm=twist)), "twisted face")
    assert abs(abs(pattern.size_mm.value) - 20.0) < 3 * pattern.size_mm.sigma + 2.0
    # x runs from left to right, so cos falls: -sin 2a is forward on the right shoulder.
    assert "right shoulder" in pattern.sentence


@pytest.mark.parametrize(("drop", "which"), [(30.0, "right"), (-30.0, "left")])
def test_unequal_springings_are_named(drop: float, which: str) -> None:
    record = laid(wobbling(4))
    xy = record.points.xy_mm.copy()
    xy[-1, 1] -= drop
    pattern = only(patterns(replace(record, points=replace(record.points, xy_mm=xy))), "unequal springings")
    assert f"The {which} springing stands" in pattern.sentence
    assert abs(abs(pattern.size_mm.value) - 30.0) < 3 * pattern.size_mm.sigma


def test_springings_within_what_a_mason_levels_to_are_not_named() -> None:
    record = laid(wobbling(4))
    xy = record.points.xy_mm.copy()
    xy[-1, 1] -= 6.0
    assert patterns(replace(record, points=replace(record.points, xy_mm=xy))) == ()


def test_courses_noted_as_replaced_are_told() -> None:
    notes = [note(1, c, condition=Condition.REPLACED) for c in (20, 21, 22)]
    record = replace(laid(wobbling(0)), courses=tuple(notes))
    pattern = only(patterns(record), "noted repair")
    assert pattern.sentence.startswith("Courses 20 to 22 of ring 1 were replaced, as noted on site")


def test_a_noted_repair_nobody_measured_has_no_size() -> None:
    record = record_of(
        SHAPE, [LaidRing(N, surveyed=range(2, N + 1))], notes=[note(1, 1, condition=Condition.REPLACED)]
    )
    (pattern,) = patterns(record)
    assert np.isnan(pattern.size_mm.value)
    assert pattern.sentence == "Course 1 of ring 1 was replaced, as noted on site."


def test_few_courses_show_nothing() -> None:
    record = record_of(SHAPE, [LaidRing(8, width_mm=400.0, deviation_mm={4: -30.0})])
    assert patterns(record) == ()


def moved_in_truth(seed: int) -> tuple[Record, ArchFit]:
    """A semicircle spread by 40 mm, rough and measured with noise, and the fit that found just that."""
    movement = spread_movement(40.0)
    record = moved_record(movement)
    rng = np.random.default_rng(seed)
    out = np.repeat([wobbling(seed)[c] for c in range(1, 52)], 2)
    away = record.points.xy_mm[:102] / np.hypot(*record.points.xy_mm[:102].T)[:, None]
    xy = record.points.xy_mm + rng.normal(0, 1.0, record.points.xy_mm.shape)
    xy[:102] += out[:, None] * away
    record = replace(record, points=replace(record.points, xy_mm=xy))
    return record, fit_of(record, SMALL, irregularity_mm=3.0, correlation_length_mm=300.0, movement=movement)


@pytest.mark.parametrize("seed", range(4))
def test_a_moved_arch_is_not_called_sagging_or_patched(seed: int) -> None:
    assert map_deviations(*moved_in_truth(seed)).patterns == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_smooth_sag_taken_for_a_movement_is_doubted(seed: int) -> None:
    turn = 4 * np.pi * (np.arange(1, N + 1) - 0.5) / N
    sag = dict(zip(range(1, N + 1), -9.0 * np.cos(turn), strict=True))
    record = laid(added(wobbling(seed), sag))
    movement = replace(spread_movement(), original=replace(spread_movement().original, shape=SHAPE))
    fit = fit_of(record, SHAPE, irregularity_mm=WOBBLE, correlation_length_mm=185.0, movement=movement)
    pattern = only(map_deviations(record, fit).patterns, "smooth sag")
    assert "explains the readings better than pieces turned about hinges" in pattern.sentence
    assert "Look for cracks at the hinges before the movement is believed." in pattern.sentence


def test_a_smooth_departure_within_the_tolerance_is_no_doubt_of_a_movement() -> None:
    _, fit = moved_in_truth(0)
    assert fit.movement is not None
    still = replace(fit.movement, pieces=(Piece(0.0, np.pi * 1000.0, 0.0, (0.0, 0.0)),))
    flat = record_of(SMALL, [LaidRing(51)], noise_seed=2)
    assert map_deviations(flat, replace(fit, movement=still)).patterns == ()


def test_few_courses_of_a_moved_arch_cast_no_doubt() -> None:
    record = record_of(SMALL, [LaidRing(14, width_mm=180.0, surveyed=range(1, 12))])
    fit = fit_of(record, SMALL, movement=spread_movement())
    assert map_deviations(record, fit).patterns == ()


def test_a_course_at_a_hinge_has_not_dropped_but_one_out_of_its_piece_has() -> None:
    movement = spread_movement(60.0)
    for off in ({}, {13: -14.0}):
        record = moved_record(movement)
        xy = record.points.xy_mm.copy()
        for course, step in off.items():
            rows = [2 * course - 2, 2 * course - 1]
            xy[rows] += step * xy[rows] / np.hypot(*xy[rows].T)[:, None]
        record = replace(record, points=replace(record.points, xy_mm=xy))
        fit = fit_of(record, SMALL, irregularity_mm=0.5, correlation_length_mm=60.0, movement=movement)
        found = [(p.name, p.first_course) for p in map_deviations(record, fit).patterns]
        assert found == [("dropped course", c) for c in off]


def test_a_sag_of_one_course_is_told_at_that_course() -> None:
    smooth = np.array([3.0, 2.0, 1.0, 0.0, -3.0, -9.0, -3.0, 0.0, 1.0, 2.0, 3.0, 4.0])
    sag = Sag(smooth, np.full(12, 0.5), 9.0, smooth[:, None])
    record = record_of(SHAPE, [LaidRing(12, width_mm=300.0)])
    curve = curve_of(SHAPE)
    places = number_points(record, curve, (0.0, 0.0)).places
    fit = fit_of(record, SHAPE)
    table = ring_table(record, curve, record.rings[0], places, average_edges(record, places), fit.courses[0])
    said = sag_pattern(table, np.ones(12, dtype=bool), sag, " So.").sentence
    assert said == (
        "At course 6 of ring 1 the soffit hangs smoothly below its curve, deepest at course 6 by 9 mm (± 1), "
        "and stands 4 mm outside it near course 12. So."
    )


def with_other_joints(courses: range, wider_mm: float, seed: int, sigma_mm: float = 1.0) -> Record:
    """Courses with wider joints after them, all others giving up as much; the bricks alike."""
    wider = np.zeros(N + 1)
    wider[courses.start : courses.stop] = wider_mm
    wider -= wider.mean()
    left = left_edges_mm(np.pi * 1500.0, LaidRing(N)) + np.cumsum(wider)[:-1]
    ring = LaidRing(N, along_mm=left, deviation_mm=wobbling(seed))
    return record_of(SHAPE, [ring], noise_seed=seed, sigma_mm=sigma_mm)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("wider", [2.5, -2.5])
def test_a_small_change_of_pitch_over_many_courses_is_named(seed: int, wider: float) -> None:
    """Joint by joint it hides among readings that scatter by 1.4 mm each."""
    pattern = only(patterns(with_other_joints(range(20, 34), wider, seed)), "change of rhythm")
    assert abs(pattern.first_course - 20) <= 2
    assert abs(pattern.last_course - 33) <= 2
    assert abs(pattern.size_mm.value - wider) < 3 * pattern.size_mm.sigma + 0.2
    assert ("wider" if wider > 0 else "narrower") in pattern.sentence


@pytest.mark.parametrize("seed", range(4))
def test_joints_no_further_apart_than_readings_scatter_are_not_named(seed: int) -> None:
    assert patterns(with_other_joints(range(20, 24), 1.0, seed)) == ()


def test_wider_bricks_laid_with_the_same_joints_are_another_lot_and_no_rhythm() -> None:
    wider = np.zeros(N)
    wider[49:59] = 5.0
    left = left_edges_mm(np.pi * 1500.0, LaidRing(N)) + np.concatenate([[0.0], np.cumsum(wider)[:-1]])
    left -= np.linspace(0.0, wider.sum(), N)
    record = record_of(SHAPE, [LaidRing(N, along_mm=left, deviation_mm=wobbling(2))], noise_seed=3)
    xy = record.points.xy_mm.copy()
    for course in range(50, 60):
        angle = (left[course - 1] + 55.0) / 1500.0
        xy[2 * course - 1] = (1500.0 + wobbling(2)[course]) * np.array([-np.cos(angle), np.sin(angle)])
    found = patterns(replace(record, points=replace(record.points, xy_mm=xy)))
    assert [p.name for p in found] == ["repair patch"]
    assert "have bricks" in found[0].sentence


@pytest.mark.parametrize("seed", range(3))
def test_one_course_far_out_makes_no_patch_of_three(seed: int) -> None:
    assert all(p.name != "repair patch" for p in patterns(laid(added(wobbling(seed), {40: -9.0}))))


def test_a_flat_segmental_arch_with_a_back_surveyed_is_judged_without_trouble() -> None:
    shape = segmental(3000.0, 300.0)
    ring = LaidRing(50, surfaces=(Feature.INTRADOS, Feature.EXTRADOS))
    record = record_of(shape, [ring], noise_seed=1)
    assert map_deviations(record, fit_of(record, shape)).patterns == ()


@pytest.mark.parametrize(
    ("figure", "usual", "name"), [("width_mm", 50.0, "repair patch"), ("joint_mm", 10.0, "change of rhythm")]
)
def test_widths_and_joints_noted_on_site_show_a_run_where_edges_were_not_read(
    figure: str, usual: float, name: str
) -> None:
    rng = np.random.default_rng(7)
    size = usual + rng.normal(0, 0.7, N + 1)
    size[30:40] += 4.0
    notes = [note(1, c, **{figure: float(size[c])}) for c in range(1, N + 1)]
    record = record_of(
        SHAPE, [LaidRing(N, edges=(Edge.MID,), deviation_mm=wobbling(2))], notes=notes, noise_seed=3
    )
    pattern = only(patterns(record), name)
    assert (pattern.first_course, pattern.last_course) == (30, 39)
    assert abs(pattern.size_mm.value - 4.0) < 3 * pattern.size_mm.sigma


def test_bricks_of_another_lot_in_the_same_pitch_are_told_with_their_joints() -> None:
    record = record_of(SHAPE, [LaidRing(N, deviation_mm=wobbling(2))], noise_seed=3, sigma_mm=0.8)
    xy = record.points.xy_mm.copy()
    for course in range(20, 30):
        rows = [2 * course - 2, 2 * course - 1]
        along = xy[rows[1]] - xy[rows[0]]
        xy[rows] += 2.5 * np.array([-1.0, 1.0])[:, None] * along / np.hypot(*along)
    pattern = only(patterns(replace(record, points=replace(record.points, xy_mm=xy))), "repair patch")
    assert (pattern.first_course, pattern.last_course) == (20, 29)
    assert "wider than the rest, their joints as much narrower: another lot" in pattern.sentence


def test_a_course_at_the_end_of_a_patch_and_off_as_far_belongs_to_it() -> None:
    record = laid(added(wobbling(0), dict.fromkeys(range(30, 40), 7.0)))
    pattern = only(patterns(record), "repair patch")
    assert (pattern.first_course, pattern.last_course) == (30, 39)


def test_a_ring_of_one_course_shows_no_rhythm() -> None:
    record = record_of(SHAPE, [LaidRing(N), LaidRing(1, ring=2, width_mm=400.0)])
    assert map_deviations(record, fit_of(record, SHAPE)).patterns == ()


@pytest.mark.parametrize(
    "surveyed", [range(1, N + 1, 2), [c for c in range(1, N + 1) if c % 3], range(1, 20)]
)
def test_a_ring_read_in_part_shows_no_rhythm(surveyed: range | list[int]) -> None:
    record = record_of(SHAPE, [LaidRing(N, surveyed=surveyed, deviation_mm=wobbling(1))], noise_seed=2)
    assert patterns(record) == ()


@pytest.mark.parametrize(("middle", "named"), [(26, False), (12, True)], ids=["at the hinge", "elsewhere"])
def test_a_joint_that_a_hinge_opened_is_no_repair(middle: int, named: bool) -> None:
    movement = spread_movement()
    width, pitch = 50.0, np.pi * 1000.0 / 51
    left = 0.5 * (pitch - width) + np.arange(51) * pitch
    for course in range(middle - 1, middle + 2):  # three joints about the place, 6 mm wider each
        left[course:] += 6.0
    record = record_of(SMALL, [LaidRing(51, width_mm=width, along_mm=left - 9.0)], noise_seed=4, sigma_mm=0.5)
    still = [p.name for p in map_deviations(record, fit_of(record, SMALL)).patterns]
    moved = [p.name for p in map_deviations(record, fit_of(record, SMALL, movement=movement)).patterns]
    assert "change of rhythm" in still
    assert ("change of rhythm" in moved) == named
