"""The whole plan of a rebuild: from a record and its fit to bricks, centring, laying order and quantities."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from survey.curves import curve_of
from survey.curves.displaced import DisplacedCurve
from survey.curves.protocol import Curve
from survey.errors import GeometryError, PlanError
from survey.fitting.collars import with_found_collars
from survey.fitting.counting.edge_readings import EdgeReadings, ring_length_mm
from survey.fitting.result import ArchFit
from survey.rebuild.cautions import CAUTIONS
from survey.rebuild.centring.centring import plan_centring
from survey.rebuild.curve_choice import ChosenCurve, choose_curve, repair_choice
from survey.rebuild.laying.laying import laying_notes, order_laying
from survey.rebuild.laying.progress import replan
from survey.rebuild.laying.salvage import place_salvage, purchase_notes, with_excess
from survey.rebuild.laying.saved_words import saved_brick_notes, saved_brick_warnings, unused_notes
from survey.rebuild.layout.courses import Fate, RingCount, choose_scope, count_ring, fates, missing_courses
from survey.rebuild.layout.draft import ClosedRing, RingDraft, close_ring, planned_widths
from survey.rebuild.layout.ring import LaidOutRing, lay_out
from survey.rebuild.layout.stagger import alignment_warnings, joints_against, stagger
from survey.rebuild.plan import RebuildOptions, RebuildPlan, Scope
from survey.rebuild.quantities import take_quantities
from survey.rebuild.remarks import (
    default_limit_warnings,
    rhythm_words,
    sawtooth_notes,
    standing_warnings,
    width_warnings,
)
from survey.rebuild.repair.found_ring import FoundRing
from survey.rebuild.repair.repair import repair_draft
from survey.rebuild.repair.soffit import Base
from survey.rebuild.rhythm.edges import RingEdges, edges_of_ring, read_edges, read_laid_edges
from survey.rebuild.rhythm.readings import read_rhythm
from survey.rebuild.rhythm.rhythm import RingRhythm, find_rhythm
from survey.rebuild.rhythm.rings import (
    RingLines,
    ring_lines,
    section_factor,
    section_limits,
    smallest_radius_mm,
)
from survey.rebuild.templets import assign_templets, group_templets
from survey.rebuild.words import listed
from survey.record.model import Record


@dataclass(frozen=True, slots=True, eq=False)
class _Readings:
    """Surveyed edges as they stand, and as they were laid where the arch has moved; None without any."""

    standing: EdgeReadings | None
    laid: EdgeReadings | None


@dataclass(frozen=True, slots=True, eq=False)
class _Surveyed:
    """What was found of one ring before anything is decided about it."""

    lines: RingLines
    count: RingCount
    edges: RingEdges
    rhythm: RingRhythm
    missing: NDArray[np.bool_]


def plan_rebuild(record: Record, fit: ArchFit, options: RebuildOptions | None = None) -> RebuildPlan:
    """Plan how an arch is put back with its own count and rhythm of bricks.

    Parameters
    ----------
    record : Record
    fit : ArchFit
        Of the same record.
    options : RebuildOptions, optional

    Returns
    -------
    RebuildPlan
        Where joints cannot stay inside their limits the plan carries refusals, has no laying order and is not
        to be built from.

    Raises
    ------
    PlanError
        When the record has no ring, when a curve or count is asked for that makes no sense for this arch, or
        when its rings cannot be drawn on the curve at all.
    """
    record = with_found_collars(record, fit)
    try:
        return _plan(record, fit, options or RebuildOptions())
    except GeometryError as fault:
        depths = listed([f"ring {r.ring} is {r.depth_mm:.0f} mm deep" for r in record.rings])
        radius_mm = smallest_radius_mm(curve_of(fit.best.shape))
        raise PlanError(
            f"the rings cannot be drawn on this curve: {depths}, and the curve goes down to a radius of "
            f"{radius_mm:.0f} mm; check depth, collar_joint and the unit in arch.toml"
        ) from fault


def _plan(record: Record, fit: ArchFit, options: RebuildOptions) -> RebuildPlan:
    """Plan with rings whose collar joints are known."""
    if not record.rings:
        raise PlanError(
            "the record has no ring: write a [[rings]] table with depth and brick_width into arch.toml"
        )
    readings = read_edges(record, fit)
    laid = None if fit.movement is None else read_laid_edges(record, fit, fit.movement)
    surveyed = tuple(
        _survey_ring(record, fit, options, lines, _Readings(readings, laid))
        for lines in ring_lines(curve_of(fit.best.shape), record.rings)
    )
    scope = choose_scope(options, [s.missing for s in surveyed])
    if scope is Scope.REPAIR:
        chosen = repair_choice(fit, options.curve)
        drafts = _repair_drafts(record, fit, surveyed, chosen)
    else:
        chosen = choose_curve(fit, options.curve)
        drafts = _whole_drafts(record, surveyed, chosen)
    plan = _finish(record, options, scope, chosen, surveyed, drafts)
    plan = _with_doubts_of_the_fit(plan, fit, options)
    if record.laid:
        plan = replan(plan, record.laid)
        plan = replace(plan, quantities=take_quantities(plan.rings, plan.centring, record))
    return _nothing_to_do(plan) if plan.refusals else plan


def _nothing_to_do(plan: RebuildPlan) -> RebuildPlan:
    """A refused plan without orders: nobody shall lay by it, and nothing is bought for it."""
    work = (*laying_notes(plan.rings), *purchase_notes(plan.rings))
    return replace(
        plan,
        laying=(),
        quantities=tuple(replace(quantity, order=0.0) for quantity in plan.quantities),
        notes=tuple(note for note in plan.notes if note not in work),
    )


CLEAR_MISCOUNT = 0.5
"""Probability of another count from which a repair to the recorded one is refused; the recorded count already
weighs in it, so that more than half is much."""


def _with_doubts_of_the_fit(plan: RebuildPlan, fit: ArchFit, options: RebuildOptions) -> RebuildPlan:
    """Refuse what the fit says cannot be: a curve of no family, and a repair to a count that has no room."""
    refusals: list[str] = []
    warnings = [collar.told for collar in fit.collars if collar.doubtful]
    if fit.verdict.clear and fit.verdict.family is None:
        told = f"{fit.verdict.because} This plan follows the nearest family only."
        if plan.scope is Scope.WHOLE and options.curve is None:
            refusals.append(f"{told} Name the curve to build to (--curve) if that is what is wanted.")
        else:
            warnings.append(told)
    chosen_counts = dict(options.counts)
    for count in fit.courses:
        likeliest = max(count.probability, key=lambda n: count.probability[n], default=count.count)
        if (
            plan.scope is Scope.REPAIR
            and count.ring not in chosen_counts
            and likeliest != count.count
            and count.probability[likeliest] >= CLEAR_MISCOUNT
        ):
            refusals.append(
                f"Ring {count.ring}: {count.count} courses are recorded, but what stands and the rhythm "
                f"leave room for {likeliest}; a repair cannot move what stands. Count again and correct "
                "courses in arch.toml."
            )
    return replace(plan, refusals=(*refusals, *plan.refusals), warnings=(*warnings, *plan.warnings))


def _survey_ring(
    record: Record, fit: ArchFit, options: RebuildOptions, lines: RingLines, readings: _Readings
) -> _Surveyed:
    ring = lines.ring
    count = count_ring(ring, record, fit, options, inner=lines.inner)

    def edges_and_rhythm(read: EdgeReadings | None, length_mm: float) -> tuple[RingEdges, RingRhythm]:
        edges = edges_of_ring(read, fit, ring.ring, count=count.count, numbers=count.numbers)
        rhythm = find_rhythm(
            read_rhythm(record, ring, edges, length_mm=length_mm, numbers=count.numbers),
            brick_width_mm=ring.brick_width_mm * section_factor(ring),
            not_joints=hinge_joints(fit, count.count),
        )
        return edges, rhythm

    edges, rhythm = edges_and_rhythm(readings.standing, lines.inner.length_mm)
    edges = edges.without(rhythm.gross.reshape(-1, 2))
    if readings.laid is not None and fit.movement is not None:
        # A springing that sank, or a hinge that opened, widened joints that were not laid so.
        original = curve_of(fit.movement.original.shape)
        _, laid = edges_and_rhythm(readings.laid, ring_length_mm(original, lines.offset_mm))
        rhythm = laid.standing_at(rhythm)
    return _Surveyed(lines, count, edges, rhythm, missing_courses(record, ring.ring, count))


def hinge_joints(fit: ArchFit, count: int) -> NDArray[np.int64]:
    """Joints of a ring of ``count`` courses at and beside the hinges of a moved arch, where they may gape."""
    if fit.movement is None:
        return np.zeros(0, dtype=np.int64)
    length_mm = curve_of(fit.movement.original.shape).length_mm
    at = [round(h.station_mm.value / length_mm * count) for h in fit.movement.hinges]
    return np.unique(np.clip(np.add.outer(at, [-1, 0, 1]).ravel(), 0, count)).astype(np.int64)


def _whole_drafts(
    record: Record, surveyed: tuple[_Surveyed, ...], chosen: ChosenCurve
) -> tuple[RingDraft, ...]:
    """Every ring taken down and laid anew on the chosen curve."""
    lines = ring_lines(curve_of(chosen.shape), record.rings)
    drafts = []
    for found, line in zip(surveyed, lines, strict=True):
        n = found.count.count
        fate = fates(record, found.edges, scope=Scope.WHOLE, count=found.count, missing=found.missing)
        drafts.append(
            RingDraft(
                lines=line,
                count=found.count,
                rhythm=found.rhythm,
                fate=fate,
                width_mm=planned_widths(found.rhythm, fate),
                source=tuple("new" if f == Fate.NEW else "original" for f in fate),
                limits=section_limits(line.ring, record.joints),
                fixed_mm=np.full((n, 2), np.nan),
                standing_mm=np.full((n, 4, 2), np.nan),
            )
        )
    return tuple(drafts)


def _repair_drafts(
    record: Record, fit: ArchFit, surveyed: tuple[_Surveyed, ...], chosen: ChosenCurve
) -> tuple[RingDraft, ...]:
    """Every ring with its standing bricks fixed, from the opening outwards."""
    drafts: list[RingDraft] = []
    inside: DisplacedCurve | None = None
    lines = ring_lines(curve_of(chosen.shape), record.rings)
    for found, line in zip(surveyed, lines, strict=True):
        fate = fates(record, found.edges, scope=Scope.REPAIR, count=found.count, missing=found.missing)
        base = cast(Base, line.inner)  # a shape's own curve or a parallel of it
        standing = FoundRing(base, line, found.count, found.edges, found.rhythm, fate)
        try:
            draft, inside = repair_draft(record, fit, standing, inside=inside)
        except GeometryError as fault:
            number, radius_mm = line.ring.ring, smallest_radius_mm(line.inner)
            raise PlanError(
                f"ring {number}: where its standing bricks were surveyed they leave the fitted curve "
                f"further than its least radius of {radius_mm:.0f} mm lets a soffit follow; measure them "
                "again, check their ring and course numbers and the depth of every ring, or plan it anew "
                "with --scope whole"
            ) from fault
        drafts.append(draft)
    return tuple(drafts)


def _finish(
    record: Record,
    options: RebuildOptions,
    scope: Scope,
    chosen: ChosenCurve,
    surveyed: tuple[_Surveyed, ...],
    drafts: tuple[RingDraft, ...],
) -> RebuildPlan:
    """Close the rings and derive everything that follows from them."""
    saved = place_salvage(drafts, record.salvage)
    laid_out = _lay_out(saved.drafts, scope=scope, give_mm=record.tolerances.joint_mm)
    tolerance_mm = options.templet_tolerance_mm
    if tolerance_mm is None:
        tolerance_mm = record.tolerances.templet_mm
    rings = tuple(
        replace(r.plan, default_limits=record.joints.defaulted, closing_refusals=r.refusals) for r in laid_out
    )
    templets = group_templets(rings, tolerance_mm)
    rings = with_excess(assign_templets(rings, templets), saved)
    centring = plan_centring(chosen.shape, rings, record)
    return RebuildPlan(
        scope=scope,
        choice=chosen.choice,
        shape=chosen.shape,
        rings=rings,
        templets=templets,
        centring=centring,
        laying=order_laying(rings, centring, chosen.shape),
        quantities=take_quantities(rings, centring, record),
        refusals=tuple(s for r in laid_out for s in r.refusals),
        warnings=(
            *default_limit_warnings(record.joints),
            *(d for s in surveyed for d in s.count.doubts),
            *(d for s in surveyed for d in width_warnings(s.lines.ring, s.rhythm)),
            *(s for r in laid_out for s in r.warnings),
            *(
                s
                for found, draft in zip(surveyed, saved.drafts, strict=True)
                for s in standing_warnings(record, draft, found.rhythm.gross.reshape(-1, 2))
            ),
            *saved_brick_warnings(rings, tolerance_mm=record.tolerances.joint_mm),
            *alignment_warnings(rings),
        ),
        cautions=CAUTIONS,
        notes=(
            *chosen.notes,
            *_ring_notes(record, surveyed, saved.drafts),
            *saved_brick_notes(rings),
            *unused_notes(saved),
            *purchase_notes(rings),
            *laying_notes(rings),
        ),
    )


def _ring_notes(
    record: Record, surveyed: tuple[_Surveyed, ...], drafts: tuple[RingDraft, ...]
) -> tuple[str, ...]:
    words = (rhythm_words(s.lines.ring, s.rhythm) for s in surveyed)
    return (*(w for w in words if w), *(n for d in drafts for n in sawtooth_notes(record, d)))


def _lay_out(drafts: tuple[RingDraft, ...], *, scope: Scope, give_mm: float) -> tuple[LaidOutRing, ...]:
    """Close and lay out every ring; one without a rhythm of its own keeps its joints off those inside it."""
    done: list[LaidOutRing] = []
    for draft in drafts:
        closed = close_ring(draft)
        inner = draft.lines.inner
        inside = done[-1].plan if done else None
        free = scope is Scope.WHOLE and not draft.rhythm.joint_read.any() and not closed.refusals
        if inside is not None and free:
            joints = joints_against(closed.start_mm, closed.end_mm, inner, inside)
            limits = draft.limits
            shift = stagger(joints, give_mm=give_mm, min_mm=limits.min_mm, max_mm=limits.max_mm)
            closed = ClosedRing(closed.start_mm + shift, closed.end_mm + shift, ())
        ring = lay_out(draft, closed, crown_mm=crown_station(inner))
        done.append(ring)
    return tuple(done)


def crown_station(inner: Curve) -> float:
    """Station of the crown: half way along a curve, or over half way along the base of a displaced one."""
    if isinstance(inner, DisplacedCurve):
        return float(inner.station_over(0.5 * inner.base.length_mm))
    return 0.5 * inner.length_mm
