"""Arches for the sheets of survey, fit and condition: the demo records, nasty ones, moved ones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from condition.factory import LaidRing, fit_of, note, record_of
from recovery.simulated import ArchSpec, SimulatedArch, TrueMovement, simulate
from sheets.pictures import NASTY

from survey.condition import Comparison, compare_records, map_deviations
from survey.condition.result import DeviationMap, Pattern
from survey.curves import curve_of, elliptical, segmental, semicircular, three_centred_sixty
from survey.curves.shape import ArchShape, Family
from survey.errors import Fault
from survey.fitting import fit_arch
from survey.fitting.result import (
    ArchFit,
    Candidate,
    Estimate,
    Hinge,
    Movement,
    Opens,
    Piece,
    PointFits,
    Verdict,
)
from survey.record import read_record
from survey.record.model import UNKNOWN, Condition, Edge, Feature, Record, SurveyPoints

DATASETS = Path(__file__).parents[2] / "datasets"
DEMOS = ("cellar_doorway", "cart_gateway", "loft_window")
LONG = "An endless sentence about the state of this arch which goes on and on, course after course, " * 4


@dataclass(frozen=True)
class Case:
    """One arch through the rooms before the sheets."""

    record: Record
    fit: ArchFit
    map_: DeviationMap


@lru_cache
def demo(name: str) -> Case:
    """A demo record, fitted and mapped."""
    record = read_record(DATASETS / name)
    fit = fit_arch(record)
    return Case(record, fit, map_deviations(record, fit))


def fitted_points(record: Record, fit: ArchFit) -> PointFits:
    """Every point of the innermost soffit against the shape, gross ones set aside."""
    index = np.flatnonzero(record.points.on(Feature.INTRADOS))
    located = curve_of(fit.best.shape).locate(fit.to_arch(record.points.xy_mm[index]))
    aside = np.abs(located.distance_mm) > 30.0
    names = tuple(record.points.name[i] for i in index)
    return PointFits(index, names, located.station_mm, located.distance_mm, np.where(aside, 0.0, 1.0), aside)


def case(record: Record, shape: ArchShape, movement: Movement | None = None) -> Case:
    """A record on a known shape, mapped."""
    fit = fit_of(record, shape, movement=movement)
    fit = replace(fit, points=fitted_points(record, fit))
    return Case(record, fit, map_deviations(record, fit))


def renamed(made: Case, words: str) -> Case:
    """The case with every name and note replaced by the same words."""
    points = replace(made.record.points, name=(words,) * len(made.record.points))
    record = replace(made.record, name=words, place=words, recorded_by=words, note=words, points=points)
    fit = replace(made.fit, points=replace(made.fit.points, name=(words,) * len(made.fit.points.name)))
    return Case(record, fit, made.map_)


def _failed(family: Family, like: Candidate) -> Candidate:
    return Candidate(family, like.shape, (), np.zeros((0, 0)), {}, np.nan, False, LONG)


def alone(made: Case) -> Case:
    """Only the chosen candidate converged; the others say at length why they did not."""
    best = made.fit.best
    candidates = {family: _failed(family, best) for family in Family} | {best.family: best}
    verdict = Verdict(best.family, False, {best.family: 1.0}, LONG, np.nan)
    fit = replace(made.fit, candidates=candidates, verdict=verdict, notes=(LONG,) * 30)
    return Case(made.record, fit, made.map_)


def wordy(made: Case) -> Case:
    """Sixty patterns in long sentences, and as many doubts."""
    patterns = tuple(
        Pattern("repair patch", f"{k}. {LONG}", 1, k + 1, k + 4, Estimate(5.0, 1.0), 4.0) for k in range(60)
    )
    doubts = tuple(Fault("points.csv", LONG, "measure again", row=k) for k in range(60))
    return Case(replace(made.record, doubts=doubts), made.fit, replace(made.map_, patterns=patterns))


def _rings(n_rings: int, n_courses: int, unmeasured: int) -> list[LaidRing]:
    surfaces = (Feature.INTRADOS, Feature.EXTRADOS)
    return [
        LaidRing(
            n_courses + 6 * k,
            width_mm=50.0,
            ring=k + 1,
            depth_mm=102.0,
            collar_mm=10.0 if k else 0.0,
            recorded=n_courses + 6 * k,
            surveyed=() if k + 1 == unmeasured else None,
            surfaces=surfaces[:1] if k == 0 else surfaces[1:],
            deviation_mm={c: 6.0 * np.sin(c / 7.0) for c in range(1, n_courses + 6 * k + 1)},
        )
        for k in range(n_rings)
    ]


GAP = range(30, 37)


@lru_cache
def nasty() -> dict[str, Case]:
    """Cases that try the sheets, by name."""
    many = semicircular(3000.0)
    flat = segmental(2000.0, 200.0)
    low = elliptical(2400.0, 240.0)
    small = three_centred_sixty(900.0, 300.0)
    bent = {5: 12.0, 6: 9.0, 12: -14.0, 13: 400.0, 20: -60.0}
    gap_notes = [note(1, c, condition=Condition.MISSING) for c in GAP]
    gap_notes += [note(1, 29, condition=Condition.LOOSE), note(1, 37, condition=Condition.CRACKED)]
    there = [c for c in range(1, 62) if c not in GAP]
    gapped = LaidRing(61, width_mm=38.0, recorded=61, surveyed=there, deviation_mm={8: -11.0, 50: 7.0})
    plain = case(record_of(flat, [LaidRing(33, recorded=33)], noise_seed=3, has_depth=False), flat)
    made = {
        "160 courses, five rings": case(record_of(many, _rings(5, 160, 3), noise_seed=1), many),
        "ten to one": plain,
        "low ellipse": case(record_of(low, [LaidRing(41, deviation_mm=bent)], noise_seed=2), low),
        "small, gross readings": case(
            record_of(small, [LaidRing(17, deviation_mm={4: -90.0, 9: 35.0})], noise_seed=4), small
        ),
        "gap": case(
            record_of(semicircular(1000.0), [gapped], notes=gap_notes, noise_seed=5), semicircular(1000.0)
        ),
    }
    made["nasty name"] = renamed(made["small, gross readings"], NASTY * 3)
    made["one candidate"] = alone(plain)
    made["many words"] = wordy(made["gap"])
    return made


MOVES: dict[str, tuple[ArchShape, TrueMovement]] = {
    "spread semicircle": (
        semicircular(1000.0),
        TrueMovement(spread_mm=20.0, crown_hinge_at_back=True),
    ),
    "haunch hinges, sunk": (
        semicircular(1500.0, axis_x_mm=300.0, springing_y_mm=-200.0),
        TrueMovement(28.0, 14.0, 0.43, 0.16, 0.16, crown_hinge_at_back=True),
    ),
    "spread and sunk": (semicircular(1500.0), TrueMovement(25.0, 13.0, crown_hinge_at_back=True)),
    "sunk left": (segmental(2400.0, 500.0), TrueMovement(18.0, -12.0, 0.55, crown_hinge_at_back=True)),
    "hinge on the soffit line": (elliptical(2000.0, 700.0), TrueMovement(20.0, 0.0, 0.6, 0.14, 0.0)),
    "pushed together": (semicircular(900.0), TrueMovement(spread_mm=-15.0)),
    "pushed together at the haunches": (semicircular(900.0), TrueMovement(-15.0, 0.0, 0.5, 0.15, 0.15)),
}


@lru_cache
def simulated(name: str) -> SimulatedArch:
    """One of the moves, surveyed without noise or irregularity."""
    shape, movement = MOVES[name]
    spec = ArchSpec(shape, 51, point_sigma_mm=1e-6, irregularity_mm=1e-6, gross_ratio=0.0, movement=movement)
    return simulate(spec, 7)


@lru_cache
def moved(name: str) -> Case:
    """One of the moves, its movement stated as it truly is."""
    arch = simulated(name)
    return case(arch.record, arch.shape, movement_of(arch))


def movement_of(arch: SimulatedArch) -> Movement:
    """The true movement of a simulated arch, in the arch frame that ``case`` gives it."""
    true = arch.movement
    assert true is not None
    curve = curve_of(arch.shape)
    length = curve.length_mm
    origin = np.array([arch.shape.axis_x_mm, arch.shape.springing_y_mm])
    bounds = [0.0, *np.clip(arch.piece_start_mm[1:], 0.0, length), length]
    pieces = []
    for k, (start, end) in enumerate(pairwise(bounds)):
        if end - start > 1e-9:
            turn = float(arch.piece_rotation_rad[k])
            c, s = np.cos(turn), np.sin(turn)
            shift = np.array([[c, -s], [s, c]]) @ origin + arch.piece_shift_mm[k] - origin
            pieces.append(Piece(float(start), float(end), turn, (float(shift[0]), float(shift[1]))))
    turns = np.diff(arch.piece_rotation_rad)
    names = (
        "left springing" if bounds[1] == 0.0 else "left haunch",
        "crown",
        "right springing" if bounds[3] == length else "right haunch",
    )
    hinges = []
    for at, turn, where in zip(bounds[1:4], turns, names, strict=True):
        x, y = curve.point(at) - origin
        opens = Opens.INTRADOS if turn > 0 else Opens.EXTRADOS
        station, size = Estimate(float(at), 12.0), Estimate(abs(float(turn)), 0.001)
        hinges.append(Hinge(station, opens, size, float(x), float(y), where))
    shape = replace(arch.shape, axis_x_mm=0.0, springing_y_mm=0.0)
    figures = {"half_span_mm": Estimate(shape.half_span_mm, 1.0), "rise_mm": Estimate(shape.rise_mm, 1.5)}
    original = Candidate(shape.family, shape, (), np.zeros((0, 0)), figures, 1.0, True)
    return Movement(
        original,
        Estimate(true.spread_mm, 1.5),
        Estimate(true.settlement_mm, 1.0),
        Estimate(_drop(shape, pieces), 1.2),
        tuple(hinges),
        tuple(pieces),
        0.99,
        5.0,
        1.0,
        "It moved.",
    )


def _drop(shape: ArchShape, pieces: list[Piece]) -> float:
    middle = curve_of(shape).length_mm / 2
    piece = next(p for p in pieces if p.start_mm <= middle <= p.end_mm)
    x, y = curve_of(shape).point(middle)
    s, c = np.sin(piece.rotation_rad), np.cos(piece.rotation_rad)
    return float(y - (s * x + c * y + piece.shift_mm[1]))


@dataclass(frozen=True)
class Pair:
    """One arch surveyed twice."""

    earlier: Record
    fit: ArchFit
    later: Record
    comparison: Comparison


DATUMS = np.array([[-1500.0, 0.0], [1500.0, 100.0], [-1400.0, 1800.0], [1450.0, 1700.0]])


def with_datums(record: Record) -> Record:
    """The record with four datum points D1 to D4."""
    points, n = record.points, len(DATUMS)
    new = SurveyPoints(
        tuple(f"D{k + 1}" for k in range(n)),
        DATUMS,
        np.zeros(n),
        np.full(n, 0.3),
        np.array([Feature.DATUM] * n, dtype=object),
        np.full(n, UNKNOWN),
        np.full(n, UNKNOWN),
        np.array([Edge.UNKNOWN] * n, dtype=object),
        np.arange(900, 900 + n),
    )
    joined = SurveyPoints(
        points.name + new.name,
        *(
            np.concatenate([getattr(points, field), getattr(new, field)])
            for field in ("xy_mm", "w_mm", "sigma_mm", "feature", "ring", "course", "edge", "row")
        ),
    )
    return replace(record, points=joined)


@lru_cache
def compared(name: str) -> Pair:
    """Surveys of a semicircle before and after something moved."""
    shape = semicircular(1000.0)
    moves: dict[str, dict[int, float]] = {
        "still": {},
        "slipped": {24: -6.0, 25: -9.0, 26: -9.0, 27: -5.0, 45: 4.0},
        "everything moved": {c: 8.0 * float(np.sin(c / 3.0)) for c in range(1, 52)},
        "far": {26: -300.0},
    }
    before = with_datums(record_of(shape, [LaidRing(51)], noise_seed=1, sigma_mm=0.5))
    after = with_datums(
        record_of(shape, [LaidRing(51, deviation_mm=moves[name])], noise_seed=2, sigma_mm=0.5)
    )
    fit_a, fit_b = fit_of(before, shape), fit_of(after, shape)
    return Pair(before, fit_a, after, compare_records(before, fit_a, after, fit_b))
