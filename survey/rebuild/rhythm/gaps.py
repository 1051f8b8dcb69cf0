"""Which brick sizes fill a gap when no order foretells them: the mix that leaves the joints they had."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from survey.curves.protocol import Floats
from survey.rebuild.rhythm.sizes import BrickSizes

ORDER_HOLDS = 0.8
"""An order of sizes that predicts this share of the read courses is followed inside a gap too."""
ROOM_SIGMA_MM = 3.0
"""Standard uncertainty of a gap's room: two edges of worn bricks, beside the scatter of its joints."""


def sizes_by_room(
    sizes: BrickSizes, unread: NDArray[np.bool_], room_mm: Floats, joint_mm: Floats
) -> NDArray[np.int64]:
    """Size (N,) of every course, where runs of unread courses get the mix that best fills their room.

    Parameters
    ----------
    sizes : BrickSizes
        Of the ring; an order of sizes that holds is left alone.
    unread : (N,) bool
        Courses of which no width was read.
    room_mm : (2 N + 2,) float, mm
        Stations of all edges with both springings; the room of a run lies between the edges beside it.
    joint_mm : (N + 1,) float, mm
        Joints expected.

    Notes
    -----
    Of all mixes of a run the likeliest is taken: the shares of the sizes in the ring give each its chance,
    and the room it leaves for joints is compared with the joints expected, within ``ROOM_SIGMA_MM`` and the
    joints' and bricks' scatter. The bricks of a mix are spread evenly over the run.
    """
    of_course = sizes.of_course.copy()
    if sizes.sizes_mm.size == 1 or sizes.agreement >= ORDER_HOLDS:
        return of_course
    share = np.bincount(of_course[~unread], minlength=sizes.sizes_mm.size) / max(int((~unread).sum()), 1)
    step = np.diff(np.concatenate([[0], unread.astype(np.int8), [0]]))
    for a, b in zip(np.flatnonzero(step == 1), np.flatnonzero(step == -1), strict=True):
        left_mm, right_mm = room_mm[2 * a], room_mm[2 * b + 1]
        bricks_mm = float(right_mm - left_mm - joint_mm[a : b + 1].sum())
        of_course[a:b] = _mix(sizes, share, int(b - a), bricks_mm)
    return of_course


def _mix(sizes: BrickSizes, share: Floats, n: int, bricks_mm: float) -> NDArray[np.int64]:
    """The likeliest n bricks whose widths add up to about ``bricks_mm``, spread evenly."""
    mixes = _mixes(share.size, n)
    variance = ROOM_SIGMA_MM**2 + n * sizes.scatter_mm**2
    chance = np.maximum(share, 1e-9)  # a size of which none was read is all but excluded
    log_prior = mixes @ np.log(chance) - gammaln(mixes + 1.0).sum(axis=1)
    off = mixes @ sizes.sizes_mm - bricks_mm
    best = mixes[int(np.argmax(log_prior - 0.5 * off**2 / variance))]
    places = np.concatenate([(np.arange(k) + 0.5) / k for k in best if k])
    of_place = np.repeat(np.arange(share.size), best)
    return of_place[np.argsort(places, kind="stable")]


def _mixes(n_sizes: int, n: int) -> NDArray[np.int64]:
    """All ways (m, n_sizes) to make up n bricks."""
    firsts = np.indices((n + 1,) * (n_sizes - 1)).reshape(n_sizes - 1, -1).T
    firsts = firsts[firsts.sum(axis=1) <= n]
    return np.column_stack([firsts, n - firsts.sum(axis=1)])
