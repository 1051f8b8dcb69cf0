"""The edges of one ring's bricks in a row: width, joint, width, joint, as far as they were read.

Each step from one edge to the next is a brick or a joint. Bricks and joints vary independently, but two steps
that meet share the reading of the edge between them, which makes the one longer and the other as much
shorter. Their covariance is tridiagonal: the step's own variance and those of its two readings on the
diagonal, and less the variance of the shared reading beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.condition.courses.middles import middle_of
from survey.condition.courses.ring_table import RingTable
from survey.condition.patterns.block_sums import ChainInverse
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import INNER, LEFT, RIGHT, Ints
from survey.fitting.solving.tridiagonal import factorised, pivots_from_behind, solved

UNREAD_MM2 = 1e6
"""Variance of an edge that was not read, and of a joint beside courses that were not: as good as unknown."""
WIDTH_DRIFT_RATIO, JOINT_DRIFT_RATIO = 0.01, 0.15
"""How much widths and joints drift from one springing to the other, as standard deviations and shares of
themselves (judgement): bricks of one lot are alike, joints are what a mason makes up with."""
CROWN_RATIO = 2.0
"""From the springings to the crown joints change so many times as much (judgement)."""
LEAST_MIDDLE_MM = 1.0
"""The usual width and joint are taken for this at least, so that a drift remains possible."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgeChain:
    """The 2 N edges of N courses and the 2 N - 1 steps between them, widths first.

    Attributes
    ----------
    step_mm : (2 N - 1,) float
        From every edge to the next; those between unread edges by the rhythm, and of no weight.
    edge_mm2 : (2 N,) float
        Variance of every edge's reading.
    own_mm2 : (2 N - 1,) float
        Variance of a step beside what bricks and joints have anyhow: nothing, or as good as unknown.
    usual : (2 N - 1, k) float
        What widths and joints do in a sound ring, as columns.
    stiffness : (k,) float
        Inverse variance of their coefficients, 0 where nothing is known of one.
    whole : (m,) int
        Courses of which both edges were read, from 0.
    """

    step_mm: Floats
    edge_mm2: Floats
    own_mm2: Floats
    usual: Floats
    stiffness: Floats
    whole: Ints

    @property
    def n_courses(self) -> int:
        """N."""
        return (len(self.step_mm) + 1) // 2

    @property
    def is_read(self) -> np.ndarray:
        """Mask (2 N - 1,) of steps of which both edges were read, and which count."""
        read = self.edge_mm2 < UNREAD_MM2
        return np.asarray(read[:-1] & read[1:] & (self.own_mm2 < UNREAD_MM2), dtype=bool)

    def without(self, edges: Ints, steps: Ints) -> EdgeChain:
        """The same with some edges' readings, and some steps, counting for nothing."""
        edge, own = self.edge_mm2.copy(), self.own_mm2.copy()
        edge[edges] = own[steps] = UNREAD_MM2
        return replace(self, edge_mm2=edge, own_mm2=own)

    def beside(self, template: Floats) -> EdgeChain:
        """The same with one more column (2 N - 1,) that is as usual as the others, by any amount."""
        return replace(
            self,
            usual=np.column_stack([self.usual, template]),
            stiffness=np.append(self.stiffness, 0.0),
        )


def whole_courses(table: RingTable) -> Ints:
    """Courses (m,), from 0, of which both edges of the soffit were read."""
    return np.flatnonzero(np.isfinite(table.edge_deviation_mm[:, INNER][:, [LEFT, RIGHT]]).all(axis=1))


def edge_chain(table: RingTable) -> EdgeChain:
    """The chain of one ring's edges on the soffit; of two courses at least.

    Widths have a mean, one that alternates from course to course (as where stretchers and headers do), and a
    small drift; joints a mean and a drift; both may change towards the crown.
    """
    inner = table.edge_deviation_mm[:, INNER]
    read = np.isfinite(inner[:, [LEFT, RIGHT]]).ravel()
    sigma = table.edge_sigma_mm[:, INNER][:, [LEFT, RIGHT]].ravel()
    along = np.column_stack([table.start_along_mm, table.end_along_mm]).ravel()
    step = np.diff(along)
    is_width = np.arange(len(step)) % 2 == 0
    gone = np.repeat(~(read[::2] | read[1::2]), 2)
    at = (along[1:] + along[:-1]) / 2
    at = 2 * (at - at.min()) / float(np.ptp(at)) - 1
    drift, crown = at, np.abs(at) - 0.5
    turn = np.where(np.arange(len(step)) % 4 == 0, 1.0, -1.0)
    width, joint = is_width.astype(float), (~is_width).astype(float)
    usual = [width, width * turn, joint, width * drift, width * crown, joint * drift, joint * crown]
    wide = WIDTH_DRIFT_RATIO * max(middle_of(step[is_width]), LEAST_MIDDLE_MM)
    open_ = JOINT_DRIFT_RATIO * max(middle_of(step[~is_width]), LEAST_MIDDLE_MM)
    spread = np.array([wide, wide, open_, CROWN_RATIO * open_])
    return EdgeChain(
        step_mm=step,
        edge_mm2=np.where(read, np.where(read, sigma, 1.0) ** 2, UNREAD_MM2),
        own_mm2=np.where(~is_width & (gone[:-1] | gone[1:]), UNREAD_MM2, 0.0),
        usual=np.column_stack(usual),
        stiffness=np.concatenate([np.zeros(3), spread**-2.0]),
        whole=whole_courses(table),
    )


@dataclass(frozen=True, slots=True, eq=False)
class WeighedChain:
    """A chain under one scatter of its bricks and joints.

    With S the covariance of the steps, A the usual columns and L the stiffness of their coefficients,
    ``P = S^-1 - S^-1 A (A' S^-1 A + L)^-1 A' S^-1``.

    Attributes
    ----------
    main, beside : (n,) and (n - 1,) float
        Diagonal of S, and what stands beside it.
    pivot : (n,) float
        Of its L D L' factors.
    weighed : (n, k) float
        ``S^-1 A``.
    inverse : (k, k) float
        ``(A' S^-1 A + L)^-1``.
    pull : (n,) float
        P times the steps.
    log_likelihood : float
        Of the steps, the usual coefficients integrated out, but for what is the same under all scatters.
    """

    main: Floats
    beside: Floats
    pivot: Floats
    weighed: Floats
    inverse: Floats
    pull: Floats
    log_likelihood: float

    def without_usual(self) -> ChainInverse:
        """S^-1 (n, n), from the pivots from both ends."""
        backward = pivots_from_behind(self.main, np.append(self.beside, 0.0))
        diagonal = 1.0 / (self.pivot + backward - self.main)
        ratio = np.append(1.0, -self.beside / backward[1:])
        return ChainInverse(diagonal, diagonal, np.ones(len(diagonal)), ratio)

    def near_diagonal(self) -> tuple[Floats, Floats]:
        """Diagonal (n,) of P, and what stands beside it (n - 1,)."""
        inverse = self.without_usual()
        followed = self.weighed @ self.inverse
        return (
            np.asarray(inverse.diagonal - (followed * self.weighed).sum(axis=1), dtype=float),
            np.asarray(
                inverse.ratio[1:] * inverse.diagonal[:-1] - (followed[:-1] * self.weighed[1:]).sum(axis=1),
                dtype=float,
            ),
        )

    def usual_coefficients(self, steps: Floats) -> Floats:
        """Coefficients (k,) of the usual columns for steps (n,)."""
        return np.asarray(self.inverse @ (self.weighed.T @ steps), dtype=float)


def weighed_chain(chain: EdgeChain, width_mm: float, joint_mm: float) -> WeighedChain:
    """Weigh a chain whose widths and joints scatter by so much (standard deviations, mm)."""
    own = chain.own_mm2.copy()
    own[::2] += width_mm**2
    own[1::2] += joint_mm**2
    main = own + chain.edge_mm2[:-1] + chain.edge_mm2[1:]
    beside = -chain.edge_mm2[1:-1]
    pivot, below = factorised(main, np.append(beside, 0.0))
    applied = solved(pivot, below, np.column_stack([chain.step_mm, chain.usual]))
    weighed_steps, weighed = applied[:, 0], applied[:, 1:]
    inner = chain.usual.T @ weighed + np.diag(chain.stiffness)
    inverse = np.asarray(np.linalg.inv(inner), dtype=float)
    pull = weighed_steps - weighed @ (inverse @ (chain.usual.T @ weighed_steps))
    log = np.log(pivot).sum() + np.linalg.slogdet(inner)[1] + float(chain.step_mm @ pull)
    return WeighedChain(main, beside, pivot, weighed, inverse, pull, float(-0.5 * log))
