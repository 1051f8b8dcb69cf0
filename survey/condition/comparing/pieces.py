"""A ring between two surveys as pieces that each went as one, and courses that went otherwise.

Bricks of one piece keep their places to each other, so what the tie of the surveys does not know is the same
for all of them: against its piece a course shows less movement than against the tied points.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.curves.protocol import Floats

FEWEST_IN_PIECE = 4
"""A piece of fewer courses is no piece: three of them fit almost any turn and shift."""
FEWEST_IN_LONG = 8
LONG_SHARE = 1 / 8
"""Only pieces of at least so many courses, and of so much of their ring, are told or judged by."""
NEAR_COURSES = 3
"""Courses on either side that a course is held against before the pieces are looked for."""
ASTRAY_SIGMAS = 3.5
"""Further than this off its neighbours a course is kept out of the pieces."""
MEDIAN_WIDENS = 1.5
"""Square of the uncertainty of a difference from the median of six, over the square of one alone, rounded up
from ``1 + pi / 12``."""
BREAK_COURSES = 2
"""So near a break a course may belong to the piece on its other side."""


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """How the courses of one ring moved, in their order: number (n,), place, step (n, 2), own sigma (n,).

    The sigma is of either coordinate of the step, without the tie. ``usable`` (n,) is False for misread ones.
    """

    course: np.ndarray
    xy_mm: Floats
    step_mm: Floats
    sigma_mm: Floats
    usable: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class RigidPiece:
    """Courses ``start`` to ``end`` (exclusive, places in :class:`Steps`) and the step they share.

    ``motion`` (3,) is the shift of the middle of the ring and the turn about it in radians, ``covariance``
    (3, 3) theirs.
    """

    start: int
    end: int
    motion: Floats
    covariance: Floats
    middle_mm: Floats

    def step_at(self, xy_mm: Floats) -> Floats:
        """The step (n, 2) it gives places (n, 2)."""
        return np.asarray(_design(xy_mm - self.middle_mm) @ self.motion, dtype=float)

    def variance_at(self, xy_mm: Floats) -> Floats:
        """Variance (n, 2) of either coordinate of that step."""
        rows = _design(xy_mm - self.middle_mm)
        return np.asarray(np.einsum("nij,jk,nik->ni", rows, self.covariance, rows), dtype=float)


@dataclass(frozen=True, slots=True, eq=False)
class Parting:
    """A ring parted into pieces that each went as one.

    Attributes
    ----------
    pieces : tuple of RigidPiece
        The long ones.
    apart_mm, variance_mm2 : (n, 2) float
        How far every course lies off the others of its long piece; NaN where it is in none.
    """

    pieces: tuple[RigidPiece, ...]
    apart_mm: Floats
    variance_mm2: Floats


def part_ring(steps: Steps) -> Parting:
    """Part a ring into pieces that each went as one, and hold every course against its own.

    Notes
    -----
    The pieces are looked for twice: first without the courses far off their neighbours, then without those
    far off the pieces found, so that a break is set where it is.

    A course that bore on the motion of its piece is held against the others alone: with the share ``h`` of
    its own in that motion, misfit and variance are both divided by ``1 - h``.
    """
    bore = steps.usable & ~_astray(steps)
    for _ in range(2):
        pieces = _long_pieces(steps, bore)
        parting = _held(steps, pieces, bore)
        far = _scores(parting.apart_mm, parting.variance_mm2)
        bore = steps.usable & np.where(np.isfinite(far), far < ASTRAY_SIGMAS**2, bore)
    return parting


def _long_pieces(steps: Steps, bore: np.ndarray) -> tuple[RigidPiece, ...]:
    """The long pieces of a ring that each went as one, by the courses (n,) that may bear on them.

    Notes
    -----
    Of all ways to part the ring that one is taken whose sum of squared misfits over their variance, plus
    ``4 ln(2 n)`` for each piece (shift, turn and place of its break, the Bayesian information criterion), is
    least. It is found exactly, by dynamic programming over the courses. Small turns are meant: the square of
    the turn is neglected.
    """
    used = np.flatnonzero(bore)
    if len(used) < FEWEST_IN_LONG:
        return ()
    middle = steps.xy_mm[used].mean(axis=0)
    rows = _design(steps.xy_mm[used] - middle)
    weight = steps.sigma_mm[used] ** -2.0
    step = steps.step_mm[used]
    normal = _running(np.einsum("n,nij,nik->njk", weight, rows, rows))
    right = _running(np.einsum("n,nij,ni->nj", weight, rows, step))
    square = _running(weight * (step**2).sum(axis=1))
    longest = max(FEWEST_IN_LONG, LONG_SHARE * len(steps.course))
    found = []
    for i, j in pairwise(_parted(normal, right, square)):
        if j - i >= longest:
            covariance = np.linalg.inv(normal[j] - normal[i])
            motion = covariance @ (right[j] - right[i])
            found.append(RigidPiece(int(used[i]), int(used[j - 1]) + 1, motion, covariance, middle))
    return tuple(found)


def _held(steps: Steps, pieces: tuple[RigidPiece, ...], bore: np.ndarray) -> Parting:
    """Every course against its long piece, or, near a break, against the one beyond if that fits better.

    A course between two pieces is in neither unless it fits; one at the end of the ring has no other.
    """
    n = len(steps.course)
    apart, variance = np.full((n, 2), np.nan), np.full((n, 2), np.nan)
    for piece in pieces:
        for i in range(piece.start, piece.end):
            apart[i], variance[i] = _off(steps, i, piece, bore=bool(bore[i]))
    for piece in pieces:
        before = range(max(piece.start - BREAK_COURSES, 0), piece.start)
        for i in (*before, *range(piece.end, min(piece.end + BREAK_COURSES, n))):
            other, of_other = _off(steps, i, piece, bore=False)
            score, own = (float(_scores(a, v)) for a, v in ((other, of_other), (apart[i], variance[i])))
            outmost = i < piece.start <= BREAK_COURSES or i >= piece.end >= n - BREAK_COURSES
            if np.isnan(own):
                own = np.inf if outmost else ASTRAY_SIGMAS**2
            if score < own:
                apart[i], variance[i] = other, of_other
    return Parting(pieces, apart, variance)


def _scores(apart: Floats, variance: Floats) -> Floats:
    """Squares of distances (…, 2) over their variances, summed."""
    return np.asarray((apart**2 / variance).sum(axis=-1), dtype=float)


def _off(steps: Steps, i: int, piece: RigidPiece, *, bore: bool) -> tuple[Floats, Floats]:
    place = steps.xy_mm[i : i + 1]
    off = steps.step_mm[i] - piece.step_at(place)[0]
    own, shared = steps.sigma_mm[i] ** 2, piece.variance_at(place)[0]
    if not bore:
        return off, own + shared
    left = 1.0 - shared / own
    return off / left, own / left


def _design(xy: Floats) -> Floats:
    """Rows (n, 2, 3) of shift and turn for places (n, 2)."""
    rows = np.zeros((len(xy), 2, 3))
    rows[:, 0, 0] = rows[:, 1, 1] = 1.0
    rows[:, 0, 2], rows[:, 1, 2] = -xy[:, 1], xy[:, 0]
    return rows


def _running(values: Floats) -> Floats:
    """Sums from the start, (n + 1, ...), the first 0."""
    return np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])


def _astray(steps: Steps) -> np.ndarray:
    """Courses (n,) far off the median of their usable neighbours."""
    astray = np.zeros(len(steps.course), dtype=bool)
    for i, number in enumerate(steps.course):
        near = steps.usable & (np.abs(steps.course - number) <= NEAR_COURSES)
        near[i] = False
        if near.sum() < NEAR_COURSES:
            continue
        off = steps.step_mm[i] - np.median(steps.step_mm[near], axis=0)
        astray[i] = np.abs(off).max() > ASTRAY_SIGMAS * np.sqrt(MEDIAN_WIDENS) * steps.sigma_mm[i]
    return astray


def _parted(normal: Floats, right: Floats, square: Floats) -> list[int]:
    """Bounds of the pieces, from 0 to n, by dynamic programming."""
    n = len(square) - 1
    penalty = 4.0 * np.log(2.0 * n)
    best, last = np.full(n + 1, np.inf), np.zeros(n + 1, dtype=np.int64)
    best[0] = 0.0
    for j in range(FEWEST_IN_PIECE, n + 1):
        i = np.arange(0, j - FEWEST_IN_PIECE + 1)
        b = right[j] - right[i]
        motion = np.linalg.solve(normal[j] - normal[i], b[:, :, None])[:, :, 0]
        cost = best[i] + square[j] - square[i] - (b * motion).sum(axis=1) + penalty
        k = int(np.argmin(cost))
        best[j], last[j] = cost[k], i[k]
    bounds = [n]
    while bounds[-1] > 0:
        bounds.append(int(last[bounds[-1]]))
    return bounds[::-1]
