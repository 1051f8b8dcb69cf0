"""The plan while the arch goes up: what is laid stays, the rest is marked and ordered anew."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from survey.rebuild.laying.laying import laying_notes, order_laying, where_to_go_on
from survey.rebuild.laying.replanned import replan_rings
from survey.rebuild.laying.salvage import purchase_notes
from survey.rebuild.laying.saved_words import saved_brick_notes, warnings_after_laying
from survey.rebuild.layout.back_joints import back_joint_warnings
from survey.rebuild.layout.marks import Profile, course_marks, crown_station_mm, soffit_of
from survey.rebuild.layout.stagger import alignment_warnings
from survey.rebuild.plan import RebuildPlan, RingPlan
from survey.record.model import LaidMark


def replan(plan: RebuildPlan, marks: Sequence[LaidMark]) -> RebuildPlan:
    """The plan with what is laid kept and its error spread over the joints still open.

    Parameters
    ----------
    plan : RebuildPlan
        As it was before anything was laid.
    marks : sequence of LaidMark
        All marks measured so far.

    Returns
    -------
    RebuildPlan
        Rings, course marks, laying order, what is to be bought, where saved bricks go and which joints open
        at the back are those of the work still to be done; templets and timber stay as they were, and
        quantities, which need the record, are left to whoever has it. Refusals say when the last brick will
        no longer fit, notes from which course on a correction comes too late and where to go on. A refused
        plan has no laying order.

    Raises
    ------
    PlanError
        When a mark names a ring or course that is not to be laid.
    """
    done = replan_rings(plan.rings, marks)
    changed = {m.ring for m in marks}
    rings = [r for r in done.rings if r.ring in changed]
    soffit = soffit_of(plan.shape, done.rings)
    profile = Profile(soffit, crown_station_mm(plan.shape, soffit), plan.centring.rib)
    kept = (m for m in plan.centring.marks if m.what != "mark" or m.ring not in changed)
    centring = replace(plan.centring, marks=(*kept, *course_marks(profile, rings)))
    saved_before = warnings_after_laying(plan.rings, plan.warnings, plan.rings)
    warned_before = (*_warned(plan.rings), *saved_before)
    told_before = (*laying_notes(plan.rings), *saved_brick_notes(plan.rings), *purchase_notes(plan.rings))
    before = {s for r in plan.rings if r.ring in changed for s in r.closing_refusals}
    refusals = (*(s for s in plan.refusals if s not in before), *done.refusals)
    laying = () if refusals else order_laying(done.rings, centring, plan.shape)
    return replace(
        plan,
        rings=done.rings,
        centring=centring,
        laying=laying,
        refusals=refusals,
        warnings=(
            *(warning for warning in plan.warnings if warning not in warned_before),
            *_warned(done.rings),
            *warnings_after_laying(plan.rings, plan.warnings, done.rings),
            *done.warnings,
        ),
        notes=(
            *(note for note in plan.notes if note not in told_before),
            *done.notes,
            *saved_brick_notes(done.rings),
            *purchase_notes(done.rings),
            *(() if refusals else laying_notes(done.rings)),
            *filter(None, [where_to_go_on(done.rings, laying)]),
        ),
    )


def _warned(rings: Iterable[RingPlan]) -> tuple[str, ...]:
    """What rings alone tell of the work still to be done."""
    rings = tuple(rings)
    return (*(w for ring in rings for w in back_joint_warnings(ring)), *alignment_warnings(rings))
