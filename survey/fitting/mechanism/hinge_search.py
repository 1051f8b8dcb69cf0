"""Where an arch may have hinged: many places at once, for small motions.

About an original that stands, a motion shifts the distances of the points linearly in the spread and the
settlement. For every choice of the three hinges that is two more columns, and with Gaussian priors on the two
motions the gain in evidence over the arch that stands still is closed (t and S after the curve's own numbers
have been averaged over):

    log gain = 1/2 (t' S^-1 t - u' P u - log det (S P^-1)),
    S = P + M'Sigma^-1 M - ...,   t = P u - M'Sigma^-1 d + ...,

u and P the usual motion and the inverse of its covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.families.builds import profile_of, shape_of
from survey.fitting.families.priors import LikelyMotion
from survey.fitting.families.standing import Standing
from survey.fitting.mechanism.hinge_choices import HingeChoices
from survey.fitting.mechanism.joint_gaps import JointGaps, Sighted
from survey.fitting.mechanism.moved import Moved
from survey.fitting.mechanism.pieces import quarter_turned
from survey.fitting.solving.evidence import Average
from survey.fitting.solving.scatter_grid import ScatterGrid
from survey.record.model import UNKNOWN

SINGULAR = 1e-12
"""A determinant below this share of the diagonal's product is rounding."""


class MotionColumns(NamedTuple):
    """What unit spread and unit settlement do.

    To distances (2, h, n), to further observations (2, m), and to how far the pieces turn against each other
    at the left hinge, the crown's and the right one (3, 2, h); a positive turn opens what lies inside it.
    """

    points: Floats
    rows: Floats
    turns: Floats


def sighted(standing: Standing, parameters: Floats) -> Sighted:
    """Sightings against the standing curve at parameters (k,)."""
    profile = profile_of(standing.build, standing.numbers(parameters))
    local = standing.local(parameters, standing.sightings.xy_mm)
    seen = profile.sight(np.abs(local.xy[:, 0]), local.xy[:, 1])
    normal = np.stack([local.side * seen.normal_u, seen.normal_v], axis=1)
    share = standing.stations(parameters) / (2 * profile.half_length_mm)
    return Sighted(local.xy, normal, _course_middles(share, standing.sightings.course))


def _course_middles(share: Floats, course: np.ndarray) -> Floats:
    """Shares (n,) with those of a numbered course replaced by their mean: a brick goes with one piece."""
    known = course != UNKNOWN
    if not known.any():
        return share
    _, group = np.unique(course[known], return_inverse=True)
    whole = share.copy()
    whole[known] = (np.bincount(group, weights=share[known]) / np.bincount(group))[group]
    return whole


def brought_back(moved: Moved, parameters: Floats) -> Sighted:
    """Sightings against the original of a moved arch at parameters (k,), each carried back with its piece."""
    profile = profile_of(moved.build, moved.numbers(parameters))
    local = moved.back(parameters)
    seen = profile.sight(np.abs(local.xy[:, 0]), local.xy[:, 1])
    normal = np.stack([local.side * seen.normal_u, seen.normal_v], axis=1)
    share = moved.stations(parameters) / (2 * profile.half_length_mm)
    return Sighted(local.xy, normal, _course_middles(share, moved.sightings.course))


def motion_columns(
    standing: Standing, parameters: Floats, seen: Sighted, choices: HingeChoices
) -> MotionColumns:
    """Columns of unit motions for every choice of hinges, about the original at parameters (k,)."""
    numbers = standing.numbers(parameters)
    curve = curve_of(shape_of(standing.build, numbers))
    length = curve.length_mm
    left, right = (
        curve.point(share * length) + choices.lower_mm * curve.normal(share * length)
        for share in (choices.left, choices.right)
    )
    at = choices.crown * length
    crown = curve.point(at) + choices.depth_mm[:, None] * curve.normal(at)
    arm_left, arm_right = crown - left, crown - right
    # Crown ends meet: turn_left k x arm_left - turn_right k x arm_right = push_right - push_left.
    matrix = np.stack([quarter_turned(arm_left), -quarter_turned(arm_right)], axis=2)
    pushes = np.array([[0.5, 0.0], [0.0, -0.5]])  # of the right springing, by motion; the left's are opposite
    turns = np.linalg.solve(matrix, np.broadcast_to(2 * pushes.T, (len(at), 2, 2)))
    nx, ny = seen.normal.T
    moment = ny * seen.xy[:, 0] - nx * seen.xy[:, 1]
    on_left = seen.share < choices.crown[:, None]
    across = np.stack([-ny, nx])
    # How far a point gives way to a unit turn about its piece's pivot; beyond the pivots nothing turns.
    lever_left = (moment + left @ across) * (on_left & (seen.share >= choices.left[:, None]))
    lever_right = (moment + right @ across) * (~on_left & (seen.share <= choices.right[:, None]))
    sign = 1.0 - 2.0 * on_left
    points = np.empty((2, len(at), len(nx)))
    for k in range(2):
        np.multiply(sign, -(seen.normal @ pushes[k]), out=points[k])
        points[k] -= turns[:, 0, k, None] * lever_left
        points[k] -= turns[:, 1, k, None] * lever_right
    against = np.stack([turns[:, 0], turns[:, 1] - turns[:, 0], -turns[:, 1]]).transpose(0, 2, 1)
    return MotionColumns(points, _end_rows(standing, parameters, pushes), against)


def _end_rows(standing: Standing, parameters: Floats, pushes: Floats) -> Floats:
    sightings = standing.sightings
    profile = profile_of(standing.build, standing.numbers(parameters))
    ends = np.flatnonzero(sightings.end)
    here = standing.local(parameters, sightings.xy_mm[ends])
    tangent = standing.end_sights(parameters, profile, here.xy).tangent
    rows = np.zeros((2, standing.n_rows))
    rows[:, : len(ends)] = -(pushes @ tangent.T) * sightings.end[ends] / sightings.end_sigma_mm[ends]
    if sightings.known.span is not None:
        rows[0, len(ends)] = 1 / sightings.known.span.sigma_mm
    return rows


class MotionProducts(NamedTuple):
    """Motion columns in every scatter's metric: with the curve (g, 1 + k, h, 2), each other (g, h, 2, 2)."""

    cross: Floats
    own: Floats


def motion_products(
    grid: ScatterGrid,
    curve: tuple[Floats, Floats],
    moved: MotionColumns,
    joints: Sequence[JointGaps],
    choices: HingeChoices,
) -> MotionProducts:
    """Products of motions with the distances and slopes (n, 1 + k), (m, 1 + k) of the curve that stands.

    The joints at the hinges, on the soffit and at the back, are further observations of the motion.
    """
    n_motions, h, n = moved.points.shape
    motions = grid.split(moved.points.reshape(-1, n).T)
    line = grid.split(curve[0])
    rows = moved.rows.T
    weighted = grid.weight[:, None] * motions.left
    first_cross = (line.left.T @ weighted).reshape(-1, n_motions, h) + (curve[1].T @ rows)[:, :, None]
    own_left, own_weighted = motions.left.reshape(n, n_motions, h), weighted.reshape(n, n_motions, h)
    first_own = np.einsum("nah,nbh->hab", own_left, own_weighted) + rows.T @ rows
    cross = np.empty((len(grid), len(line.mean), h, n_motions))
    own = np.empty((len(grid), h, n_motions, n_motions))
    mean = (motions.mean * grid.total).reshape(n_motions, h, -1)
    for i in range(len(grid)):
        smooth = grid.smoothed(motions.mean, slice(i, i + 1))[:, 0].reshape(n_motions, h, -1)
        of_line = np.tensordot(line.mean * grid.total, smooth, axes=(1, 2))
        cross[i] = (first_cross + of_line).transpose(0, 2, 1)
        own[i] = first_own + np.einsum("ahm,bhm->hab", mean, smooth)
    cross *= grid.factor[:, None, None, None]
    own *= grid.factor[:, None, None, None]
    places = (choices.left, choices.crown, choices.right)
    lower = np.full(h, choices.lower_mm)
    depths = (lower, choices.depth_mm, lower)
    for gaps in joints:
        for place, depth, turn in zip(places, depths, moved.turns, strict=True):
            opening = (depth - gaps.out_mm) * turn
            excess, power = gaps.at(place)
            cross[:, 0] -= (power * excess * opening).T
            own += (power * opening).T[:, :, None] * opening.T[:, None, :]
    return MotionProducts(cross, own)


class Gains(NamedTuple):
    """Gains over standing still by scatter and hinges.

    ``log_gain`` (g, h) in evidence; best ``motion`` (g, h, 2) with its ``covariance`` (g, h, 2, 2); ``pull``
    (g, h, k, 2): how far the curve's own parameters give way per unit of motion.
    """

    log_gain: Floats
    motion: Floats
    covariance: Floats
    pull: Floats


def motion_gains(products: MotionProducts, still: Average, likely: LikelyMotion) -> Gains:
    """Gains of every choice of hinges over the arch that stands still.

    Parameters
    ----------
    products : MotionProducts
    still : Average
        The arch that stands still, averaged over the same scatters.
    likely : LikelyMotion
        Prior of spread and settlement.
    """
    free = np.flatnonzero(likely.sigma_mm > 0)
    cross, own = products.cross[..., free], products.own[..., free[:, None], free]
    g, k, h = cross.shape[0], cross.shape[1] - 1, cross.shape[2]
    slopes = cross[:, 1:].reshape(g, k, -1)
    pull = -(still.covariance @ slopes).reshape(g, k, h, -1)
    power = np.diag(likely.sigma_mm[free] ** -2.0)
    usual = likely.mean_mm[free]
    given = np.stack([np.sum(cross[:, 1:, :, a, None] * pull, axis=1) for a in range(len(free))], axis=2)
    matrix = own + power + given
    vector = power @ usual - (cross[:, 0] + (still.shift[:, None, :] @ slopes).reshape(g, h, -1))
    covariance, log_size = _inverse(matrix)
    motion = np.sum(covariance * vector[..., None, :], axis=-1)
    log_gain = 0.5 * (np.sum(motion * vector, axis=-1) - usual @ power @ usual)
    log_gain += 0.5 * log_size + 0.5 * np.linalg.slogdet(power)[1]
    return _padded(log_gain, motion, covariance, pull.transpose(0, 2, 1, 3), free)


def _inverse(matrix: Floats) -> tuple[Floats, Floats]:
    """Inverses (..., f, f) of positive definite matrices of one or two rows, and log determinants of these.

    Written out, for LAPACK takes thousands of little matrices one by one. Where rounding leaves a matrix
    singular the motion about those hinges cannot be told: no inverse, and a log determinant of minus
    infinity, so that these hinges weigh nothing.
    """
    if matrix.shape[-1] == 1:
        told = matrix[..., 0, 0] > 0.0
        inverse = np.where(told, 1.0, 0.0)[..., None, None] / np.where(told[..., None, None], matrix, 1.0)
        return inverse, -np.log(np.where(told, matrix[..., 0, 0], np.inf))
    a, b, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 1]
    size = a * d - b * b
    told = (a > 0.0) & (size > SINGULAR * a * d)
    safe = np.where(told, size, np.inf)
    inverse = np.empty_like(matrix)
    inverse[..., 0, 0], inverse[..., 1, 1] = d / safe, a / safe
    inverse[..., 0, 1] = inverse[..., 1, 0] = -b / safe
    return inverse, -np.log(safe)


def _padded(log_gain: Floats, motion: Floats, covariance: Floats, pull: Floats, free: np.ndarray) -> Gains:
    """Zeros for a motion that is held."""
    size = log_gain.shape
    wide = np.zeros((*size, 2))
    wide[..., free] = motion
    spread = np.zeros((*size, 2, 2))
    spread[..., free[:, None], free] = covariance
    given = np.zeros((*pull.shape[:3], 2))
    given[..., free] = pull
    return Gains(log_gain, wide, spread, given)
