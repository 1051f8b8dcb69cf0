"""How the beds of courses lean against the curve's normal, read on soffit and back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.course_readings import CourseReadings
from survey.curves import ChainOfArcs, Ellipse
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import INNER, LEFT, MID, OUTER, RIGHT
from survey.record.model import Ring


@dataclass(frozen=True, slots=True, eq=False)
class BedLeans:
    """Mean lean (n,) of every course's measured beds, rad, NaN where none was measured on both surfaces.

    Attributes
    ----------
    lean_rad : (n,) float
        Positive where the back lies further towards the right springing than the normal at the soffit.
    sigma_rad : (n,) float
    true_rad : (n,) float
        What the lean would be for a brick laid true.
    """

    lean_rad: Floats
    sigma_rad: Floats
    true_rad: Floats


def bed_leans(
    curve: ChainOfArcs | Ellipse,
    ring: Ring,
    read: CourseReadings,
    *,
    offset_mm: float,
    width_mm: float,
    joint_mm: float,
) -> BedLeans:
    """Lean of the beds of one ring.

    Parameters
    ----------
    curve : ChainOfArcs or Ellipse
        The fitted intrados.
    ring : Ring
    read : CourseReadings
    offset_mm : float
        Distance of the ring's inner curve from the intrados.
    width_mm, joint_mm : float
        Usual width of a brick and joint.

    Notes
    -----
    An uncut brick's sides are parallel to its axis, so its left bed leans by half its width times the
    curvature towards the right, its right bed as much to the left. A cut brick's sides are parallel to the
    middles of its joints and lean the other way by half a joint. Both cancel where both beds were read.
    """
    edges = (LEFT, RIGHT, MID)
    known = np.isfinite(read.station[:, INNER][:, edges]) & np.isfinite(read.station[:, OUTER][:, edges])
    course, edge = np.nonzero(known)
    n = len(read.station)
    n_read = np.bincount(course, minlength=n).astype(float)
    n_read[n_read == 0] = np.nan
    if len(course) == 0:
        return BedLeans(n_read, n_read.copy(), n_read.copy())
    foot = read.station[course, INNER, edge]
    step = read.xy[course, OUTER, edge] - read.xy[course, INNER, edge]
    there = curve.frame(foot)
    normal = there.normal
    # The tangent is the normal turned clockwise by a right angle.
    along = step[:, 0] * normal[:, 1] - step[:, 1] * normal[:, 0]
    lean = np.arctan2(along, (step * normal).sum(axis=1))
    variance = (read.sigma[course, :, edge] ** 2).sum(axis=1) / ring.depth_mm**2
    bend = there.curvature
    bend = bend / (1.0 + offset_mm * bend)
    half = {"uncut": width_mm / 2, "cut": -joint_mm / 2}.get(ring.cut, 0.0)
    true = half * bend * np.array([1.0, -1.0, 0.0])[edge]
    return BedLeans(
        np.bincount(course, lean, n) / n_read,
        np.sqrt(np.bincount(course, variance, n)) / n_read,
        np.bincount(course, true, n) / n_read,
    )
