"""What is said of each ring."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rebuild.factory import edge_survey, fit, lay, note, notes_from, record, ring

from survey.curves import curve_of, segmental, semicircular
from survey.rebuild import RebuildOptions, Scope, plan_rebuild
from survey.record.model import Condition, JointLimits, Laid, Ring

SHAPE = segmental(2400.0, 400.0)
LINE = curve_of(SHAPE)
ALONG = np.linspace(-1.0, 1.0, 44)
K = np.arange(44)


@pytest.mark.parametrize(
    ("joints", "words"),
    [
        (np.full(44, 10.0), "joints of 9.6 mm in the mean; "),
        (10.0 + 4.0 * np.abs(ALONG), "mm wider at the springings than at the crown"),
        (14.0 - 4.0 * np.abs(ALONG), "mm narrower at the springings than at the crown"),
        (10.0 + 2.0 * ALONG, "mm wider on the right than on the left"),
        (10.0 - 2.0 * ALONG, "mm wider on the left than on the right"),
        (10.0 + 1.5 * (0.5 - K % 2), "mm wider and narrower by turns"),
        (10.0 + 4.0 * (np.minimum(K, 43 - K) == 0), "mm wider at the skewbacks"),
    ],
)
def test_the_rhythm_in_words(joints: np.ndarray, words: str) -> None:
    laid = lay(LINE.length_mm, np.full(43, 50.0), joints + np.random.default_rng(0).normal(0.0, 0.1, 44))
    rec = record((ring(1, 43),), courses=notes_from(laid))
    told = next(
        n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes if n.startswith("Ring 1: bricks of 50.0 mm")
    )
    assert words in told
    assert told.endswith("0 of 44 joints are inferred.")


def test_two_sizes_and_mirrored_joints_in_words() -> None:
    half = np.random.default_rng(2).uniform(6.0, 14.0, 22)
    widths = np.where(np.arange(43) % 2, 46.0, 54.0)
    laid = lay(LINE.length_mm, widths, np.concatenate([half, half[::-1]]))
    rec = record((ring(1, 43),), courses=notes_from(laid))
    told = next(n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes if n.startswith("Ring 1: bricks"))
    assert "bricks of 46.0 and 54.0 mm (mirrored)" in told or "(every 2" in told
    assert "mirrored joints alike (correlation 1.00)" in told


def test_traits_of_nothing_are_not_told() -> None:
    """Joints read to the tenth that differ by no more say nothing of left, right or mirror."""
    joints = np.round(10.0 + 0.05 * ALONG + 0.02 * np.cos(K), 2)
    laid = lay(LINE.length_mm, np.full(43, 50.0), joints)
    rec = record((ring(1, 43),), courses=notes_from(laid))
    told = next(n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes if n.startswith("Ring 1: bricks"))
    assert "wider" not in told
    assert "narrower" not in told
    assert "mirrored" not in told


def test_sizes_of_a_turned_ring_are_said_to_be_along_the_arch() -> None:
    laid = lay(LINE.length_mm, np.full(43, 50.0), np.full(44, 10.0))
    one = ring(1, 43, brick_width_mm=50.0 * np.cos(0.5), laid=Laid.SAWTOOTH, turn_rad=0.5)
    rec = record((one,), courses=notes_from(laid))
    told = [n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes if n.startswith("Ring 1: bricks")]
    assert told[0].startswith("Ring 1: bricks of 50.0 mm along the arch, turned 29°, joints of ")
    plain = record((ring(1, 43),), courses=notes_from(laid))
    assert not any("along the arch" in n for n in plan_rebuild(plain, fit(SHAPE, plain)).notes)


def test_one_inferred_joint_is_one() -> None:
    laid = lay(LINE.length_mm, np.full(43, 50.0), np.full(44, 10.0))
    notes = tuple(replace(n, joint_mm=None) if n.course == 20 else n for n in notes_from(laid))
    rec = record((ring(1, 43),), courses=notes)
    told = next(n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes if n.startswith("Ring 1: bricks of"))
    assert told.endswith(" 1 of 44 joints is inferred.")


@pytest.mark.parametrize(
    ("missing", "told"),
    [
        (("min", "max", "extrados_max"), "for want of min, max and extrados_max in [joints] of arch.toml: "
         "least joint 3.0 mm, greatest joint 20.0 mm, greatest joint at the back 60.0 mm. They are this "
         "project's judgement"),
        (("max",), "for want of max in [joints] of arch.toml: greatest joint 20.0 mm. They"),
        (("extrados_max",), "for want of extrados_max in [joints] of arch.toml: greatest joint at the back "
         "60.0 mm. They"),
    ],
)  # fmt: skip
def test_limits_taken_by_default_are_told(missing: tuple[str, ...], told: str) -> None:
    limits = JointLimits(3.0, 20.0, 60.0, defaulted=missing)
    rec = record((ring(1, 43), ring(2, 50)), joints=limits)
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert sum(w.startswith("Joint limits by default, ") and told in w for w in plan.warnings) == 1
    assert {r.default_limits for r in plan.rings} == {missing}


def test_limits_that_were_given_need_no_word() -> None:
    plan = plan_rebuild(record((ring(1, 43),)), fit(SHAPE, record((ring(1, 43),))))
    assert not any("by default" in w for w in plan.warnings)
    assert plan.rings[0].default_limits == ()


def test_nothing_is_said_of_a_rhythm_nobody_read() -> None:
    rec = record((ring(1, 43),))
    assert not any("in the mean" in n for n in plan_rebuild(rec, fit(SHAPE, rec)).notes)


@pytest.mark.parametrize(
    ("width", "words"), [(50.0, "on the bricks themselves"), (57.0, "along the arch, across the tooth")]
)
def test_how_the_widths_of_a_turned_ring_were_taken(width: float, words: str) -> None:
    one = ring(1, 43, laid=Laid.SAWTOOTH, turn_rad=0.5)
    rec = record((one,), courses=tuple(note(c, width_mm=width) for c in range(1, 44)))
    notes = plan_rebuild(rec, fit(SHAPE, rec)).notes
    assert any(words in n for n in notes)
    assert any("leave a wedge 24 mm deep at each springing" in n for n in notes)


def survey_with_a_gap() -> tuple:
    laid = lay(LINE.length_mm, np.full(43, 50.0), np.ones(44))
    there = np.ones(43, bool)
    there[20:23] = False
    points = edge_survey(LINE, laid, there=there, sigma_mm=0.5)
    return laid, points


def test_loose_bricks_are_named() -> None:
    laid, points = survey_with_a_gap()
    notes = tuple(
        replace(n, condition=Condition.LOOSE) if n.course in (5, 6) else n
        for n in notes_from(laid, missing=(21, 22, 23))
    )
    rec = record((ring(1, 43),), points=points, courses=notes)
    warnings = plan_rebuild(rec, fit(SHAPE, rec)).warnings
    assert any("loose, and planned where it stands: courses 5, 6." in w for w in warnings)
    whole = plan_rebuild(rec, fit(SHAPE, rec), RebuildOptions(scope=Scope.WHOLE))
    assert not any("loose" in w for w in whole.warnings)


def test_a_gross_edge_is_drawn_where_the_others_put_it_and_named() -> None:
    laid, points = survey_with_a_gap()
    xy = points.xy_mm.copy()
    xy[10] += 25.0 * LINE.tangent(laid.left_mm[5])
    rec = record(
        (ring(1, 43),), points=replace(points, xy_mm=xy), courses=notes_from(laid, missing=(21, 22, 23))
    )
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert any("measure course 6 again" in w for w in plan.warnings)
    assert plan.bricks[5].station_start_mm == pytest.approx(laid.left_mm[5], abs=0.5)


def test_bricks_that_overlap_as_surveyed_are_named() -> None:
    laid, points = survey_with_a_gap()
    xy = points.xy_mm.copy()
    xy[12:14] -= 11.0 * LINE.tangent(laid.left_mm[6])  # course 7 has slipped onto course 6
    close = replace(points, xy_mm=xy, sigma_mm=np.full(len(points), 0.05))
    gone = tuple(note(c, condition=Condition.MISSING) for c in (21, 22, 23))
    rec = record((ring(1, 43),), points=close, courses=gone)
    assert any(
        "a brick overlaps the next one; measure course 6 again" in w
        for w in plan_rebuild(rec, fit(SHAPE, rec)).warnings
    )


def test_back_joints_of_standing_work_are_not_judged() -> None:
    shape = semicircular(500.0)
    laid = lay(curve_of(shape).length_mm, np.full(26, 50.0), np.ones(27))
    there = np.ones(26, bool)
    there[12:14] = False
    from survey.record.model import JointLimits

    rec = record(
        (ring(1, 26, depth_mm=120.0),),
        points=edge_survey(curve_of(shape), laid, there=there),
        courses=notes_from(laid, missing=(13, 14)),
        joints=JointLimits(3.0, 20.0, 19.0),
    )
    warning = next(w for w in plan_rebuild(rec, fit(shape, rec)).warnings if "open at the back" in w)
    assert warning.startswith("Ring 1: 3 joints")


def test_a_ring_of_one_course_is_told_as_one() -> None:
    rec = record((ring(1, 43),))
    plan = plan_rebuild(rec, fit(SHAPE, rec), RebuildOptions(counts=((1, 1),)))
    assert "Ring 1: planned with 1 course by choice; the original had 43." in plan.warnings
    uncounted = record((ring(1, None, brick_width_mm=2000.0),))
    told = plan_rebuild(uncounted, fit(SHAPE, uncounted)).warnings
    assert any(w.startswith("Ring 1 was not counted: 1 course of 2000 mm is supposed. ") for w in told)


def told_of_widths(one: Ring, width_mm: float, n_read: int = 43) -> list[str]:
    laid = lay(LINE.length_mm, np.full(43, width_mm), np.full(44, 5.0))
    rec = record((one,), courses=notes_from(laid)[: n_read + 1])
    return [w for w in plan_rebuild(rec, fit(SHAPE, rec)).warnings if "its bricks measure" in w]


def test_another_brick_than_that_of_arch_toml_is_told() -> None:
    assert told_of_widths(ring(1, 43, brick_width_mm=42.0), 50.0) == [
        "Ring 1: its bricks measure 50.0 mm, but brick_width in arch.toml is 42.0 mm; the plan takes what "
        "was measured. Measure a loose brick before any is bought, and correct brick_width or the readings."
    ]
    assert told_of_widths(ring(1, 43, brick_width_mm=44.0), 50.0) == []  # 13.6 % off
    assert told_of_widths(ring(1, 43, brick_width_mm=42.0), 50.0, n_read=4) == []


def test_a_turned_brick_measured_on_its_own_arrises_is_told() -> None:
    """Edges 52 mm apart along the arch are a brick of 36.8 mm turned by 45 degrees, not one of 52 mm."""
    one = ring(1, 43, brick_width_mm=52.0, laid=Laid.SAWTOOTH, turn_rad=np.radians(45.0))
    laid = lay(LINE.length_mm, np.full(43, 52.0), np.full(44, 5.0))
    rec = record((one,), points=edge_survey(LINE, laid, sigma_mm=0.5))
    (told,) = (w for w in plan_rebuild(rec, fit(SHAPE, rec)).warnings if "its bricks measure" in w)
    assert told.startswith(
        "Ring 1: its bricks measure 36.8 mm across, 52.0 mm along the arch, but brick_width in arch.toml is "
        "52.0 mm, which would reach 73.5 mm along the arch; "
    )
