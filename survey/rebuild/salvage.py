"""Saved bricks go where they fit best: originals to their own places, the rest by optimal assignment."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from survey.curves.protocol import Floats
from survey.rebuild.courses import Fate
from survey.rebuild.layout_draft import RingDraft
from survey.rebuild.plan import Brick, RingPlan
from survey.rebuild.refusals import courses_named
from survey.rebuild.rings import section_factor
from survey.record.model import SalvagedBrick

DEPTH_TOLERANCE_MM = 5.0
"""A saved brick whose depth differs more from its ring's is not used whole (judgement, no source)."""


TAPER_MM = 0.2
"""A back wider than the front by more than this needs wider stock."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A course without its own brick."""

    ring: int
    course: int
    width_mm: float
    """Of the brick that belongs there, in the section along the arch."""
    narrower_mm: float
    """By how much a brick may be narrower before the joints beside it pass the greatest."""
    wider_mm: float
    """By how much it may be wider before they fall below the least."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A saved brick and the slot it goes to."""

    brick: SalvagedBrick
    slot: Slot
    excess_mm: float
    """Its width less that of the brick that belongs there, in the section along the arch."""


@dataclass(frozen=True, slots=True, eq=False)
class SalvagePlan:
    """The drafts with saved bricks in their slots, and what is left over."""

    drafts: tuple[RingDraft, ...]
    placed: tuple[Placed, ...]
    unused: tuple[SalvagedBrick, ...]


def place_salvage(drafts: tuple[RingDraft, ...], bricks: Sequence[SalvagedBrick]) -> SalvagePlan:
    """Put saved bricks into the slots for new ones, as many as fit, with the least squared differences.

    Notes
    -----
    A brick fits a slot when ring and depth agree and the two joints beside it can take up half of its
    difference in width each without passing their limits. Using one more brick counts for more than any sum
    of differences, so the number of new bricks is the least possible. Assignment problem, solved exactly.
    """
    slots = [slot for draft in drafts for slot in open_slots(draft)]
    if not slots or not bricks:
        return SalvagePlan(drafts, (), tuple(bricks))
    factor = {d.lines.ring.ring: section_factor(d.lines.ring) for d in drafts}
    depth = {d.lines.ring.ring: d.lines.ring.depth_mm for d in drafts}
    excess = np.array([[b.width_mm * factor[s.ring] - s.width_mm for b in bricks] for s in slots])
    fits = np.array([[_goes(s, b, depth[s.ring]) for b in bricks] for s in slots])
    fits &= excess <= np.array([s.wider_mm for s in slots])[:, None]
    fits &= -excess <= np.array([s.narrower_mm for s in slots])[:, None]
    pairs = _assign(excess**2, fits)
    placed = tuple(Placed(bricks[j], slots[i], float(excess[i, j])) for i, j in pairs)
    used = {j for _, j in pairs}
    return SalvagePlan(
        tuple(_with_salvage(d, [p for p in placed if p.slot.ring == d.lines.ring.ring]) for d in drafts),
        placed,
        tuple(b for j, b in enumerate(bricks) if j not in used),
    )


def open_slots(draft: RingDraft) -> list[Slot]:
    """The courses of one ring that would be laid with new bricks."""
    joints, limits = draft.target_mm, draft.limits
    give = np.clip(joints - limits.min_mm, 0.0, None)
    take = np.clip(limits.max_mm - joints, 0.0, None)
    return [
        Slot(
            draft.lines.ring.ring,
            int(i) + 1,
            float(draft.width_mm[i]),
            narrower_mm=2.0 * float(min(take[i], take[i + 1])),
            wider_mm=2.0 * float(min(give[i], give[i + 1])),
        )
        for i in np.flatnonzero(draft.fate == Fate.NEW)
    ]


def _goes(slot: Slot, brick: SalvagedBrick, depth_mm: float) -> bool:
    if brick.ring is not None and brick.ring != slot.ring:
        return False
    return brick.depth_mm is None or abs(brick.depth_mm - depth_mm) <= DEPTH_TOLERANCE_MM


def _assign(cost: Floats, fits: np.ndarray) -> list[tuple[int, int]]:
    """Pairs (slot, brick): as many as fit, at the least cost."""
    from scipy.optimize import linear_sum_assignment

    if not fits.any():
        return []
    barred = 1.0 + float(cost[fits].sum())  # dearer than all fitting pairs together
    rows, columns = linear_sum_assignment(np.where(fits, cost, barred))
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if fits[i, j]]


def _with_salvage(draft: RingDraft, placed: Iterable[Placed]) -> RingDraft:
    width, source, fate = draft.width_mm.copy(), list(draft.source), draft.fate.copy()
    for p in placed:
        width[p.slot.course - 1] += p.excess_mm
        source[p.slot.course - 1] = p.brick.brick
        fate[p.slot.course - 1] = Fate.GOES_BACK
    return replace(draft, width_mm=width, source=tuple(source), fate=fate)


def salvage_notes(plan: SalvagePlan, rings: Iterable[RingPlan]) -> tuple[str, ...]:
    """One sentence for each reused brick with what the joints beside it give, and one for those left over."""
    rings = tuple(rings)
    bricks = {(b.ring, b.course): b for r in rings for b in r.bricks}
    notes = [_placed_note(p, bricks, rings) for p in plan.placed]
    if plan.unused:
        names = ", ".join(b.brick for b in plan.unused)
        notes.append(f"Saved bricks without a place in this plan: {names}.")
    return tuple(notes)


def _placed_note(placed: Placed, bricks: dict[tuple[int, int], Brick], rings: Iterable[RingPlan]) -> str:
    slot = placed.slot
    ring = next(r for r in rings if r.ring == slot.ring)
    before = bricks.get((slot.ring, slot.course - 1))
    below_mm = before.joint_after_intrados_mm if before else ring.springing_joint_intrados_mm
    above_mm = bricks[slot.ring, slot.course].joint_after_intrados_mm
    rhythm = ring.original_joints_mm[slot.course - 1 : slot.course + 1]
    return (
        f"Saved brick {placed.brick.brick} ({placed.brick.width_mm:.1f} mm) goes to ring {slot.ring}, course "
        f"{slot.course}, {placed.excess_mm:+.1f} mm against the brick that was there: the joints beside it "
        f"are {below_mm:.1f} and {above_mm:.1f} mm, {below_mm - rhythm[0]:+.1f} and "
        f"{above_mm - rhythm[1]:+.1f} mm against the rhythm."
    )


def purchase_notes(rings: Iterable[RingPlan]) -> tuple[str, ...]:
    """What must be bought or cut, ring by ring and size by size, and that new work is to be marked."""
    notes: list[str] = []
    for ring in rings:
        sizes: dict[float, list[Brick]] = {}
        for b in ring.bricks:
            if b.source == "new":
                across = b.width_intrados_mm * float(np.cos(ring.turn_rad))
                sizes.setdefault(round(across, 1), []).append(b)
        notes += [_purchase(ring.ring, width, bricks) for width, bricks in sorted(sizes.items())]
    if notes:
        notes.append(
            "Mark every new brick with the year on a face that will not be seen, and enter the new courses "
            "in the record: new work stays distinguishable from old."
        )
    return tuple(notes)


def _purchase(ring: int, width_mm: float, bricks: Sequence[Brick]) -> str:
    """One size of one ring; tapered bricks are cut from stock as wide as their back."""
    text = (
        f"To buy or cut for ring {ring}: {len(bricks)} of {width_mm:.1f} mm, "
        f"{courses_named([b.course for b in bricks])}"
    )
    back_mm = max(b.width_extrados_mm for b in bricks)
    if back_mm > max(b.width_intrados_mm for b in bricks) + TAPER_MM:
        text += f", cut to a taper from stock at least {back_mm:.1f} mm wide"
    return text + "."
