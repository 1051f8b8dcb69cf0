"""From site coordinates to the face of the wall: x right, y up, w towards the viewer."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from survey.record import arch_file
from survey.record.arch_file import ArchFile
from survey.record.face import (
    Trace,
    fit_trace,
    in_frame,
    on_face,
    plane_frame,
    reference_mm,
    upright_frame,
)
from survey.record.findings import Findings
from survey.record.model import FaceFrame, Floats, SurveyPoints
from survey.record.points_file import SCHEMA, SitePoints
from survey.record.sides import runs_against

_FLATNESS = 0.1
"""Points further off an upright plane than this share of their spread are not a face of a wall."""


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """Points in the face frame, and the frame."""

    frame: FaceFrame
    points: SurveyPoints


def reduce_to_face(points: SitePoints, arch: ArchFile, findings: Findings) -> Reduced | None:
    """Bring points into the face; None, with a fault, where they do not determine it."""
    reference = reference_mm(points.xyz_mm)
    frame = (
        _upright(points, reference, arch, findings)
        if points.has_z
        else _plane(points, reference, arch, findings)
    )
    if frame is None:
        return None
    local = in_frame(frame, points.xyz_mm)
    return Reduced(
        frame,
        SurveyPoints(
            name=points.name,
            xy_mm=np.ascontiguousarray(local[:, :2]),
            w_mm=np.ascontiguousarray(local[:, 2]) if points.has_z else np.zeros(len(points)),
            sigma_mm=points.sigma_mm,
            feature=points.feature,
            ring=points.ring,
            course=points.course,
            edge=points.edge,
            row=points.row,
        ),
    )


def _plane(points: SitePoints, reference: Floats, arch: ArchFile, findings: Findings) -> FaceFrame:
    if arch.view is not None:
        findings.doubt(
            arch_file.FILE,
            "is not needed where points have no z",
            "x runs to the right as it is",
            column="view",
        )
    runs_against(points, points.xyz_mm[:, 0] - reference[0], None, findings, fixed=True)
    return plane_frame(reference)


def _upright(points: SitePoints, reference: Floats, arch: ArchFile, findings: Findings) -> FaceFrame | None:
    if arch.known.axis_x is not None:
        findings.fault(
            arch_file.FILE,
            "cannot be given where points have z: a site grid has no single x for the axis",
            "take it out, or measure the springing points",
            column="known.axis_x",
        )
    local = points.xyz_mm - reference
    chosen = on_face(points)
    trace = _trace(local[chosen], points.sigma_mm[chosen], findings)
    if trace is None:
        return None
    if trace.along[0] < 0.0:
        # Without any sign of left and right, the right hand is taken towards growing site x.
        trace = trace.turned_about()
    along = (local[:, :2] - trace.middle_mm) @ trace.along
    outside: float | None = None
    if arch.view is not None:
        stand = np.asarray(arch.view.outside) * arch.measure.unit.in_mm - reference[:2] - trace.middle_mm
        outside = float(stand @ np.array([trace.along[1], -trace.along[0]]))
    reverse = runs_against(points, along, outside, findings, fixed=False)
    _tell_lean(trace, findings, reverse=reverse)
    return upright_frame(trace, reference, reverse=reverse)


def _trace(local: Floats, sigma_mm: Floats, findings: Findings) -> Trace | None:
    spread = np.ptp(local, axis=0) if len(local) else np.zeros(3)
    width, height = float(np.hypot(spread[0], spread[1])), float(spread[2])
    if len(local) < 2 or width <= max(0.05 * height, 5.0 * float(np.median(sigma_mm))):
        findings.fault(
            SCHEMA.file,
            "the points on the arch stand over one spot of the plan, so the face has no direction",
            "measure both springings, or leave z blank where x and y already lie in the face",
            column="z",
        )
        return None
    trace = fit_trace(local, sigma_mm)
    if trace is None or trace.scale_mm > _FLATNESS * width:
        findings.fault(
            SCHEMA.file,
            "the points on the arch do not stand in one upright face"
            + (f": half of them are more than {trace.scale_mm / 1.4826:.0f} mm off it" if trace else ""),
            "see that z is the height, or leave z blank where x and y already lie in the face",
            column="z",
        )
        return None
    return trace


def _tell_lean(trace: Trace, findings: Findings, *, reverse: bool) -> None:
    if trace.lean_rad:
        forward = (trace.lean_rad > 0) != reverse
        findings.doubt(
            SCHEMA.file,
            f"the face leans {'forward' if forward else 'back'}"
            f" by {abs(math.degrees(trace.lean_rad)):.2f}° from plumb",
            "the arch was drawn on a plumb face; check the lean with a plumb line",
        )
