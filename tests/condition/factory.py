"""Small records and fits built by hand, exact to the last digit, for the tests of condition and counting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Curve, Floats
from survey.curves.shape import ArchShape, Family
from survey.fitting.counting.count import count_courses
from survey.fitting.families.builds import BUILDS
from survey.fitting.result import ArchFit, Candidate, Estimate, Movement, PointFits, Verdict
from survey.record.model import (
    UNKNOWN,
    CourseNote,
    Edge,
    FaceFrame,
    Feature,
    Record,
    Ring,
    SurveyPoints,
    Tolerances,
)

BOTH = (Edge.LEFT, Edge.RIGHT)


@dataclass(frozen=True, slots=True, eq=False)
class LaidRing:
    """A ring laid on the curve: bricks of one width, joints alike, and what was surveyed of it.

    ``deviation_mm`` moves whole courses along the normal, ``bed_tilt_rad`` leans their beds towards the
    right springing, ``w_mm`` puts them before the face; all by course number. ``surveyed`` is None for all
    courses.
    """

    n_courses: int
    width_mm: float = 50.0
    ring: int = 1
    depth_mm: float = 240.0
    collar_mm: float = 0.0
    surveyed: Sequence[int] | None = None
    edges: Sequence[Edge] = BOTH
    surfaces: Sequence[Feature] = (Feature.INTRADOS,)
    deviation_mm: Mapping[int, float] = field(default_factory=dict)
    bed_tilt_rad: Mapping[int, float] = field(default_factory=dict)
    w_mm: Mapping[int, float] = field(default_factory=dict)
    label: Mapping[int, int] = field(default_factory=dict)
    """Number written for a course; UNKNOWN leaves it out."""
    edge_noted: bool = True
    recorded: int | None = None
    cut: str = "uncut"
    along_mm: Floats | None = None
    """Left edges along the ring's inner curve, if the joints are not alike."""

    def as_ring(self) -> Ring:
        """Its table in arch.toml."""
        return Ring(
            self.ring, self.recorded, self.depth_mm, self.width_mm, cut=self.cut, collar_mm=self.collar_mm
        )


def left_edges_mm(length_mm: float, laid: LaidRing) -> Floats:
    """Left edges along the ring's inner curve: N bricks and N + 1 joints alike."""
    if laid.along_mm is not None:
        return np.asarray(laid.along_mm)
    joint = (length_mm - laid.n_courses * laid.width_mm) / (laid.n_courses + 1)
    return joint + np.arange(laid.n_courses) * (laid.width_mm + joint)


def offset_of(rings: Sequence[LaidRing], ring: LaidRing) -> float:
    """Distance of the ring's inner curve from the intrados."""
    inside = [r for r in rings if r.ring < ring.ring]
    return sum(r.depth_mm for r in inside) + sum(r.collar_mm for r in [*inside, ring] if r.ring > 1)


def _points_of(curve: Curve, offset: float, laid: LaidRing) -> list[tuple[Feature, int, Edge, Floats, float]]:
    inner = curve.offset(offset)
    left = left_edges_mm(inner.length_mm, laid)
    rows: list[tuple[Feature, int, Edge, Floats, float]] = []
    for number in laid.surveyed if laid.surveyed is not None else range(1, laid.n_courses + 1):
        place = {Edge.LEFT: left[number - 1], Edge.RIGHT: left[number - 1] + laid.width_mm}
        place[Edge.MID] = left[number - 1] + laid.width_mm / 2
        for edge in laid.edges:
            out, towards = inner.normal(place[edge]), inner.tangent(place[edge])
            foot = inner.point(place[edge]) + laid.deviation_mm.get(number, 0.0) * out
            tilt = laid.bed_tilt_rad.get(number, 0.0)
            back = foot + laid.depth_mm * (np.cos(tilt) * out + np.sin(tilt) * towards)
            for surface in laid.surfaces:
                xy = foot if surface is Feature.INTRADOS else back
                rows.append((surface, number, edge, xy, laid.w_mm.get(number, 0.0)))
    return rows


def record_of(
    shape: ArchShape,
    rings: Sequence[LaidRing],
    *,
    sigma_mm: float = 1.0,
    notes: Sequence[CourseNote] = (),
    has_depth: bool = True,
    springings: bool = True,
    noise_seed: int | None = None,
    tolerances: Tolerances | None = None,
) -> Record:
    """A record of rings on a shape; exact unless ``noise_seed`` is given, then with noise of ``sigma_mm``."""
    curve = curve_of(shape)
    rows: list[tuple[Feature, int, int, Edge, Floats, float]] = []
    for laid in rings:
        for feature, number, edge, xy, w in _points_of(curve, offset_of(rings, laid), laid):
            noted = edge if laid.edge_noted else Edge.UNKNOWN
            rows.append((feature, laid.ring, laid.label.get(number, number), noted, xy, w))
    if springings:
        ends = curve.point([0.0, curve.length_mm])
        rows += [(Feature.SPRINGING, 1, UNKNOWN, e, xy, 0.0) for e, xy in zip(BOTH, ends, strict=True)]
    xy = np.array([r[4] for r in rows]).reshape(-1, 2)
    if noise_seed is not None:
        xy = xy + np.random.default_rng(noise_seed).normal(0, sigma_mm, xy.shape)
    points = SurveyPoints(
        name=tuple(f"P{i + 1}" for i in range(len(rows))),
        xy_mm=xy,
        w_mm=np.array([r[5] for r in rows]),
        sigma_mm=np.full(len(rows), sigma_mm),
        feature=_objects([r[0] for r in rows]),
        ring=np.array([r[1] for r in rows], dtype=np.int64),
        course=np.array([r[2] for r in rows], dtype=np.int64),
        edge=_objects([r[3] for r in rows]),
        row=np.arange(2, len(rows) + 2),
    )
    return Record(
        folder=Path("by hand"),
        name="Laid by hand",
        place="",
        recorded_on="",
        recorded_by="",
        note="",
        unit="mm",
        point_sigma_mm=sigma_mm,
        has_depth=has_depth,
        frame=FaceFrame(np.zeros(3), *np.eye(3)[[0, 2, 1]] * [[1], [1], [-1]]),
        points=points,
        rings=tuple(r.as_ring() for r in rings),
        courses=tuple(notes),
        tolerances=Tolerances() if tolerances is None else tolerances,
    )


def _objects(values: Sequence[object]) -> np.ndarray:
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return array


def fit_of(
    record: Record,
    shape: ArchShape,
    *,
    sigma_mm: float = 0.5,
    irregularity_mm: float = 1.0,
    correlation_length_mm: float = 150.0,
    movement: Movement | None = None,
) -> ArchFit:
    """The fit that found the shape exactly, every parameter known to ``sigma_mm`` by itself."""
    origin = (shape.axis_x_mm, shape.springing_y_mm)
    arch = replace(shape, axis_x_mm=0.0, springing_y_mm=0.0)
    names = ("axis_x_mm", "springing_y_mm", *BUILDS[shape.family].numbers)
    scale = np.array([1e-3 if n.endswith("_rad") else 1.0 for n in names])
    candidate = Candidate(
        family=shape.family,
        shape=arch,
        parameters=names,
        covariance=np.diag((scale * sigma_mm) ** 2),
        figures={
            "half_span_mm": Estimate(arch.half_span_mm, sigma_mm),
            "rise_mm": Estimate(arch.rise_mm, sigma_mm),
            "tilt_rad": Estimate(0.0, 0.0),
        },
        rms_mm=1.0,
        converged=True,
    )
    n = len(record.points)
    return ArchFit(
        record_name=record.name,
        frame=record.frame.moved_to(origin),
        origin_mm=origin,
        verdict=Verdict(shape.family, True, {shape.family: 1.0}, "laid so", 0.0),
        chosen=shape.family,
        candidates={shape.family: candidate},
        points=PointFits(
            np.arange(n), record.points.name, np.zeros(n), np.zeros(n), np.ones(n), np.zeros(n, dtype=bool)
        ),
        irregularity_mm=irregularity_mm,
        correlation_length_mm=correlation_length_mm,
        n_effective=float(n),
        movement=movement,
        module=None,
        courses=count_courses(record, curve_of(arch), origin),
    )


def note(ring: int, course: int, **values: object) -> CourseNote:
    """One row of courses.csv; what is not given is blank."""
    from survey.record.model import Condition

    blank: dict[str, object] = {
        "width_mm": None,
        "depth_mm": None,
        "joint_mm": None,
        "condition": Condition.UNKNOWN,
        "reuse": None,
        "note": "",
        "row": course + 2,
    }
    return CourseNote(ring=ring, course=course, **{**blank, **values})  # type: ignore[arg-type]


FAMILIES = tuple(Family)
