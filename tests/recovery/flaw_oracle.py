"""How well a flaw could be told at best: by one who knows where it is, how large, and all scatters.

The oracle weighs two simple hypotheses: the arch with exactly this flaw, and without it. Courses off the
curve are judged by their distances from it, under the true irregularity and readings; the curve itself has to
be fitted, as for everybody. Other bricks and joints are judged by the edges' places along the curve, under
the scatter of bricks, joints and readings, the rhythm they were laid to being known. Gross errors are known
and left out. No test finds more at the same false alarms (J. Neyman and E. S. Pearson, *Phil. Trans. R. Soc.
A* 231 (1933) 289-337; from memory, not seen), but for bricks of three widths, whose scatter is taken as
normal.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from recovery.flaws import Flawed, true_curve
from recovery.simulated import Rhythm, SimulatedArch

from survey.curves.protocol import Floats
from survey.fitting.curve_uncertainty import curve_slopes
from survey.fitting.result import Candidate
from survey.record.model import Edge, Feature, Record

TOLD_ABOVE = 4.0
"""Log of the likelihood ratio from which the oracle tells a flaw: odds of fifty to one."""
BRICK_SIGMA_MM = 0.8
JOINT_SIGMA_RATIO = 0.12
"""Scatter of simulated bricks, and of joints as a share of themselves."""
MIXED_WIDTHS = (0.9, 1.0, 1.08)


class Edges(NamedTuple):
    """Edges of ring 1 on the soffit without gross errors: row in the record, course, place of all edges."""

    row: np.ndarray
    course: np.ndarray
    place: np.ndarray


def edges_of(arch: SimulatedArch) -> Edges:
    """Edges in the order of their courses."""
    points = arch.record.points
    row = np.flatnonzero(points.on(Feature.INTRADOS) & (points.ring == 1) & ~arch.gross)
    right = np.array([points.edge[i] is Edge.RIGHT for i in row], dtype=int)
    place = 2 * (points.course[row] - 1) + right
    order = np.argsort(place)
    return Edges(row[order], points.course[row[order]], place[order])


def log_ratio(arch: SimulatedArch, put: Flawed, candidate: Candidate) -> float:
    """Log of how much likelier the flawed record is with the flaw than without.

    Parameters
    ----------
    arch : SimulatedArch
    put : Flawed
        Its record with a flaw that moved points along the normal, or along the curve.
    candidate : Candidate
        A fit of the arch's family, for how its curve moves with its parameters.
    """
    edges = edges_of(arch)
    sound, flawed = (_placed(arch, record, edges) for record in (arch.record, put.record))
    if np.abs(flawed.station_mm - sound.station_mm).max() > 1e-3:
        mean, covariance = laid(arch)
        at = np.ix_(edges.place, edges.place)
        covariance = covariance[at] + arch.spec.point_sigma_mm**2 * np.eye(len(edges.place))
        precision = np.linalg.inv(covariance)
        step = flawed.station_mm - sound.station_mm
        return _gain(precision, step, flawed.station_mm - mean[edges.place])
    inverse = np.linalg.inv(off_covariance(arch, edges, sound.station_mm))
    slopes = curve_slopes(candidate, sound.station_mm)
    followed = inverse @ slopes
    precision = inverse - followed @ np.linalg.pinv(slopes.T @ followed) @ followed.T
    return _gain(precision, flawed.distance_mm - sound.distance_mm, flawed.distance_mm)


class _Placed(NamedTuple):
    station_mm: Floats
    distance_mm: Floats


def _placed(arch: SimulatedArch, record: Record, edges: Edges) -> _Placed:
    curve, origin = true_curve(arch)
    located = curve.locate(record.points.xy_mm[edges.row] - origin)
    return _Placed(located.station_mm, located.distance_mm)


def _gain(precision: Floats, step: Floats, seen: Floats) -> float:
    weighed = precision @ step
    return float(weighed @ seen - 0.5 * weighed @ step)


def off_covariance(arch: SimulatedArch, edges: Edges, station_mm: Floats) -> Floats:
    """True covariance (n, n) of the edges' distances from the curve."""
    spec = arch.spec
    middle = (arch.left_mm + arch.right_mm)[edges.course - 1] / 2
    alike = spec.correlation_courses * true_curve(arch)[0].length_mm / spec.n_courses
    apart = np.abs(middle[:, None] - middle[None, :])
    return np.asarray(
        spec.irregularity_mm**2 * np.exp(-apart / alike) + spec.point_sigma_mm**2 * np.eye(len(station_mm))
    )


def laid(arch: SimulatedArch) -> tuple[Floats, Floats]:
    """Mean (2 N,) and covariance (2 N, 2 N) of the places of all edges along the curve, as they are laid.

    Bricks and joints vary independently but for their filling the curve between the springings.
    """
    spec, n = arch.spec, arch.n_courses
    length = true_curve(arch)[0].length_mm
    pitch = length / n
    brick, joint = np.ones(n), np.ones(n + 1)
    spread = 0.0
    if spec.rhythm is Rhythm.TIGHTENING:
        joint = 0.65 + 0.7 * np.abs(np.linspace(-1, 1, n + 1))
    elif spec.rhythm is Rhythm.ALTERNATING:
        brick = np.where(np.arange(n) % 2 == 0, 1.06, 0.94)
    elif spec.rhythm is Rhythm.MIXED:
        brick = np.full(n, np.mean(MIXED_WIDTHS))
        spread = float(np.std(MIXED_WIDTHS)) * pitch * (1 - spec.joint_ratio)
    brick = brick[::-1] if spec.mirrored else brick
    brick = brick * pitch * (1 - spec.joint_ratio)
    joint = joint * (length - brick.sum()) / joint.sum()
    size, variance = np.empty(2 * n + 1), np.empty(2 * n + 1)
    size[::2], size[1::2] = joint, brick
    variance[::2], variance[1::2] = (JOINT_SIGMA_RATIO * joint) ** 2, BRICK_SIGMA_MM**2 + spread**2
    summed = np.cumsum(variance)
    up_to = summed[:-1]
    covariance = np.minimum.outer(up_to, up_to) - np.outer(up_to, up_to) / summed[-1]
    return np.cumsum(size)[:-1], covariance
