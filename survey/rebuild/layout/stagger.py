"""Joints of neighbouring rings kept from lining up, as far as the rhythm of the outer ring may give."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from survey.curves.protocol import Curve, Floats
from survey.rebuild.plan import RingPlan
from survey.rebuild.refusals import courses_named
from survey.rebuild.words import listed

STEP_MM = 0.5
"""Bricks are shifted by whole steps of this: finer than a mason lays."""
FURTHEST_MM = 12.0
"""No brick is shifted further: about half of what parts two joints of one ring would be another rhythm."""
ALIKE_MM = 1e-6
HANDFUL = 5
"""So many places are named one by one."""
FIRST_NAMED = 3
"""Of more than a handful the first few are named."""
UNEVEN_COURSES = 1.5
"""Places so much nearer or further than the others on average are still at an even distance: a joint lines up
within half a joint, which two neighbours may do at once."""
ORDINALS = (
    "", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh",
    "twelfth", "13th", "14th", "15th", "16th", "17th", "18th", "19th", "20th",
)  # fmt: skip
"""Every how many courses, in words."""


@dataclass(frozen=True, slots=True, eq=False)
class OuterJoints:
    """Joints of a ring against those of the ring inside it.

    Attributes
    ----------
    middle_mm : (N + 1,) float
        Stations of the middles of its joints on its inner curve.
    width_mm : (N + 1,) float
    inside_mm : (k,) float
        Stations on the same curve of the joints of the ring inside, growing, without those at the springings.
    inside_width_mm : (k,) float
        Their widths at the back.
    """

    middle_mm: Floats
    width_mm: Floats
    inside_mm: Floats
    inside_width_mm: Floats

    def line_up(self, middle_mm: Floats) -> NDArray[np.bool_]:
        """Which middles stand over a joint of the ring inside: nearer than half the mean of both widths.

        ``middle_mm`` has the joints in its last axis.
        """
        at = np.clip(np.searchsorted(self.inside_mm, middle_mm), 1, self.inside_mm.size - 1)
        at = at - (middle_mm - self.inside_mm[at - 1] < self.inside_mm[at] - middle_mm)
        reach = 0.25 * (self.width_mm + self.inside_width_mm[at])
        return np.asarray(np.abs(middle_mm - self.inside_mm[at]) < reach)


def joints_against(start_mm: Floats, end_mm: Floats, inner: Curve, inside: RingPlan) -> OuterJoints:
    """Joints of a ring with bricks between given stations against those of the ring inside it."""
    left = np.concatenate([[0.0], end_mm])
    right = np.concatenate([start_mm, [inner.length_mm]])
    corners = np.stack([b.corners_mm for b in inside.bricks])
    before, after = corners[:-1, 2], corners[1:, 3]
    return OuterJoints(
        0.5 * (left + right),
        right - left,
        np.sort(inner.locate(0.5 * (before + after)).station_mm),
        np.hypot(*(after - before).T),
    )


def lined_up(joints: OuterJoints) -> NDArray[np.int64]:
    """Courses after which a joint lines up with one of the ring inside; the skewbacks' do not count."""
    if joints.inside_mm.size < 2:
        return np.zeros(0, dtype=np.int64)
    hit = joints.line_up(joints.middle_mm)
    hit[[0, -1]] = False
    return np.flatnonzero(hit)


def stagger(joints: OuterJoints, *, give_mm: float, min_mm: float, max_mm: float) -> Floats:
    """Shifts (N,) of the bricks that leave the fewest joints lined up, and of these the smallest changes.

    Parameters
    ----------
    give_mm : float
        How much one joint may differ from its width.
    min_mm, max_mm : float
        Limits of a joint.

    Notes
    -----
    Dynamic programming over the bricks: the state is the shift of a brick, a step from one brick to the next
    changes the joint between them. Exact on its grid of ``STEP_MM``. Where both rings are symmetric, one half
    is solved and mirrored.
    """
    n = joints.width_mm.size - 1
    if not lined_up(joints).size:
        return np.zeros(n)
    symmetric = _is_symmetric(joints)
    half = (n + 1) // 2 if symmetric else n
    levels = int(min(FURTHEST_MM, give_mm * half) / STEP_MM)
    most = int(give_mm / STEP_MM)
    if levels == 0 or most == 0:
        return np.zeros(n)
    shift = np.asarray(STEP_MM * np.arange(-levels, levels + 1), dtype=float)
    change = np.asarray(STEP_MM * np.arange(-most, most + 1), dtype=float)
    steps = _step_costs(joints, shift, change, dear=n * give_mm**2 + 1.0, min_mm=min_mm, max_mm=max_mm)
    v = _best_path(steps, shift, change, half=half, symmetric=symmetric, even=n % 2 == 0)
    if not symmetric:
        return v
    return np.concatenate([v, -v[::-1]]) if n % 2 == 0 else np.concatenate([v[:-1], [0.0], -v[-2::-1]])


def _is_symmetric(joints: OuterJoints) -> bool:
    middle, inside = joints.middle_mm, joints.inside_mm
    length = middle[0] + middle[-1]
    return bool(
        np.allclose(middle, length - middle[::-1], atol=ALIKE_MM)
        and np.allclose(inside, length - inside[::-1], atol=ALIKE_MM)
    )


def _step_costs(
    joints: OuterJoints, shift: Floats, change: Floats, *, dear: float, min_mm: float, max_mm: float
) -> Floats:
    """Cost (N + 1, states, changes) of arriving at a shift by a change of the joint before the brick."""
    middle = shift[:, None, None] - 0.5 * change[:, None] + joints.middle_mm
    hit = joints.line_up(middle)
    hit[:, :, [0, -1]] = False
    joint = joints.width_mm + change[:, None]
    outside = ((joint < min_mm) | (joint > max_mm)) & (change != 0.0)[:, None]
    cost = change[:, None] ** 2 + dear * hit
    return np.moveaxis(np.where(outside, np.inf, cost), 2, 0)


def _best_path(
    steps: Floats, shift: Floats, change: Floats, *, half: int, symmetric: bool, even: bool
) -> Floats:
    """Shifts of the first ``half`` bricks along the cheapest path from the left skewback."""
    states, most = shift.size, change.size // 2
    value = np.where(shift == 0.0, 0.0, np.inf)
    came = np.empty((half, states), dtype=np.int64)
    for i in range(half):
        before = sliding_window_view(np.pad(value, most, constant_values=np.inf), change.size)[:, ::-1]
        total = before + steps[i]
        came[i] = total.argmin(axis=1)
        value = total[np.arange(states), came[i]]
    last = _last_costs(steps[half], shift, change, symmetric=symmetric, even=even)
    at = int(np.argmin(value + last))
    path = np.empty(half)
    for i in range(half - 1, -1, -1):
        path[i] = shift[at]
        at -= int(came[i, at]) - most
    return path


def _last_costs(step: Floats, shift: Floats, change: Floats, *, symmetric: bool, even: bool) -> Floats:
    """Cost (states,) of the end: the right skewback does not move; at a mirror the crown does not."""
    cost = np.full(shift.size, np.inf)
    zero, most = shift.size // 2, change.size // 2
    if symmetric and not even:
        cost[zero] = 0.0
        return cost
    factor = 2 if symmetric else 1
    for k in range(-(most // factor), most // factor + 1):
        arrive = zero - k if factor == 2 else zero
        cost[zero + k] = step[arrive, most - factor * k] / factor
    return cost


def alignment_warnings(rings: Sequence[RingPlan]) -> tuple[str, ...]:
    """A sentence for every ring, ring 1 first, whose new joints line up with those of the ring inside it."""
    return tuple(s for inside, ring in pairwise(rings) for s in _alignment_warning(ring, inside))


def _alignment_warning(ring: RingPlan, inside: RingPlan) -> tuple[str, ...]:
    """A sentence naming the new joints of a ring that line up with those of the ring inside it, if any."""
    start = np.array([b.station_start_mm for b in ring.bricks])
    end = np.array([b.station_end_mm for b in ring.bricks])
    courses = lined_up(joints_against(start, end, ring.inner, inside))
    new = np.array([b.to_lay for b in ring.bricks])
    courses = courses[new[courses - 1] | new[courses]]  # what stands or is laid is not ours to lay otherwise
    if not courses.size:
        return ()
    where = _where(courses.tolist(), ring.count - 1)
    return (
        f"Ring {ring.ring}: joints line up with those of ring {inside.ring} {where}; tie the rings there "
        "with a header, or lay them with care.",
    )


def _where(courses: Sequence[int], n_joints: int) -> str:
    """After which courses joints line up; where many do, how often and the first few.

    Examples
    --------
    >>> _where([8], 27)
    'after course 8'
    >>> _where([1, 9, 10, 17, 25, 26, 34, 35, 42], 82)
    'about every eighth course (9 of 82 joints, the first after courses 1, 9 and 10)'
    """
    if len(courses) <= HANDFUL:
        return f"after {courses_named(courses)}"
    first = listed([str(course) for course in courses[:FIRST_NAMED]])
    told = f"{len(courses)} of {n_joints} joints, the first after courses {first}"
    if 4 * len(courses) > 3 * n_joints:
        return f"nearly everywhere ({told})"
    step = _even_step(courses)
    return f"in many places ({told})" if step is None else f"about every {step} course ({told})"


def _even_step(courses: Sequence[int]) -> str | None:
    """Every how many courses joints line up, in words; None where they come at no even distance.

    Two rings of unlike pitch come into step again after an even number of courses, and one or two joints line
    up each time.
    """
    runs = np.split(np.array(courses), np.flatnonzero(np.diff(courses) > 1) + 1)
    middles = np.array([run.mean() for run in runs])
    if middles.size <= 2:
        return None
    steps = np.diff(middles)
    usual = float(np.median(steps))
    times = np.clip(np.round(steps / usual), 1, 2)  # one place between may just miss
    even = np.abs(steps - times * usual).max() <= UNEVEN_COURSES and np.mean(times == 1) > 0.6
    number = round(usual)
    return ORDINALS[number] if even and 2 <= number < len(ORDINALS) else None
