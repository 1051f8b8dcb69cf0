"""Joints of neighbouring rings kept apart: against trying every shift, and on whole plans."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from rebuild.factory import fit, lay, lines_of, notes_from, record, ring

from survey.curves import elliptical, segmental, semicircular
from survey.rebuild import RebuildPlan, plan_rebuild
from survey.rebuild.layout.stagger import STEP_MM, OuterJoints, _where, joints_against, lined_up, stagger
from survey.record.model import Edge, LaidMark


def joints_at(middle: list[float], inside: list[float], width: float = 8.0) -> OuterJoints:
    return OuterJoints(
        np.array(middle), np.full(len(middle), width), np.array(inside), np.full(len(inside), width)
    )


def best_of_all(joints: OuterJoints, give: float, low: float, high: float) -> tuple[int, float]:
    """Fewest lined-up joints and the least squared change, over every grid shift of every brick."""
    n = joints.width_mm.size - 1
    most = round(give / STEP_MM)
    best = (n + 1, np.inf)
    for steps in product(range(-most, most + 1), repeat=n):
        change = STEP_MM * np.array([*steps, -sum(steps)])
        width = joints.width_mm + change
        if abs(change[-1]) > give or (((width < low) | (width > high)) & (change != 0)).any():
            continue
        shift = np.concatenate([[0.0], np.cumsum(change[:-1]), [0.0]])
        middle = joints.middle_mm + 0.5 * (shift[:-1] + shift[1:])
        hit = joints.line_up(middle)
        hit[[0, -1]] = False
        best = min(best, (int(hit.sum()), float(change @ change)))
    return best


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("n", [4, 5])
def test_the_path_is_the_best_of_all(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    middle = np.cumsum(np.full(n + 1, 30.0)) - 30.0
    inside = np.sort(middle[1:-1] + rng.uniform(-3.0, 3.0, n - 1))
    joints = joints_at(list(middle), list(inside))
    shift = stagger(joints, give_mm=1.0, min_mm=7.0, max_mm=20.0)
    change = np.diff(np.concatenate([[0.0], shift, [0.0]]))
    after = joints.middle_mm + 0.5 * (np.append(0.0, shift) + np.append(shift, 0.0))
    hit = joints.line_up(after)
    hit[[0, -1]] = False
    assert (int(hit.sum()), float(change @ change)) == pytest.approx(best_of_all(joints, 1.0, 7.0, 20.0))


@pytest.mark.parametrize("n", [14, 15])
def test_a_symmetric_ring_stays_symmetric(n: int) -> None:
    middle = 30.0 * np.arange(n + 1)
    joints = joints_at(list(middle), list(middle[1:-1]))
    shift = stagger(joints, give_mm=2.0, min_mm=4.0, max_mm=20.0)
    assert shift == pytest.approx(-shift[::-1])
    after = joints.middle_mm + 0.5 * (np.append(0.0, shift) + np.append(shift, 0.0))
    assert joints.line_up(after)[1:-1].sum() < n - 1


def test_nothing_is_shifted_where_nothing_lines_up() -> None:
    joints = joints_at([0.0, 30.0, 60.0, 90.0], [15.0, 45.0, 75.0])
    assert not stagger(joints, give_mm=2.0, min_mm=4.0, max_mm=20.0).any()
    assert lined_up(joints).size == 0


def rings_of_plan(*, recorded: bool) -> tuple[RebuildPlan, np.ndarray]:
    shape = segmental(2400.0, 500.0)
    rings = (ring(1, 44, depth_mm=120.0), ring(2, 49, depth_mm=120.0, collar_mm=10.0))
    lines = lines_of(shape, rings)
    laid = lay(lines[1].length_mm, np.full(49, 50.0), np.ones(50))
    rings = (rings[0], replace(rings[1], brick_width_mm=50.0))
    rec = record(rings, courses=notes_from(laid, ring=2) if recorded else ())
    return plan_rebuild(rec, fit(shape, rec)), laid.joints_mm


def test_a_recorded_rhythm_is_not_bent_but_the_joints_are_named() -> None:
    plan, joints = rings_of_plan(recorded=True)
    assert plan.joints_mm(2) == pytest.approx(joints, abs=1e-9)
    (warning,) = (w for w in plan.warnings if "line up with those of ring 1" in w)
    one = plan.rings[1]
    start, end = (np.array([getattr(b, f"station_{k}_mm") for b in one.bricks]) for k in ("start", "end"))
    courses = lined_up(joints_against(start, end, one.inner, plan.rings[0])).tolist()
    assert len(courses) > 5
    assert f"({len(courses)} of 48 joints, the first after courses {courses[0]}, {courses[1]} and " in warning


@pytest.mark.parametrize(
    ("pitches", "told"),
    [
        ((61.0, 69.0), "about every eighth course ("),  # 61 / (69 - 61) = 7.6
        ((62.0, 77.5), "about every fourth course ("),  # 62 / 15.5 = 4
        ((60.0, 60.05), "nearly everywhere ("),
    ],
)
def test_how_often_joints_line_up_follows_from_the_pitches(pitches: tuple[float, float], told: str) -> None:
    """Straight rings, so to say: two even pitches p < q come into step after every p / (q - p) of q."""
    inner, outer = pitches
    n = 60
    joints = joints_at(
        [outer * k for k in range(n + 1)], [inner * k for k in range(1, int(n * outer / inner))]
    )
    courses = lined_up(joints).tolist()
    assert told in _where(courses, n - 1)
    assert f"{len(courses)} of {n - 1} joints" in _where(courses, n - 1)


def test_places_at_no_even_distance_are_counted() -> None:
    uneven = [9, 10, 24, 25, 26, 27, 44, 45, 54]
    assert _where(uneven, 54) == "in many places (9 of 54 joints, the first after courses 9, 10 and 24)"
    assert _where([3, 4, 5, 6, 7, 8], 40).startswith("in many places (6 of 40 joints, ")
    assert _where([1, 22, 43, 64, 85, 106], 120).startswith("in many places (")
    assert _where([3, 4, 5, 9, 11], 40) == "after courses 3 to 5, 9, 11"


def test_a_ring_without_a_rhythm_gives_way() -> None:
    bent, even = rings_of_plan(recorded=False)
    straight, _ = rings_of_plan(recorded=True)
    assert np.abs(bent.joints_mm(2) - even).max() <= 2.0 + 1e-9
    assert bent.joints_mm(2).sum() == pytest.approx(even.sum())

    def hits(plan: RebuildPlan) -> int:
        one = plan.rings[1]
        start, end = (np.array([getattr(b, f"station_{k}_mm") for b in one.bricks]) for k in ("start", "end"))
        return lined_up(joints_against(start, end, one.inner, plan.rings[0])).size

    assert hits(bent) < hits(straight)


def test_rings_of_an_ellipse_are_compared_on_their_own_curves() -> None:
    """Joints on one normal line up wherever they are along the arch, though their stations differ."""
    shape = elliptical(2400.0, 700.0)
    rings = (ring(1, 40, depth_mm=120.0), ring(2, 40, depth_mm=120.0))
    inner, outer = lines_of(shape, rings)
    middles = inner.divide(40)[1:-1]
    over = outer.locate(inner.point(middles)).station_mm
    joints = joints_at([0.0, *over, outer.length_mm], list(over))
    assert lined_up(joints).tolist() == list(range(1, 40))


def test_joints_between_laid_bricks_are_not_spoken_of() -> None:
    """Of two rings of one pitch every joint lines up; with ten laid on each side the rest still does."""
    shape = semicircular(1000.0)
    rings = (ring(1, 40, depth_mm=120.0), ring(2, 40, depth_mm=120.0))
    laid = lay(lines_of(shape, rings)[1].length_mm, np.full(40, 50.0), np.ones(41))
    given = replace(record(rings), courses=notes_from(laid, ring=2))
    before = plan_rebuild(given, fit(shape, given))
    marks = tuple(
        LaidMark(2, c, Edge.RIGHT, before.rings[1].bricks[c - 1].station_end_mm / 1.12, c + 1)
        for c in (*range(1, 11), *range(31, 41))
    )
    begun = replace(given, laid=marks)
    after = plan_rebuild(begun, fit(shape, begun))

    def told(plan: RebuildPlan) -> list[str]:
        return [w.split(" with those of ring 1 ")[1] for w in plan.warnings if "line up" in w]

    assert [words.split(";")[0] for words in told(before)] == [
        "nearly everywhere (39 of 39 joints, the first after courses 1, 2 and 3)"
    ]
    assert [words.split(";")[0] for words in told(after)] == [
        "in many places (21 of 39 joints, the first after courses 10, 11 and 12)"
    ]
