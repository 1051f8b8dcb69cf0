"""A small arch put together by hand, so that the sheets are tested apart from the rooms before them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from survey.condition.result import CourseDeviation, DeviationMap, WorstCourse
from survey.curves import ArchShape, curve_of, elliptical
from survey.curves.protocol import Curve
from survey.fitting.families.builds import BUILDS
from survey.fitting.result import (
    ArchFit,
    Candidate,
    CourseCount,
    Estimate,
    PointFits,
    Verdict,
)
from survey.rebuild.plan import (
    Brick,
    BrickKind,
    CentringMark,
    CentringPlan,
    LayingStep,
    Quantity,
    RebuildPlan,
    RingPlan,
    Scope,
    Templet,
)
from survey.record.model import (
    Condition,
    CourseNote,
    Edge,
    FaceFrame,
    Feature,
    Laid,
    Record,
    Ring,
    SurveyPoints,
    Tolerances,
)

CAUTIONS = (
    "This plan is drawn from measurements; it is not a structural design. An engineer checks arch and props.",
    "Prop the arch before anyone goes under it, measures it or cuts out a brick.",
    "Do not ease or strike the centring until the engineer agrees; lower evenly and watch the gauges.",
    "Brick dust holds silica that ruins lungs: cut wet, with extraction, in a fitted respirator.",
    "Lime burns eyes and skin: goggles, gloves, clean water at hand.",
    "Work from a platform with guard rails, not from a ladder.",
    "Before a printed template is used, measure its 100 mm check bar and one measured span on the print.",
)


@dataclass(frozen=True)
class Handmade:
    """Everything the sheets are drawn from."""

    record: Record
    fit: ArchFit
    map_: DeviationMap
    plan: RebuildPlan


@dataclass(frozen=True)
class RingSpec:
    """Depth, brick width, course count and laying of one ring."""

    depth_mm: float
    width_mm: float
    count: int
    sawtooth: bool = False


RINGS = (RingSpec(240.0, 52.0, 43), RingSpec(75.0, 92.0, 29, sawtooth=True), RingSpec(240.0, 52.0, 54))


def handmade(
    shape: ArchShape | None = None,
    *,
    rings: tuple[RingSpec, ...] = RINGS,
    missing: range = range(9, 15),
    name: str = "North cellar door",
    refusals: tuple[str, ...] = (),
) -> Handmade:
    """An arch of even bricks and joints with a run of courses missing in its first ring."""
    shape = elliptical(2200.0, 720.0) if shape is None else shape
    curve = curve_of(shape)
    plans, off = [], 0.0
    for number, spec in enumerate(rings, start=1):
        inner = curve if off == 0.0 else curve.offset(off)
        plans.append(_ring(number, spec, inner, curve.offset(off + spec.depth_mm), missing))
        off += spec.depth_mm
    record = _record(name, rings, missing)
    fit = _fit(record, shape, plans)
    plan = _plan(shape, curve, tuple(plans), refusals)
    return Handmade(record, fit, _map(shape, curve, plans[0], missing), plan)


def _ring(number: int, spec: RingSpec, inner: Curve, outer: Curve, missing: range) -> RingPlan:
    joint = (inner.length_mm - spec.count * spec.width_mm) / (spec.count + 1)
    assert joint > 0.0, (number, joint)
    starts = joint + np.arange(spec.count) * (spec.width_mm + joint)
    ends = starts + spec.width_mm
    low, high = inner.point(starts), inner.point(ends)
    middle = inner.normal((starts + ends) / 2)
    bricks = []
    for k in range(spec.count):
        kind, source = BrickKind.IN_SITU, "original"
        if number == 1 and k + 1 in missing:
            kind, source = BrickKind.BRICK, "S3" if k + 1 == missing.start else "new"
        elif spec.sawtooth:
            kind = BrickKind.SAWTOOTH
        up = middle[k] * spec.depth_mm
        corners = np.array([low[k], high[k], high[k] + up, low[k] + up])
        bricks.append(
            Brick(
                ring=number,
                course=k + 1,
                kind=kind,
                source=source,
                width_intrados_mm=spec.width_mm,
                width_extrados_mm=spec.width_mm,
                depth_mm=spec.depth_mm,
                joint_after_intrados_mm=joint,
                joint_after_extrados_mm=joint * 1.4,
                station_start_mm=float(starts[k]),
                station_end_mm=float(ends[k]),
                from_crown_mm=float((starts[k] + ends[k]) / 2 - inner.length_mm / 2),
                bed_angle_rad=float(math.atan2(middle[k][1], abs(middle[k][0]))),
                templet="A",
                corners_mm=corners,
            )
        )
    return RingPlan(
        ring=number,
        count=spec.count,
        counted=True,
        inner=inner,
        outer=outer,
        depth_mm=spec.depth_mm,
        sawtooth=spec.sawtooth,
        turn_rad=math.pi / 4 if spec.sawtooth else 0.0,
        bricks=tuple(bricks),
        springing_joint_intrados_mm=joint,
        springing_joint_extrados_mm=joint * 1.4,
        joint_min_mm=3.2,
        joint_max_mm=19.05,
        closure_mm=0.0,
        original_widths_mm=np.full(spec.count, spec.width_mm),
        original_joints_mm=np.full(spec.count + 1, joint),
        recorded_joints=(True,) * (spec.count + 1),
        depth_gauge_mm=spec.depth_mm,
    )


def _record(name: str, rings: tuple[RingSpec, ...], missing: range) -> Record:
    frame = FaceFrame(np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), np.array([0, -1.0, 0]))
    points = SurveyPoints(
        ("P1",),
        np.array([[0.0, 720.0]]),
        np.zeros(1),
        np.array([2.0]),
        np.array([Feature.INTRADOS], dtype=object),
        np.array([1]),
        np.array([-1]),
        np.array([Edge.UNKNOWN], dtype=object),
        np.array([2]),
    )
    notes = tuple(CourseNote(1, c, None, None, None, Condition.MISSING, None, "", c + 1) for c in missing)
    return Record(
        folder=Path("record"),
        name=name,
        place="Old brewery, yard side",
        recorded_on="2026-05-04",
        recorded_by="A. Mason",
        note="",
        unit="mm",
        point_sigma_mm=2.0,
        has_depth=False,
        frame=frame,
        points=points,
        rings=tuple(
            Ring(k, s.count, s.depth_mm, s.width_mm, Laid.SAWTOOTH if s.sawtooth else Laid.RADIAL)
            for k, s in enumerate(rings, start=1)
        ),
        courses=notes,
    )


def _fit(record: Record, shape: ArchShape, plans: list[RingPlan]) -> ArchFit:
    figures = {
        "half_span_mm": Estimate(shape.half_span_mm, 0.8),
        "rise_mm": Estimate(shape.rise_mm, 0.9),
        "springing_y_mm": Estimate(0.0, 0.7),
        "axis_x_mm": Estimate(0.0, 0.6),
    }
    for k, radius in enumerate(shape.radii_mm, start=1):
        figures[f"radius_{k}_mm"] = Estimate(radius, 4.0)
    names = BUILDS[shape.family].numbers
    candidate = Candidate(shape.family, shape, names, 1e-4 * np.eye(len(names)), figures, 1.9, True)
    verdict = Verdict(shape.family, True, {shape.family: 1.0}, "the points leave no other curve", 3.2)
    points = PointFits(
        np.array([0]), ("P1",), np.array([100.0]), np.array([0.4]), np.ones(1), np.array([False])
    )
    return ArchFit(
        record_name=record.name,
        frame=record.frame,
        origin_mm=(0.0, 0.0),
        verdict=verdict,
        chosen=shape.family,
        candidates={shape.family: candidate},
        points=points,
        irregularity_mm=1.5,
        correlation_length_mm=200.0,
        n_effective=30.0,
        movement=None,
        module=None,
        courses=tuple(CourseCount(p.ring, p.count, True, {p.count: 1.0}) for p in plans),
    )


def _map(shape: ArchShape, curve: Curve, ring: RingPlan, missing: range) -> DeviationMap:
    courses = []
    for brick in ring.bricks:
        middle = (brick.station_start_mm + brick.station_end_mm) / 2
        x, y = curve.point(middle)
        gone = brick.course in missing
        courses.append(
            CourseDeviation(
                ring=1,
                course=brick.course,
                station_mm=middle,
                x_mm=float(x),
                y_mm=float(y),
                deviation_mm=math.nan if gone else 4.0 * math.sin(brick.course / 5.0),
                deviation_sigma_mm=2.0,
                face_offset_mm=math.nan,
                width_mm=brick.width_intrados_mm,
                joint_mm=brick.joint_after_intrados_mm,
                joint_tilt_rad=0.0,
                lip_mm=0.0,
                condition=Condition.MISSING if gone else Condition.SOUND,
                flag="missing" if gone else "",
                start_mm=brick.station_start_mm,
                end_mm=brick.station_end_mm,
                inferred=gone,
            )
        )
    worst = (WorstCourse(1, 8, "soffit low", "6 mm into the opening", "check the bed before propping"),)
    return DeviationMap(shape, tuple(courses), (), worst, Tolerances(), None)


def _plan(
    shape: ArchShape, curve: Curve, rings: tuple[RingPlan, ...], refusals: tuple[str, ...]
) -> RebuildPlan:
    rib = curve.offset(-20.0)
    marks = []
    for brick in rings[0].bricks:
        for station in (brick.station_start_mm, brick.station_end_mm):
            x, y = curve.point(station)
            left = curve.point(0.0)
            marks.append(
                CentringMark(
                    what="mark",
                    ring=1,
                    course=brick.course,
                    x_mm=float(x),
                    soffit_y_mm=float(y),
                    rib_y_mm=float(y) - 20.0,
                    along_left_mm=station,
                    along_right_mm=curve.length_mm - station,
                    along_crown_mm=station - curve.length_mm / 2,
                    chord_left_mm=float(np.hypot(x - left[0], y - left[1])),
                )
            )
    centring = CentringPlan(
        rib=rib,
        lagging_mm=20.0,
        slack_mm=5.0,
        marks=tuple(marks),
        boards=(),
        n_ribs=2,
        n_lagging=40,
        lagging_length_mm=300.0,
        wedge_travel_mm=25.0,
        n_wedge_pairs=3,
        n_props=3,
        waste_ratio=0.1,
        setting_out=("Fix two pins at the foci.", "Run the pencil in a string as long as the span."),
    )
    laying = tuple(
        LayingStep(k, 1, brick.course, "left", brick.station_start_mm, brick.from_crown_mm, 0.02, 9.0, 9.0,
                   240.0, "square on the upper bed", False)
        for k, brick in enumerate(rings[0].bricks, start=1)
    )  # fmt: skip
    return RebuildPlan(
        scope=Scope.REPAIR,
        choice="surveyed",
        shape=shape,
        rings=rings,
        templets=(Templet("A", 6, 52.0, 52.0, 240.0, ((1, 9),), 0.0, 0.0, False),),
        centring=centring,
        laying=laying,
        quantities=(Quantity("new bricks", 5.0, "pieces", 0.03, 6.0, "three spare"),),
        refusals=refusals,
        warnings=("Course 12 takes a joint of 4 mm.",),
        cautions=CAUTIONS,
    )
