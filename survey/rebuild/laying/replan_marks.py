"""Marks measured while laying: which courses are laid, where their edges are, and which are still open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Curve, Floats
from survey.errors import PlanError
from survey.rebuild.layout.draft import open_spans
from survey.rebuild.plan import BrickKind, RingPlan
from survey.rebuild.words import counted
from survey.record.model import Edge, LaidMark

WIDTH_SLIP_MM = 3.0
"""A laid brick whose marks say it is so much wider or narrower is to be measured again (judgement)."""


@dataclass(frozen=True, slots=True, eq=False)
class LaidRing:
    """What of one ring no longer moves.

    Attributes
    ----------
    fixed_mm : (N, 2) float
        Stations of the edges of standing bricks and of those whose marks were measured; NaN for the others.
    laid : (N,) bool
        Courses that are laid: those with a mark and those between them and what they were laid from.
    doubts : tuple of str
    """

    fixed_mm: Floats
    laid: NDArray[np.bool_]
    doubts: tuple[str, ...]


def ring_stations(along_mm: Floats, intrados: Curve, ring: RingPlan) -> Floats:
    """Stations (n,) on a ring's inner curve over running distances (n,) along the centring."""
    if ring.inner is intrados:
        return along_mm
    return ring.inner.locate(intrados.point(along_mm)).station_mm


def laid_of_ring(ring: RingPlan, marks: Iterable[LaidMark], intrados: Curve) -> LaidRing:
    """Read the marks of one ring.

    Parameters
    ----------
    ring : RingPlan
        As planned before anything was laid.
    marks : iterable of LaidMark
        Of this ring.
    intrados : Curve
        The curve of the centring, along which the marks were measured.

    Raises
    ------
    PlanError
        When a mark names a course the ring does not have, or one that stands already.
    """
    marks = tuple(marks)
    standing = np.array([b.kind is BrickKind.IN_SITU for b in ring.bricks])
    for mark in marks:
        _check(mark, ring, standing)
    start = np.array([b.station_start_mm for b in ring.bricks])
    end = np.array([b.station_end_mm for b in ring.bricks])
    edge, middle = np.full((ring.count, 2), np.nan), np.full(ring.count, np.nan)
    stations = ring_stations(np.array([m.along_mm for m in marks]), intrados, ring)
    for mark, station in zip(marks, stations, strict=True):
        if mark.edge in (Edge.LEFT, Edge.RIGHT):
            edge[mark.course - 1, int(mark.edge is Edge.RIGHT)] = station
        else:
            middle[mark.course - 1] = station
    doubts = _width_doubts(ring, edge, end - start)
    fixed = _both_edges(edge, middle, end - start)
    _check_order(ring, fixed)
    marked = ~np.isnan(fixed[:, 0])
    fixed[standing] = np.column_stack([start, end])[standing]
    return LaidRing(fixed, _laid(marked, standing, from_middle=ring.sawtooth), doubts)


def _check(mark: LaidMark, ring: RingPlan, standing: NDArray[np.bool_]) -> None:
    if not 1 <= mark.course <= ring.count:
        raise PlanError(
            f"laid.csv row {mark.row}: course {mark.course} of ring {ring.ring}, which is planned with "
            f"{counted(ring.count, 'course')}; correct the course"
        )
    if standing[mark.course - 1]:
        raise PlanError(
            f"laid.csv row {mark.row}: course {mark.course} of ring {ring.ring} stands and is not laid anew; "
            "correct the course"
        )


def _check_order(ring: RingPlan, fixed_mm: Floats) -> None:
    """Refuse marks that would lay one brick into another."""
    marked = np.flatnonzero(~np.isnan(fixed_mm[:, 0]))
    for before, after in pairwise(marked):
        if fixed_mm[after, 0] < fixed_mm[before, 1]:
            raise PlanError(
                f"laid.csv: course {after + 1} of ring {ring.ring} would start {fixed_mm[after, 0]:.1f} mm "
                f"along, before course {before + 1} ends at {fixed_mm[before, 1]:.1f} mm; measure both marks "
                "again"
            )


def _width_doubts(ring: RingPlan, edge: Floats, planned: Floats) -> tuple[str, ...]:
    off = edge[:, 1] - edge[:, 0] - planned
    return tuple(
        f"Ring {ring.ring}, course {i + 1}: its marks are {planned[i] + off[i]:.1f} mm apart, the brick is "
        f"{planned[i]:.1f} mm wide; measure them again."
        for i in np.flatnonzero(np.abs(np.nan_to_num(off)) > WIDTH_SLIP_MM)
    )


def _both_edges(edge: Floats, middle: Floats, planned: Floats) -> Floats:
    """Both edges (N, 2) of every marked brick; one that was not measured follows from the brick's width."""
    left, right = edge[:, 0], edge[:, 1]
    from_left, from_right = right - planned, left + planned
    left = np.where(np.isnan(left), from_left, left)
    right = np.where(np.isnan(right), from_right, right)
    none = np.isnan(left)
    return np.column_stack(
        [np.where(none, middle - planned / 2, left), np.where(none, middle + planned / 2, right)]
    )


def _laid(marked: NDArray[np.bool_], standing: NDArray[np.bool_], *, from_middle: bool) -> NDArray[np.bool_]:
    """Laid courses (N,): between standing parts the longest stretch without marks is still open.

    A turned ring is laid from its middle outwards: everything between its outermost marks is laid.
    """
    laid = np.zeros(marked.size, dtype=bool)
    for a, b in open_spans(standing):
        here = np.flatnonzero(marked[a : b + 1]) + a
        if not here.size:
            continue
        if from_middle:
            laid[here[0] : here[-1] + 1] = True
            continue
        stops = np.concatenate([[a - 1], here, [b + 1]])
        gaps = np.diff(stops) - 1
        k = int(gaps.argmax())
        laid[a : b + 1] = True
        laid[stops[k] + 1 : stops[k + 1]] = False
    return laid
