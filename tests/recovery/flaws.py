"""What can be wrong with an arch beside its irregularity: flaws of known place and size, put into records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from recovery.simulated import SimulatedArch, random_gaps, random_spec, simulate

from survey.condition.result import Pattern
from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.curves.shape import ArchShape
from survey.record.model import Feature, Record

FIRST_SEED = 70_000
NEAR_COURSES = 2
"""A single course counts as found when it is named within so many courses of where it is."""
LEAST_OVERLAP = 0.5
"""A run counts as found when what it has in common with the run named is this share of both together."""
FACE_SIGMA_MM = 1.5
"""Of readings before the face, where a flaw of the face needs them."""
SAG_SHARE, LEAST_SAG_MM = 0.008, 12.0
TILT_SHARE, LEAST_TILT_MM = 0.012, 20.0


class Flaw(StrEnum):
    """One thing wrong, in the words of the table."""

    DROPPED = "one course dropped by 12 mm"
    PATCH = "a patch of 8 courses 12 mm off the curve"
    SLIGHT_PATCH = "a patch of 8 courses 8 mm off the curve"
    JOINTS = "10 courses laid with joints 4 mm wider or narrower"
    LOT = "10 courses of bricks 4 mm wider or narrower, their joints the other way"
    SAG = "a crown hanging smoothly by 0.8 % of the span, at least 12 mm"
    TWIST = "a face twisted by 8 mm either way"
    UNLEVEL = "springings at unequal levels by 1.2 % of the span, at least 20 mm"


LEANING = "a face that only leans, by 10 mm over the rise"
"""Put into sound arches, to see that it is not called a twist."""
NAMES = {
    Flaw.DROPPED: {"dropped course"},
    Flaw.PATCH: {"repair patch"},
    Flaw.SLIGHT_PATCH: {"repair patch"},
    Flaw.JOINTS: {"change of rhythm"},
    Flaw.LOT: {"repair patch", "change of rhythm"},
    Flaw.SAG: {"smooth sag"},
    Flaw.TWIST: {"twisted face"},
    Flaw.UNLEVEL: {"unequal springings"},
}
LENGTH = {Flaw.DROPPED: 1, Flaw.PATCH: 8, Flaw.SLIGHT_PATCH: 8, Flaw.JOINTS: 10, Flaw.LOT: 10}
STEP_MM = {Flaw.DROPPED: 12.0, Flaw.PATCH: 12.0, Flaw.SLIGHT_PATCH: 8.0, Flaw.JOINTS: 4.0, Flaw.LOT: 4.0}


@dataclass(frozen=True, slots=True, eq=False)
class Flawed:
    """A record with a flaw from ``first`` to ``last``; 0 for a flaw of the whole arch."""

    record: Record
    names: frozenset[str]
    first: int = 0
    last: int = 0

    def is_told_by(self, pattern: Pattern) -> bool:
        """Whether a pattern names this flaw where it is."""
        if pattern.name not in self.names:
            return False
        if self.first == self.last:
            return self.first == 0 or abs(pattern.first_course - self.first) <= NEAR_COURSES
        common = min(pattern.last_course, self.last) - max(pattern.first_course, self.first) + 1
        both = max(pattern.last_course, self.last) - min(pattern.first_course, self.first) + 1
        return common >= LEAST_OVERLAP * both


def still_arch(seed: int, *, gaps: bool = True) -> SimulatedArch:
    """An arch that has not moved, its count left out of the record."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    spec = random_spec(rng)
    missing = random_gaps(rng, spec.n_courses) if gaps else ()
    return simulate(replace(spec, gaps=missing, counted=False, movement=None), seed)


def true_curve(arch: SimulatedArch) -> tuple[Curve, tuple[float, float]]:
    """The curve the arch was laid to, in its own frame, and that frame's origin."""
    shape: ArchShape = replace(arch.shape, axis_x_mm=0.0, springing_y_mm=0.0)
    return curve_of(shape), (arch.shape.axis_x_mm, arch.shape.springing_y_mm)


def flawed(arch: SimulatedArch, flaw: Flaw, seed: int) -> Flawed:
    """The arch's record with a flaw put in."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    if flaw in LENGTH:
        step = STEP_MM[flaw] * (-1.0 if flaw is Flaw.DROPPED else float(rng.choice([-1, 1])))
        return _WAYS[flaw](arch, LENGTH[flaw], step, rng, frozenset(NAMES[flaw]))
    record = {Flaw.SAG: _sagging, Flaw.TWIST: _twisted, Flaw.UNLEVEL: _unlevel}[flaw](arch, seed)
    return Flawed(record, frozenset(NAMES[flaw]))


def patched(arch: SimulatedArch, length: int, step_mm: float, seed: int) -> Flawed:
    """A patch of so many courses so far off the curve."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    return _off_the_curve(arch, length, step_mm, rng, frozenset({"repair patch"}))


def dropped(arch: SimulatedArch, step_mm: float, seed: int) -> Flawed:
    """One course off its place by so much, inwards where that is negative."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    return _off_the_curve(arch, 1, step_mm, rng, frozenset({"dropped course", "recessed course"}))


def relaid(arch: SimulatedArch, length: int, step_mm: float, seed: int) -> Flawed:
    """So many courses of bricks wider by so much about their middles."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    return _another_lot(arch, length, step_mm, rng, frozenset(NAMES[Flaw.LOT]))


def sagging(arch: SimulatedArch, ratio: float) -> Flawed:
    """A sag so many times the usual one."""
    curve, origin = true_curve(arch)
    share = curve.locate(arch.record.points.xy_mm - origin).station_mm / curve.length_mm
    record = _pushed(arch, -ratio * sag_mm(arch, share), 0.0 * share)
    return Flawed(record, frozenset(NAMES[Flaw.SAG]))


def rejointed(arch: SimulatedArch, length: int, step_mm: float, seed: int) -> Flawed:
    """So many courses laid with other joints."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    return _other_joints(arch, length, step_mm, rng, frozenset({"change of rhythm"}))


def _first_of(arch: SimulatedArch, length: int, rng: np.random.Generator) -> int:
    """Where a run of standing courses may begin, two from the springings or further."""
    points = arch.record.points
    standing = np.unique(points.course[points.on(Feature.INTRADOS) & (points.ring == 1)])
    starts = [c for c in standing[2 : -length - 2] if np.isin(np.arange(c, c + length), standing).all()]
    return int(rng.choice(starts))


def _off_the_curve(
    arch: SimulatedArch, length: int, step: float, rng: np.random.Generator, names: frozenset[str]
) -> Flawed:
    first = _first_of(arch, length, rng)
    points = arch.record.points
    off = np.where((points.course >= first) & (points.course < first + length), step, 0.0)
    return Flawed(_pushed(arch, off * (points.ring == 1), 0.0 * off), names, first, first + length - 1)


def _other_joints(
    arch: SimulatedArch, length: int, step: float, rng: np.random.Generator, names: frozenset[str]
) -> Flawed:
    """Joints after the courses of a run wider; all others give up as much, so that the arch still closes."""
    first = _first_of(arch, length, rng)
    wider = np.zeros(arch.n_courses + 1)
    wider[first : first + length] = step
    wider -= wider.sum() / len(wider)
    slid = np.concatenate([[0.0], np.cumsum(wider)[:-1]])
    points = arch.record.points
    along = np.where(points.course >= 1, slid[np.clip(points.course, 1, arch.n_courses)], 0.0)
    return Flawed(_pushed(arch, 0.0 * along, along * (points.ring == 1)), names, first, first + length - 1)


def _another_lot(
    arch: SimulatedArch, length: int, step: float, rng: np.random.Generator, names: frozenset[str]
) -> Flawed:
    first = _first_of(arch, length, rng)
    points = arch.record.points
    inside = (points.course >= first) & (points.course < first + length) & (points.ring == 1)
    side = np.array([{"left": -0.5, "right": 0.5}.get(str(edge), 0.0) for edge in points.edge])
    along = np.where(inside, step * side, 0.0)
    return Flawed(_pushed(arch, 0.0 * along, along), names, first, first + length - 1)


_WAYS: dict[Flaw, Callable[..., Flawed]] = {
    Flaw.DROPPED: _off_the_curve,
    Flaw.PATCH: _off_the_curve,
    Flaw.SLIGHT_PATCH: _off_the_curve,
    Flaw.JOINTS: _other_joints,
    Flaw.LOT: _another_lot,
}


def _pushed(arch: SimulatedArch, out_mm: Floats, along_mm: Floats) -> Record:
    """The record with its points moved along the true curve's normal and along the curve."""
    points = arch.record.points
    curve, origin = true_curve(arch)
    moved = np.flatnonzero((out_mm != 0.0) | (along_mm != 0.0))
    located = curve.locate(points.xy_mm[moved] - origin)
    station = located.station_mm + along_mm[moved]
    off = located.distance_mm + out_mm[moved]
    xy = points.xy_mm.copy()
    xy[moved] = origin + curve.point(station) + off[:, None] * curve.normal(station)
    return replace(arch.record, points=replace(points, xy_mm=xy))


def _sagging(arch: SimulatedArch, seed: int) -> Record:
    """The middle half of the arch hanging by a raised cosine, tangent to the curve at both its ends."""
    del seed
    return sagging(arch, 1.0).record


def sag_mm(arch: SimulatedArch, share: Floats) -> Floats:
    """How far the sagging soffit (n,) hangs at shares of its length (n,)."""
    size = max(SAG_SHARE * arch.shape.span_mm, LEAST_SAG_MM)
    raised = 0.5 * (1 + np.cos(4 * np.pi * (share - 0.5)))
    return np.where(np.abs(share - 0.5) < 0.25, size * raised, 0.0)


def _with_face(arch: SimulatedArch, seed: int, shape_mm: Callable[[Floats, Floats], Floats]) -> Record:
    """The record with readings before the face: a form of place across and up, as shares of the half span."""
    rng = np.random.default_rng(FIRST_SEED + seed)
    points = arch.record.points
    x, y = ((points.xy_mm - true_curve(arch)[1]) / arch.shape.half_span_mm).T
    w = shape_mm(x, y) + rng.normal(0, FACE_SIGMA_MM, len(x))
    return replace(arch.record, has_depth=True, points=replace(points, w_mm=w))


def _twisted(arch: SimulatedArch, seed: int) -> Record:
    rise = arch.shape.rise_mm / arch.shape.half_span_mm

    def twist(x: Floats, y: Floats) -> Floats:
        return np.asarray(16.0 * x * (y / rise - 0.5))

    return _with_face(arch, seed, twist)


def leaning(arch: SimulatedArch, seed: int) -> Record:
    """A sound arch in a wall that leans and runs a little askew to the face plane."""
    rise = arch.shape.rise_mm / arch.shape.half_span_mm
    return _with_face(arch, seed, lambda x, y: np.asarray(10.0 * y / rise + 4.0 * x))


def _unlevel(arch: SimulatedArch, seed: int) -> Record:
    """The same arch set out on a springing line out of level."""
    shape = arch.spec.shape
    way = float(np.random.default_rng(FIRST_SEED + seed).choice([-1, 1]))
    drop = way * max(TILT_SHARE * shape.span_mm, LEAST_TILT_MM)
    tilted = replace(shape, tilt_rad=float(np.arcsin(drop / shape.span_mm)))
    return simulate(replace(arch.spec, shape=tilted, mirrored=False), seed).record
