"""Which points are gross errors: points far from what all the others say of them.

Every point is either good (its scatter as the rest) or gross (anywhere within some centimetres). Each is
compared with its prediction from all other points, the irregularity of its neighbours included, and its
weight is the probability that it is good (a mixture, settled in a few rounds). To judge points before the
family is known, the curve may bend smoothly away from a first fit.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.solving.noise import Nodes, Scatter, Whitener, whitener

GROSS_SHARE = 0.02
"""Share of gross errors to expect in a hand survey; judgement."""
GROSS_SIZE_MM = 30.0
SMALLEST_WEIGHT = 1e-6
N_BENDS = 20
BEND_RATIO = 0.02
"""Size of smooth bends to allow for, as a share of the half-span."""
ROUNDS = 8
SETTLED = 0.02


class Bends(NamedTuple):
    """Smooth departures: columns (n, b) over the points and the standard deviation (b,) of each amplitude."""

    columns: Floats
    spread_mm: Floats


def bends_along(share: Floats, half_span_mm: float, n_bends: int = N_BENDS) -> Bends:
    """Cosine bends at shares (n,) of the arch's length, the finer the smaller."""
    order = np.arange(n_bends)
    spread = BEND_RATIO * half_span_mm / np.maximum(1.0, order / 2.0) ** 1.5
    return Bends(np.cos(np.pi * np.clip(share, 0.0, 1.0)[:, None] * order), spread)


def probability_good(difference: Floats, variance: Floats) -> Floats:
    """Probability (n,) that points are good, given differences from their prediction and good variances."""
    gross = variance + GROSS_SIZE_MM**2
    log_odds = (
        np.log(GROSS_SHARE / (1 - GROSS_SHARE))
        + 0.5 * np.log(variance / gross)
        + 0.5 * difference**2 * (1 / variance - 1 / gross)
    )
    good = 1.0 / (1.0 + np.exp(np.minimum(log_odds, 50.0)))
    return np.asarray(np.maximum(good, SMALLEST_WEIGHT))


def weigh_points(
    nodes: Nodes, sigma_mm: Floats, distance: Floats, scatter: Scatter, bends: Bends | None = None
) -> Floats:
    """Weights (n,) of points with sigmas (n,) at distances (n,) from a curve, under a scatter."""
    weight = np.ones(len(distance))
    for _ in range(ROUNDS):
        metric = whitener(nodes, sigma_mm, weight, scatter)
        left = metric.left_out(distance if bends is None else distance - _bent(metric, distance, bends))
        # A point's own measuring variance stands in the prediction's variance by its present weight.
        own = (scatter.sigma_factor * sigma_mm) ** 2
        variance = left.variance + own * (1.0 - 1.0 / weight)
        before, weight = weight, probability_good(left.difference, np.maximum(variance, own))
        if np.max(np.abs(weight - before)) < SETTLED:
            break
    return weight


def _bent(metric: Whitener, distance: Floats, bends: Bends) -> Floats:
    """The smooth part (n,) of distances (n,): amplitudes by their spread against the scatter."""
    weighted = metric.apply(np.column_stack([distance, bends.columns]))
    products = bends.columns.T @ weighted
    matrix = products[:, 1:] + np.diag(bends.spread_mm**-2.0)
    return np.asarray(bends.columns @ np.linalg.solve(matrix, products[:, 0]))
