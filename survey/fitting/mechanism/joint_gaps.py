"""Joints along the soffit, and how much wider each is than its neighbours: a hinge at the back opens one.

Where two pieces turn against each other about a hinge that lies a depth behind the soffit, the joint at that
hinge opens on the soffit by depth times the turn; at the back of the ring the joint at a hinge on the soffit
opens or closes likewise. The widths of all other joints say how much a joint varies anyway, so one joint's
excess over its neighbours is an observation of that turn.

An edge read too far out makes a brick wide and the joint beside it narrow. Bricks and joints are therefore
judged together: in order along the soffit, their excesses e over their neighbours have a tridiagonal
covariance C: on its diagonal how much bricks, or joints, vary and the variances of both edges, beside it
minus the variance of the edge that two neighbours share. What joint k alone opened is told best by
(C^-1 e)_k / (C^-1)_kk, with a variance of 1 / (C^-1)_kk (generalised least squares).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.fitting.mechanism.pieces import quarter_turned
from survey.fitting.sightings import Sightings
from survey.fitting.solving.robust import MAD_TO_SIGMA
from survey.fitting.solving.tridiagonal import factorised, inverse_diagonal, solved
from survey.record.model import UNKNOWN

NEIGHBOURS = 6
"""Joints on each side that a joint is compared with."""
LEAST_VARIATION_MM = 0.5
"""Bricks and joints of hand-made work vary by this at least."""
FEWEST_JOINTS = 8
TRUSTED = 0.5
"""Weight from which a point is trusted."""
NOTED_SIGMA_MM = 0.7
"""How well a joint is read with a rule; judgement."""
MISREAD = 3.3
"""An edge so many standard deviations off along the soffit was misread."""
MOST_SPREADS = 4.0
"""An excess counts for no more than this many standard deviations: a wide joint alone proves no hinge."""


@dataclass(frozen=True, slots=True, eq=False)
class Sighted:
    """Sightings against an original: positions (n, 2), normals (n, 2), shares (n,) of its length."""

    xy: Floats
    normal: Floats
    share: Floats


@dataclass(frozen=True, slots=True, eq=False)
class JointGaps:
    """Places where pieces may part, from left to right; arrays of length j.

    Attributes
    ----------
    share : (j,) float
        Middle of each place as a share of the intrados.
    excess_mm : (j,) float
        Width of the joint less its neighbours' usual one; 0 where it was not measured.
    power : (j,) float
        One over the excess' variance; 0 where it was not measured.
    out_mm : float
        How far outside the soffit the joints were measured.
    """

    share: Floats
    excess_mm: Floats
    power: Floats
    out_mm: float = 0.0

    def at(self, share: Floats) -> tuple[Floats, Floats]:
        """Excess and power (h,) of the joints at shares (h,); no power where there is no joint near."""
        if len(self.share) < 2:
            return np.zeros_like(share), np.zeros_like(share)
        after = np.clip(np.searchsorted(self.share, share), 1, len(self.share) - 1)
        near = np.where(share - self.share[after - 1] < self.share[after] - share, after - 1, after)
        pitch = float(np.median(np.diff(self.share)))
        there = np.abs(self.share[near] - share) < 0.6 * pitch
        return self.excess_mm[near], np.where(there, self.power[near], 0.0)


class _EdgePoints(NamedTuple):
    """Points of numbered courses: (n, 2), (n, 2), (n,) ..., with the directions along the soffit there."""

    xy_mm: Floats
    along: Floats
    share: Floats
    sigma_mm: Floats
    course: NDArray[np.int64]
    edge: NDArray[np.int64]


def joint_gaps(sightings: Sightings, seen: Sighted, weight: Floats) -> JointGaps:
    """Joints on the soffit between the surveyed courses, of points with robust weights (n,)."""
    known = sightings.course != UNKNOWN
    along = -quarter_turned(seen.normal)
    # An edge that is not trusted is none, but its course is there.
    edge = np.where(weight > TRUSTED, sightings.edge, 0)
    points = (sightings.xy_mm, along, seen.share, sightings.sigma_mm, sightings.course, edge)
    return _gaps_between(_EdgePoints(*(column[known] for column in points)), 0.0, sightings.noted_joint_mm)


def back_joint_gaps(sightings: Sightings, seen: Sighted, depth_mm: float) -> JointGaps:
    """Joints at the back of a ring so deep, between courses whose soffit was surveyed too."""
    back, known = sightings.back, np.flatnonzero(sightings.course != UNKNOWN)
    course, first = np.unique(sightings.course[known], return_index=True)
    on_soffit = np.flatnonzero(np.isin(back.course, course))
    beside = known[first][np.searchsorted(course, back.course[on_soffit])]
    along = -quarter_turned(seen.normal[beside])
    points = _EdgePoints(
        back.xy_mm[on_soffit],
        along,
        seen.share[beside],
        back.sigma_mm[on_soffit],
        back.course[on_soffit],
        back.edge[on_soffit],
    )
    return _gaps_between(points, depth_mm, {})


def _gaps_between(points: _EdgePoints, out_mm: float, noted: Mapping[int, float]) -> JointGaps:
    if len(points.course) == 0:
        return JointGaps(np.empty(0), np.empty(0), np.empty(0), out_mm)
    course, group = np.unique(points.course, return_inverse=True)
    middle = np.bincount(group, weights=points.share) / np.bincount(group)
    order = np.argsort(middle)
    course, middle = course[order], middle[order]
    edges = [_edge_points(points, course, side) for side in (-1, 1)]

    def apart(a: NDArray[np.int64], b: NDArray[np.int64], together: np.ndarray) -> Floats:
        """Distances along the curve from points a to points b, NaN where either is missing."""
        width = np.full(len(a), np.nan)
        both = together & (a >= 0) & (b >= 0)
        a, b = a[both], b[both]
        along = (points.along[a] + points.along[b]) / 2
        width[both] = np.sum((points.xy_mm[b] - points.xy_mm[a]) * along, axis=1)
        return width

    brick = apart(edges[0], edges[1], np.ones(len(course), dtype=bool))
    joint = apart(edges[1][:-1], edges[0][1:], np.diff(course) == 1)
    variance = np.where(np.stack(edges) >= 0, points.sigma_mm[np.stack(edges)] ** 2, 0.0)
    excess, power = _opened(brick, joint, variance)
    follows = np.array([noted.get(int(c), np.nan) for c in course[:-1]], dtype=float)
    by_note = _opened_by_notes(np.where(np.diff(course) == 1, follows, np.nan))
    # Edges and a rule tell the same of a joint: the surer is taken, for what it varies by itself counts once.
    surer = by_note[1] > power
    excess, power = (np.where(surer, own, other) for own, other in zip(by_note, (excess, power), strict=True))
    return JointGaps((middle[:-1] + middle[1:]) / 2, excess, power, out_mm)


def _edge_points(points: _EdgePoints, course: NDArray[np.int64], side: int) -> NDArray[np.int64]:
    """One point (c,) on a side of each course (in any order), -1 where there is none."""
    there = np.flatnonzero(points.edge == side)
    sorter = np.argsort(course)
    place = sorter[np.searchsorted(course, points.course[there], sorter=sorter)]
    found = np.full(len(course), -1)
    found[place] = there
    return found


def _opened(brick: Floats, joint: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """What each joint (c - 1,) alone opened, and one over its variance.

    Parameters
    ----------
    brick, joint : (c,), (c - 1,) float
        Widths; NaN where they were not measured.
    variance : (2, c) float
        Of the bricks' left and right edges.
    """
    c = len(brick)
    if np.count_nonzero(np.isfinite(joint)) < FEWEST_JOINTS:
        return np.zeros(c - 1), np.zeros(c - 1)
    excess = np.empty(2 * c - 1)
    excess[::2], excess[1::2] = _over_neighbours(brick), _over_neighbours(joint)
    edge = variance.T.ravel()
    excess = _without_misread_edges(excess, _solved(excess, edge))
    found = _solved(excess, edge)
    told = np.isfinite(excess)[1::2]
    opened = found.pull[1::2] / found.power[1::2]
    return np.where(told, opened, 0.0), np.where(told, _capped(opened, found.power[1::2]), 0.0)


def _opened_by_notes(joint: Floats) -> tuple[Floats, Floats]:
    """The same of joints (j,) measured by themselves, NaN where none was."""
    if np.count_nonzero(np.isfinite(joint)) < FEWEST_JOINTS:
        return np.zeros(len(joint)), np.zeros(len(joint))
    excess = _over_neighbours(joint)
    told = np.isfinite(excess)
    power = 1.0 / (NOTED_SIGMA_MM**2 + _variation(excess, np.full(len(joint), NOTED_SIGMA_MM**2)))
    opened = np.where(told, excess, 0.0)
    return opened, np.where(told, _capped(opened, np.full(len(joint), power)), 0.0)


def _capped(opened: Floats, power: Floats) -> Floats:
    """Power of what joints opened, less where one is so wide that more than a movement is at work."""
    far = np.maximum(np.abs(opened) * np.sqrt(power) / MOST_SPREADS, 1.0)
    return np.asarray(power / far**2)


class _Solved(NamedTuple):
    """C^-1 e (i,), and of C^-1 the diagonal (i,) and what stands beside it (i - 1,)."""

    pull: Floats
    power: Floats
    beside: Floats


def _solved(excess: Floats, edge: Floats) -> _Solved:
    """Excesses (2 c - 1,) of bricks and joints in order, NaN where unknown, under the covariance they share.

    ``edge`` (2 c,) are the variances of the edges.
    """
    main = edge[:-1] + edge[1:]
    for kind in (0, 1):
        main[kind::2] += _variation(excess[kind::2], main[kind::2])
    told = np.isfinite(excess)
    off = np.append(np.where(told[:-1] & told[1:], -edge[1:-1], 0.0), 0.0)
    main = np.where(told, main, 1.0)
    pivot, below = factorised(main, off)
    power = inverse_diagonal(main, off, pivot)
    pull = solved(pivot, below, np.where(told, excess, 0.0)[:, None])[:, 0]
    return _Solved(pull, power, -below[:-1] * power[1:])


def _without_misread_edges(excess: Floats, found: _Solved) -> Floats:
    """Excesses with those left out that one misread edge explains: a wide brick beside a narrow joint.

    Taking an edge to be off, or one brick or joint to be, are weighed by what they leave unexplained.
    """
    alone = found.pull**2 / found.power
    told = np.isfinite(excess)
    both = found.power[:-1] + found.power[1:] - 2 * found.beside
    by_edge = np.where(told[:-1] & told[1:], np.diff(found.pull) ** 2 / both, 0.0)
    misread = (by_edge > MISREAD**2) & (by_edge > np.maximum(alone[:-1], alone[1:]))
    return np.where(np.append(misread, False) | np.append(False, misread), np.nan, excess)


def _over_neighbours(width: Floats) -> Floats:
    """Excess (j,) over the median of the neighbours; NaN where it was not measured, or too few of these."""
    around = np.delete(
        sliding_window_view(np.pad(width, NEIGHBOURS, constant_values=np.nan), 2 * NEIGHBOURS + 1),
        NEIGHBOURS,
        axis=1,
    )
    among = np.isfinite(width) & (np.count_nonzero(np.isfinite(around), axis=1) >= NEIGHBOURS // 2)
    excess = np.full(len(width), np.nan)
    excess[among] = width[among] - np.nanmedian(around[among], axis=1)
    return excess


def _variation(excess: Floats, measured: Floats) -> float:
    """How much bricks, or joints, vary by themselves (variance), of excesses with measuring variances."""
    told = np.isfinite(excess)
    if not told.any():
        return LEAST_VARIATION_MM**2
    whole = (MAD_TO_SIGMA * float(np.median(np.abs(excess[told])))) ** 2
    return max(whole - float(np.median(measured[told])), LEAST_VARIATION_MM**2)
