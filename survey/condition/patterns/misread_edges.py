"""Edges misread along the soffit, and single joints or bricks far out: left out before runs are looked for.

A misread edge makes one step too long and the next as much too short. Several in one place are no misreadings
but another rhythm, so one counts as misread only where it stands out from those about it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.ndimage import median_filter

from survey.condition.courses.middles import middle_of, scatter_of
from survey.condition.patterns.edge_chain import UNREAD_MM2, EdgeChain, weighed_chain
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints

LOG_ODDS = float(np.log(49.0))
"""One edge in fifty is misread (judgement)."""
MISREAD_MM = 20.0
"""By how much, as a standard deviation (judgement)."""
SINGLE_COST = 1.0
"""A single step far out is so much less likely than a misread edge (judgement)."""
STANDS_OUT = 2.0
"""What is misread is further out than so many times the median of those about it."""
AROUND = 13
NEXT_ALIKE = 2
"""So far apart are neighbours of the same kind. Two off the same way are no misreadings, but a run."""
APART = 5
"""Of two that are no further apart than this the likelier is judged first."""
MOST_ROUNDS = 10
LEAST_SCATTER_MM = 0.5
BACK = 4
"""Steps this far apart are of the same kind, share no reading, and alternate alike."""


class OwnScatter(NamedTuple):
    """Standard deviations of widths and of joints beside the readings'."""

    width_mm: float
    joint_mm: float


def own_scatter(chain: EdgeChain) -> OwnScatter:
    """How much widths and joints themselves vary, by steps two courses apart.

    A run of other bricks changes these only at its ends, and so does not swell them.
    """
    known = chain.is_read
    difference = np.where(known[BACK:] & known[:-BACK], chain.step_mm[BACK:] - chain.step_mm[:-BACK], np.nan)
    reading = 2.0 * middle_of(chain.edge_mm2[chain.edge_mm2 < UNREAD_MM2])
    found = []
    for kind in (0, 1):
        own = difference[kind::2]
        seen = 0.5 * scatter_of(own) ** 2 if np.isfinite(own).any() else 0.0
        found.append(float(np.sqrt(max(seen - reading, LEAST_SCATTER_MM**2))))
    return OwnScatter(*found)


def without_misread(chain: EdgeChain) -> EdgeChain:
    """The chain with misread edges and single steps far out counting for nothing."""
    scatter = own_scatter(chain)
    for _ in range(MOST_ROUNDS):
        edges, steps = _far_out(chain, scatter)
        if len(edges) + len(steps) == 0:
            break
        chain = chain.without(edges, steps)
    return chain


def _far_out(chain: EdgeChain, scatter: OwnScatter) -> tuple[Ints, Ints]:
    """Edges and steps that the others contradict most, well apart from each other."""
    weighed = weighed_chain(chain, scatter.width_mm, scatter.joint_mm)
    diagonal, beside = weighed.near_diagonal()
    edge_pull = weighed.pull[:-1] - weighed.pull[1:]
    edge_precision = diagonal[:-1] + diagonal[1:] - 2.0 * beside
    read = chain.edge_mm2[1:-1] < UNREAD_MM2
    edge_odds = _odds(edge_pull, edge_precision, read)
    step_odds = _odds(weighed.pull, diagonal, chain.is_read) - SINGLE_COST
    n = len(edge_odds)
    odds = np.concatenate([edge_odds, step_odds])
    # Edge k + 1 lies between steps k and k + 1.
    place = np.concatenate([np.arange(n) + 0.5, np.arange(n + 1.0)])
    taken: list[int] = []
    for i in np.argsort(-odds):
        if odds[i] <= 0.0 or odds[i] < 0.5 * odds.max():
            break
        if all(abs(place[i] - place[j]) > APART for j in taken):
            taken.append(int(i))
    found = np.array(taken, dtype=np.int64)
    return found[found < n] + 1, found[found >= n] - n


def _odds(pull: Floats, precision: Floats, known: np.ndarray) -> Floats:
    """Log odds (n,) that each is misread; nothing where it does not stand out from those about it."""
    odds = np.full(len(pull), -np.inf)
    if not known.any():
        return odds
    shift = pull[known] / precision[known]
    variance = 1.0 / precision[known]
    wider = variance + MISREAD_MM**2
    likelier = 0.5 * shift**2 * (1.0 / variance - 1.0 / wider) - 0.5 * np.log(wider / variance) - LOG_ODDS
    if not (likelier > 0.0).any():
        return odds
    around = median_filter(np.abs(shift), size=AROUND, mode="mirror")
    odds[known] = np.where(np.abs(shift) > STANDS_OUT * around, likelier, -np.inf)
    every = np.zeros(len(pull))
    every[known] = shift
    odds[_has_alike(every)] = -np.inf
    return odds


def _has_alike(shift: Floats) -> np.ndarray:
    """Mask (n,) of shifts of which the next of the same kind goes the same way, and half as far."""
    alike = np.zeros(len(shift), dtype=bool)
    before, after = shift[:-NEXT_ALIKE], shift[NEXT_ALIKE:]
    alike[:-NEXT_ALIKE] |= after * np.sign(before) >= 0.5 * np.abs(before)
    alike[NEXT_ALIKE:] |= before * np.sign(after) >= 0.5 * np.abs(after)
    return np.asarray(alike & (shift != 0.0), dtype=bool)
