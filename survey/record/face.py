"""The plane of the face: where it stands in the site grid, and which way is left.

Gravity stays vertical: the face's y axis is the site's z, and only the trace of the face in plan is fitted, by total
least squares. A wall that leans is told as a doubt with its angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from survey.record.model import FaceFrame, Feature, Floats
from survey.record.points_file import SitePoints

FACE_FEATURES = (Feature.INTRADOS, Feature.EXTRADOS, Feature.SPRINGING, Feature.JOINT, Feature.FACE)
"""Features taken on the face; a datum, a crack or anything else need not lie in it."""

BISQUARE = 4.685
"""Tuning of Tukey's bisquare for 95 % efficiency under normal errors (Holland and Welsch 1977; value from memory)."""

_STARTS = 200
"""Pairs of points tried for a start that stray points cannot pull: enough for a third of them astray, cheap enough."""

_STEPS = 50
"""Reweighting steps at most; a handful settles a wall face."""


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A line in plan with what the points say about the wall's lean.

    Attributes
    ----------
    middle_mm : (2,) float
        A point on it, relative to the reference the points were given by.
    along : (2,) float
        Unit direction.
    offset_mm : (n,) float
        Signed distance of every point square to it, positive to the right of ``along``.
    scale_mm : float
        Robust standard deviation of those distances.
    lean_rad, lean_sigma_rad : float
        Lean of the face, positive where its upper part comes forward to the right of ``along``.
    """

    middle_mm: Floats
    along: Floats
    offset_mm: Floats
    scale_mm: float
    lean_rad: float
    lean_sigma_rad: float


def reference_mm(xyz_mm: Floats) -> Floats:
    """Whole-millimetre point (3,) near the middle of the points, subtracted before anything else is computed."""
    return np.asarray(np.round(np.median(xyz_mm, axis=0)), dtype=float)


def on_face(points: SitePoints) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Mask (n,) of the points that define the face plane."""
    return np.isin(points.feature.astype(str), [str(feature) for feature in FACE_FEATURES])


def fit_trace(xyz_mm: Floats, sigma_mm: Floats) -> Trace | None:
    """Robust total-least-squares trace of an upright face through points (n, 3), relative to a near reference.

    Returns None when the points stand over one spot of the plan, so that no direction is determined.

    Notes
    -----
    The start is the pair of points with the least median distance of all points from its line, so that stray
    points cannot pull it; Tukey's bisquare weights then settle it. In the turned frame total least squares means
    no weighted covariance between distance along and distance off the line. Where the wall leans clearly (four
    standard uncertainties and a quarter of a degree), lean and trace are fitted together, since points missing on
    one side would otherwise let the lean turn the trace.
    """
    plan, height = xyz_mm[:, :2], xyz_mm[:, 2]
    along = _start(plan)
    if along is None:
        return None
    lean = lean_sigma = 0.0
    middle = np.median(plan, axis=0)
    weight = np.ones(len(plan))
    leaning = False
    offset, scale = np.zeros(len(plan)), 0.0
    for _ in range(_STEPS):
        across = np.array([along[1], -along[0]])
        u, w, v = (plan - middle) @ along, (plan - middle) @ across, height - height.mean()
        scale = max(
            1.4826 * float(np.median(np.abs(w - lean * v - np.median(w - lean * v)))),
            float(np.median(sigma_mm)),
        )
        weight = _bisquare((w - lean * v - np.median(w - lean * v)) / scale)
        design = np.column_stack([np.ones_like(u), u, v])
        found, spread = _weighted(design, w, weight, scale)
        lean, lean_sigma = float(found[2]), float(spread[2])
        leaning = leaning or (abs(lean) > 4.0 * lean_sigma and abs(lean) > math.radians(0.25))
        if not leaning:
            lean = 0.0
            found, _ = _weighted(design[:, :2], w, weight, scale)
        middle = middle + found[0] * across
        turned = along + found[1] * across
        along = turned / np.linalg.norm(turned)
        offset = (plan - middle) @ np.array([along[1], -along[0]])
        if abs(found[0]) < 1e-9 and abs(found[1]) < 1e-13:
            break
    return Trace(middle, along, offset, scale, math.atan(lean) if leaning else 0.0, lean_sigma)


def upright_frame(trace: Trace, reference: Floats, *, reverse: bool) -> FaceFrame:
    """Frame in site coordinates: x along the trace (or against it), y the site's z, w towards the viewer."""
    along = -trace.along if reverse else trace.along
    x_axis = np.array([along[0], along[1], 0.0])
    y_axis = np.array([0.0, 0.0, 1.0])
    origin = reference + np.array([trace.middle_mm[0], trace.middle_mm[1], 0.0])
    return FaceFrame(origin, x_axis, y_axis, np.cross(x_axis, y_axis))


def plane_frame(reference: Floats) -> FaceFrame:
    """Frame of points that already lie in the face: x right, y up, only the origin moved."""
    return FaceFrame(np.array([reference[0], reference[1], 0.0]), *np.eye(3))


def in_frame(frame: FaceFrame, xyz_mm: Floats) -> Floats:
    """Face coordinates (n, 3), x, y and w, of site points (n, 3).

    The origin is subtracted first: between near numbers that is exact, so large grids lose nothing.
    """
    return np.asarray(
        (xyz_mm - frame.origin_mm) @ np.column_stack([frame.x_axis, frame.y_axis, frame.w_axis])
    )


def _start(plan: Floats) -> Floats | None:
    n = len(plan)
    if n < 2:
        return None
    step = max(1, (n * (n - 1) // 2) // _STARTS)
    first, second = (index[::step] for index in np.triu_indices(n, 1))
    chord = plan[second] - plan[first]
    length = np.linalg.norm(chord, axis=1)
    long = length > 0.05 * max(float(np.ptp(plan, axis=0).max()), 1e-9)
    if not long.any():
        return None
    along = chord[long] / length[long, None]
    across = np.column_stack([along[:, 1], -along[:, 0]])
    off = np.abs(plan @ across.T - np.sum(plan[first[long]] * across, axis=1))
    best: Floats = along[int(np.argmin(np.median(off, axis=0)))]
    return best


def _bisquare(ratio: Floats) -> Floats:
    return np.asarray(np.where(np.abs(ratio) < BISQUARE, (1.0 - (ratio / BISQUARE) ** 2) ** 2, 0.0))


def _weighted(design: Floats, target: Floats, weight: Floats, scale: float) -> tuple[Floats, Floats]:
    """Weighted least squares and standard uncertainties, infinite for what the points leave open."""
    root = np.sqrt(weight)[:, None]
    found, *_ = np.linalg.lstsq(design * root, target * root[:, 0], rcond=1e-9)
    normal = (design * weight[:, None]).T @ design
    inverse = (
        np.linalg.pinv(normal, hermitian=True)
        if np.linalg.matrix_rank(normal) < len(normal)
        else np.linalg.inv(normal)
    )
    spread = scale * np.sqrt(np.clip(np.diag(inverse), 0.0, None))
    if np.linalg.matrix_rank(design * root) < design.shape[1]:
        spread = np.full(design.shape[1], np.inf)
    return found, spread
