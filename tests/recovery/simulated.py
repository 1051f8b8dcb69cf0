"""Simulated arches of known truth, as records the fitting room reads.

An arch is laid course by course on its original curve, every course a little off it (an Ornstein-Uhlenbeck
process along the stations), moved as rigid pieces about hinges if it is to have moved, and surveyed with
measurement noise and gross errors. The same specification and seed give the same arch.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np
from recovery.specs import (
    ArchSpec,
    Other,
    Rhythm,
    TrueMovement,
    random_gaps,
    random_movement,
    random_shape,
    random_spec,
)

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape
from survey.record.model import UNKNOWN, Edge, FaceFrame, Feature, Record, Ring, SurveyPoints

__all__ = [
    "ArchSpec",
    "Other",
    "Rhythm",
    "SimulatedArch",
    "TrueMovement",
    "random_gaps",
    "random_movement",
    "random_shape",
    "random_spec",
    "simulate",
]


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedArch:
    """A record and the truth behind it. The truth's shapes and pieces are in the record's face frame.

    Attributes
    ----------
    shape : ArchShape
        The original curve in the face frame (before it moved).
    movement : TrueMovement or None
        As it stands in the record: hinges at joints, mirrored where the record is.
    left_mm, right_mm : (N,) float
        True stations of every course's edges on the original intrados, the missing ones included.
    crown_hinge_mm : float
        Station of the crown hinge (NaN for a still arch).
    piece_rotation_rad : (k,) float, piece_shift_mm : (k, 2) float, piece_start_mm : (k,) float
        The rigid pieces from left to right: a point p of the original lies at ``R(rotation) p + shift`` in
        the face frame, from its starting station on.
    deviation_mm : (n,) float
        True departure of each surveyed point from the moved original along the normal, before measuring.
    gross : (n,) bool
        Which points carry a gross error.
    """

    spec: ArchSpec
    record: Record
    shape: ArchShape
    movement: TrueMovement | None
    left_mm: Floats
    right_mm: Floats
    crown_hinge_mm: float
    piece_start_mm: Floats
    piece_rotation_rad: Floats
    piece_shift_mm: Floats
    deviation_mm: Floats
    gross: np.ndarray

    @property
    def n_courses(self) -> int:
        """True number of courses of ring 1."""
        return len(self.left_mm)

    @property
    def joints_mm(self) -> Floats:
        """True joints (N + 1,), from the one at the left springing to the one at the right."""
        length = curve_of(self.shape).length_mm if self.spec.other is None else np.nan
        return np.append(self.left_mm, length) - np.concatenate([[0.0], self.right_mm])


class Line(Protocol):
    """What the simulation needs of a curve."""

    @property
    def length_mm(self) -> float: ...

    def point(self, station_mm: Floats) -> Floats: ...

    def normal(self, station_mm: Floats) -> Floats: ...


class DenseLine:
    """A curve given by many points, walked by arc length; the curves of no family are made of it."""

    def __init__(self, xy_mm: Floats) -> None:
        self._xy = xy_mm
        self._s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy_mm, axis=0).T))])

    @property
    def length_mm(self) -> float:
        return float(self._s[-1])

    def point(self, station_mm: Floats) -> Floats:
        return np.column_stack([np.interp(station_mm, self._s, self._xy[:, k]) for k in (0, 1)])

    def normal(self, station_mm: Floats) -> Floats:
        step = self.length_mm * 1e-4
        s = np.clip(np.asarray(station_mm), step, self.length_mm - step)
        along = self.point(s + step) - self.point(s - step)
        out = np.column_stack([-along[:, 1], along[:, 0]])
        return out / np.hypot(*out.T)[:, None]


def simulate(spec: ArchSpec, seed: int) -> SimulatedArch:
    """Build and survey one arch.

    Parameters
    ----------
    spec : ArchSpec
    seed : int
        Seed of everything random about it.
    """
    rng = np.random.default_rng(seed)
    curve = _curve(spec, rng)
    left, right = _courses(spec, curve.length_mm, rng)
    points = _survey(spec, curve, left, right, rng)
    starts, turns, shifts, hinges = _pieces(spec, curve, left, right)
    piece = np.searchsorted(starts[1:], points.station, side="right")
    xy = _rotate(points.xy, turns[piece]) + shifts[piece]
    gross = (rng.random(len(xy)) < spec.gross_ratio) & (points.feature != Feature.SPRINGING)
    angle = rng.uniform(0, 2 * np.pi, len(xy))
    size = np.where(gross, rng.uniform(12.0, 60.0, len(xy)), 0.0)
    xy = xy + size[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    xy = xy + rng.normal(0, spec.point_sigma_mm, xy.shape)
    arch = SimulatedArch(
        spec=spec,
        record=_record(spec, points, xy, rng),
        shape=spec.shape,
        movement=_as_hinged(spec.movement, hinges / curve.length_mm),
        left_mm=left,
        right_mm=right,
        crown_hinge_mm=float(hinges[1]),
        piece_start_mm=starts,
        piece_rotation_rad=turns,
        piece_shift_mm=shifts,
        deviation_mm=points.deviation,
        gross=gross,
    )
    return _seen_from_its_middle(_mirror(arch, curve.length_mm) if spec.mirrored else arch)


@dataclass(frozen=True, slots=True, eq=False)
class _Taken:
    """Points before they moved and were measured."""

    xy: Floats
    station: Floats
    deviation: Floats
    feature: np.ndarray
    ring: np.ndarray
    course: np.ndarray
    edge: np.ndarray


def _curve(spec: ArchSpec, rng: np.random.Generator) -> Line:
    shape = spec.shape
    half, rise = shape.half_span_mm, shape.rise_mm
    place = np.array([shape.axis_x_mm, shape.springing_y_mm])
    if spec.other is None:
        return curve_of(shape)
    if spec.other is Other.PARABOLIC:
        x = np.linspace(-half, half, 4001)
        return DenseLine(np.column_stack([x, rise * (1 - (x / half) ** 2)]) + place)
    if spec.other is Other.POINTED:
        radius = half * rng.uniform(1.25, 2.0)
        rise_angle = np.arccos((radius - half) / radius)
        t = np.linspace(0, rise_angle, 2001)
        flank = np.column_stack([half - radius + radius * np.cos(t), radius * np.sin(t)])
        return DenseLine(np.vstack([flank * [-1, 1], flank[-2::-1]]) + place)
    true = curve_of(shape)
    s = np.linspace(0, true.length_mm, 4001)
    size = 2 * half * rng.uniform(0.012, 0.03)
    phase, waves = rng.uniform(0, 2 * np.pi, 2), rng.uniform(1.2, 3.5, 2)
    turn = 2 * np.pi * s / s[-1]
    sag = size * (np.sin(waves[0] * turn + phase[0]) + 0.6 * np.sin(waves[1] * turn + phase[1]))
    return DenseLine(true.point(s) + true.normal(s) * sag[:, None])


def _courses(spec: ArchSpec, length_mm: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """True stations (N,) of the left and right edges: bricks and N + 1 joints fill the curve exactly."""
    n = spec.n_courses
    along = np.linspace(-1, 1, n + 1)
    brick = np.ones(n)
    joint = np.ones(n + 1)
    if spec.rhythm is Rhythm.TIGHTENING:
        joint = 0.65 + 0.7 * np.abs(along)
    elif spec.rhythm is Rhythm.ALTERNATING:
        brick = np.where(np.arange(n) % 2 == 0, 1.06, 0.94)
    elif spec.rhythm is Rhythm.MIXED:
        brick = rng.choice([0.9, 1.0, 1.08], n)
    pitch = length_mm / n
    brick = brick * pitch * (1 - spec.joint_ratio) + rng.normal(0, 0.8, n)
    joint = joint * pitch * spec.joint_ratio * np.exp(rng.normal(0, 0.12, n + 1))
    joint *= (length_mm - brick.sum()) / joint.sum()
    right = np.cumsum(joint[:-1] + brick)
    return right - brick, right


def _ornstein_uhlenbeck(station: Floats, sd: float, length: float, rng: np.random.Generator) -> Floats:
    value = np.empty(len(station))
    value[0] = rng.normal()
    for k, keep in enumerate(np.exp(-np.diff(station) / length), start=1):
        value[k] = keep * value[k - 1] + np.sqrt(1 - keep**2) * rng.normal()
    return sd * value


def _survey(spec: ArchSpec, curve: Line, left: Floats, right: Floats, rng: np.random.Generator) -> _Taken:
    n = spec.n_courses
    length = curve.length_mm
    middle = (left + right) / 2
    stations = np.concatenate([[0.0], middle, [length]])
    off = _ornstein_uhlenbeck(stations, spec.irregularity_mm, spec.correlation_courses * length / n, rng)
    there = np.ones(n, dtype=bool)
    for first, last in spec.gaps:
        there[first - 1 : last] = False
    number = np.arange(1, n + 1)[there]
    parts: list[_Taken] = []

    def add(
        xy: Floats, s: Floats, dev: Floats, feature: Feature, ring: int, course: np.ndarray, edge: list[Edge]
    ) -> None:
        labels = np.empty(len(s), dtype=object)
        labels[:] = edge
        kind = np.empty(len(s), dtype=object)
        kind[:] = feature
        parts.append(_Taken(xy, s, dev, kind, np.full(len(s), ring), course, labels))

    if spec.springings:
        ends = np.array([0.0, length])
        dev = off[[0, -1]]
        xy = curve.point(ends) + dev[:, None] * curve.normal(ends)
        add(xy, ends, dev, Feature.SPRINGING, 1, np.full(2, UNKNOWN), [Edge.LEFT, Edge.RIGHT])
    s = np.column_stack([left[there], right[there]]).ravel()
    dev = np.repeat(off[1:-1][there], 2)
    xy = curve.point(s) + dev[:, None] * curve.normal(s)
    sides = [Edge.LEFT, Edge.RIGHT] * len(number)
    add(xy, s, dev, Feature.INTRADOS, 1, np.repeat(number, 2), sides)
    if spec.extrados:
        mid = middle[there]
        out = curve.normal(mid)
        back = curve.point(mid) + (spec.depth_mm + off[1:-1][there])[:, None] * out
        half = (right - left)[there][:, None] / 2 * np.column_stack([out[:, 1], -out[:, 0]])
        xy = np.stack([back - half, back + half], axis=1).reshape(-1, 2)
        add(xy, np.repeat(mid, 2), dev, Feature.EXTRADOS, 1, np.repeat(number, 2), sides)
    for ring in range(2, spec.n_rings + 1):
        out_mm = (ring - 1) * (spec.depth_mm + 10.0)
        fine = np.linspace(0, length, 20001)
        outer = DenseLine(curve.point(fine) + out_mm * curve.normal(fine))
        n_outer = round(outer.length_mm / (length / n))
        edges = (np.arange(n_outer)[:, None] + [0.08, 0.92]).ravel() * outer.length_mm / n_outer
        alike = spec.correlation_courses * length / n
        wob = np.repeat(_ornstein_uhlenbeck(edges[::2], spec.irregularity_mm, alike, rng), 2)
        add(
            outer.point(edges) + wob[:, None] * outer.normal(edges),
            np.interp(edges, outer._s, fine),
            wob,
            Feature.INTRADOS,
            ring,
            np.repeat(np.arange(1, n_outer + 1), 2),
            [Edge.LEFT, Edge.RIGHT] * n_outer,
        )
    return _Taken(*(np.concatenate([getattr(p, f) for p in parts]) for f in _Taken.__slots__))


def _rotate(xy: Floats, angle: Floats) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.column_stack([c * xy[:, 0] - s * xy[:, 1], s * xy[:, 0] + c * xy[:, 1]])


def _pieces(
    spec: ArchSpec, curve: Line, left: Floats, right: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Starting stations, rotations and shifts of the rigid pieces, and the stations of the three hinges."""
    if spec.movement is None:
        return np.zeros(1), np.zeros(1), np.zeros((1, 2)), np.full(3, np.nan)
    m, length = spec.movement, curve.length_mm
    joints = np.concatenate([[0.0], (right[:-1] + left[1:]) / 2, [length]])
    wanted = length * np.array([m.left_hinge_ratio, m.crown_hinge_ratio, 1 - m.right_hinge_ratio])
    # A ring opens at a joint: each hinge goes to the nearest one.
    at = joints[np.argmin(np.abs(joints[:, None] - wanted), axis=0)]
    hinge = curve.point(at)
    if m.crown_hinge_at_back:
        hinge[1] += spec.depth_mm * curve.normal(at[1:2])[0]
    if m.lower_hinges_at_back:
        hinge[[0, 2]] += spec.depth_mm * curve.normal(at[[0, 2]])
    push = np.array([[-m.spread_mm / 2, m.settlement_mm / 2], [m.spread_mm / 2, -m.settlement_mm / 2]])
    foot = hinge[[0, 2]] + push
    arms = np.hypot(*(hinge[[0, 2]] - hinge[1]).T)
    base = foot[1] - foot[0]
    wide = np.hypot(*base)
    along = (arms[0] ** 2 - arms[1] ** 2 + wide**2) / (2 * wide)
    high = np.sqrt(arms[0] ** 2 - along**2)
    crown = foot[0] + along * base / wide + high * np.array([-base[1], base[0]]) / wide
    turn = []
    for k, end in ((0, foot[0]), (2, foot[1])):
        was, now = hinge[1] - hinge[k], crown - end
        turn.append(np.arctan2(now[1], now[0]) - np.arctan2(was[1], was[0]))
    turns = np.array([0.0, turn[0], (turn[1] + np.pi) % (2 * np.pi) - np.pi, 0.0])
    pivot = hinge[[0, 0, 2, 2]]
    shifts = foot[[0, 0, 1, 1]] - _rotate(pivot, turns)
    return np.array([-np.inf, *at]), turns, shifts, at


def _as_hinged(movement: TrueMovement | None, share: Floats) -> TrueMovement | None:
    if movement is None:
        return None
    left, crown, right = (float(x) for x in share)
    return replace(movement, left_hinge_ratio=left, crown_hinge_ratio=crown, right_hinge_ratio=1 - right)


def _record(spec: ArchSpec, points: _Taken, xy: Floats, rng: np.random.Generator) -> Record:
    n = len(xy)
    course = points.course if spec.numbered else np.full(n, UNKNOWN)
    angle = float(rng.uniform(0, 2 * np.pi)) if spec.site_grid else 0.0
    origin = np.array([4.5e8, 2.1e8, 1.0e5]) if spec.site_grid else np.zeros(3)
    x_axis = np.array([np.cos(angle), np.sin(angle), 0.0])
    y_axis = np.array([0.0, 0.0, 1.0])
    survey = SurveyPoints(
        name=tuple(f"P{k + 1}" for k in range(n)),
        xy_mm=xy,
        w_mm=rng.normal(0, 1.5, n) if spec.site_grid else np.zeros(n),
        sigma_mm=np.full(n, spec.point_sigma_mm),
        feature=points.feature,
        ring=points.ring.astype(np.int64),
        course=course.astype(np.int64),
        edge=points.edge,
        row=np.arange(2, n + 2),
    )
    pitch = float(np.median(np.diff(points.station[points.feature == Feature.INTRADOS])[::2]))
    rings = tuple(
        Ring(
            ring=k,
            courses=spec.n_courses if spec.counted and k == 1 else None,
            depth_mm=spec.depth_mm,
            brick_width_mm=round(pitch),
            collar_mm=10.0 if k > 1 else 0.0,
        )
        for k in range(1, spec.n_rings + 1)
    )
    return Record(
        folder=Path("simulated"),
        name="Simulated arch",
        place="",
        recorded_on="",
        recorded_by="",
        note="",
        unit="mm",
        point_sigma_mm=spec.point_sigma_mm,
        has_depth=spec.site_grid,
        frame=FaceFrame(origin, x_axis, y_axis, np.cross(x_axis, y_axis)),
        points=survey,
        rings=rings,
    )


def _mirror(arch: SimulatedArch, length_mm: float) -> SimulatedArch:
    """The same arch drawn from the other side: left and right, and all that hangs on them, change places."""
    points = arch.record.points
    n_of_ring = {
        k: int(points.course[points.ring == k].max(initial=0)) for k in range(1, arch.spec.n_rings + 1)
    }
    n_of_ring[1] = arch.n_courses
    known = points.course != UNKNOWN
    count = np.array([n_of_ring[int(k)] for k in points.ring])
    swap = {Edge.LEFT: Edge.RIGHT, Edge.RIGHT: Edge.LEFT, Edge.MID: Edge.MID, Edge.UNKNOWN: Edge.UNKNOWN}
    edge = np.empty(len(points), dtype=object)
    edge[:] = [swap[e] for e in points.edge]
    mirrored = replace(
        points,
        xy_mm=points.xy_mm * [-1, 1],
        course=np.where(known, count + 1 - points.course, UNKNOWN),
        edge=edge,
    )
    m = arch.movement
    starts = arch.piece_start_mm
    return replace(
        arch,
        record=replace(arch.record, points=mirrored),
        shape=replace(arch.shape, axis_x_mm=-arch.shape.axis_x_mm, tilt_rad=-arch.shape.tilt_rad),
        movement=None
        if m is None
        else replace(
            m,
            settlement_mm=-m.settlement_mm,
            crown_hinge_ratio=1 - m.crown_hinge_ratio,
            left_hinge_ratio=m.right_hinge_ratio,
            right_hinge_ratio=m.left_hinge_ratio,
        ),
        left_mm=length_mm - arch.right_mm[::-1],
        right_mm=length_mm - arch.left_mm[::-1],
        crown_hinge_mm=length_mm - arch.crown_hinge_mm,
        piece_start_mm=np.concatenate([[-np.inf], length_mm - starts[:0:-1]]) if len(starts) > 1 else starts,
        piece_rotation_rad=-arch.piece_rotation_rad[::-1],
        piece_shift_mm=arch.piece_shift_mm[::-1] * [-1, 1],
    )


def _seen_from_its_middle(arch: SimulatedArch) -> SimulatedArch:
    """Move the face frame's origin near the middle of the points, as a reader of records does."""
    record, shape = arch.record, arch.shape
    middle = np.round(record.points.xy_mm.mean(axis=0))
    turned = _rotate(np.repeat(middle[None], len(arch.piece_rotation_rad), axis=0), arch.piece_rotation_rad)
    return replace(
        arch,
        record=replace(
            record,
            frame=record.frame.moved_to(middle),
            points=replace(record.points, xy_mm=record.points.xy_mm - middle),
        ),
        shape=replace(
            shape, axis_x_mm=shape.axis_x_mm - middle[0], springing_y_mm=shape.springing_y_mm - middle[1]
        ),
        piece_shift_mm=arch.piece_shift_mm + turned - middle,
    )
