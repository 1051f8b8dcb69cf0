"""Plans with templets, centring, laying order and quantities taken off rings, for the work sheets."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from rebuild.works_factory import record_of, ring_of, ring_record
from sheets.handmade import RingSpec, handmade
from sheets.pictures import NASTY

from survey.curves import curve_of, elliptical, five_centred, segmental, semicircular, three_centred_sixty
from survey.curves.shape import ArchShape
from survey.fitting.result import ArchFit
from survey.rebuild.cautions import CAUTIONS
from survey.rebuild.centring.centring import plan_centring
from survey.rebuild.laying.laying import order_laying
from survey.rebuild.plan import RebuildPlan, RingPlan, Scope
from survey.rebuild.quantities import take_quantities
from survey.rebuild.templets import assign_templets, group_templets
from survey.record.model import Centring, Laid, Mortar, Record

REFUSALS = ("Ring 1: the least joints need 31.0 mm more than the curve has; leave out one course.",)


@dataclass(frozen=True)
class Worked:
    """What the work sheets are drawn from."""

    record: Record
    fit: ArchFit
    plan: RebuildPlan


def worked(
    shape: ArchShape,
    *rings: RingPlan,
    record: Record,
    refusals: tuple[str, ...] = (),
    scope: Scope = Scope.WHOLE,
) -> Worked:
    """Everything that follows from rings."""
    named = assign_templets(rings, templets := group_templets(rings, 0.5))
    centring = plan_centring(shape, named, record)
    plan = RebuildPlan(
        scope=scope,
        choice=shape.family.value,
        shape=shape,
        rings=named,
        templets=templets,
        centring=centring,
        laying=order_laying(named, centring, shape),
        quantities=take_quantities(named, centring, record),
        refusals=refusals,
        warnings=(),
        cautions=CAUTIONS,
        notes=("Mark every new brick with the year on a hidden face.",),
    )
    return Worked(record, handmade(shape, rings=(RingSpec(100.0, 50.0, 5),), missing=range(0)).fit, plan)


def rhythm(ring: RingPlan, seed: int, *, inferred: tuple[int, ...] = ()) -> RingPlan:
    """The ring with an original rhythm a little off the planned one, some joints of it inferred."""
    rng = np.random.default_rng(seed)
    joints = np.array([ring.springing_joint_intrados_mm, *(b.joint_after_intrados_mm for b in ring.bricks)])
    return replace(
        ring,
        original_joints_mm=joints + rng.normal(0.0, 0.7, joints.size),
        recorded_joints=tuple(k not in inferred for k in range(joints.size)),
    )


def gateway() -> Worked:
    """A basket-handle of two rings, whole bricks and wedge joints, laid anew."""
    shape = three_centred_sixty(3200.0, 1050.0)
    length = curve_of(shape).length_mm
    n, m = 54, 58
    j = 1.0 + 0.25 * np.cos(np.linspace(0, 2 * math.pi, n + 1))
    widths = np.where(np.arange(n) % 2, 66.0, 64.0)
    first = ring_of(shape, widths, depth=105.0, joints=j * (length - widths.sum()) / j.sum(),
                    sources={4: "original", 5: "original", 20: "S3"})  # fmt: skip
    second = ring_of(shape, np.full(m, 65.0), ring=2, depth=105.0, inner_mm=114.0)
    record = record_of(
        ring_record(depth=105.0, width=65.0, thickness_mm=215.0),
        ring_record(2, depth=105.0, width=65.0, thickness_mm=215.0, collar_mm=9.0),
        centring=Centring(wall_thickness_mm=330.0),
        mortar=Mortar("NHL 3.5, 1 : 2.5"),
        name="Cart gateway",
    )
    return worked(shape, rhythm(first, 1, inferred=(20, 21, 22)), rhythm(second, 2), record=record)


def doorway() -> Worked:
    """A semi-elliptical repair: plain ring, sawtooth ring, plain ring; one gap right of the crown."""
    shape = elliptical(2200.0, 720.0)
    turn = math.pi / 4
    standing = tuple(c for c in range(1, 48) if not 26 <= c <= 33)
    one = ring_of(shape, np.full(47, 52.0), depth=240.0, in_situ=standing, sources={27: "S1", 30: "S4"})
    two = ring_of(shape, np.full(29, 95.0), ring=2, depth=75.0, inner_mm=248.0, turn_rad=turn,
                  in_situ=tuple(c for c in range(1, 30) if not 16 <= c <= 20))  # fmt: skip
    three = ring_of(shape, np.full(57, 52.0), ring=3, depth=240.0, inner_mm=331.0,
                    in_situ=tuple(c for c in range(1, 58) if not 32 <= c <= 39))  # fmt: skip
    record = record_of(
        ring_record(),
        ring_record(2, depth=75.0, width=67.0, laid=Laid.SAWTOOTH, turn_rad=turn, collar_mm=8.0),
        ring_record(3, collar_mm=8.0),
        name="North cellar door",
    )
    gap = tuple(range(25, 34))
    return worked(
        shape, rhythm(one, 3, inferred=gap), two, rhythm(three, 4), record=record, scope=Scope.REPAIR
    )


def window() -> Worked:
    """A flat segment of cut bricks in one ring."""
    shape = segmental(1400.0, 180.0)
    record = record_of(ring_record(depth=215.0, width=65.0, thickness_mm=102.5), name="Loft window")
    return worked(shape, ring_of(shape, np.full(19, 65.0), depth=215.0, cut=True), record=record)


def works() -> dict[str, Worked]:
    """Arches by name."""
    large = five_centred(5200.0, 1700.0, 1150.0)
    small = semicircular(420.0, tilt_rad=0.02)
    flat = segmental(1400.0, 25.0)
    cut = elliptical(2000.0, 600.0)
    return {
        "gateway": gateway(),
        "doorway": doorway(),
        "window": window(),
        "large": worked(
            large,
            ring_of(large, np.full(104, 62.0), depth=240.0),
            ring_of(large, np.full(111, 62.0), ring=2, depth=240.0, inner_mm=250.0),
            record=record_of(ring_record(), ring_record(2, collar_mm=10.0), name="Granary drive"),
        ),
        "small, tilted": worked(
            small, ring_of(small, np.full(18, 65.0), depth=102.5), record=record_of(ring_record(depth=102.5))
        ),
        "very flat": worked(flat, ring_of(flat, np.full(19, 65.0)), record=record_of(ring_record())),
        "many templets, refused": worked(
            cut, ring_of(cut, np.full(42, 50.0), cut=True), record=record_of(ring_record()), refusals=REFUSALS
        ),
        "nasty name": worked(
            small,
            ring_of(small, np.full(17, 65.0), depth=102.5),
            record=record_of(ring_record(), name=NASTY * 2),
        ),
    }
