"""Rhythms of known make are read, described and continued."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rebuild.factory import edge_survey, fit, joined, lay, lines_of, note, notes_from, record, ring
from scipy.optimize import lsq_linear

from survey.curves import ArchShape, curve_of, elliptical, segmental
from survey.fitting.result import GapCount
from survey.rebuild.rhythm.edges import Renumbering, edges_of_ring, read_edges
from survey.rebuild.rhythm.pattern import Trait, find_pattern
from survey.rebuild.rhythm.readings import RULE_SIGMA_MM, Readings, read_rhythm, section_scale
from survey.rebuild.rhythm.rhythm import RingRhythm, find_rhythm
from survey.rebuild.rhythm.sizes import find_sizes
from survey.record.model import Condition, Laid, Record

ALL = Renumbering(())


def readings(width: np.ndarray, joint: np.ndarray, length: float, **edges: np.ndarray) -> Readings:
    n = width.size
    none = np.full(2 * n, np.nan)
    nan = np.full(n, np.nan)
    return Readings(
        width, joint, edges.get("edge", none), edges.get("sigma", none), edges.get("middle", nan),
        np.full(n, 1.0), length,
    )  # fmt: skip


def of_record(rec: Record, shape: ArchShape, number: int = 1) -> Readings:
    arch_fit = fit(shape, rec)
    one = rec.rings[number - 1]
    edges = edges_of_ring(read_edges(rec, arch_fit), arch_fit, number, count=one.courses, numbers=ALL)
    (length,) = (line.length_mm for k, line in enumerate(lines_of(shape, rec.rings), 1) if k == number)
    return read_rhythm(rec, one, edges, length_mm=length, numbers=ALL)


def sizes_at(*widths: float, n: int = 40, noise: float = 0.4, order: str = "random") -> np.ndarray:
    rng = np.random.default_rng(3)
    k = np.arange(n)
    which = {
        "random": rng.integers(0, len(widths), n),
        "by turns": k % len(widths),
        "mirrored": rng.integers(0, len(widths), n)[np.minimum(k, n - 1 - k)],
    }[order]
    return np.array(widths)[which] + rng.normal(0.0, noise, n)


@pytest.mark.parametrize("widths", [(50.0,), (50.0, 55.0), (45.0, 50.0, 54.0)])
def test_recurring_sizes_are_found(widths: tuple[float, ...]) -> None:
    found = find_sizes(sizes_at(*widths), default_mm=0.0)
    assert found.sizes_mm == pytest.approx(widths, abs=0.4)


@pytest.mark.parametrize("seed", range(5))
def test_one_scattered_size_is_not_taken_for_several(seed: int) -> None:
    width = np.random.default_rng(seed).normal(50.0, 1.5, 60)
    assert find_sizes(width, default_mm=0.0).sizes_mm.size == 1


@pytest.mark.parametrize(("order", "name"), [("by turns", "every 2"), ("mirrored", "mirrored")])
def test_the_order_of_sizes_fills_a_gap(order: str, name: str) -> None:
    true = sizes_at(50.0, 58.0, n=41, noise=0.0, order=order)
    read = true.copy()
    read[10:16] = np.nan
    found = find_sizes(read, default_mm=0.0)
    assert name in found.order
    assert found.width_of_course_mm == pytest.approx(true, abs=1e-9)


def test_without_any_width_the_brick_of_the_record_counts() -> None:
    found = find_sizes(np.full(9, np.nan), default_mm=65.0)
    assert found.width_of_course_mm.tolist() == [65.0] * 9


ALONG = np.linspace(-1.0, 1.0, 44)
COUNT = np.arange(44)


@pytest.mark.parametrize(
    ("made", "trait", "size"),
    [
        (10.0 + 4.0 * np.abs(ALONG), Trait.TIGHTENING, 4.0),
        (10.0 + 1.5 * ALONG, Trait.LEFT_RIGHT, 3.0),
        (10.0 + 2.0 * (0.5 - COUNT % 2), Trait.ALTERNATING, 2.0),
        (10.0 + 5.0 * (np.minimum(COUNT, 43 - COUNT) == 0), Trait.SKEWBACK, 5.0),
    ],
)
def test_traits_are_told_with_their_size(made: np.ndarray, trait: Trait, size: float) -> None:
    joint = made + np.random.default_rng(5).normal(0.0, 0.4, made.size)
    found = find_pattern(joint, np.full(made.size, 0.1), default_mm=0.0)
    assert trait in found.traits
    assert found.size_mm[found.traits.index(trait)] == pytest.approx(size, abs=0.6)
    assert found.expected_mm == pytest.approx(made, abs=0.6)


@pytest.mark.parametrize("seed", range(6))
def test_an_even_rhythm_gets_no_traits(seed: int) -> None:
    joint = np.random.default_rng(seed).normal(10.0, 1.0, 60)
    assert find_pattern(joint, np.full(60, 0.2), default_mm=0.0).traits == (Trait.MEAN,)


def test_mirrored_joints_help_where_one_is_missing() -> None:
    half = np.random.default_rng(8).normal(10.0, 2.0, 22)
    true = np.concatenate([half, half[::-1]])
    joint = true.copy()
    joint[5:9] = np.nan
    found = find_pattern(joint, np.full(44, 0.1), default_mm=0.0)
    assert found.mirror_correlation > 0.9
    assert found.expected_mm[5:9] == pytest.approx(true[5:9], abs=0.4)


def test_a_gaping_joint_does_not_shape_the_pattern() -> None:
    joint = np.random.default_rng(2).normal(10.0, 0.5, 44)
    joint[20] = 45.0
    found = find_pattern(joint, np.full(44, 0.2), default_mm=0.0)
    assert np.flatnonzero(found.outliers).tolist() == [20]
    assert found.expected_mm == pytest.approx(np.full(44, 10.0), abs=1.0)


def test_a_joint_opened_at_a_hinge_is_not_put_back() -> None:
    rng = np.random.default_rng(4)
    width, joint = np.full(43, 50.0), rng.normal(10.0, 0.5, 44)
    joint[22] = 31.0
    data = readings(width, joint, 43 * 50.0 + joint.sum())
    kept = find_rhythm(data, brick_width_mm=50.0)
    told = find_rhythm(data, brick_width_mm=50.0, not_joints=np.array([21, 22, 23]))
    assert kept.joint_mm[22] == 31.0
    assert told.joint_mm[22] == pytest.approx(10.0, abs=1.0)
    assert not told.joint_read[22]
    assert told.joint_read[[21, 23]].all()


def test_edges_are_settled_by_least_squares() -> None:
    """All edges at once, against a dense least-squares solution of the very same equations."""
    rng = np.random.default_rng(11)
    n, length = 20, 20 * 50.0 + 21 * 10.0
    width, joint = rng.normal(50, 1, n), rng.normal(10, 1, n + 1)
    joint *= (length - width.sum()) / joint.sum()
    steps = np.empty(2 * n + 1)
    steps[0::2], steps[1::2] = joint, width
    edge = np.cumsum(steps)[:-1]
    seen_edge = edge + rng.normal(0, 1.5, 2 * n)
    seen_edge[12:20] = np.nan
    ruled_width, ruled_joint = width + rng.normal(0, 0.5, n), joint + rng.normal(0, 0.5, n + 1)
    ruled_width[3:9] = np.nan
    ruled_joint[5:12] = np.nan
    sigma = np.where(np.isnan(seen_edge), np.nan, 1.5)
    seen_middle = np.full(n, np.nan)
    seen_middle[7:9] = 0.5 * (edge[14:18:2] + edge[15:18:2]) + 0.5
    found = find_rhythm(
        Readings(ruled_width, ruled_joint, seen_edge, sigma, seen_middle, np.full(n, 0.8), length),
        brick_width_mm=50.0,
    )
    expected = _dense(found, ruled_width, ruled_joint, seen_edge, seen_middle, length)
    assert found.edge_mm == pytest.approx(expected, abs=1e-6)


def _dense(
    found: RingRhythm,
    width: np.ndarray,
    joint: np.ndarray,
    edge: np.ndarray,
    middle: np.ndarray,
    length: float,
) -> np.ndarray:
    n = width.size
    rows, right = [], []

    def equation(i: int, value: float, sigma: float) -> None:
        row, value = np.zeros(2 * n + 2), value / sigma
        row[i + 1], row[i] = 1 / sigma, -1 / sigma
        rows.append(row)
        right.append(value)

    scatter = np.sqrt(max(found.sizes.scatter_mm**2 - RULE_SIGMA_MM**2, 0.09))
    seen_widths = np.where(np.isnan(width), np.nan, RULE_SIGMA_MM**2)
    from_edges = np.where(np.isnan(edge[1::2] - edge[0::2]), np.nan, 4.5)
    variance = np.where(np.isnan(seen_widths), from_edges, seen_widths)
    scatter = np.sqrt(max(found.sizes.scatter_mm**2 - np.nanmedian(variance), 0.09))
    for i in range(2 * n + 1):
        by_rule, prior, spread = (
            (joint[i // 2], found.pattern.expected_mm[i // 2], found.pattern.scatter_mm)
            if i % 2 == 0
            else (width[i // 2], found.sizes.width_of_course_mm[i // 2], scatter)
        )
        equation(i, prior, spread)
        if not np.isnan(by_rule):
            equation(i, by_rule, RULE_SIGMA_MM)
    for i, station in enumerate(edge):
        if not np.isnan(station):
            row = np.zeros(2 * n + 2)
            row[i + 1] = 1 / 1.5
            rows.append(row)
            right.append(station / 1.5)
    for i, station in enumerate(middle):
        if not np.isnan(station):
            row = np.zeros(2 * n + 2)
            row[2 * i + 1] = row[2 * i + 2] = 0.5 / 0.8
            rows.append(row)
            right.append(station / 0.8)
    matrix, b = np.array(rows), np.array(right)
    b = b - matrix[:, -1] * length
    return lsq_linear(matrix[:, 1:-1], b, tol=1e-14).x


def test_rule_readings_are_kept_as_they_were_written() -> None:
    shape = segmental(2400.0, 400.0)
    laid = lay(curve_of(shape).length_mm, np.full(43, 50.0), 1.0 + 0.5 * np.abs(ALONG))
    rng = np.random.default_rng(1)
    rec = record(
        (ring(1, 43),),
        points=edge_survey(curve_of(shape), laid, sigma_mm=2.0, noise=rng),
        courses=notes_from(laid, missing=(12, 13, 14)),
    )
    got = of_record(rec, shape, 1)
    rhythm = find_rhythm(got, brick_width_mm=50.0)
    told = ~np.isnan(got.joint_mm)
    assert np.array_equal(rhythm.joint_mm[told], got.joint_mm[told])
    assert np.flatnonzero(~rhythm.width_read).tolist() == [11, 12, 13]
    assert np.flatnonzero(~rhythm.joint_read).tolist() == [11, 12, 13, 14]
    assert rhythm.joint_mm == pytest.approx(laid.joints_mm, abs=0.8)


def test_surveyed_edges_give_widths_and_joints() -> None:
    """On the outer curve of an ellipse too, where stations are not those of the intrados."""
    shape = elliptical(2400.0, 800.0)
    inner = curve_of(shape).offset(240.0)
    laid = lay(inner.length_mm, np.full(40, 60.0), np.full(41, 1.0))
    rec = record((ring(1, 40), ring(2, 40)), points=joined(edge_survey(inner, laid, ring=2, sigma_mm=0.1)))
    got = of_record(rec, shape, 2)
    assert got.edge_mm[0::2] == pytest.approx(laid.left_mm, abs=1e-6)
    assert got.edge_mm[1::2] == pytest.approx(laid.right_mm, abs=1e-6)
    rhythm = find_rhythm(got, brick_width_mm=50.0)
    assert rhythm.joint_mm == pytest.approx(laid.joints_mm, abs=0.01)
    assert rhythm.width_read.all()
    assert rhythm.joint_read.all()


def test_a_gross_edge_is_left_out() -> None:
    """A point 20 mm off along the soffit: no other goes, and the rhythm does not notice."""
    shape = segmental(2400.0, 400.0)
    laid = lay(curve_of(shape).length_mm, np.full(43, 50.0), 1.0 + 0.5 * np.abs(ALONG))
    clean = edge_survey(curve_of(shape), laid, sigma_mm=1.0, noise=np.random.default_rng(6))
    xy = clean.xy_mm.copy()
    xy[24] += 20.0 * curve_of(shape).tangent(laid.left_mm[12])
    for notes in ((), notes_from(laid)):
        rec = record((ring(1, 43),), points=replace(clean, xy_mm=xy), courses=notes)
        found = find_rhythm(of_record(rec, shape), brick_width_mm=50.0)
        assert np.flatnonzero(found.gross).tolist() == [24]
        assert found.joint_mm == pytest.approx(laid.joints_mm, abs=3.0)
        none = find_rhythm(of_record(replace(rec, points=clean), shape), brick_width_mm=50.0)
        assert not none.gross.any()


def test_leverage_is_the_share_of_the_own_reading() -> None:
    """Moving one reading moves its settled edge by that share."""
    rng = np.random.default_rng(3)
    n = 12
    joint, width = np.full(n + 1, 10.0), np.full(n, 50.0)
    edge = np.cumsum(np.ravel(np.column_stack([joint[:-1], width]))) + rng.normal(0.0, 1.0, 2 * n)
    ruled = readings(width, joint, 730.0, edge=edge, sigma=np.full(2 * n, 1.0))
    found = find_rhythm(ruled, brick_width_mm=50.0)
    moved = edge.copy()
    moved[9] += 0.5
    again = find_rhythm(replace(ruled, edge_mm=moved), brick_width_mm=50.0)
    assert again.edge_mm[9] - found.edge_mm[9] == pytest.approx(0.5 * found.leverage[9])


def test_middles_place_courses_whose_edges_were_not_taken() -> None:
    n, joints = 20, np.full(21, 10.0)
    joints[[8, 9]] = [16.0, 4.0]
    edge = np.cumsum(np.ravel(np.column_stack([joints[:-1], np.full(n, 50.0)])))
    middle = edge[0::2] + 25.0
    nan = np.full(n, np.nan)
    data = readings(nan, np.full(n + 1, np.nan), n * 50.0 + 210.0, middle=middle)
    found = find_rhythm(data, brick_width_mm=50.0)
    assert 0.5 * (found.edge_mm[0::2] + found.edge_mm[1::2]) == pytest.approx(middle, abs=1.5)
    assert found.edge_mm[16] - found.edge_mm[15] > 12.0


def test_replaced_bricks_do_not_speak_for_the_original() -> None:
    rec = record(
        (ring(1, 5),),
        courses=tuple(
            note(c, width_mm=50.0 if c != 3 else 65.0, joint_mm=10.0, condition=cond)
            for c, cond in zip(
                range(1, 6), [Condition.SOUND] * 2 + [Condition.REPLACED] + [Condition.SOUND] * 2, strict=True
            )
        ),
    )
    shape = segmental(600.0, 100.0)
    got = of_record(rec, shape, 1)
    assert np.isnan(got.width_mm).tolist() == [False, False, True, False, False]
    assert np.isnan(got.joint_mm).tolist() == [True, False, True, True, False, False]


def test_courses_after_a_gap_are_renumbered_to_the_count_found_in_it() -> None:
    numbers = Renumbering((GapCount(4, 6, 0.0, 1.0, 3, {3: 1.0}), GapCount(9, 12, 0.0, 1.0, 2, {2: 1.0})))
    assert [numbers.plan_course(c) for c in (4, 6, 9, 12)] == [4, 8, 11, 14]
    assert numbers.plan_courses(np.array([4, 6, 9, 12])).tolist() == [4, 8, 11, 14]


@pytest.mark.parametrize(("width", "scale"), [(100.0, np.sqrt(2.0)), (145.0, 1.0)])
def test_widths_of_a_turned_ring_are_read_either_way(width: float, scale: float) -> None:
    turned = ring(2, 20, brick_width_mm=102.5, laid=Laid.SAWTOOTH, turn_rad=np.pi / 4)
    notes = tuple(note(c, ring=2, width_mm=width) for c in range(1, 21))
    assert section_scale(turned, notes) == pytest.approx(scale)
    assert section_scale(turned, ()) == pytest.approx(np.sqrt(2.0))
    assert section_scale(ring(1), notes) == 1.0


@pytest.mark.parametrize("n_large", range(6))
def test_the_mix_of_sizes_in_a_gap_follows_from_its_room(n_large: int) -> None:
    """Five unread bricks of 46 or 60 mm in no order: their number follows from the room between the edges."""
    rng = np.random.default_rng(n_large)
    width = rng.choice([46.0, 60.0], 40)
    width[12:17] = rng.permutation([60.0] * n_large + [46.0] * (5 - n_large))
    joint = np.full(41, 10.0)
    edge = np.cumsum(np.ravel(np.column_stack([joint[:-1], width])))
    seen, read = edge.copy(), width + rng.normal(0.0, 0.4, 40)
    seen[24:34] = np.nan
    read[12:17] = np.nan
    told = joint + rng.normal(0.0, 0.4, 41)
    told[12:18] = np.nan
    data = readings(
        read, told, float(edge[-1] + 10.0), edge=seen, sigma=np.where(np.isnan(seen), np.nan, 1.0)
    )
    found = find_rhythm(data, brick_width_mm=50.0)
    assert found.sizes.sizes_mm == pytest.approx([46.0, 60.0], abs=0.5)
    assert int((found.width_mm[12:17] > 53.0).sum()) == n_large
    assert found.joint_mm[12:18] == pytest.approx(np.full(6, 10.0), abs=0.5)


def test_rows_for_courses_the_ring_does_not_have_are_passed_over() -> None:
    rec = record((ring(1, 43),), courses=(note(44, width_mm=50.0, joint_mm=9.0), note(43, width_mm=51.0)))
    got = of_record(rec, segmental(2400.0, 400.0))
    assert np.flatnonzero(~np.isnan(got.width_mm)).tolist() == [42]
    assert np.isnan(got.joint_mm).all()
