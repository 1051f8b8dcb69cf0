"""How the beds of standing bricks run: their corners at the soffit carried to the back of the ring."""

from __future__ import annotations

import numpy as np

from survey.curves.protocol import Curve, Floats
from survey.rebuild.repair.found_ring import FoundRing
from survey.rebuild.rhythm.readings import RULE_SIGMA_MM, notes_of
from survey.record.model import Record

DEPTH_SCATTER_MM = 2.0
"""Bricks of one make differ so much in depth (class T2 of EN 771-1 about 100 mm: value from memory)."""
LEAST_LEAN_RAD = 0.002
"""Beds of one ring lean at least so differently."""
SIGNIFICANT = 3.0
INNER_SHARE = 1.5**0.5
"""A lean is read against the inner corners, whose places add half as much variance as the outer ones'."""


def standing_corners(
    record: Record, found: FoundRing, curve: Curve, edge_mm: Floats, out_mm: Floats
) -> Floats:
    """Corners (N, 4, 2) of bricks whose edges stand over stations (N, 2), out of the soffit by (N, 2).

    Notes
    -----
    The centre line of a brick runs from the middle of its soffit face to the middle of its back. It leans
    against the normal of the soffit as the surveyed outer corners say, drawn towards no lean as far as these
    may be reading errors: with the variance T^2 of the leans of the ring and s^2 of one reading, by the share
    T^2 / (T^2 + s^2). A bed that leans by more than ``SIGNIFICANT`` of s is taken as surveyed.
    """
    clipped = np.clip(edge_mm, curve.first_station_mm, curve.last_station_mm)
    n = len(edge_mm)
    at_edges, normal = np.split(curve.normal(np.append(clipped.ravel(), clipped.mean(axis=1))), [2 * n])
    inner = curve.point(clipped.ravel()).reshape(-1, 2, 2) + out_mm[:, :, None] * at_edges.reshape(-1, 2, 2)
    tangent = np.stack([normal[:, 1], -normal[:, 0]], axis=1)
    outer, sigma = found.edges.corners_mm[:, [3, 2]], found.edges.corner_sigma_mm[:, [3, 2]]
    half = 0.5 * np.linalg.norm(inner[:, 1] - inner[:, 0], axis=1)
    widen = 0.5 * _taper(found, curve, clipped)
    side = np.array([-1.0, 1.0])
    away = outer - inner.mean(axis=1)[:, None]
    along = np.einsum("ijk,ik->ij", away, tangent) - side * (half + widen)[:, None]
    widen = widen + 0.5 * _proven(along[:, 1] - along[:, 0], np.hypot(sigma[:, 0], sigma[:, 1]))
    depth = _depth(record, found, np.einsum("ijk,ik->ij", away, normal), sigma)
    lean = _lean(_mean(along, sigma), INNER_SHARE * _mean_sigma(sigma), depth)
    axis = np.cos(lean)[:, None] * normal + np.sin(lean)[:, None] * tangent
    across = np.stack([axis[:, 1], -axis[:, 0]], axis=1)
    back = inner + (depth[:, None] * axis)[:, None] + (side * widen[:, None])[:, :, None] * across[:, None]
    return np.concatenate([inner, back[:, ::-1]], axis=1)


def _taper(found: FoundRing, curve: Curve, edge_mm: Floats) -> Floats:
    """How much wider (N,) the back of a brick is than its front: beds of cut bricks run along the joints."""
    ring = found.lines.ring
    if ring.cut != "cut":
        return np.zeros(len(edge_mm))
    joint = 0.5 * (np.append(0.0, edge_mm[:, 1]) + np.append(edge_mm[:, 0], curve.length_mm))
    normal = curve.normal(np.clip(joint, curve.first_station_mm, curve.last_station_mm))
    turn = normal[1:, 0] * normal[:-1, 1] - normal[1:, 1] * normal[:-1, 0]
    return np.asarray(ring.depth_mm * np.arcsin(turn))


def _proven(value: Floats, sigma: Floats) -> Floats:
    """Values (n,) where they are beyond chance, else 0."""
    return np.where(np.abs(value) > SIGNIFICANT * sigma, value, 0.0)


def _mean(value: Floats, sigma: Floats) -> Floats:
    """Mean (N,) of two readings (N, 2), of the one that is there, or NaN."""
    weight = np.where(np.isnan(value), 0.0, np.where(np.isnan(value), 1.0, sigma) ** -2.0)
    total = weight.sum(axis=1)
    return np.asarray((weight * np.nan_to_num(value)).sum(axis=1) / np.where(total > 0.0, total, np.nan))


def _mean_sigma(sigma: Floats) -> Floats:
    """Standard uncertainty (N,) of that mean; NaN where there is none."""
    total = np.nansum(sigma**-2.0, axis=1)
    return np.asarray(np.where(total > 0.0, total, np.nan) ** -0.5)


def _lean(along_mm: Floats, sigma_mm: Floats, depth_mm: Floats) -> Floats:
    """Angle (N,) of each centre line against the normal, positive where the back lies further right."""
    read, sigma = along_mm / depth_mm, sigma_mm / depth_mm
    seen = ~np.isnan(read)
    if not seen.any():
        return np.zeros(read.size)
    spread = 1.4826 * float(np.median(np.abs(read[seen])))
    own = max(spread**2 - float(np.median(sigma[seen] ** 2)), LEAST_LEAN_RAD**2)
    drawn = read * own / (own + sigma**2)
    return np.where(seen, np.where(np.abs(read) > SIGNIFICANT * sigma, read, drawn), 0.0)


def ruled_depths(record: Record, found: FoundRing) -> tuple[Floats, Floats]:
    """Depths (N,) from the ring's own and those read by rule, weighed, and their standard uncertainties."""
    ring = found.lines.ring
    weight = np.full(found.stands.size, DEPTH_SCATTER_MM**-2.0)
    total = weight * ring.depth_mm
    for note in notes_of(record, ring.ring):
        course = found.count.numbers.plan_course(note.course)
        if note.depth_mm is not None and 1 <= course <= weight.size:
            weight[course - 1] += RULE_SIGMA_MM**-2.0
            total[course - 1] += note.depth_mm * RULE_SIGMA_MM**-2.0
    return total / weight, weight**-0.5


def _depth(record: Record, found: FoundRing, outer_mm: Floats, sigma_mm: Floats) -> Floats:
    """Depths (N,) from the ring's own, the rule and the survey, weighed by their variances."""
    ruled, sigma = ruled_depths(record, found)
    surveyed, variance = _mean(outer_mm, sigma_mm), 2.0 * _mean_sigma(sigma_mm) ** 2  # both faces were read
    share = np.nan_to_num(sigma**2 / (sigma**2 + variance))
    return np.asarray(ruled + share * np.nan_to_num(surveyed - ruled))
