"""The plane of the face: where it stands in the site grid.

Gravity stays vertical: the face's y axis is the site's z, and only the trace of the face in plan is fitted,
by total least squares. A wall that leans is told as a doubt with its angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.record.model import FaceFrame, Feature, Floats
from survey.record.points_file import SitePoints

FACE_FEATURES = (Feature.INTRADOS, Feature.EXTRADOS, Feature.SPRINGING, Feature.JOINT, Feature.FACE)
"""Features taken on the face; a datum, a crack or anything else need not lie in it."""

BISQUARE = 4.685
"""Tuning of Tukey's bisquare for 95 % efficiency under normal errors (common practice, value from memory)."""

_STARTS = 200
"""Pairs of points tried for a start: with a third of the points astray some 90 pairs are still good."""

_STEPS = 50
"""Reweighting steps at most; a handful settles a wall face."""

LEAST_LEAN_RAD = math.radians(0.25)
"""Less lean is not told: 4 mm over the height of a metre, the irregularity of old walls."""


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A line in plan with what the points say about the wall's lean.

    Attributes
    ----------
    middle_mm : (2,) float
        A point on it, relative to the reference the points were given by.
    along : (2,) float
        Unit direction.
    scale_mm : float
        Robust standard deviation of the points' distances square to it.
    lean_rad, lean_sigma_rad : float
        Lean of the face, positive where its upper part comes forward to the right of ``along``.
    """

    middle_mm: Floats
    along: Floats
    scale_mm: float
    lean_rad: float
    lean_sigma_rad: float

    def turned_about(self) -> Trace:
        """The same line run the other way."""
        return replace(self, along=-self.along, lean_rad=-self.lean_rad)


def reference_mm(xyz_mm: Floats) -> Floats:
    """Whole-millimetre point (3,) near the middle of the points, subtracted before all else is computed."""
    return np.asarray(np.round(np.median(xyz_mm, axis=0)), dtype=float)


def on_face(points: SitePoints) -> NDArray[np.bool_]:
    """Mask (n,) of the points that define the face plane."""
    return np.array([feature in FACE_FEATURES for feature in points.feature], dtype=bool)


def fit_trace(xyz_mm: Floats, sigma_mm: Floats) -> Trace | None:
    """Robust total-least-squares trace of an upright face.

    Parameters
    ----------
    xyz_mm : (n, 3) float
        Points on the face relative to a near reference.
    sigma_mm : (n,) float

    Returns
    -------
    Trace or None
        None when the points stand over one spot of the plan, so that no direction is determined.

    Notes
    -----
    The start is the pair of points with the least median distance of all points from its line, so that stray
    points cannot pull it; Tukey's bisquare weights then settle it. In the turned frame, total least squares
    means no weighted covariance between distance along and distance off the line. Where the wall leans
    clearly (by four standard uncertainties and :data:`LEAST_LEAN_RAD`), lean and trace are fitted together,
    since points missing on one side would otherwise let the lean turn the trace.
    """
    along = _start(xyz_mm[:, :2])
    if along is None:
        return None
    leaning = _settled(xyz_mm, sigma_mm, along, with_lean=True)
    if abs(leaning.lean_rad) > max(4.0 * leaning.lean_sigma_rad, LEAST_LEAN_RAD):
        return leaning
    return replace(_settled(xyz_mm, sigma_mm, along, with_lean=False), lean_rad=0.0)


def upright_frame(trace: Trace, reference: Floats, *, reverse: bool) -> FaceFrame:
    """Frame in site coordinates: x along the trace (or against it), y the site's z, w towards the viewer."""
    along = -trace.along if reverse else trace.along
    # Adding 0 keeps a minus sign off zero components.
    x_axis = np.array([along[0], along[1], 0.0])
    y_axis = np.array([0.0, 0.0, 1.0])
    origin = reference + np.array([trace.middle_mm[0], trace.middle_mm[1], 0.0])
    return FaceFrame(origin, x_axis, y_axis, np.cross(x_axis, y_axis) + 0.0)


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
    """Direction of the pair of points whose line has the least median distance from all points."""
    n = len(plan)
    if n < 2:
        return None
    random = np.random.default_rng(n)  # the same points always give the same start
    pairs = np.triu_indices(n, 1) if n <= 20 else tuple(random.integers(0, n, (2, _STARTS)))
    first, second = pairs
    chord = plan[second] - plan[first]
    length = np.linalg.norm(chord, axis=1)
    low, high = np.quantile(plan, [0.1, 0.9], axis=0)
    long = length > max(0.1 * float((high - low).max()), 1e-9)
    if not long.any():
        return None
    along = chord[long] / length[long, None]
    across = np.column_stack([along[:, 1], -along[:, 0]])
    off = np.abs(plan @ across.T - np.sum(plan[first[long]] * across, axis=1))
    best: Floats = along[int(np.argmin(np.median(off, axis=0)))]
    return best


def _settled(xyz_mm: Floats, sigma_mm: Floats, along: Floats, *, with_lean: bool) -> Trace:
    """Reweight from a start until the trace stands still."""
    plan, height = xyz_mm[:, :2], xyz_mm[:, 2] - np.median(xyz_mm[:, 2])
    middle = np.median(plan, axis=0)
    lean = lean_sigma = scale = 0.0
    for _ in range(_STEPS):
        across = np.array([along[1], -along[0]])
        u, w = (plan - middle) @ along, (plan - middle) @ across
        off = w - lean * height if with_lean else w
        off = off - np.median(off)
        scale = max(1.4826 * float(np.median(np.abs(off))), float(np.median(sigma_mm)))
        weight = np.where(np.abs(off) < BISQUARE * scale, (1.0 - (off / (BISQUARE * scale)) ** 2) ** 2, 0.0)
        design = np.column_stack([np.ones_like(u), u, height] if with_lean else [np.ones_like(u), u])
        found, spread = _weighted(design, w, weight)
        if with_lean:
            lean, lean_sigma = float(found[2]), scale * float(spread[2])
        middle = middle + found[0] * across
        along = along + found[1] * across
        along = along / np.linalg.norm(along)
        if abs(found[0]) < 1e-9 and abs(found[1]) < 1e-13:
            break
    return Trace(middle, along, scale, math.atan(lean), lean_sigma)


def _weighted(design: Floats, target: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Weighted least squares, and standard uncertainties for unit scale, infinite for what is left open."""
    root = np.sqrt(weight)
    found, _, rank, _ = np.linalg.lstsq(design * root[:, None], target * root, rcond=1e-9)
    if rank < design.shape[1]:
        return np.asarray(found), np.full(design.shape[1], np.inf)
    normal = (design * weight[:, None]).T @ design
    return np.asarray(found), np.sqrt(np.diag(np.linalg.inv(normal)))
