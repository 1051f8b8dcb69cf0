"""Quantities: every brick counted once, orders with wastage, and what is unknown said."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from rebuild.works_factory import record_of, ring_of, ring_record

from survey.curves import elliptical, semicircular
from survey.errors import PlanError
from survey.rebuild.centring.centring import plan_centring
from survey.rebuild.laying.brick_lots import SizeClass, size_tolerance_mm
from survey.rebuild.plan import Quantity, RingPlan
from survey.rebuild.quantities import take_quantities
from survey.rebuild.templets import assign_templets, group_templets
from survey.record.model import Centring, Mortar, Record

SHAPE = semicircular(1000)


def taken(record: Record, *rings, named: bool = True) -> dict[str, Quantity]:
    if named:
        rings = assign_templets(rings, group_templets(rings, 0.5))
    quantities = take_quantities(rings, plan_centring(SHAPE, rings, record), record)
    assert len({q.item for q in quantities}) == len(quantities)
    return {q.item: q for q in quantities}


def test_every_brick_is_counted_once():
    ring = ring_of(
        SHAPE,
        np.array([50.0, 65.0, 50.0] * 13),
        in_situ=(1, 2, 39),
        sources={3: "original", 4: "original", 7: "S7"},
    )
    lines = taken(record_of(ring_record()), ring)
    pieces = [q for q in lines.values() if "brick" in q.item and q.unit == "pieces"]
    assert sum(q.amount for q in pieces) == 39
    assert lines["bricks left standing"].amount == 3
    assert lines["original bricks put back"].amount == 2
    assert (lines["salvaged bricks"].amount, lines["salvaged bricks"].note) == (1, "S7")
    assert {
        lines[i].order for i in ("bricks left standing", "original bricks put back", "salvaged bricks")
    } == {0.0}
    new = [q for q in pieces if q.item.startswith("new")]
    assert len(new) == 2
    assert all(q.order == math.ceil(1.03 * q.amount) for q in new)


def test_cut_bricks_name_the_size_they_are_cut_from():
    lines = taken(record_of(ring_record()), ring_of(SHAPE, np.full(39, 50.0), cut=True))
    (line,) = (q for q in lines.values() if q.item.startswith("new"))
    width = 2000 * math.sin(0.025) + 480 * math.tan((1000 * math.pi / 39 - 50) / 1000 / 2 * 39 / 40 + 0.025)
    assert f"{width:.1f} × 240 mm" in line.item
    assert line.item.startswith("new bricks to be cut, ring 1: at least")
    assert line.note.startswith(f"A: {width:.1f} wide at the back")
    shape = elliptical(2000, 600)
    cut = ring_of(shape, np.full(42, 50.0), cut=True)
    cut = assign_templets((cut,), group_templets((cut,), 0.5))
    record = record_of(ring_record())
    (line,) = (
        q for q in take_quantities(cut, plan_centring(shape, cut, record), record) if "to be cut" in q.item
    )
    assert line.amount == 42
    assert line.note.startswith("templets A to P: 58.7 to 89.9 wide")


@pytest.mark.parametrize(
    ("wall", "bed", "thickness", "depth", "said"),
    [
        (None, None, None, 100.0, "for each 100 mm of wall"),
        (None, None, 215.0, 215.0, "beds as deep as one brick"),
        (330.0, None, 215.0, 330.0, "beds as deep as the wall"),
        (330.0, 200.0, 215.0, 300.0, "bed depth as recorded, 200 mm, 1.5 through the wall"),
        (330.0, 240.0, 215.0, 330.0, "1.5 through the wall (330 mm)"),
        (None, 200.0, 215.0, 200.0, "bed depth as recorded (200 mm)"),
    ],
)
def test_the_bed_depth_is_taken_from_what_is_recorded(wall, bed, thickness, depth, said):
    ring = ring_of(SHAPE, np.full(39, 65.0), depth=215.0)
    record = record_of(
        ring_record(depth=215.0, width=65.0, thickness_mm=thickness),
        centring=Centring(wall_thickness_mm=wall),
        mortar=Mortar("NHL 3.5", bed, 0.2, 0.05),
    )
    lines = taken(record, ring)
    line = lines["mortar, joints of ring 1"]
    face = math.pi / 2 * (1215**2 - 1000**2) - 39 * 2000 * math.sin(0.0325) * 215
    assert line.amount == pytest.approx(face * depth / 1e6, rel=1e-9)
    assert line.order == pytest.approx(1.2 * line.amount)
    assert said in line.note
    assert lines["mortar, all"].amount == pytest.approx(line.amount)
    assert lines["mortar, all"].note.startswith("NHL 3.5")
    load = lines["load on the centre, all rings green"].amount
    assert load == pytest.approx(
        lines["weight of the new bricks"].amount + lines["weight of the mortar"].amount, rel=1e-12
    )
    bricks = 39 * 2000 * math.sin(0.0325) * 215 * depth * 1e-9 * 1800
    assert lines["weight of the new bricks"].amount == pytest.approx(bricks, rel=1e-9)


def test_without_new_bricks_there_is_no_weight_of_new_bricks():
    ring = ring_of(SHAPE, np.full(3, 65.0), sources=dict.fromkeys((1, 2, 3), "original"))
    lines = taken(record_of(ring_record()), ring)
    assert "weight of the new bricks" not in lines
    assert lines["load on the centre, all rings green"].amount > lines["weight of the mortar"].amount


def test_one_ring_of_unknown_depth_puts_all_on_a_length_of_wall():
    rings = (ring_of(SHAPE, np.full(39, 65.0), depth=215.0),
             ring_of(SHAPE, np.full(50, 65.0), ring=2, depth=215.0, inner_mm=225.0))  # fmt: skip
    record = record_of(
        ring_record(depth=215.0, thickness_mm=102.5), ring_record(2, depth=215.0, collar_mm=10.0)
    )
    lines = taken(record, *rings)
    assert all("for each 100 mm of wall" in q.note for i, q in lines.items() if i.startswith("mortar, j"))
    collar = lines["mortar, collar joint between rings 1 and 2"]
    assert collar.amount == pytest.approx(math.pi / 2 * (1225**2 - 1215**2) / 1e4, rel=1e-9)
    assert "10 mm thick" in collar.note
    total = sum(q.amount for i, q in lines.items() if i.startswith("mortar, ") and i != "mortar, all")
    assert lines["mortar, all"].amount == pytest.approx(total)


def test_an_unrecorded_collar_joint_and_mortar_are_said_to_be_unknown():
    rings = (ring_of(SHAPE, np.full(39, 65.0), depth=215.0),
             ring_of(SHAPE, np.full(50, 65.0), ring=2, depth=215.0, inner_mm=215.0))  # fmt: skip
    lines = taken(record_of(ring_record(), ring_record(2)), *rings)
    assert "thickness not recorded" in lines["mortar, collar joint between rings 1 and 2"].note
    assert lines["mortar, all"].note.startswith("kind not recorded")


@pytest.mark.parametrize(
    ("wall", "through"), [(215.0, 1.0), (225.0, 1.0), (330.0, 1.5), (440.0, 2.0), (100.0, 1.0)]
)
def test_bricks_one_behind_the_other_are_ordered(wall, through):
    record = record_of(
        ring_record(depth=215.0, width=65.0, thickness_mm=215.0), centring=Centring(wall_thickness_mm=wall)
    )
    lines = taken(record, ring_of(SHAPE, np.full(39, 65.0), depth=215.0))
    (line,) = (q for q in lines.values() if q.item.startswith("new"))
    assert line.amount == 39 * through
    assert ("through the wall" in line.note) == (through != 1.0)


def test_timber_lines_repeat_the_centring():
    ring = ring_of(SHAPE, np.full(39, 65.0), depth=215.0)
    record = record_of(ring_record())
    centring = plan_centring(SHAPE, (ring,), record)
    lines = taken(record, ring)
    boards = next(q for i, q in lines.items() if i.startswith("boards for 2 ribs"))
    assert (boards.order, boards.note) == (
        centring.n_boards,
        f"{100 * centring.waste_ratio:.0f} % of them is offcut",
    )
    assert "2400 × 225 × 38 mm" in boards.item
    assert lines["props"].amount == centring.n_props
    assert lines["folding wedges"].amount == centring.n_wedge_pairs
    assert any(i.startswith("ties, foot to foot of each rib: 1950 mm") for i in lines)
    lagging = next(q for i, q in lines.items() if i.startswith("lagging"))
    assert lagging.order == math.ceil(1.05 * centring.n_lagging)


def test_bricks_without_templets_are_sorted_by_size():
    lines = taken(record_of(ring_record()), ring_of(SHAPE, np.array([50.0, 65.0, 50.0] * 13)), named=False)
    new = {i: q.amount for i, q in lines.items() if i.startswith("new")}
    assert new == {"new bricks, ring 1: 50 × 240 mm": 26.0, "new bricks, ring 1: 65 × 240 mm": 13.0}


@pytest.mark.parametrize("size", [0.0, -65.0, float("nan")])
def test_a_size_that_is_none_is_refused(size):
    with pytest.raises(PlanError, match="brick size"):
        size_tolerance_mm(size, SizeClass.T1)


def begun_with(ring: RingPlan, laid: Iterable[int]) -> RingPlan:
    courses = set(laid)
    return replace(ring, bricks=tuple(replace(b, laid=b.course in courses) for b in ring.bricks))


def test_mortar_is_that_of_the_joints_still_open():
    """With n bricks laid on each side of 39, 40 - 2 n like joints and 39 - 2 n bricks with slivers are left.

    Hence from n = 4 to 5 go two of each, and n = 19 leaves two joints and one brick: all n follow.
    """
    ring, record = ring_of(SHAPE, np.full(39, 65.0), depth=215.0), record_of(ring_record())
    litres = [
        taken(record, begun_with(ring, {*range(1, n + 1), *range(40 - n, 40)}))[
            "mortar, joints of ring 1"
        ].amount
        for n in (4, 5, 19)
    ]
    two_of_each = litres[0] - litres[1]
    assert litres[1] == pytest.approx(14 * two_of_each + litres[2], rel=1e-9)
    assert two_of_each == pytest.approx(litres[2], rel=1e-3)
    assert taken(record, begun_with(ring, range(1, 40)))["mortar, all"].amount == 0.0


def test_what_is_laid_is_told_and_not_ordered_again():
    """Of 39 bricks 5 are laid on each side: one original and one saved brick among them."""
    ring = ring_of(SHAPE, np.full(39, 65.0), depth=215.0, sources={3: "original", 4: "S4", 20: "original"})
    record = record_of(ring_record(depth=215.0, width=65.0), mortar=Mortar("NHL 3.5", 105.0, 0.2, 0.05))
    laid = {*range(1, 6), *range(35, 40)}
    begun = begun_with(ring, laid)
    before, after = taken(record, ring), taken(record, begun)
    new = next(item for item in before if item.startswith("new bricks"))
    assert (before[new].amount, after[new].amount) == (36.0, 28.0)
    assert after[new].order == math.ceil(1.05 * 28)
    assert (after["bricks laid already"].amount, after["bricks laid already"].order) == (10.0, 0.0)
    assert after["bricks laid already"].note == "ring 1, courses 1 to 5, 35 to 39"
    assert "bricks laid already" not in before
    assert before["original bricks put back"].amount - after["original bricks put back"].amount == 1.0
    assert "salvaged bricks" in before
    assert "salvaged bricks" not in after
    pieces = [q for q in after.values() if "brick" in q.item and q.unit == "pieces"]
    assert sum(q.amount for q in pieces) == 39

    assert "for what is still to be laid" in after["mortar, all"].note
    assert "still to be laid" not in before["mortar, all"].note
    share = after["weight of the new bricks"].amount / before["weight of the new bricks"].amount
    assert share == pytest.approx(28 / 36)
    assert after["load on the centre, all rings green"].amount == pytest.approx(
        before["load on the centre, all rings green"].amount, rel=1e-12
    )
    for item in ("props", "folding wedges", next(i for i in before if i.startswith("boards"))):
        assert (after[item].amount, after[item].order) == (before[item].amount, 0.0)
        assert after[item].note.startswith("in the centre, which stands; ")
        assert before[item].order > 0.0


def test_bricks_stand_behind_salvaged_ones_too():
    """Two bricks through the wall: each salvaged one fills the face and needs a new one behind it."""
    ring = ring_of(SHAPE, np.full(39, 65.0), depth=215.0, sources={3: "S3", 4: "S4", 9: "original"})
    wall = Centring(wall_thickness_mm=215.0)
    record = record_of(ring_record(depth=215.0, width=65.0, thickness_mm=102.5), centring=wall)
    lines = taken(record, ring)
    behind = lines["new bricks behind salvaged ones, ring 1: 65 × 215 × 102.5 mm"]
    assert (behind.amount, behind.order, behind.note) == (2.0, 3.0, "1 behind each")
    assert next(q for i, q in lines.items() if i.startswith("new bricks, ring 1")).amount == 2.0 * 36
    assert lines["salvaged bricks"].note == "S3, S4; counted on the face"
    assert lines["original bricks put back"].note.endswith("; counted on the face")
    face = 2000 * math.sin(0.0325) * 215  # the new ones through the wall, half the wall behind the saved
    assert lines["weight of the new bricks"].amount == pytest.approx(
        (36 + 2 / 2) * face * 215 * 1e-9 * 1800, rel=1e-9
    )
    thin = record_of(
        ring_record(depth=215.0, width=65.0, thickness_mm=102.5), centring=Centring(wall_thickness_mm=102.5)
    )
    assert not any("behind" in item or "on the face" in q.note for item, q in taken(thin, ring).items())
