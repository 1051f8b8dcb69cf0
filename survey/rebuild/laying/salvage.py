"""Saved bricks go where they fit best: originals to their own places, the rest by optimal assignment."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.rebuild.layout.courses import Fate
from survey.rebuild.layout.draft import RingDraft, open_runs
from survey.rebuild.plan import Brick, RingPlan
from survey.rebuild.refusals import courses_named
from survey.rebuild.rhythm.rings import section_factor
from survey.rebuild.templets import NEW, SAME_SIZE_MM
from survey.record.model import SalvagedBrick

DEPTH_TOLERANCE_MM = 5.0
"""A saved brick whose depth differs more from its ring's is not used whole (judgement, no source)."""


SLOP_MM = 1e-9
"""Rounding in the mean joint of a run."""
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
    run: int = 0
    """Number, in its ring, of the run between two things that do not move that it belongs to."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A saved brick and the slot it goes to."""

    brick: SalvagedBrick
    slot: Slot
    excess_mm: float
    """Its width less that of the brick that belongs there, in the section along the arch."""


@dataclass(frozen=True, slots=True)
class Unused:
    """A saved brick that goes nowhere, and why."""

    brick: SalvagedBrick
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class SalvagePlan:
    """The drafts with saved bricks in their slots, and what is left over."""

    drafts: tuple[RingDraft, ...]
    placed: tuple[Placed, ...]
    unused: tuple[Unused, ...]


def place_salvage(drafts: tuple[RingDraft, ...], bricks: Sequence[SalvagedBrick]) -> SalvagePlan:
    """Put saved bricks into the slots for new ones, as many as fit, with the least squared differences.

    Notes
    -----
    A brick fits a slot when ring and depth agree and the two joints beside it can take up half of its
    difference in width each without passing their limits. Using one more brick counts for more than any sum
    of differences, so the number of new bricks is the least possible. Assignment problem, solved exactly.
    Where all bricks of a run together no longer close inside the limits, the one that misses most is kept
    out of that run and the rest are assigned anew.
    """
    slots = [slot for draft in drafts for slot in open_slots(draft)]
    trial = _Trial.of(drafts, slots, bricks)
    fits = trial.fits.copy()
    while True:
        placed = tuple(
            Placed(bricks[j], slots[i], float(trial.excess_mm[i, j]))
            for i, j in _assign(trial.excess_mm**2, fits)
        )
        filled = tuple(
            _with_salvage(d, [p for p in placed if p.slot.ring == d.lines.ring.ring]) for d in drafts
        )
        out = [p for draft in filled if (p := _kept_out(draft, placed)) is not None]
        if not out:
            break
        for p in out:
            same_run = [(s.ring, s.run) == (p.slot.ring, p.slot.run) for s in slots]
            fits[np.ix_(same_run, [b is p.brick for b in bricks])] = False
    used = {id(p.brick) for p in placed}
    unused = tuple(
        Unused(b, trial.why_not(j, still_fits=bool(fits[:, j].any())))
        for j, b in enumerate(bricks)
        if id(b) not in used
    )
    return SalvagePlan(filled, placed, unused)


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """Every saved brick tried in every slot.

    Attributes
    ----------
    goes : (slots, bricks) bool
        Ring and depth agree.
    excess_mm : (slots, bricks) float
        The brick's width less that of the one that belongs there, in the section along the arch.
    fits : (slots, bricks) bool
        The joints beside it can take that up too.
    """

    drafts: tuple[RingDraft, ...]
    slots: Sequence[Slot]
    bricks: Sequence[SalvagedBrick]
    goes: NDArray[np.bool_]
    excess_mm: Floats
    fits: NDArray[np.bool_]

    @classmethod
    def of(
        cls, drafts: tuple[RingDraft, ...], slots: Sequence[Slot], bricks: Sequence[SalvagedBrick]
    ) -> _Trial:
        """Try all."""
        shape = (len(slots), len(bricks))
        factor = {d.lines.ring.ring: section_factor(d.lines.ring) for d in drafts}
        depth = {d.lines.ring.ring: d.lines.ring.depth_mm for d in drafts}
        widths = [[b.width_mm * factor[s.ring] - s.width_mm for b in bricks] for s in slots]
        excess = np.array(widths, dtype=np.float64).reshape(shape)
        goes = np.array([[_goes(s, b, depth[s.ring]) for b in bricks] for s in slots], dtype=bool)
        goes = goes.reshape(shape)
        fits = goes & (excess <= np.array([s.wider_mm for s in slots])[:, None])
        fits &= -excess <= np.array([s.narrower_mm for s in slots])[:, None]
        return cls(drafts, slots, bricks, goes, excess, fits)

    def why_not(self, j: int, *, still_fits: bool) -> str:
        """Why a brick has no place, in words."""
        brick = self.bricks[j]
        of_ring = [d.lines.ring for d in self.drafts if brick.ring in (None, d.lines.ring.ring)]
        wanted = [s for s in self.slots if brick.ring in (None, s.ring)]
        if not of_ring:
            return f"there is no ring {brick.ring}"
        if not wanted:
            return "every course has its own brick" if brick.ring is None else "its ring needs no brick"
        goes = np.flatnonzero(self.goes[:, j])
        if not goes.size:
            depths = " or ".join(f"{r.depth_mm:.1f}" for r in of_ring if r.ring in {s.ring for s in wanted})
            return f"it is {brick.depth_mm:.1f} mm deep, the ring {depths} mm"
        if still_fits:
            return "other saved bricks fit its places better"
        if self.fits[:, j].any():
            return "with it the joints of its run would not close inside their limits"
        over = [max(self.excess_mm[i, j] - s.wider_mm, -self.excess_mm[i, j] - s.narrower_mm)
                for i, s in enumerate(self.slots) if i in goes]  # fmt: skip
        i = int(goes[int(np.argmin(over))])
        slot, excess = self.slots[i], float(self.excess_mm[i, j])
        ring = next(d.lines.ring for d in self.drafts if d.lines.ring.ring == slot.ring)
        across = 1.0 / section_factor(ring)
        off, give = abs(excess) * across, (slot.wider_mm if excess > 0.0 else slot.narrower_mm) * across
        return (
            f"it is {off:.1f} mm {'wider' if excess > 0.0 else 'narrower'} than the brick of ring "
            f"{slot.ring}, course {slot.course}, where it would fit best, and the two joints there can "
            f"{'give' if excess > 0.0 else 'take'} {give:.1f} mm"
        )


def _kept_out(draft: RingDraft, placed: Iterable[Placed]) -> Placed | None:
    """A saved brick that must go because its run cannot close inside the limits with it; None if all do."""
    low, high = draft.limits.min_mm, draft.limits.max_mm
    mine = [p for p in placed if p.slot.ring == draft.lines.ring.ring]
    for number, run in enumerate(open_runs(draft.fixed_mm, draft.lines.inner.length_mm)):
        here = sorted((p for p in mine if p.slot.run == number), key=lambda p: p.excess_mm)
        if not here:
            continue
        widths = float(draft.width_mm[run.first : run.last + 1].sum())
        mean = (run.end_mm - run.start_mm - widths) / (run.n_bricks + 1)
        if mean < low - SLOP_MM and here[-1].excess_mm > 0.0:
            return here[-1]
        if mean > high + SLOP_MM and here[0].excess_mm < 0.0:
            return here[0]
    return None


def open_slots(draft: RingDraft) -> list[Slot]:
    """The courses of one ring that would be laid with new bricks."""
    joints, limits = draft.target_mm, draft.limits
    give = np.clip(joints - limits.min_mm, 0.0, None)
    take = np.clip(limits.max_mm - joints, 0.0, None)
    run_of = np.zeros(len(draft.fate), dtype=np.int64)
    for number, run in enumerate(open_runs(draft.fixed_mm, draft.lines.inner.length_mm)):
        run_of[run.first : run.last + 1] = number
    return [
        Slot(
            draft.lines.ring.ring,
            int(i) + 1,
            float(draft.width_mm[i]),
            narrower_mm=2.0 * float(min(take[i], take[i + 1])),
            wider_mm=2.0 * float(min(give[i], give[i + 1])),
            run=int(run_of[i]),
        )
        for i in np.flatnonzero(draft.fate == Fate.NEW)
    ]


def _goes(slot: Slot, brick: SalvagedBrick, depth_mm: float) -> bool:
    if brick.ring is not None and brick.ring != slot.ring:
        return False
    return brick.depth_mm is None or abs(brick.depth_mm - depth_mm) <= DEPTH_TOLERANCE_MM


def _assign(cost: Floats, fits: NDArray[np.bool_]) -> list[tuple[int, int]]:
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


def with_excess(rings: Iterable[RingPlan], plan: SalvagePlan) -> tuple[RingPlan, ...]:
    """The rings with every saved brick's excess over the brick that belongs there written into it."""
    excess = {(p.slot.ring, p.slot.course): p.excess_mm for p in plan.placed}
    return tuple(
        replace(
            ring,
            bricks=tuple(
                replace(b, salvage_excess_mm=excess.get((b.ring, b.course), b.salvage_excess_mm))
                for b in ring.bricks
            ),
        )
        for ring in rings
    )


def purchase_notes(rings: Iterable[RingPlan]) -> tuple[str, ...]:
    """What must still be bought or cut, ring by ring and size by size, and that new work is to be marked."""
    notes: list[str] = []
    for ring in rings:
        across = float(np.cos(ring.turn_rad))
        new = [b for b in ring.bricks if b.to_lay and b.source == NEW]
        notes += [_purchase(ring.ring, bricks, across) for bricks in _by_size(new, across)]
    if notes:
        notes.append(
            "Mark every new brick with the year on a face that will not be seen, and enter the new courses "
            "in the record: new work stays distinguishable from old."
        )
    return tuple(notes)


def _by_size(bricks: Sequence[Brick], across: float) -> list[list[Brick]]:
    """Bricks of one size together, the narrowest first, as the templets have them."""
    sizes: list[list[Brick]] = []
    before_mm = float("-inf")
    for brick in sorted(bricks, key=lambda b: b.width_intrados_mm):
        width_mm = brick.width_intrados_mm * across
        if width_mm - before_mm > SAME_SIZE_MM:
            sizes.append([])
        sizes[-1].append(brick)
        before_mm = width_mm
    return [sorted(alike, key=lambda b: b.course) for alike in sizes]


def _purchase(ring: int, bricks: Sequence[Brick], across: float) -> str:
    """One size of one ring; tapered bricks are cut from stock as wide as their back."""
    width_mm = float(np.median([b.width_intrados_mm for b in bricks])) * across
    text = (
        f"To buy or cut for ring {ring}: {len(bricks)} of {width_mm:.1f} mm, "
        f"{courses_named([b.course for b in bricks])}"
    )
    back_mm = max(b.width_extrados_mm for b in bricks)
    if back_mm > max(b.width_intrados_mm for b in bricks) + TAPER_MM:
        text += f", cut to a taper from stock at least {back_mm:.1f} mm wide"
    return text + "."
