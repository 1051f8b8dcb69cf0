"""Repair: what stands stays to the last digit, and every gap is filled between its neighbours."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from survey.curves.displaced import DisplacedCurve
from survey.curves.protocol import Floats
from survey.fitting.result import ArchFit
from survey.rebuild.courses import Fate, RingCount
from survey.rebuild.edges import RingEdges
from survey.rebuild.layout_draft import RingDraft, open_spans, planned_widths
from survey.rebuild.repair_soffit import (
    LEAST_STEP_MM,
    Base,
    FlushPoint,
    SoffitReadings,
    repair_curve,
    wave_mm,
)
from survey.rebuild.rhythm import RingRhythm
from survey.rebuild.rings import RingLines, section_limits
from survey.record.model import Edge, Feature, Record

FEWEST_POINTS = 4
"""A ring with fewer points on its soffit is taken to lie parallel to the ring inside it."""
FADE_COURSES = 4.0
"""Over so many courses the soffit leaves a corner beside a gap for the smooth curve."""
JOINT_SHARE = 0.3
"""Share of a pitch that a joint may take, and the bricks beside it are that much nearer to one another."""


@dataclass(frozen=True, slots=True, eq=False)
class StandingRing:
    """One ring as found, ready to be repaired.

    Attributes
    ----------
    base : ChainOfArcs, Ellipse or EllipseParallel
        The fitted inner curve.
    lines : RingLines
        The curves fitted.
    fate : (N,) int
        ``STANDS`` or ``NEW`` for every course.
    """

    base: Base
    lines: RingLines
    count: RingCount
    edges: RingEdges
    rhythm: RingRhythm
    fate: NDArray[np.int64]


def repair_draft(
    record: Record, fit: ArchFit, ring: StandingRing, *, inside: DisplacedCurve | None
) -> tuple[RingDraft, DisplacedCurve]:
    """A ring with its standing bricks fixed and its gaps open, and the curve it is repaired to.

    Parameters
    ----------
    inside : DisplacedCurve or None
        The repaired curve of the next ring towards the opening; a ring whose own edges were not surveyed lies
        parallel to it.
    """
    stands = ring.fate == Fate.STANDS
    corners = np.where(stands[:, None, None], ring.edges.corners_mm, np.nan)
    curve = _curve(record, fit, ring, corners=corners, inside=inside)
    fixed = _fixed(ring, curve, corners)
    outer = _outer(ring, curve)
    draft = RingDraft(
        lines=replace(ring.lines, inner=curve, outer=outer),
        count=ring.count,
        rhythm=ring.rhythm,
        fate=ring.fate,
        width_mm=np.where(stands, fixed[:, 1] - fixed[:, 0], planned_widths(ring.rhythm, ring.fate)),
        source=tuple("original" if s else "new" for s in stands),
        limits=section_limits(ring.lines.ring, record.joints),
        fixed_mm=fixed,
        surveyed_mm=corners,
    )
    return draft, curve


def _outer(ring: StandingRing, curve: DisplacedCurve) -> DisplacedCurve:
    """The back of the ring: the fitted outer curve moved as the inner one, normal by normal.

    Not the parallel of the repaired curve: where that follows the corners of a single standing brick into a
    hollow, a parallel a ring's depth away would fold up.
    """
    base = ring.base.offset(ring.lines.ring.depth_mm)
    stations = base.locate(ring.base.point(np.asarray(curve.stations_mm))).station_mm
    return DisplacedCurve(cast(Base, base), stations, np.asarray(curve.offsets_mm))


def _curve(
    record: Record,
    fit: ArchFit,
    ring: StandingRing,
    *,
    corners: Floats,
    inside: DisplacedCurve | None,
) -> DisplacedCurve:
    base, stands = ring.base, ring.fate == Fate.STANDS
    middle = np.where(stands[:, None], ring.edges.middle_mm, np.nan)
    points = np.concatenate([corners[:, :2], middle[:, None]], axis=1)
    seen = ~np.isnan(points[:, :, 0])
    if seen.sum() < FEWEST_POINTS:
        return _parallel_to(base, inside)
    sigma = np.column_stack([ring.edges.corner_sigma_mm[:, :2], ring.edges.sigma_mm[:, 2]])
    located = base.locate(points[seen])
    station, deviation = np.full(seen.shape, np.nan), np.full(seen.shape, np.nan)
    station[seen], deviation[seen] = located.station_mm, located.distance_mm
    springings = _springings(record, fit, ring)
    ends = springings.readings
    along = np.concatenate([station[seen], ends.station_mm])
    _, order = np.unique(np.round(along, 6), return_index=True)
    readings = SoffitReadings(
        along[order],
        np.concatenate([deviation[seen], ends.deviation_mm])[order],
        np.concatenate([sigma[seen], ends.sigma_mm])[order],
    )
    pitch_mm = base.length_mm / ring.count.count
    noise = readings.noise_mm3(pitch_mm)
    # a moved arch leaves its fitted curve by far more than its irregularity about the moved pieces
    roughness_mm = max(fit.irregularity_mm, 1.4826 * float(np.median(np.abs(deviation[seen]))))
    wave = wave_mm(pitch_mm, noise, roughness_mm, fit.correlation_length_mm)
    flush = _flush_points(
        stands, station, deviation, springings.surveyed_mm, pitch_mm=pitch_mm, length_mm=base.length_mm
    )
    return repair_curve(base, readings, flush, wave_mm=wave, step_mm=pitch_mm)


def _parallel_to(base: Base, inside: DisplacedCurve | None) -> DisplacedCurve:
    """The curve of a ring hardly surveyed: moved as the ring inside it, else the fitted curve."""
    if inside is None:
        return DisplacedCurve(base, 0.0, 0.0)
    stations = base.locate(inside.base.point(np.asarray(inside.stations_mm))).station_mm
    return DisplacedCurve(base, stations, np.asarray(inside.offsets_mm))


@dataclass(frozen=True, slots=True, eq=False)
class _Ends:
    """The springings as readings of the soffit, and their surveyed departures; None where only fitted."""

    readings: SoffitReadings
    surveyed_mm: tuple[float | None, float | None]


def _flush_points(
    stands: NDArray[np.bool_],
    station: Floats,
    deviation: Floats,
    ends_mm: tuple[float | None, float | None],
    *,
    pitch_mm: float,
    length_mm: float,
) -> tuple[FlushPoint, ...]:
    """The surveyed corners beside gaps; each correction fades out within what stands and within the gap."""
    points: list[FlushPoint] = []
    most_mm = FADE_COURSES * pitch_mm
    spans = open_spans(stands)
    for k, (a, b) in enumerate(spans):
        left = station[a - 1, 1] if a > 0 else np.nan
        right = station[b + 1, 0] if b + 1 < stands.size else np.nan
        gap_mm = float(np.nan_to_num(right, nan=length_mm) - np.nan_to_num(left, nan=0.0))
        in_gap = max(min(most_mm, gap_mm), LEAST_STEP_MM)
        # what stands up to the next gap on either side: the correction must be gone where that gap's begins
        before = (a - (spans[k - 1][1] + 1 if k > 0 else 0)) * pitch_mm
        behind = ((spans[k + 1][0] if k + 1 < len(spans) else stands.size) - b - 1) * pitch_mm
        if not np.isnan(left):
            fade = max(min(most_mm, before) - JOINT_SHARE * pitch_mm, LEAST_STEP_MM)
            points.append(FlushPoint(float(left), float(deviation[a - 1, 1]), fade, in_gap))
        if not np.isnan(right):
            fade = max(min(most_mm, behind) - JOINT_SHARE * pitch_mm, LEAST_STEP_MM)
            points.append(FlushPoint(float(right), float(deviation[b + 1, 0]), in_gap, fade))
        if a == 0 and ends_mm[0] is not None:
            points.append(FlushPoint(0.0, ends_mm[0], LEAST_STEP_MM, in_gap))
        if b + 1 == stands.size and ends_mm[1] is not None:
            points.append(FlushPoint(length_mm, ends_mm[1], in_gap, LEAST_STEP_MM))
    return tuple(points)


def _springings(record: Record, fit: ArchFit, ring: StandingRing) -> _Ends:
    """The springings: as surveyed, else as fitted."""
    points, length_mm = record.points, ring.base.length_mm
    station, deviation = np.array([0.0, length_mm]), np.zeros(2)
    sigma = np.full(2, max(fit.irregularity_mm, record.point_sigma_mm))
    seen: list[float | None] = [None, None]
    for side, edge in enumerate((Edge.LEFT, Edge.RIGHT)):
        mask = points.on(Feature.SPRINGING) & np.asarray(points.edge == edge, dtype=bool)
        mask[fit.points.index[fit.points.set_aside]] = False
        if mask.any() and ring.lines.offset_mm == 0.0:
            deviation[side] = ring.base.locate(fit.to_arch(points.xy_mm[mask])).distance_mm.mean()
            sigma[side] = points.sigma_mm[mask].mean() / np.sqrt(mask.sum())
            seen[side] = float(deviation[side])
    return _Ends(SoffitReadings(station, deviation, sigma), (seen[0], seen[1]))


def _fixed(ring: StandingRing, curve: DisplacedCurve, corners: Floats) -> Floats:
    """Stations (N, 2) of the edges of standing bricks on the repaired curve; NaN for courses to be filled."""
    stands = ring.fate == Fate.STANDS
    foot = ring.base.point(np.clip(ring.rhythm.edge_mm, 0.0, ring.base.length_mm)).reshape(-1, 2, 2)
    where = np.where(np.isnan(corners[:, :2]), foot, corners[:, :2])
    fixed = np.full((ring.count.count, 2), np.nan)
    if stands.any():
        fixed[stands] = curve.locate(where[stands].reshape(-1, 2)).station_mm.reshape(-1, 2)
    return fixed
