"""From a record to everything the fitting room answers about it.

Method
------
Told for a surveyor at the head of :mod:`survey.fitting`; in the order of the code:

1. The intrados of ring 1, the springing points and the known dimensions are taken from the record
   (:mod:`~survey.fitting.sightings`).
2. A point's signed distance from a curve answers to the curve's numbers by minus the normal component of the
   curve's own movement, exactly (:mod:`~survey.fitting.families.profile`,
   :mod:`~survey.fitting.families.standing`); one Levenberg-Marquardt engine finds every optimum and proves it
   (:mod:`~survey.fitting.solving.engine`).
3. Points scatter by measuring errors and by the arch's own irregularity, alike within a course and fading
   along the arch (:mod:`~survey.fitting.solving.noise`); gross errors are points far from what all others say
   of them (:mod:`~survey.fitting.solving.weighing`).
4. The five families standing still, the same moved as rigid pieces of one original (kinematics in
   :mod:`~survey.fitting.mechanism.pieces`), and curves of no family are weighed by evidence
   (:mod:`~survey.fitting.choosing.hypotheses`, :mod:`~survey.fitting.solving.evidence`), all free numbers
   averaged over.
5. What is stated is the optimum under the likeliest scatter, with the covariance of the whole average
   (:mod:`~survey.fitting.choosing.candidates`, :mod:`~survey.fitting.choosing.movement`), and a verdict in
   words (:mod:`~survey.fitting.choosing.verdict`).
6. Courses are counted on the chosen curve (:mod:`~survey.fitting.counting.count`), and the unit is looked for
in the
   original's dimensions and the bricks (:mod:`~survey.fitting.module`).

The sources are named in those modules.
"""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.fitting.choosing.candidates import FinalFit, candidate_of, final_fit, mean_scatter, rms_of
from survey.fitting.choosing.hidden_spread import with_hidden_spreads
from survey.fitting.choosing.hypotheses import Ground, Weighed, weigh_hypotheses
from survey.fitting.choosing.movement import final_moved, movement_of
from survey.fitting.choosing.movement_words import hanging_told, out_of_level_told
from survey.fitting.choosing.unseen import unseen_movement, unseen_told
from survey.fitting.choosing.verdict import Compared, Odds, odds_of, verdict_of
from survey.fitting.choosing.weighed import MOVES_FROM
from survey.fitting.collars import FittedIntrados, find_collars, with_collars
from survey.fitting.counting.count import count_courses
from survey.fitting.counting.edge_readings import total_depth_mm
from survey.fitting.mechanism.hinge_choices import Depths
from survey.fitting.module import find_module, is_semicircle
from survey.fitting.options import FitOptions
from survey.fitting.result import (
    ArchFit,
    Candidate,
    CourseCount,
    Estimate,
    Module,
    Movement,
    PointFits,
    UnseenMovement,
)
from survey.fitting.sightings import Sightings, sightings_of
from survey.fitting.solving.noise import Scatter
from survey.record.model import Record

USUAL_JOINT_MM = 9.0
BRICK_SIGMA_MM = 3.0
"""How far a ring's depth, measured once, stands from the size its bricks were made to; judgement."""
SURE_COUNT = 0.9
SURE_TO_HANG = 0.9
GOOD = 0.5
"""A point of more weight than this counts as a good one."""
SET_ASIDE = 0.05
"""A point of less weight than this has no say."""


def fit_arch(record: Record, options: FitOptions | None = None) -> ArchFit:
    """Fit every family to a record and say which one the arch was set out to, and whether it moved.

    Parameters
    ----------
    record : Record
    options : FitOptions, optional

    Raises
    ------
    FitError
        The points determine no arch; the message says what is missing.

    Notes
    -----
    The method is told at the head of :mod:`survey.fitting`.
    """
    asked = FitOptions() if options is None else options
    seen = sightings_of(record)
    ring = next((r for r in record.rings if r.ring == 1), None)
    pitch = None if ring is None else ring.brick_width_mm + USUAL_JOINT_MM
    depths = _depths(record)
    weighed = weigh_hypotheses(seen, pitch, depths, asked)
    odds = odds_of(weighed)
    finals = {family: final_fit(still, weighed.ground) for family, still in weighed.stills.items()}
    if odds.has_moved < MOVES_FROM:
        finals |= with_hidden_spreads(finals, weighed)
    ground = weighed.ground
    order = _in_order(odds, finals, ground)
    chosen = asked.chosen if asked.chosen is not None and asked.chosen in finals else order[0]
    origin = finals[chosen].parameters[:2]
    candidates = {family: candidate_of(final, ground, origin) for family, final in finals.items()}
    good = np.abs(finals[order[0]].distance[ground.weight > GOOD])
    compared = Compared(order, _shapes(weighed, odds, candidates, origin), float(np.max(good, initial=0.0)))
    joint = _usual_joint(ground, 0.0 if ring is None else ring.brick_width_mm)
    verdict = verdict_of(weighed, odds, compared, joint, asked.clear_probability)
    movement = _movement(weighed, odds, candidates, origin, depths.arch_mm)
    original = candidates[chosen] if movement is None else movement.original
    looked = asked.movement and not odds.is_none
    unseen = unseen_movement(weighed) if looked and movement is None else None
    tilted = looked and movement is None and not asked.tilt and finals[chosen].still.standing.tilt
    out_of_level = out_of_level_told(finals[chosen]) if tilted else ""
    hangs_smoothly = weighed.hangs_smoothly(chosen) if looked and movement is None else 0.0
    smooth = hanging_told(chosen) if hangs_smoothly > SURE_TO_HANG else ""
    scatter = _scatter(weighed, odds, chosen, movement is not None)
    origin_face = float(origin[0] + seen.centre_mm[0]), float(origin[1] + seen.centre_mm[1])
    intrados = FittedIntrados(candidates[chosen], movement, origin_face, scatter)
    collars = find_collars(record, intrados)
    counted = with_collars(record, collars)
    courses = count_courses(counted, curve_of(candidates[chosen].shape), origin_face)
    return ArchFit(
        record_name=record.name,
        frame=record.frame.moved_to(origin_face),
        origin_mm=origin_face,
        verdict=verdict,
        chosen=chosen,
        candidates=MappingProxyType(candidates),
        points=_point_fits(record, seen, finals[chosen], ground),
        irregularity_mm=scatter.irregularity_mm,
        correlation_length_mm=scatter.correlation_mm,
        n_effective=_effective(ground, scatter),
        movement=movement,
        module=None if odds.is_none else _module(original, record, courses),
        courses=courses,
        notes=(*_notes(seen, weighed, unseen, (out_of_level, smooth)), *(c.told for c in collars if c.told)),
        unseen_movement=unseen,
        collars=collars,
        is_insisted=chosen is asked.chosen,
        hangs_smoothly=hangs_smoothly,
        springing_doubts=weighed.doubts,
    )


def _depths(record: Record) -> Depths:
    """Of ring 1 and of all rings, as far as they are recorded."""
    first = next((ring for ring in record.rings if ring.ring == 1), None)
    return Depths(0.0, 0.0) if first is None else Depths(first.depth_mm, total_depth_mm(record.rings))


def _in_order(odds: Odds, finals: dict[Family, FinalFit], ground: Ground) -> tuple[Family, ...]:
    """Families, the likeliest first; where none fits, by how near they come: odds of nonsense say nothing."""
    if not odds.is_none:
        return tuple(odds.ranked)
    near = {f: (not final.converged, rms_of(final.distance, ground)) for f, final in finals.items()}
    return tuple(sorted(near, key=lambda family: near[family]))


def _shapes(
    weighed: Weighed, odds: Odds, candidates: dict[Family, Candidate], origin: Floats
) -> dict[Family, ArchShape]:
    """Shapes to tell apart: of a family that has moved its original, else its candidate."""
    shapes = {family: candidate.shape for family, candidate in candidates.items()}
    for family, fit in weighed.moved.items():
        if odds.moves(family):
            shapes[family] = fit.moved.shape(fit.parameters, origin_mm=origin)
    return shapes


def _usual_joint(ground: Ground, brick_mm: float) -> float:
    """Usual joint from the courses' spacing, or the common one where that tells nothing."""
    step_mm = ground.nodes.step_mm
    left = float(np.median(step_mm)) - brick_mm if brick_mm > 0 and len(step_mm) else 0.0
    return left if 2.0 < left < 30.0 else USUAL_JOINT_MM


def _movement(
    weighed: Weighed, odds: Odds, candidates: dict[Family, Candidate], origin: Floats, depth_mm: float
) -> Movement | None:
    if odds.is_none or odds.has_moved < MOVES_FROM:
        return None
    family = max(odds.moved, key=lambda f: odds.moved[f])
    final = final_moved(weighed.moved[family], weighed.ground, depth_mm)
    before = min(candidate.rms_mm for candidate in candidates.values())
    return movement_of(final, weighed.ground, origin, odds.has_moved, before)


def _scatter(weighed: Weighed, odds: Odds, chosen: Family, moved: bool) -> Scatter:
    """What the likeliest hypothesis says of irregularity and its correlation."""
    ground = weighed.ground
    if odds.is_none:
        return mean_scatter(ground.bends, ground.grid.scatters)
    if moved:
        family = max(odds.moved, key=lambda f: odds.moved[f])
        fit = weighed.moved[family]
        return mean_scatter(np.logaddexp.reduce(fit.posterior.log_weight, axis=(0, 1, 3)), fit.scatters)
    return mean_scatter(
        np.logaddexp.reduce(weighed.stills[chosen].log_evidence, axis=0), ground.grid.scatters
    )


def _effective(ground: Ground, scatter: Scatter) -> float:
    """How many independent points tell as much of the mean: 1' Sigma^-1 1 times a point's own variance."""
    metric = ground.whitener_of(scatter)
    ones = np.ones((len(ground.weight), 1))
    own = scatter.irregularity_mm**2 + np.average(
        (scatter.sigma_factor * ground.sightings.sigma_mm) ** 2, weights=ground.weight
    )
    return float(np.sum(metric.apply(ones)) * own)


def _point_fits(record: Record, seen: Sightings, final: FinalFit, ground: Ground) -> PointFits:
    return PointFits(
        index=seen.index,
        name=tuple(record.points.name[i] for i in seen.index),
        station_mm=final.still.standing.stations(final.parameters),
        deviation_mm=final.distance,
        weight=ground.weight,
        set_aside=ground.weight < SET_ASIDE,
    )


def _module(candidate: Candidate, record: Record, courses: tuple[CourseCount, ...]) -> Module | None:
    """The unit the curve was set out in, and the bricks; the curve's lengths are those of its shape."""
    shape: ArchShape = candidate.shape
    figures = candidate.figures
    sigma = [2 * figures["half_span_mm"].sigma]
    if not is_semicircle(shape):
        radii = [figures[f"radius_{k + 1}_mm"].sigma for k in range(len(shape.radii_mm))]
        sigma += [figures["rise_mm"].sigma, *radii]
    bricks = _brick_lengths(figures["length_mm"], record, courses)
    return find_module(shape, np.array(sigma), other_lengths=bricks, constructed=bool(candidate.construction))


def _brick_lengths(
    length: Estimate, record: Record, courses: tuple[CourseCount, ...]
) -> tuple[Estimate, ...]:
    """The brick module of ring 1: its depth, and four courses with their joints where the count is sure."""
    ring = next((r for r in record.rings if r.ring == 1), None)
    if ring is None:
        return ()
    found = [Estimate(ring.depth_mm, BRICK_SIGMA_MM)]
    count = next((c for c in courses if c.ring == 1), None)
    if count is not None and count.probability.get(count.count, 0.0) >= SURE_COUNT:
        four = 4.0 / count.count
        # A whole number of courses must fill the arch: the pitch gives way by up to half a course in all.
        rounding = four * length.value / count.count / np.sqrt(12.0)
        found.append(Estimate(four * length.value, float(np.hypot(four * length.sigma, rounding))))
    return tuple(found)


def _notes(
    seen: Sightings, weighed: Weighed, unseen: UnseenMovement | None, of_shape: tuple[str, ...]
) -> tuple[str, ...]:
    """What the fit cannot know, in sentences."""
    failed = [
        f"No {family.value.replace('_', '-')} curve could be fitted: {why}."
        for family, why in weighed.failed.items()
    ]
    small = [] if unseen is None else [unseen_told(unseen)]
    return (*seen.notes, *failed, *weighed.doubts, *filter(None, of_shape), *small)
