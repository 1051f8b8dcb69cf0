"""Surveyed edges without course numbers, clustered into bricks by the alternation of widths and joints."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import LEFT, MID, RIGHT, UNLABELLED, Ints

JOINTS_TRIED_MM = np.arange(1.0, 31.0)
"""Joints tried for the rhythm; wider ones than 30 mm are gaps."""
BRICK_SCATTER_RATIO = 0.05
"""Brick-to-brick scatter of the pitch allowed for, as a share of the brick's width (judgement)."""
MISSED_EDGE_COST = 3.0
"""Cost, in log likelihood, of each edge the surveyor left out."""
GAP_COST = 8.0
"""Cost of a gap, however many edges it swallows."""
STRAY_COST = 6.0
"""Cost of taking a point as a gross error."""
LEAST_GAIN = 0.3
"""Log likelihood a point the rhythm must win over points strewn at random."""

_BACK = 3
"""How far back the chain looks: up to two stray points between two good ones."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgeCourses:
    """Points of one ring parsed into bricks; parallel to the points given, in their order.

    Attributes
    ----------
    course : (n,) int
        Number within the run, from 1 at the first brick met; gaps are counted by the nearest whole pitch.
        UNKNOWN (-1) for strays.
    edge : (n,) int
        ``LEFT``, ``RIGHT`` or ``MID``.
    width_mm, joint_mm : float
        The rhythm found.
    believable : bool
        False where the points show no rhythm of bricks (a scan, or points taken anywhere).
    """

    course: Ints
    edge: Ints
    width_mm: float
    joint_mm: float
    believable: bool


def edges_to_courses(along_mm: ArrayLike, edge: ArrayLike, sigma_mm: float, width_mm: float) -> EdgeCourses:
    """Which brick and edge each point is, from the spacing along the ring alone.

    Every point is taken as a left edge, a right edge or a middle; two neighbours then lie a whole number of
    pitches apart but for the difference of their places within the brick. The likeliest chain is found for
    every joint that a ring may have, strays and edges left out allowed.

    Parameters
    ----------
    along_mm : array_like (n,)
        Arc length of the points along the ring's inner curve, in any order.
    edge : array_like (n,) int
        ``LEFT``, ``RIGHT``, ``MID`` where noted, else ``UNLABELLED``.
    sigma_mm : float
        Standard uncertainty of a point.
    width_mm : float
        The brick's width as recorded.

    Notes
    -----
    The chain is found by dynamic programming; A. J. Viterbi, "Error bounds for convolutional codes and an
    asymptotically optimum decoding algorithm", IEEE Transactions on Information Theory 13 (1967) 260-269.

    Examples
    --------
    >>> found = edges_to_courses([10, 60, 70, 120, 250, 300, 310, 360], [UNLABELLED] * 8, 1.0, 50.0)
    >>> found.course.tolist(), found.joint_mm
    ([1, 1, 2, 2, 5, 5, 6, 6], 10.0)
    """
    along = np.asarray(along_mm, dtype=float)
    noted = np.asarray(edge, dtype=np.int64)
    order = np.argsort(along, kind="stable")
    x, kinds = along[order], noted[order]
    best = _no_chain(len(x), width_mm)
    if 3 <= len(x) <= 8 * max((x[-1] - x[0]) / width_mm, 1.0):
        best = _chain(x, kinds, sigma_mm, width_mm)
    course = np.full(len(x), -1, dtype=np.int64)
    place = np.full(len(x), MID, dtype=np.int64)
    if best.believable:
        course[order], place[order] = best.course, best.edge
    return EdgeCourses(course, place, best.width_mm, best.joint_mm, best.believable)


def _no_chain(n: int, width_mm: float) -> EdgeCourses:
    return EdgeCourses(np.full(n, -1), np.full(n, MID), width_mm, float("nan"), False)


def _chain(x: Floats, kinds: Ints, sigma_mm: float, width_mm: float) -> EdgeCourses:
    """The likeliest chain over both ways of taking unlabelled points (edges, middles) and all joints."""
    results: list[tuple[float, EdgeCourses]] = []
    for unlabelled_is in ((LEFT, RIGHT), (MID,)):
        allowed = np.zeros((len(x), 3), dtype=bool)
        for kind in (LEFT, RIGHT, MID):
            allowed[kinds == kind, kind] = True
        allowed[np.ix_(kinds == UNLABELLED, unlabelled_is)] = True
        width = width_mm
        path = _best_path(x, allowed, sigma_mm, width, JOINTS_TRIED_MM)
        for _ in range(2):
            width, joint = _measured_rhythm(x, path, width)
            path = _best_path(x, allowed, sigma_mm, width, np.array([joint]))
        spacing = np.diff(x)
        strewn = float(len(spacing) * (1.0 + np.log(max(spacing.mean(), 1e-9))))
        believable = strewn - path.cost > max(LEAST_GAIN * len(x), 3.0)
        number = np.where(path.stray, -1, path.course - path.course[~path.stray].min() + 1)
        results.append((path.cost, EdgeCourses(number, path.edge, width, path.joint_mm, bool(believable))))
        if not (kinds == UNLABELLED).any():
            break
    return min(results, key=lambda r: r[0])[1]


@dataclass(frozen=True, slots=True, eq=False)
class _Path:
    """The cheapest chain: each point's course, counted from any start, and edge, or that it is a stray."""

    cost: float
    course: Ints
    edge: Ints
    stray: NDArray[np.bool_]
    joint_mm: float


def _best_path(
    x: Floats, allowed: NDArray[np.bool_], sigma_mm: float, width_mm: float, joints_mm: Floats
) -> _Path:
    """Cheapest chain through the sorted points ``x`` over all places allowed (n, 3) and all joints given."""
    n, n_joints = len(x), len(joints_mm)
    pitch = width_mm + joints_mm
    place = np.array([0.0, width_mm, width_mm / 2])
    shift = (place[None, :] - place[:, None])[None, :, :, None]
    least = (shift < 0).astype(float)
    variance = 2 * sigma_mm**2 + (BRICK_SCATTER_RATIO * width_mm) ** 2
    barred = np.where(allowed, 0.0, np.inf)[:, :, None]
    cost = np.full((n, 3, n_joints), np.inf)
    came = np.full((n, 3, n_joints), -1, dtype=np.int64)
    jump = np.zeros((n, 3, n_joints), dtype=np.int64)
    strays = STRAY_COST * np.arange(_BACK)[:, None, None, None]
    for i in range(n):
        if i <= _BACK:
            cost[i] = barred[i] + i * STRAY_COST
        back = min(i, _BACK)
        if back == 0:
            continue
        apart = (x[i] - x[i - back : i][::-1])[:, None, None, None]
        steps = np.maximum(np.round((apart - shift) / pitch), least)
        miss = apart - shift - steps * pitch
        spread = variance * np.maximum(steps, 1.0)
        step = 0.5 * (miss**2 / spread + np.log(2 * np.pi * spread)) + _skip_cost(steps) + strays[:back]
        total = (cost[i - back : i][::-1][:, :, None, :] + step + barred[i]).reshape(back * 3, 3, n_joints)
        source = np.argmin(total, axis=0)[None]
        value = np.take_along_axis(total, source, axis=0)[0]
        hops = np.take_along_axis(steps.reshape(back * 3, 3, n_joints), source, axis=0)[0]
        better = value < cost[i]
        cost[i] = np.where(better, value, cost[i])
        came[i] = np.where(better, source[0], -1)
        jump[i] = np.where(better, hops, 0)
    return _walk_back(cost, came, jump, joints_mm)


def _skip_cost(steps: Floats) -> Floats:
    """Cost of the edges left out between two points, by their places within the brick and the pitches."""
    left_out = 2 * steps - 1
    left_out[:, LEFT, RIGHT] += 1
    left_out[:, RIGHT, LEFT] -= 1
    left_out[:, MID] = steps[:, MID] - 1
    left_out[:, RIGHT, MID] = steps[:, RIGHT, MID] - 1
    left_out[:, LEFT, MID] = steps[:, LEFT, MID]
    left_out[:, MID, RIGHT] = steps[:, MID, RIGHT]
    return np.minimum(MISSED_EDGE_COST * np.maximum(left_out, 0.0), GAP_COST)


def _walk_back(cost: Floats, came: Ints, jump: Ints, joints_mm: Floats) -> _Path:
    """Follow the cheapest chain back from its end, the last few points being strays if that is cheaper."""
    n = len(cost)
    tail = cost[-(_BACK + 1) :]
    tail = tail + STRAY_COST * np.arange(len(tail))[::-1, None, None]
    last, state, joint = (int(v) for v in np.unravel_index(int(np.argmin(tail)), tail.shape))
    course = np.zeros(n, dtype=np.int64)
    edge = np.full(n, MID, dtype=np.int64)
    stray = np.ones(n, dtype=bool)
    i, number = n - len(tail) + last, 0
    while True:
        course[i], edge[i], stray[i] = number, state, False
        source = int(came[i, state, joint])
        if source < 0:
            break
        number -= int(jump[i, state, joint])
        i, state = i - 1 - source // 3, source % 3
    return _Path(float(tail.min()), course, edge, stray, float(joints_mm[joint]))


def _measured_rhythm(x: Floats, path: _Path, width_mm: float) -> tuple[float, float]:
    """Median width and joint of neighbouring points of the chain, or what was assumed without any."""
    kept = np.flatnonzero(~path.stray)
    step = np.diff(path.course[kept])
    first, then, apart = path.edge[kept][:-1], path.edge[kept][1:], np.diff(x[kept])
    widths = apart[(first == LEFT) & (then == RIGHT) & (step == 0)]
    pitches = apart[(first == then) & (step == 1)]
    joints = apart[(first == RIGHT) & (then == LEFT) & (step == 1)]
    width = float(np.median(widths)) if len(widths) >= 3 else width_mm
    if len(joints) >= 3:
        return width, float(np.median(joints))
    return width, float(np.median(pitches)) - width if len(pitches) >= 3 else path.joint_mm
