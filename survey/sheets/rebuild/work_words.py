"""The order of work in the words of the scaffold, as the laying card prints it."""

from __future__ import annotations

import math

import numpy as np

from survey.rebuild.laying.laying import CLOSING, where_to_go_on
from survey.rebuild.laying.order import KEY
from survey.rebuild.plan import RebuildPlan, RingPlan, Scope
from survey.rebuild.words import counted, listed
from survey.record.model import Record
from survey.sheets.fit.level import fall_words
from survey.sheets.kit.schedule import figure

_DRY_RING = (
    "Lay the ring dry first, from the middle outwards, with spacers. Both ends alike? Number the bricks, "
    "take down, and only then wet them."
)
_DRY_GAP = (
    "Lay the bricks of each gap dry first, with spacers, between those that stand. Number them, take down, "
    "and only then wet them."
)


def work_sentences(record: Record, plan: RebuildPlan) -> tuple[str, ...]:
    """The order of work from the check of the centre to its striking, in the words of the scaffold."""
    if plan.refusals:
        return _REFUSED_WORK
    span, rise = figure(2 * plan.shape.half_span_mm), figure(plan.shape.rise_mm)
    mortar = record.mortar.name or "as agreed, no harder than the brick"
    stops = sum(step.stop for step in plan.laying)
    begun = where_to_go_on(plan.rings, plan.laying)
    said = [begun] if begun else []
    said += [
        f"Check the centre: soffit span {span} mm, crown {rise} mm above the springing line, "
        f"{_level_said(plan)}, firm on its wedges.",
        "Mark every course on the edge of the lagging from the list, from both springings and from the "
        "crown: the marks must meet.",
    ]
    if plan.laying:
        said += [
            _DRY_GAP if plan.scope is Scope.REPAIR else _DRY_RING,
            f"Mortar: {mortar}. Bricks well wetted, beds full, spacer in every joint. "
            f"{_limits_said(record, plan)}",
            *_ring_sentences(plan),
        ]
    if stops:
        said.append(
            f"STOP {counted(stops, 'time')} (grey bricks): a second person reads the marks on both sides, "
            "the joints, the bevel and the face under a straightedge."
        )
    said += [
        "New bricks carry the year on a face that will not be seen. Write down every day what was laid and "
        "how it sat.",
        "Raise the side walls a few courses against the thrust before the arch is loaded or the centre "
        "eased.",
        "Strike only on the engineer's word: read the gauges at crown, quarters and springings, draw the "
        "wedges a little at a time, one side first and then the other.",
    ]
    return tuple(said)


_REFUSED_WORK = (
    "This plan is not to be built, for the reasons above: there is no order of laying and no mark to work "
    "to.",
    "Leave props and centre as they are. Lay no further brick and take none out until that is settled.",
    "Have the reasons looked at by whoever planned the work, and work only from a plan made anew.",
)


def _level_said(plan: RebuildPlan) -> str:
    """How the springing line of the centre must lie against the level."""
    soffit = plan.rings[0].inner
    (x1, y1), (x2, y2) = soffit.point(np.array([0.0, soffit.length_mm])).tolist()
    return fall_words((x1, y1), (x2, y2)) or "level across"


_LIMIT_NAMES = {"min": "min", "max": "max", "extrados_max": "that at the back"}
"""How a default limit is called on the scaffold, by its key in ``[joints]``."""


def _limits_said(record: Record, plan: RebuildPlan) -> str:
    """Between which limits joints stay, and which of them the record did not give.

    The limit at the back calls a joint out without forbidding it, and is told only where it is a default.
    """
    limits = [(across * r.joint_min_mm, across * r.joint_max_mm) for r, across in _across(plan)]
    low, high = figure(limits[0][0], 1), figure(limits[0][1], 1)
    chosen = plan.rings[0].default_limits
    back = figure(record.joints.extrados_max_mm, 1)
    called = f"; one over {back} mm at the back is called out" if "extrados_max" in chosen else ""
    by = ""
    if chosen:
        names = listed([_LIMIT_NAMES[key] for key in chosen])
        by = f" ({names} by default, for the record gives none: a judgement)"
    return f"No joint under {low} or over {high} mm{called}{by}."


def _across(plan: RebuildPlan) -> list[tuple[RingPlan, float]]:
    """Every ring, and the share of its joints' length along the arch that lies across the joint."""
    return [(r, math.cos(r.turn_rad) if r.sawtooth else 1.0) for r in plan.rings]


def _ring_sentences(plan: RebuildPlan) -> list[str]:
    """How plain, turned and outer rings are laid, as far as they occur."""
    laid = {step.ring for step in plan.laying}
    plain = [ring for ring in plan.rings if not ring.sawtooth and ring.ring in laid]
    turned = [ring for ring in plan.rings if ring.sawtooth and ring.ring in laid]
    said = []
    closing = any(CLOSING in step.check for step in plan.laying)
    if plain:
        both = any(step.side == KEY for step in plan.laying)
        turns = "left and right by turns, never one side more than a course ahead; " if both else ""
        said.append(
            f"Plain rings: {turns}upper edge to its mark; square on the centre's face: its arm lies fully on "
            "the upper bed. Bevel from the list."
        )
    if closing:
        said.append(
            "Gaps: one is closed before the next is begun, in the order of the list. Each goes up from its "
            "lower end; its last brick is tried dry, then pressed home between two buttered beds."
        )
    if any(step.side == KEY for step in plan.laying):
        said.append("Key: try it dry, joints as listed, butter both beds, press it down; never drive it in.")
    for ring in turned:
        turn = figure(math.degrees(ring.turn_rad))
        said.append(
            f"Ring {ring.ring}: turned bricks from the middle outwards, protractor {turn}° to the face, all "
            "joints alike, so that both ends finish alike."
        )
    if len(plan.rings) > 1:
        gauges = ", ".join(f"ring {ring.ring}: {figure(ring.depth_gauge_mm)} mm" for ring in plan.rings)
        said.append(
            f"Depth gauge from the lagging to the back ({gauges}); the rings stay parallel and in one plane."
        )
    return said
