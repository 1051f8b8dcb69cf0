"""Records and fits made by hand, so that a plan can be tested without surveying or fitting anything."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.curves.shape import ArchShape
from survey.fitting.result import ArchFit, Candidate, CourseCount, GapCount, Movement, PointFits, Verdict
from survey.rebuild.rhythm.rings import ring_lines
from survey.record.model import (
    Condition,
    CourseNote,
    Edge,
    FaceFrame,
    Feature,
    JointLimits,
    LaidMark,
    Record,
    Ring,
    SalvagedBrick,
    SurveyPoints,
)

WIDE_LIMITS = JointLimits(3.0, 20.0, 60.0)


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """Stations (N,) of the edges of a ring as it was built."""

    left_mm: Floats
    right_mm: Floats
    length_mm: float

    @property
    def joints_mm(self) -> Floats:
        return np.append(self.left_mm, self.length_mm) - np.concatenate([[0.0], self.right_mm])

    @property
    def widths_mm(self) -> Floats:
        return self.right_mm - self.left_mm


def lay(length_mm: float, widths_mm: Floats, joints_mm: Floats) -> Laid:
    """A ring of given widths and joints, the joints scaled so that they close on the length."""
    joints = joints_mm * (length_mm - widths_mm.sum()) / joints_mm.sum()
    right = np.cumsum(joints[:-1] + widths_mm)
    return Laid(right - widths_mm, right, length_mm)


def frame() -> FaceFrame:
    return FaceFrame(np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), np.array([0, -1.0, 0]))


def edge_survey(
    curve: Curve,
    laid: Laid,
    *,
    ring: int = 1,
    there: np.ndarray | None = None,
    off_mm: Floats | None = None,
    sigma_mm: float = 1.0,
    noise: np.random.Generator | None = None,
) -> SurveyPoints:
    """Left and right edges of the courses that are there, each course off the curve by ``off_mm``."""
    n = laid.left_mm.size
    there = np.ones(n, bool) if there is None else there
    off = np.zeros(n) if off_mm is None else off_mm
    stations = np.column_stack([laid.left_mm, laid.right_mm])[there].ravel()
    xy = curve.point(stations) + np.repeat(off[there], 2)[:, None] * curve.normal(stations)
    if noise is not None:
        xy = xy + noise.normal(0.0, sigma_mm, xy.shape)
    m = stations.size
    feature, edge = np.empty(m, object), np.empty(m, object)
    feature[:] = Feature.INTRADOS
    edge[:] = [Edge.LEFT, Edge.RIGHT] * (m // 2)
    course = np.repeat(np.arange(1, n + 1)[there], 2)
    return SurveyPoints(
        tuple(f"R{ring}C{c}{e[0]}" for c, e in zip(course, edge, strict=True)),
        xy,
        np.zeros(m),
        np.full(m, sigma_mm),
        feature,
        np.full(m, ring),
        course,
        edge,
        np.arange(2, m + 2),
    )


def joined(*parts: SurveyPoints) -> SurveyPoints:
    """Several surveys as one."""
    if not parts:
        return SurveyPoints(
            (), np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(0, object),
            np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, object), np.zeros(0, np.int64),
        )  # fmt: skip
    names = tuple(n for p in parts for n in p.name)
    fields = ("xy_mm", "w_mm", "sigma_mm", "feature", "ring", "course", "edge", "row")
    return SurveyPoints(names, *(np.concatenate([getattr(p, f) for p in parts]) for f in fields))


def ring(number: int = 1, courses: int | None = 43, **given: object) -> Ring:
    """A ring of 240 x 50 mm bricks unless told otherwise."""
    return Ring(**{"ring": number, "courses": courses, "depth_mm": 240.0, "brick_width_mm": 50.0, **given})


def note(course: int, *, ring: int = 1, **given: object) -> CourseNote:
    """One row of courses.csv."""
    blank = {
        "width_mm": None,
        "depth_mm": None,
        "joint_mm": None,
        "condition": Condition.UNKNOWN,
        "reuse": None,
        "note": "",
        "row": course + 2,
    }
    return CourseNote(**{"ring": ring, "course": course, **blank, **given})


def notes_from(laid: Laid, *, ring: int = 1, missing: tuple[int, ...] = ()) -> tuple[CourseNote, ...]:
    """courses.csv of a ring read without error; missing courses have no width, nor the joints beside them."""
    n, joints = laid.left_mm.size, laid.joints_mm
    rows = [note(0, ring=ring, joint_mm=float(joints[0]))]
    for c in range(1, n + 1):
        if c in missing:
            rows.append(note(c, ring=ring, condition=Condition.MISSING))
            continue
        joint = None if c + 1 in missing else float(joints[c])
        rows.append(
            note(
                c, ring=ring, width_mm=float(laid.widths_mm[c - 1]), joint_mm=joint, condition=Condition.SOUND
            )
        )
    return tuple(rows)


def record(
    rings: tuple[Ring, ...],
    *,
    points: SurveyPoints | None = None,
    courses: tuple[CourseNote, ...] = (),
    salvage: tuple[SalvagedBrick, ...] = (),
    laid: tuple[LaidMark, ...] = (),
    joints: JointLimits = WIDE_LIMITS,
) -> Record:
    """A record whose face frame is the arch frame."""
    return Record(
        folder=Path("made by hand"),
        name="Test arch",
        place="",
        recorded_on="",
        recorded_by="",
        note="",
        unit="mm",
        point_sigma_mm=1.0,
        has_depth=False,
        frame=frame(),
        points=joined() if points is None else points,
        rings=rings,
        courses=courses,
        salvage=salvage,
        laid=laid,
        joints=joints,
    )


def fit(
    shape: ArchShape,
    record: Record,
    *,
    others: tuple[ArchShape, ...] = (),
    movement: Movement | None = None,
    gaps: tuple[GapCount, ...] = (),
) -> ArchFit:
    """A fit that knows the shape exactly."""

    def candidate(s: ArchShape) -> Candidate:
        return Candidate(s.family, s, (), np.zeros((0, 0)), {}, 0.0, converged=True)

    candidates = {s.family: candidate(s) for s in (shape, *others)}
    none = np.zeros(0)
    points = PointFits(np.zeros(0, np.int64), (), none, none, none, np.zeros(0, bool))
    counts = tuple(
        CourseCount(r.ring, r.courses, True, {r.courses: 1.0}, gaps if r.ring == 1 else ())
        for r in record.rings
        if r.courses is not None
    )
    return ArchFit(
        record.name,
        frame(),
        (0.0, 0.0),
        Verdict(shape.family, True, {shape.family: 1.0}, "made so", 0.0),
        shape.family,
        candidates,
        points,
        irregularity_mm=1.0,
        correlation_length_mm=150.0,
        n_effective=30.0,
        movement=movement,
        module=None,
        courses=counts,
    )


def lines_of(shape: ArchShape, rings: tuple[Ring, ...]) -> tuple[Curve, ...]:
    """Inner curves of all rings."""
    return tuple(line.inner for line in ring_lines(curve_of(shape), rings))
