"""Chains of edges built by hand: bricks and joints that scatter, read with errors."""

from __future__ import annotations

import numpy as np
from condition.factory import LaidRing, fit_of, record_of

from survey.condition.courses.ring_table import RingTable, ring_table
from survey.condition.patterns.block_sums import ChainInverse
from survey.condition.patterns.edge_chain import EdgeChain, edge_chain
from survey.curves import curve_of, semicircular
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import average_edges
from survey.fitting.counting.numbering import number_points
from survey.record.model import Record

N = 60
SHAPE = semicircular(1200.0)


def table_of(record: Record) -> RingTable:
    """Ring 1 of a record on that semicircle."""
    curve = curve_of(SHAPE)
    places = number_points(record, curve, (0.0, 0.0)).places
    count = fit_of(record, SHAPE).courses[0]
    return ring_table(record, curve, record.rings[0], places, average_edges(record, places), count)


def chain_of(edges_mm: Floats, sigma_mm: float = 1.0) -> EdgeChain:
    """A sound chain with its 2 N edges put at these places along the ring, read to this sigma."""
    laid = edge_chain(table_of(record_of(SHAPE, [LaidRing(N)], sigma_mm=sigma_mm)))
    assert len(edges_mm) == 2 * N
    return EdgeChain(np.diff(edges_mm), laid.edge_mm2, laid.own_mm2, laid.usual, laid.stiffness, laid.whole)


def edges_of(seed: int, *, width_mm: float = 0.8, joint_mm: float = 1.0, sigma_mm: float = 1.0) -> Floats:
    """Edges (2 N,) of bricks of 50 and joints of 12 mm that scatter by so much, read to this sigma."""
    rng = np.random.default_rng(seed)
    step = np.where(np.arange(2 * N - 1) % 2 == 0, 50.0, 12.0)
    step[::2] += rng.normal(0, width_mm, N)
    step[1::2] += rng.normal(0, joint_mm, N - 1)
    return np.concatenate([[0.0], np.cumsum(step)]) + rng.normal(0, sigma_mm, 2 * N)


def written_out(matrix: ChainInverse) -> Floats:
    """Every number (n, n) of a matrix told by four rows."""
    n = len(matrix.diagonal)
    found = np.diag(matrix.diagonal)
    for i in range(n):
        for j in range(i + 1, n):
            found[i, j] = matrix.left[i] * np.prod(matrix.ratio[i + 1 : j + 1]) * matrix.right[j]
            found[j, i] = found[i, j]
    return found
