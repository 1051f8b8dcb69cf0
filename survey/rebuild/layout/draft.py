"""A ring before its joints are fixed, and the closing of every run of bricks between what stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.rebuild.layout.courses import Fate, RingCount
from survey.rebuild.layout.spacing import spread_joints
from survey.rebuild.refusals import Misfit, courses_named, explain
from survey.rebuild.rhythm.rhythm import RingRhythm
from survey.rebuild.rhythm.rings import RingLines, section_factor
from survey.rebuild.rhythm.sizes import LEAST_DIFFERENCE_MM
from survey.record.model import JointLimits


@dataclass(frozen=True, slots=True, eq=False)
class RingDraft:
    """One ring with its bricks chosen and its joints still open.

    Attributes
    ----------
    lines : RingLines
        Curves to build on.
    count : RingCount
    rhythm : RingRhythm
    fate : (N,) int
        ``Fate`` of every course.
    width_mm : (N,) float
        Width of every brick in the section along the arch.
    source : tuple of str
        ``new``, ``original`` or a salvaged brick's name, course by course.
    limits : JointLimits
        Limits in the section along the arch.
    fixed_mm : (N, 2) float
        Stations of the edges of bricks that do not move; NaN for the others.
    standing_mm : (N, 4, 2) float
        Corners of standing bricks as settled from the survey; NaN elsewhere.
    residual_mm : (N,) float or None
        Greatest distance of their surveyed corners from these; NaN where none was surveyed.
    doubts : tuple of str
        What of the survey of standing bricks contradicts itself.
    """

    lines: RingLines
    count: RingCount
    rhythm: RingRhythm
    fate: NDArray[np.int64]
    width_mm: Floats
    source: tuple[str, ...]
    limits: JointLimits
    fixed_mm: Floats
    standing_mm: Floats
    residual_mm: Floats | None = None
    doubts: tuple[str, ...] = ()

    @property
    def target_mm(self) -> Floats:
        """The rhythm of joints aimed at (N + 1,)."""
        return self.rhythm.joint_mm

    @property
    def stands(self) -> NDArray[np.bool_]:
        """Mask (N,) of the bricks that do not move."""
        return np.asarray(self.fate == Fate.STANDS)


def planned_widths(rhythm: RingRhythm, fate: NDArray[np.int64]) -> Floats:
    """Widths (N,) of the bricks: an original its own; a new one the recurring size, or its read odd width."""
    size = rhythm.sizes.width_of_course_mm
    odd = rhythm.width_read & (np.abs(rhythm.width_mm - size) > LEAST_DIFFERENCE_MM)
    return np.where((fate == Fate.NEW) & ~odd, size, rhythm.width_mm)


@dataclass(frozen=True, slots=True, eq=False)
class ClosedRing:
    """Stations (N,) of the left and right edges of a ring, and why it should not be built so."""

    start_mm: Floats
    end_mm: Floats
    refusals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Run:
    """Bricks first to last (counted from 0) between two things that do not move."""

    first: int
    last: int
    start_mm: float
    end_mm: float

    @property
    def n_bricks(self) -> int:
        """How many bricks fill it."""
        return self.last - self.first + 1


def open_spans(is_fixed: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last brick (counted from 0) of every run of bricks that are not fixed."""
    step = np.diff(np.concatenate([[0], (~is_fixed).astype(np.int8), [0]]))
    firsts, lasts = np.flatnonzero(step == 1), np.flatnonzero(step == -1) - 1
    return [(int(a), int(b)) for a, b in zip(firsts, lasts, strict=True)]


def open_runs(fixed_mm: Floats, length_mm: float) -> tuple[Run, ...]:
    """The runs of bricks whose place is open, between fixed bricks or springings."""
    return tuple(
        Run(
            a,
            b,
            float(fixed_mm[a - 1, 1]) if a > 0 else 0.0,
            float(fixed_mm[b + 1, 0]) if b + 1 < len(fixed_mm) else length_mm,
        )
        for a, b in open_spans(~np.isnan(fixed_mm[:, 0]))
    )


def close_ring(draft: RingDraft) -> ClosedRing:
    """Fix every open joint: as near to the rhythm as its limits and the length allow, run by run."""
    start, end = draft.fixed_mm[:, 0].copy(), draft.fixed_mm[:, 1].copy()
    refusals: list[str] = []
    for run in open_runs(draft.fixed_mm, draft.lines.inner.length_mm):
        bricks, joints = slice(run.first, run.last + 1), slice(run.first, run.last + 2)
        widths = draft.width_mm[bricks]
        room_mm = run.end_mm - run.start_mm
        spread = spread_joints(
            draft.target_mm[joints],
            room_mm - float(widths.sum()),
            min_mm=draft.limits.min_mm,
            max_mm=draft.limits.max_mm,
        )
        edges = run.start_mm + np.cumsum(np.ravel(np.column_stack([spread.joints_mm[:-1], widths])))
        start[bricks], end[bricks] = edges[0::2], edges[1::2]
        if not spread.fits:
            refusals.append(explain(_misfit(draft, run, room_mm)))
    return ClosedRing(start, end, tuple(refusals))


def _misfit(draft: RingDraft, run: Run, room_mm: float) -> Misfit:
    ring = draft.lines.ring.ring
    place = f"Ring {ring}"
    if run.n_bricks < draft.count.count:
        place += f", {courses_named(range(run.first + 1, run.last + 2))}"
    return Misfit(
        place=place,
        n_bricks=run.n_bricks,
        widths_mm=float(draft.width_mm[run.first : run.last + 1].sum()),
        room_mm=room_mm,
        n_joints=run.n_bricks + 1,
        min_mm=draft.limits.min_mm,
        max_mm=draft.limits.max_mm,
        brick_mm=float(np.median(draft.width_mm)),
        across=1.0 / section_factor(draft.lines.ring),
    )
