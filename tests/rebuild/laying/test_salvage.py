"""Saved bricks: optimal places, against trying every assignment."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from rebuild.factory import fit, lay, notes_from, record, ring

from survey.curves import curve_of, segmental
from survey.rebuild import RebuildPlan, plan_rebuild
from survey.rebuild.laying.salvage import purchase_notes
from survey.record.model import Condition, CourseNote, JointLimits, Laid, Ring, SalvagedBrick

SHAPE = segmental(2400.0, 400.0)
ALONG = np.linspace(-1.0, 1.0, 44)


def saved(name: str, width: float, depth: float | None = None, of_ring: int | None = None) -> SalvagedBrick:
    return SalvagedBrick(name, width, depth, of_ring, "", 2)


def plan_with(
    bricks: tuple[SalvagedBrick, ...],
    *,
    widths: np.ndarray | None = None,
    broken: tuple[int, ...] = (10, 11, 12, 30),
    limits: JointLimits = JointLimits(3.0, 20.0, 60.0),  # noqa: B008  a frozen value
    one: Ring | None = None,
) -> RebuildPlan:
    """A whole rebuild in which some courses cannot go back."""
    widths = np.full(43, 50.0) if widths is None else widths
    laid = lay(curve_of(SHAPE).length_mm, widths, 1.0 + 0.3 * np.abs(ALONG))
    notes = tuple(n if n.course not in broken else _broken(n) for n in notes_from(laid))
    rec = record((one or ring(1, 43),), courses=notes, salvage=bricks, joints=limits)
    return plan_rebuild(rec, fit(SHAPE, rec))


def _broken(note: CourseNote) -> CourseNote:
    from dataclasses import replace

    return replace(note, condition=Condition.CRACKED)


def sources(plan: RebuildPlan) -> dict[int, str]:
    return {b.course: b.source for b in plan.bricks if b.source not in ("original", "new")}


def test_originals_go_to_their_own_places() -> None:
    plan = plan_with(())
    assert [b.course for b in plan.bricks if b.source == "new"] == [10, 11, 12, 30]
    assert sum(b.source == "original" for b in plan.bricks) == 39


def test_the_assignment_is_the_best_of_all() -> None:
    widths = np.where(np.isin(np.arange(1, 44), (10, 30)), 60.0, 50.0)
    bricks = (saved("A", 51.2), saved("B", 59.0), saved("C", 49.7), saved("D", 60.6), saved("E", 53.0))
    found = sources(plan_with(bricks, widths=widths))
    slots = {10: 60.0, 11: 50.0, 12: 50.0, 30: 60.0}
    best = min(
        sum((b.width_mm - slots[c]) ** 2 for c, b in zip(slots, chosen, strict=True))
        for chosen in permutations(bricks, 4)
    )
    assert len(found) == 4
    by_name = {b.brick: b.width_mm for b in bricks}
    assert sum((by_name[name] - slots[c]) ** 2 for c, name in found.items()) == pytest.approx(best)


def test_as_many_as_fit_are_used_even_at_a_worse_fit() -> None:
    plan = plan_with((saved("A", 50.0), saved("B", 57.0)), broken=(10,))
    assert sources(plan) == {10: "A"}
    plan = plan_with((saved("A", 50.0), saved("B", 57.0)), broken=(10, 11))
    assert set(sources(plan).values()) == {"A", "B"}


@pytest.mark.parametrize(
    ("brick", "fits"),
    [
        (saved("A", 50.0, depth=240.0, of_ring=1), True),
        (saved("A", 50.0, depth=244.0), True),
        (saved("A", 50.0, depth=215.0), False),
        (saved("A", 50.0, of_ring=2), False),
        (saved("A", 60.0), True),
        (saved("A", 66.0), False),
        (saved("A", 40.0), True),
        (saved("A", 25.0), False),
    ],
)
def test_what_fits(brick: SalvagedBrick, fits: bool) -> None:
    """Joints of 8.4 mm at the crown, between 3 and 20: a brick may be 10.8 mm wider or 23.2 narrower."""
    plan = plan_with((brick,), broken=(22,))
    assert bool(sources(plan)) == fits
    assert any(note.startswith("Saved brick A (") and "is not used: " in note for note in plan.notes) != fits
    assert not plan.refusals


def test_the_plan_tells_what_the_joints_give_and_what_is_to_buy() -> None:
    plan = plan_with((saved("No. 7", 52.0),))
    (course,) = sources(plan)
    told = next(n for n in plan.notes if "No. 7" in n)
    brick = plan.bricks[course - 1]
    below = plan.joints_mm(1)[course - 1]
    assert f"course {course}, +2.0 mm" in told
    assert f"{below:.1f} and {brick.joint_after_intrados_mm:.1f} mm" in told
    assert brick.width_intrados_mm == pytest.approx(52.0)
    left = sorted({10, 11, 12, 30} - {course})
    assert any(n.startswith("To buy or cut for ring 1: 3 of 50.0 mm") for n in plan.notes)
    assert [b.course for b in plan.bricks if b.source == "new"] == left
    assert any("with the year" in n for n in plan.notes)


def test_bricks_of_one_size_are_bought_as_one() -> None:
    """Widths 52.04 and 52.06 mm round apart, but are one size; 52.4 mm is another."""
    plan = plan_with((), broken=(10, 11, 12))
    widths = {10: 52.04, 11: 52.06, 12: 52.4}
    one = plan.rings[0]
    bricks = tuple(replace(b, width_intrados_mm=widths.get(b.course, 50.0)) for b in one.bricks)
    told = [n for n in purchase_notes((replace(one, bricks=bricks),)) if n.startswith("To buy")]
    assert told == [
        f"To buy or cut for ring 1: 2 of {52.05:.1f} mm, courses 10, 11.",
        "To buy or cut for ring 1: 1 of 52.4 mm, course 12.",
    ]


def test_a_turned_brick_is_compared_across_its_tooth() -> None:
    one = ring(1, 43, brick_width_mm=50.0 * np.cos(0.5), laid=Laid.SAWTOOTH, turn_rad=0.5)
    plan = plan_with((saved("A", 50.0 * np.cos(0.5)),), broken=(22,), one=one)
    assert sources(plan) == {22: "A"}
    assert plan.bricks[21].width_intrados_mm == pytest.approx(50.0)


def test_tapered_bricks_need_wider_stock() -> None:
    """Bricks of 50 and joints of 9.6 on a radius of 2000, 240 deep: backs of 50 + 59.6 x 240 / 2000."""
    plan = plan_with((), one=ring(1, 43, cut="cut"), widths=np.full(43, 50.0))
    told = next(n for n in plan.notes if "cut to a taper" in n)
    width = max(b.width_extrados_mm for b in plan.bricks if b.source == "new")
    assert f"from stock at least {width:.1f} mm wide" in told
    assert width == pytest.approx(57.1, abs=0.3)
    assert not any("taper" in n for n in plan_with(()).notes)


def unused(plan: RebuildPlan) -> dict[str, str]:
    told = (n.removeprefix("Saved brick ").removesuffix(".").split(" is not used: ") for n in plan.notes)
    return {parts[0].split(" (")[0]: parts[1] for parts in told if len(parts) == 2}


@pytest.mark.parametrize(
    ("brick", "broken", "reason"),
    [
        (saved("A", 50.0), (), "every course has its own brick"),
        (saved("A", 50.0, of_ring=1), (), "its ring needs no brick"),
        (saved("A", 50.0, of_ring=2), (22,), "there is no ring 2"),
        (saved("A", 50.0, depth=215.0), (22,), "it is 215.0 mm deep, the ring 240.0 mm"),
        (saved("A", 66.0), (22,), "it is 16.0 mm wider than the brick of ring 1, course 22, where it would "
         "fit best, and the two joints there can give 10.8 mm"),
        (saved("A", 25.0), (22,), "it is 25.0 mm narrower than the brick of ring 1, course 22, where it "
         "would fit best, and the two joints there can take 23.2 mm"),
    ],
)  # fmt: skip
def test_why_a_brick_is_left_out(brick: SalvagedBrick, broken: tuple[int, ...], reason: str) -> None:
    assert unused(plan_with((brick,), broken=broken)) == {"A": reason}


def test_a_brick_that_others_beat_is_told_so() -> None:
    plan = plan_with((saved("A", 50.0), saved("B", 57.0)), broken=(10,))
    assert unused(plan) == {"B": "other saved bricks fit its places better"}


def test_a_reused_brick_that_shows_is_warned_of() -> None:
    """A brick of 60 in a ring of 50: inside its limits, but not silently."""
    plan = plan_with((saved("A", 60.0), saved("B", 51.5)), broken=(20, 22))
    course = next(c for c, name in sources(plan).items() if name == "A")
    (told,) = (w for w in plan.warnings if "saved brick" in w)
    below, above = plan.joints_mm(1)[course - 1 : course + 1]
    assert told.startswith(f"Ring 1, course {course}: the saved brick A of 60.0 mm is 10.0 mm wider")
    assert f"joints beside it are {below:.1f} and {above:.1f} mm (limits 3.0 to 20.0 mm)" in told
    narrow = plan_with((saved("A", 46.0),), broken=(22,))
    assert any("is 4.0 mm narrower" in w for w in narrow.warnings)


def test_a_turned_reused_brick_is_told_across_the_joint() -> None:
    one = ring(1, 43, brick_width_mm=50.0 * np.cos(0.5), laid=Laid.SAWTOOTH, turn_rad=0.5)
    plan = plan_with((saved("A", 50.0 * np.cos(0.5) + 3.0),), broken=(22,), one=one)
    (told,) = (w for w in plan.warnings if "saved brick" in w)
    assert "is 3.0 mm wider" in told
    assert "(limits 3.0 to 20.0 mm)" in told
    over = plan_with((saved("A", 50.0 * np.cos(0.5) + 30.0),), broken=(22,), one=one)
    assert unused(over)["A"].startswith("it is 30.0 mm wider than the brick of ring 1, course 22")


def test_bricks_that_only_go_in_one_by_one_are_kept_out_until_the_run_closes() -> None:
    """Joints of 9.64 on average, down to 8.5 at the least: 44 of them give 50.2 mm, 2.2 mm a new brick.

    Each of 40 bricks 2 mm too wide would go in by itself; together they miss the limit. Widest first, so
    many stay out that the rest closes; the plan is not refused.
    """
    limits = JointLimits(8.5, 20.0, 60.0)
    even = np.ones(44)
    laid = lay(curve_of(SHAPE).length_mm, np.full(43, 50.0), even)
    joint = float(laid.joints_mm[0])
    bricks = tuple(saved(f"S{k}", 50.0 + 1.8 + 0.01 * k) for k in range(40))
    notes = tuple(n if n.course == 0 else _broken(n) for n in notes_from(laid))
    rec = record((ring(1, 43),), courses=notes, salvage=bricks, joints=limits)
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert not plan.refusals
    room = 44 * (joint - 8.5)
    excess = sorted(b.width_mm - 50.0 for b in bricks)
    fitting = int(np.searchsorted(np.cumsum(excess), room))
    assert 0 < fitting < 40
    assert set(sources(plan).values()) == {f"S{k}" for k in range(fitting)}
    left = unused(plan)
    assert set(left) == {f"S{k}" for k in range(fitting, 40)}
    assert set(left.values()) == {"with it the joints of its run would not close inside their limits"}
    assert plan.joints_mm(1).min() >= 8.5 - 1e-9


def test_narrow_bricks_are_kept_out_the_same_way() -> None:
    limits = JointLimits(3.0, 10.2, 60.0)
    laid = lay(curve_of(SHAPE).length_mm, np.full(43, 50.0), np.ones(44))
    bricks = tuple(saved(f"S{k}", 50.0 - 1.0) for k in range(40))
    notes = tuple(n if n.course == 0 else _broken(n) for n in notes_from(laid))
    rec = record((ring(1, 43),), courses=notes, salvage=bricks, joints=limits)
    plan = plan_rebuild(rec, fit(SHAPE, rec))
    assert not plan.refusals
    assert len(sources(plan)) == int(44 * (10.2 - float(laid.joints_mm[0])))
