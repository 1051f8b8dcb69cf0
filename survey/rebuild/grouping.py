"""Fewest shared pieces: the covering of pairs of widths by squares, solved to the optimum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.curves.protocol import Floats
from survey.errors import PlanError

Labels = NDArray[np.int64]
Mask = NDArray[np.bool_]

SAME_MM = 1e-6
"""Widths closer than this are one width: rounding in the layout must not part a brick from its mirror
image."""

EXACT_POINTS = 40
"""Distinct pieces up to which a cluster is decided exactly; beyond, the exact program can take minutes."""


@dataclass(frozen=True, slots=True, eq=False)
class Grouping:
    """Pieces in groups that may share one templet.

    Attributes
    ----------
    labels : (n,) int
        Group of every piece, counted from 0 in the order of growing intrados width.
    n_groups : int
    at_least : int
        No grouping has fewer groups than this; equal to ``n_groups`` where the grouping is proven the best.
    """

    labels: Labels
    n_groups: int
    at_least: int


def group_widths(widths_mm: ArrayLike, tolerance_mm: float) -> Grouping:
    r"""Group pieces into the fewest groups whose members all lie within a tolerance of one common piece.

    Parameters
    ----------
    widths_mm : (n, 2) float, mm
        Width of every piece at the intrados and at the extrados.
    tolerance_mm : float, mm
        Greatest departure of a piece from the common one, at either face.

    Returns
    -------
    Grouping

    Raises
    ------
    PlanError
        When the tolerance is negative or not a number.

    Notes
    -----
    Pieces may share one of widths :math:`(A, B)` when :math:`|A - a_i| \le t` and :math:`|B - b_i| \le t`:
    the fewest groups are the fewest upright squares of side :math:`2t` that hold all points :math:`(a_i,
    b_i)`.

    *Chains.* Where the points, sorted by :math:`a`, are also sorted by :math:`b` (growing or falling), a
    square that holds two points holds every point between them, so only runs of neighbours matter and the
    task has one dimension. Taking the longest run each time is then optimal: let the greedy runs start at
    points
    :math:`p_1, p_2, \dots, p_k`. No two of these fit in one square, since each starts where the run of the
    one before could reach no further; hence any grouping has at least :math:`k` groups. Uncut bricks, and the
    cut bricks of a ring with even joints, are chains.

    *Otherwise* the points fall into clusters that cannot share a square. In each, points of which no two
    share a square give a lower bound and sweeps an upper one; where the two differ, an exact set-cover
    program decides between the squares whose left and lower edges pass through a point (any square can be
    pushed up and right to such a place without losing a point). Only a cluster of more than 40 distinct
    pieces whose two bounds differ is left with the best sweep, and ``at_least`` then says how many fewer
    could be thought of at most.

    Examples
    --------
    >>> group_widths([[50.0, 61.0], [50.8, 61.6], [52.0, 62.0]], 0.5).labels.tolist()
    [0, 0, 1]
    """
    if not tolerance_mm >= 0.0:
        raise PlanError(f"the templet tolerance is {tolerance_mm} mm; give 0 or more, such as 0.5")
    points = np.asarray(widths_mm, dtype=float).reshape(-1, 2)
    if len(points) == 0:
        return Grouping(np.zeros(0, dtype=np.int64), 0, 0)
    side = 2.0 * tolerance_mm + SAME_MM
    unique, back = np.unique(_snapped(points), axis=0, return_inverse=True)
    labels = np.full(len(unique), -1, dtype=np.int64)
    n_groups = at_least = 0
    for cluster in _clusters(unique, side):
        part = _cover(unique[cluster], side)
        labels[cluster] = part.labels + n_groups
        n_groups += part.n_groups
        at_least += part.at_least
    return Grouping(_in_order(labels[back.ravel()], points[:, 0]), n_groups, at_least)


def _snapped(points: Floats) -> Floats:
    """Give values that differ by rounding alone one common value, column by column."""
    snapped = np.empty_like(points)
    for k in (0, 1):
        order = np.argsort(points[:, k], kind="stable")
        ordered = points[order, k]
        run = np.concatenate([[0], np.cumsum(np.diff(ordered) > SAME_MM)])
        snapped[order, k] = ordered[np.searchsorted(run, run)]
    return snapped


def _clusters(points: Floats, side: float) -> list[NDArray[np.intp]]:
    """Index arrays of clusters with a gap too wide for a square between any two of them."""
    waiting, done = [np.arange(len(points))], []
    while waiting:
        index = waiting.pop()
        for k in (0, 1):
            ordered = index[np.argsort(points[index, k], kind="stable")]
            gaps = np.flatnonzero(np.diff(points[ordered, k]) > side)
            if gaps.size:
                waiting += np.split(ordered, gaps + 1)
                break
        else:
            done.append(np.sort(index))
    return done


def _cover(points: Floats, side: float) -> Grouping:
    """Fewest groups of one cluster of distinct points, sorted by the first width."""
    fall = np.diff(points[:, 1])
    if np.all(fall >= 0.0) or np.all(fall <= 0.0):
        runs = _runs(points, side)
        return Grouping(runs, int(runs[-1]) + 1, int(runs[-1]) + 1)
    sweeps = [_sweep(points, side, flip, turn) for flip in (False, True) for turn in (1.0, -1.0)]
    best = min(sweeps, key=lambda labels: int(labels.max()))
    n_groups, at_least = int(best.max()) + 1, _at_least(points, side)
    if n_groups > at_least and len(points) <= EXACT_POINTS:
        best = _exact(points, side, best)
        n_groups = at_least = int(best.max()) + 1
    return Grouping(best, n_groups, at_least)


def _runs(points: Floats, side: float) -> Labels:
    """Longest runs of neighbours, one after the other; optimal for a chain."""
    labels = np.zeros(len(points), dtype=np.int64)
    start = 0
    while True:
        apart = np.any(np.abs(points[start:] - points[start]) > side, axis=1)
        if not apart.any():
            return labels
        start += int(np.argmax(apart))
        labels[start:] += 1


def _sweep(points: Floats, side: float, flip: bool, turn: float) -> Labels:
    """Good but not always fewest: from the outermost point left, the square at its edge that holds most
    others."""
    p = turn * (points[:, ::-1] if flip else points)
    labels = np.full(len(p), -1, dtype=np.int64)
    group = 0
    while np.any(labels < 0):
        left = np.flatnonzero(labels < 0)
        first = left[np.lexsort((p[left, 1], p[left, 0]))[0]]
        strip = left[(p[left, 0] <= p[first, 0] + side) & (np.abs(p[left, 1] - p[first, 1]) <= side)]
        low = p[strip, 1][p[strip, 1] <= p[first, 1]]
        inside = (p[strip, 1] >= low[:, None]) & (p[strip, 1] <= low[:, None] + side)
        labels[strip[inside[int(np.argmax(inside.sum(axis=1)))]]] = group
        group += 1
    return labels


def _at_least(points: Floats, side: float) -> int:
    """Size of a set of points no two of which fit in one square, the best of four greedy sweeps."""
    best = 0
    for key in ((1, 0), (0, 1)):
        for turn in (1.0, -1.0):
            order = np.lexsort(turn * points[:, key].T)
            chosen: list[np.intp] = []
            for k in order:
                if all(np.any(np.abs(points[k] - points[c]) > side) for c in chosen):
                    chosen.append(k)
            best = max(best, len(chosen))
    return best


def _exact(points: Floats, side: float, known: Labels) -> Labels:
    """Fewest squares by integer programming; ``known`` is kept when nothing better exists."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    squares = _candidates(points, side)
    answer = milp(
        np.ones(len(squares)),
        integrality=np.ones(len(squares), dtype=np.int64),
        bounds=Bounds(0.0, 1.0),
        constraints=LinearConstraint(squares.T.astype(float), lb=1.0),
    )
    if not answer.success:
        raise PlanError(f"the grouping of cut pieces found no optimum: {answer.message}; widen the tolerance")
    chosen = squares[np.asarray(answer.x) > 0.5]
    if len(chosen) > known.max():
        return known
    return _nearest(points, chosen)


def _candidates(points: Floats, side: float) -> Mask:
    """Sets of points (m, n) held by squares whose left and lower edges each pass through one of their
    points."""
    rows: list[Mask] = []
    for a, _ in points:
        in_strip = (points[:, 0] >= a) & (points[:, 0] <= a + side)
        low = np.unique(points[in_strip, 1])
        rows.append(in_strip & (points[:, 1] >= low[:, None]) & (points[:, 1] <= low[:, None] + side))
    sets = np.unique(np.concatenate(rows), axis=0)
    held = sets.astype(np.int32)
    size = held.sum(axis=1)
    inside = held @ held.T == size[:, None]
    larger = size[None, :] > size[:, None]
    return np.asarray(sets[~np.any(inside & larger, axis=1)], dtype=bool)


def _nearest(points: Floats, squares: Mask) -> Labels:
    """Give every point the square, of those that hold it, whose middle is nearest."""
    reach = np.empty(squares.shape)
    for k, held in enumerate(squares):
        middle = (points[held].min(axis=0) + points[held].max(axis=0)) / 2.0
        reach[k] = np.where(held, np.abs(points - middle).max(axis=1), np.inf)
    return np.asarray(np.unique(np.argmin(reach, axis=0), return_inverse=True)[1], dtype=np.int64)


def _in_order(labels: Labels, key_mm: Floats) -> Labels:
    """Number the groups by their least key."""
    n_groups = int(labels.max()) + 1
    least = np.full(n_groups, np.inf)
    np.minimum.at(least, labels, key_mm)
    rank = np.empty(n_groups, dtype=np.int64)
    rank[np.argsort(least, kind="stable")] = np.arange(n_groups)
    return rank[labels]
