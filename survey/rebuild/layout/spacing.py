"""Joints that close: the bounded least-squares problem with one equality, solved exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Floats
from survey.errors import PlanError


@dataclass(frozen=True, slots=True, eq=False)
class JointSpread:
    """Joints that add up to a given total.

    Attributes
    ----------
    joints_mm : (n,) float
    missing_mm : float
        0 when the joints fit their limits. Positive: the least joints together are longer than the room there
        is by so much. Negative: the greatest joints together leave so much room unfilled. The joints are then
        all equal and outside their limits, so that a drawing shows the trouble.
    """

    joints_mm: Floats
    missing_mm: float

    @property
    def fits(self) -> bool:
        """True when every joint is inside its limits."""
        return self.missing_mm == 0.0


def spread_joints(
    target_mm: ArrayLike,
    total_mm: float,
    *,
    min_mm: ArrayLike,
    max_mm: ArrayLike,
    weight: ArrayLike = 1.0,
) -> JointSpread:
    r"""Joints nearest to a rhythm that add up to a total and stay inside their limits.

    Parameters
    ----------
    target_mm : (n,) float, mm
        The rhythm aimed at.
    total_mm : float, mm
        What the joints must add up to.
    min_mm, max_mm : (n,) or single float, mm
        Limits of each joint.
    weight : (n,) or single float
        How dear a departure from the target is, joint by joint; positive.

    Returns
    -------
    JointSpread

    Raises
    ------
    PlanError
        When there is no joint, a weight is not positive, or a least joint exceeds the greatest.

    Notes
    -----
    Minimises :math:`\sum w_k (j_k - t_k)^2` subject to :math:`\sum j_k = S` and :math:`l_k \le j_k \le u_k`.
    The conditions of optimality give :math:`j_k = \min(u_k, \max(l_k, t_k + \lambda / w_k))` with one
    multiplier :math:`\lambda`; the sum is a growing, piecewise linear function of it, so its root is found
    exactly by sorting the 2n breakpoints.

    Examples
    --------
    >>> spread_joints([8.0, 10.0, 12.0], 36.0, min_mm=4.0, max_mm=12.5).joints_mm.tolist()
    [11.0, 12.5, 12.5]
    """
    target, low, high, w = np.broadcast_arrays(
        *(np.asarray(a, dtype=float) for a in (np.atleast_1d(target_mm), min_mm, max_mm, weight))
    )
    n = target.size
    if n == 0:
        raise PlanError("no joint to spread a length over; a ring has at least one")
    if not np.all(w > 0.0):
        raise PlanError("a joint's weight is not positive; give weights above 0")
    if np.any(low > high):
        k = int(np.argmax(low > high))
        raise PlanError(
            f"joint {k}: the least width {low[k]:.2f} mm is above the greatest {high[k]:.2f} mm; "
            "set [joints] min below max in arch.toml"
        )
    short_mm, long_mm = float(low.sum()) - total_mm, total_mm - float(high.sum())
    slop_mm = 1e-9 * max(1.0, abs(total_mm))
    if short_mm > slop_mm or long_mm > slop_mm:
        return JointSpread(np.full(n, total_mm / n), short_mm if short_mm > 0.0 else -long_mm)
    joints = np.clip(target + _multiplier(target, total_mm, low, high, w) / w, low, high)
    return JointSpread(_closed(joints, total_mm, low, high), 0.0)


def _multiplier(target: Floats, total_mm: float, low: Floats, high: Floats, weight: Floats) -> float:
    """Root of the piecewise linear sum of the clipped joints."""
    at = np.concatenate([(low - target) * weight, (high - target) * weight])
    slope = np.concatenate([1.0 / weight, -1.0 / weight])
    order = np.argsort(at, kind="stable")
    at, slope = at[order], np.cumsum(slope[order])
    sums = low.sum() + np.concatenate([[0.0], np.cumsum(slope[:-1] * np.diff(at))])
    k = int(np.clip(np.searchsorted(sums, total_mm, side="right") - 1, 0, at.size - 1))
    if k + 1 == at.size or slope[k] < 1e-9 * slope.max():
        return float(at[k])  # every joint stands at a limit here: the sum no longer depends on the multiplier
    return float(at[k] + (total_mm - sums[k]) / slope[k])


def _closed(joints: Floats, total_mm: float, low: Floats, high: Floats) -> Floats:
    """Take the last rounding (1e-13 of the length) on the joints that are free to move."""
    rest = total_mm - float(joints.sum())
    free = (joints > low) & (joints < high)
    if rest == 0.0 or not free.any():
        return joints
    return np.where(free, np.clip(joints + rest / free.sum(), low, high), joints)
