"""What exceeds both its uncertainty and the job's tolerance, course by course, in a mason's words."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.ndimage import median_filter

from survey.condition.courses.middles import scatter_of
from survey.condition.courses.ring_table import RingTable
from survey.curves.protocol import Floats
from survey.record.model import Tolerances

COVERAGE_FACTOR = 2.0
"""Expanded uncertainty of a deviation or face offset: two standard uncertainties, about 95 %."""
DIFFERENCE_FACTOR = 3.0
"""The same for steps, joints and beds: differences of two readings, one at every joint of the arch."""
SPREAD_FACTOR = 2.5
"""A joint is called out only beyond this many times the scatter of the ring's own joints."""
RHYTHM_COURSES = 11
"""Joints are compared with the median of this many around them."""


class Kind(StrEnum):
    """What a finding is about."""

    DEVIATION = "deviation"
    LIP = "lip"
    JOINT = "joint"
    BED = "bed"
    FACE = "face"
    MISREAD = "misread"
    OVERLAP = "overlap"


AGAINST_THE_CURVE = (Kind.DEVIATION, Kind.BED)
"""What means nothing where the arch was set out to another curve than the one measured against."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One figure of one course beyond tolerance and uncertainty.

    ``value``, ``sigma`` and ``tolerance`` are in mm, or rad for a bed; ``index`` counts into the ring's
    table.
    """

    index: int
    ring: int
    course: int
    kind: Kind
    value: float
    sigma: float
    tolerance: float
    words: str

    @property
    def ratio(self) -> float:
        """How many tolerances it measures."""
        return abs(self.value) / self.tolerance


def findings_of(
    table: RingTable, sigma_mm: Floats, tolerances: Tolerances, *, judged: bool = True
) -> tuple[Finding, ...]:
    """Everything to call out in one ring, the worst of a course first.

    Parameters
    ----------
    table : RingTable
    sigma_mm : (n,) float
        Standard uncertainty of the courses' deviations, the fit's share included.
    tolerances : Tolerances
    judged : bool
        False where the arch keeps to no known curve: deviations and beds are then no findings.
    """
    rhythm = joint_rhythm(table.joint_mm)
    scatter = _scatter(table.joint_mm - rhythm)
    joint_limit = max(tolerances.joint_mm, SPREAD_FACTOR * scatter)
    off_true = table.tilt_rad - table.tilt_expected_rad
    none = np.zeros(len(sigma_mm))
    # Two bricks cannot be in one place: such a joint was misread, and says nothing of the work.
    overlap = np.minimum(table.joint_mm, 0.0)
    with np.errstate(invalid="ignore"):
        misread = (-overlap > tolerances.joint_mm) & (-overlap > COVERAGE_FACTOR * table.joint_sigma_mm)
    joint = np.where(misread, np.nan, table.joint_mm - rhythm)
    rows = (
        (Kind.DEVIATION, table.deviation_mm, sigma_mm, tolerances.intrados_mm, COVERAGE_FACTOR),
        (Kind.FACE, table.face_mm, table.face_sigma_mm, tolerances.face_mm, COVERAGE_FACTOR),
        (Kind.LIP, table.lip_mm, table.lip_sigma_mm, tolerances.lip_mm, DIFFERENCE_FACTOR),
        (Kind.JOINT, joint, table.joint_sigma_mm, joint_limit, DIFFERENCE_FACTOR),
        (Kind.OVERLAP, overlap, table.joint_sigma_mm, tolerances.joint_mm, COVERAGE_FACTOR),
        (Kind.BED, off_true, table.tilt_sigma_rad, tolerances.bed_rad, DIFFERENCE_FACTOR),
        (Kind.MISREAD, table.edges_apart_mm, none, tolerances.intrados_mm, COVERAGE_FACTOR),
    )
    called = [row for row in rows if judged or row[0] not in AGAINST_THE_CURVE]
    found = [finding for row in called for finding in _beyond(table, *row)]
    return tuple(sorted(found, key=lambda f: (f.index, -f.ratio)))


def flags_of(findings: tuple[Finding, ...], n_courses: int) -> list[str]:
    """One flag a course, blank where there is nothing to call out."""
    flags = [""] * n_courses
    for finding in findings:
        flags[finding.index] += ("; " if flags[finding.index] else "") + finding.words
    return flags


def joint_rhythm(joint_mm: Floats) -> Floats:
    """Joint (n,) usual around every course: the running median of the joints that are known.

    Examples
    --------
    >>> joint_rhythm(np.array([8.0, 8.5, np.nan, 20.0, 8.0])).tolist()
    [8.0, 8.5, 8.5, 8.5, 8.0]
    """
    known = np.flatnonzero(np.isfinite(joint_mm))
    usual = np.full(len(joint_mm), np.nan)
    if len(known):
        width = min(RHYTHM_COURSES, len(known) - 1 + len(known) % 2)
        usual_known = median_filter(joint_mm[known], size=width, mode="nearest")
        usual = np.interp(np.arange(len(joint_mm)), known, usual_known)
    return usual


def _scatter(values: Floats) -> float:
    return scatter_of(values) if np.isfinite(values).any() else 0.0


def _beyond(
    table: RingTable, kind: Kind, value: Floats, sigma: Floats, tolerance: float, factor: float
) -> list[Finding]:
    with np.errstate(invalid="ignore"):
        called = (np.abs(value) > tolerance) & (np.abs(value) > factor * sigma)
    return [
        Finding(
            int(i),
            table.ring.ring,
            int(table.course[i]),
            kind,
            float(value[i]),
            float(sigma[i]),
            tolerance,
            _words(kind, float(value[i])),
        )
        for i in np.flatnonzero(called)
    ]


_SIDES = {
    Kind.DEVIATION: ("{} mm back from the opening", "{} mm into the opening"),
    Kind.FACE: ("{} mm proud of the face", "{} mm behind the face"),
    Kind.LIP: ("{} mm lower than the next course", "{} mm higher than the next course"),
    Kind.JOINT: ("joint after it {} mm wider than usual", "joint after it {} mm narrower than usual"),
    Kind.BED: ("bed leans {} to the right", "bed leans {} to the left"),
    Kind.MISREAD: ("edges read {} mm apart: measure again",) * 2,
    Kind.OVERLAP: ("overlaps the next course by {} mm: measure both edges again",) * 2,
}
"""What a positive and a negative value of each kind say."""


def _words(kind: Kind, value: float) -> str:
    size = f"{np.degrees(abs(value)):.1f}°" if kind is Kind.BED else f"{abs(value):.0f}"
    return _SIDES[kind][0 if value > 0 else 1].format(size)
