"""Repair: what stands stays where it is, and every gap is filled between its neighbours."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from survey.curves.displaced import DisplacedCurve
from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit
from survey.rebuild.layout.draft import RingDraft, open_spans, planned_widths
from survey.rebuild.repair.beds import ruled_depths
from survey.rebuild.repair.found_ring import FoundRing
from survey.rebuild.repair.moved_line import KnownLine, moved_line
from survey.rebuild.repair.soffit import (
    LEAST_STEP_MM,
    Base,
    FlushPoint,
    SmoothSoffit,
    SoffitReadings,
    repair_curve,
)
from survey.rebuild.repair.standing import Across, settle_standing
from survey.rebuild.rhythm.rings import section_limits
from survey.record.model import Edge, Feature, Record

FEWEST_POINTS = 4
"""A ring with fewer points on its soffit is taken to lie parallel to the ring inside it."""
FADE_COURSES = 3.0
"""Over so many courses the soffit leaves a corner beside a gap for the smooth curve."""
JOINT_SHARE = 0.3
"""Share of a pitch that a joint may take, and the bricks beside it are that much nearer to one another."""
BACK_SIGMAS, BACK_TAPER = 4.0, 0.3
"""Outer corners differ by so much at most from the brick's width: their errors, and a cut one's taper."""
OUT_OF_LINE = 4.0
"""Courses further from the smooth soffit than so many standard deviations have no say in it."""


def repair_draft(
    record: Record, fit: ArchFit, ring: FoundRing, *, inside: DisplacedCurve | None
) -> tuple[RingDraft, DisplacedCurve]:
    """A ring with its standing bricks fixed and its gaps open, and the curve it is repaired to.

    Parameters
    ----------
    inside : DisplacedCurve or None
        The repaired curve of the next ring towards the opening; a ring whose own edges were not surveyed lies
        parallel to it.
    """
    stands = ring.stands
    across = _across(record, ring)
    curve, flush = _curve(record, fit, ring, across=across, inside=inside)
    standing = settle_standing(record, ring, curve, across, flush=flush)
    fixed = standing.fixed_mm
    draft = RingDraft(
        lines=replace(ring.lines, inner=curve, outer=_outer(ring, curve)),
        count=ring.count,
        rhythm=ring.rhythm,
        fate=ring.fate,
        width_mm=np.where(stands, fixed[:, 1] - fixed[:, 0], planned_widths(ring.rhythm, ring.fate)),
        source=tuple("original" if s else "new" for s in stands),
        limits=section_limits(ring.lines.ring, record.joints),
        fixed_mm=fixed,
        standing_mm=standing.corners_mm,
        residual_mm=standing.residual_mm,
        doubts=standing.doubts,
    )
    return draft, curve


def _across(record: Record, ring: FoundRing) -> Across:
    """Surveyed points of the soffit against the fitted curve, of what stands and of what is to be renewed.

    A course of which only the back was surveyed, both corners a brick's width apart, counts as read at the
    middle of its soffit, a depth further in.
    """
    points = np.concatenate([ring.edges.corners_mm[:, :2], ring.edges.middle_mm[:, None]], axis=1)
    sigma = np.column_stack([ring.edges.corner_sigma_mm[:, :2], ring.edges.sigma_mm[:, 2]])
    seen = ~np.isnan(points[:, :, 0])
    station, deviation = np.full(seen.shape, np.nan), np.full(seen.shape, np.nan)
    if seen.any():
        located = ring.base.locate(points[seen])
        station[seen], deviation[seen] = located.station_mm, located.distance_mm
    back, back_sigma = ring.edges.corners_mm[:, 2:], ring.edges.corner_sigma_mm[:, 2:]
    width = ring.rhythm.width_mm
    allowed = BACK_SIGMAS * np.linalg.norm(back_sigma, axis=1) + BACK_TAPER * width
    from_back = np.abs(np.linalg.norm(back[:, 1] - back[:, 0], axis=1) - width) < allowed
    from_back &= ~seen.any(axis=1)
    if from_back.any():
        depth, depth_sigma = ruled_depths(record, ring)
        located = ring.base.locate(back[from_back].mean(axis=1))
        station[from_back, 2], deviation[from_back, 2] = (
            located.station_mm,
            located.distance_mm - depth[from_back],
        )
        sigma[from_back, 2] = np.hypot(0.5 * np.linalg.norm(back_sigma, axis=1), depth_sigma)[from_back]
    return Across(station, deviation, sigma)


def _outer(ring: FoundRing, curve: DisplacedCurve) -> DisplacedCurve:
    """The back of the ring: the fitted outer curve moved as the inner one, normal by normal.

    Not the parallel of the repaired curve: where that follows the corners of a single standing brick into a
    hollow, a parallel a ring's depth away would fold up.
    """
    base = ring.base.offset(ring.lines.ring.depth_mm)
    stations = base.locate(ring.base.point(np.asarray(curve.stations_mm))).station_mm
    return DisplacedCurve(cast(Base, base), stations, np.asarray(curve.offsets_mm))


def _curve(
    record: Record, fit: ArchFit, ring: FoundRing, *, across: Across, inside: DisplacedCurve | None
) -> tuple[DisplacedCurve, NDArray[np.bool_]]:
    """The soffit of the repair, and the courses (N,) it is flush with."""
    base, stands = ring.base, ring.stands
    standing = across.only(stands)
    if standing.seen.sum() < FEWEST_POINTS:
        return _parallel_to(base, inside), np.zeros(stands.size, dtype=bool)
    pitch_mm = base.length_mm / ring.count.count
    ends = _springings(record, fit, ring)
    known = moved_line(fit.movement, base, ring.lines.offset_mm)
    readings = _soffit_readings(standing, ends, known)
    old = readings.old_work(fit.irregularity_mm, fit.correlation_length_mm, base.length_mm)
    soffit = SmoothSoffit.of(readings, old, length_mm=base.length_mm, pitch_mm=pitch_mm)
    off = readings.deviation_mm - soffit.at(readings.station_mm)
    in_line = np.abs(off) < OUT_OF_LINE * np.hypot(readings.sigma_mm, old.irregularity_mm)
    if not in_line.all() and in_line.sum() >= FEWEST_POINTS:
        readings = readings.only(in_line)
        soffit = SmoothSoffit.of(readings, old, length_mm=base.length_mm, pitch_mm=pitch_mm)
    edge = np.clip(ring.rhythm.edge_mm, 0.0, base.length_mm).reshape(-1, 2)
    wanted = np.append(edge.mean(axis=1), ends.station_mm)
    likely, at_ends = np.split(readings.expected_at(wanted, old), [stands.size])
    out = standing.mean(standing.displaced(soffit.at(standing.base_station_mm)))
    likely = np.where(np.nan_to_num(out) != 0.0, standing.mean(standing.deviation_mm), likely)
    flush = _flush_points(stands, edge, likely, pitch_mm=pitch_mm)
    for station, deviation in zip(ends.station_mm.tolist(), at_ends.tolist(), strict=True):
        fade = min(FADE_COURSES * pitch_mm, _open_from(stands, edge, station, base.length_mm))
        if fade > 0.0:
            flush.append(FlushPoint(station, deviation, fade, fade))
    return repair_curve(base, soffit, flush), _beside_gaps(stands)


def _soffit_readings(standing: Across, ends: SoffitReadings, known: KnownLine) -> SoffitReadings:
    """One reading a standing course, and those of the springings."""
    course = np.flatnonzero(standing.seen.any(axis=1))
    at = np.concatenate([standing.mean(standing.base_station_mm)[course], ends.station_mm])
    order = np.argsort(at, kind="stable")
    return SoffitReadings(
        at[order],
        np.concatenate([standing.mean(standing.deviation_mm)[course], ends.deviation_mm])[order],
        np.concatenate([standing.course_sigma_mm[course], ends.sigma_mm])[order],
        known,
    )


def _parallel_to(base: Base, inside: DisplacedCurve | None) -> DisplacedCurve:
    """The curve of a ring hardly surveyed: moved as the ring inside it, else the fitted curve."""
    if inside is None:
        return DisplacedCurve(base, 0.0, 0.0)
    stations = base.locate(inside.base.point(np.asarray(inside.stations_mm))).station_mm
    return DisplacedCurve(base, stations, np.asarray(inside.offsets_mm))


def _beside_gaps(stands: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mask (N,) of standing courses next to a course to be filled."""
    new = np.concatenate([[False], ~stands, [False]])
    return np.asarray(stands & (new[:-2] | new[2:]))


def _open_from(stands: NDArray[np.bool_], edge_mm: Floats, station_mm: float, length_mm: float) -> float:
    """Length of the gap that begins at a springing; 0 where a course stands on it."""
    here = stands if station_mm == 0.0 else stands[::-1]
    if here[0]:
        return 0.0
    if not here.any():
        return length_mm
    first = int(here.argmax())
    return float(edge_mm[first, 0] if station_mm == 0.0 else length_mm - edge_mm[stands.size - 1 - first, 1])


def _flush_points(
    stands: NDArray[np.bool_], edge_mm: Floats, deviation_mm: Floats, *, pitch_mm: float
) -> list[FlushPoint]:
    """The corners beside gaps; each correction fades out within what stands and within the gap."""
    points: list[FlushPoint] = []
    most_mm, n = FADE_COURSES * pitch_mm, stands.size
    spans = open_spans(stands)
    for k, (a, b) in enumerate(spans):
        left_mm = edge_mm[a - 1, 1] if a > 0 else 0.0
        right_mm = edge_mm[b + 1, 0] if b + 1 < n else edge_mm[-1, 1]
        in_gap = max(min(most_mm, float(right_mm - left_mm)), LEAST_STEP_MM)
        # what stands up to the next gap on either side: the correction must be gone where that gap's begins
        before = (a - (spans[k - 1][1] + 1 if k > 0 else 0)) * pitch_mm
        behind = ((spans[k + 1][0] if k + 1 < len(spans) else n) - b - 1) * pitch_mm
        if a > 0:
            fade = max(min(most_mm, before) - JOINT_SHARE * pitch_mm, LEAST_STEP_MM)
            points.append(FlushPoint(float(left_mm), float(deviation_mm[a - 1]), fade, in_gap))
        if b + 1 < n:
            fade = max(min(most_mm, behind) - JOINT_SHARE * pitch_mm, LEAST_STEP_MM)
            points.append(FlushPoint(float(right_mm), float(deviation_mm[b + 1]), in_gap, fade))
    return points


def _springings(record: Record, fit: ArchFit, ring: FoundRing) -> SoffitReadings:
    """The surveyed springings as readings of the soffit."""
    points, ends = record.points, np.array([0.0, ring.base.length_mm])
    deviation, sigma = np.full(2, np.nan), np.full(2, np.nan)
    for side, edge in enumerate((Edge.LEFT, Edge.RIGHT)):
        mask = points.on(Feature.SPRINGING) & np.asarray(points.edge == edge, dtype=bool)
        mask[fit.points.index[fit.points.set_aside]] = False
        if mask.any() and ring.lines.offset_mm == 0.0:
            deviation[side] = ring.base.locate(fit.to_arch(points.xy_mm[mask])).distance_mm.mean()
            sigma[side] = points.sigma_mm[mask].mean() / np.sqrt(mask.sum())
    seen = ~np.isnan(deviation)
    return SoffitReadings(ends[seen], deviation[seen], sigma[seen])
