"""What is readable but doubtful in points.csv: what to measure or look at again."""

from __future__ import annotations

import numpy as np

from survey.record import arch_file
from survey.record.findings import Findings, listed, plain_length
from survey.record.model import (
    UNKNOWN,
    Condition,
    CourseNote,
    Edge,
    Feature,
    Floats,
    SurveyPoints,
)
from survey.record.order import tell_disorder
from survey.record.points_file import SCHEMA, SitePoints
from survey.record.slips import find_slips
from survey.record.units import Unit

_SPANS_MM = (200.0, 40_000.0)
"""Brick arches between these spans are believed: a niche, and the greatest brick vaults there are."""
_SIGMAS_MM = (0.01, 50.0)
_FEW = 9
"""Points on the intrados: three for each of the three figures of the simplest arch (common practice)."""
_GAP = 0.25
"""Share of the span over which the intrados may go unmeasured."""
_SEEN_FROM = 0.25
"""Share of the span below the lowest point from which the order along the intrados is seen."""
_FAR_SHARE = 20.0
"""A point further off than this many times the reach of the arch belongs to another grid or unit."""
_OFF_FACE_MM = 100.0
"""A point of the wall's face may stand so far before or behind it: a pilaster, a deep reveal."""


def tell_doubtful_points(
    site: SitePoints,
    points: SurveyPoints,
    courses: tuple[CourseNote, ...],
    unit: Unit,
    findings: Findings,
) -> None:
    """Note every doubt about the points.

    Parameters
    ----------
    site, points : SitePoints, SurveyPoints
        The same points as measured and in the face.
    courses : tuple of CourseNote
        Tell which bricks are missing, where nothing could be measured.
    unit : Unit
        ``measure.unit``.
    findings : Findings
    """
    _tell_sigma(points, findings)
    _tell_springings(points, findings)
    slips = find_slips(site, unit.in_mm)
    explained = np.zeros(len(points), dtype=bool)
    explained[[slip.index for slip in slips if slip.column or not slip.is_on_ring]] = True
    # A point known to be misread says nothing of the order and the gaps.
    kept = points.take(~explained)
    out_of_place = tell_disorder(kept, findings)
    for slip in slips:
        row = int(points.row[slip.index])
        if slip.column or row not in out_of_place:
            findings.doubt(
                SCHEMA.file,
                f"{points.name[slip.index]}: {slip.reason}",
                "look at the field book, or measure it again",
                row=row,
                column=slip.column,
            )
    _tell_gaps(kept, courses, findings)
    _tell_far_away(points, findings)
    _tell_off_face(points, findings)
    _tell_ringless(points, findings)


def is_of_believable_extent(points: SurveyPoints, unit: Unit, findings: Findings) -> bool:
    """False, with a doubt about the unit, when the intrados is as wide as no brick arch."""
    x = points.xy_mm[points.on(Feature.INTRADOS), 0]
    low, high = np.quantile(x, [0.05, 0.95])
    span_mm = float(high - low)
    if _SPANS_MM[0] <= span_mm <= _SPANS_MM[1] or len(x) < 3:
        return True
    fitting = [
        other
        for other in Unit
        if 400.0 <= span_mm / unit.in_mm * other.in_mm <= 12_000.0 and other is not unit
    ]
    named = listed((f'"{other}"' for other in fitting), last="or")
    findings.doubt(
        arch_file.FILE,
        f'in "{unit}" the points of the intrados lie within {plain_length(span_mm)}',
        f"is {named} meant?" if fitting else "see what they were measured in",
        column="measure.unit",
    )
    return False


def _rows_told(findings: Findings) -> set[int | None]:
    return {doubt.row for doubt in findings.doubts if doubt.file == SCHEMA.file}


def _tell_far_away(points: SurveyPoints, findings: Findings) -> None:
    """Doubt points that lie nowhere near the arch: another grid, another unit."""
    arch = points.xy_mm[points.on(Feature.INTRADOS)]
    middle = np.median(arch, axis=0)
    reach = float(np.quantile(np.linalg.norm(arch - middle, axis=1), 0.75))
    place = np.column_stack([points.xy_mm - middle, points.w_mm])
    distance = np.linalg.norm(place, axis=1)
    told = _rows_told(findings)
    for i in np.flatnonzero(distance > max(_FAR_SHARE * reach, 1.0)):
        if int(points.row[i]) in told:
            continue
        findings.doubt(
            SCHEMA.file,
            f"{points.name[i]} lies {plain_length(float(distance[i]))} from the middle of the arch",
            "see whether it is in the same grid and unit",
            row=int(points.row[i]),
        )


def _tell_gaps(points: SurveyPoints, courses: tuple[CourseNote, ...], findings: Findings) -> None:
    """Say where the intrados was not measured though its bricks stand, and when points are few."""
    on_it = np.flatnonzero(points.on(Feature.INTRADOS))
    if len(on_it) < _FEW:
        findings.doubt(
            SCHEMA.file,
            f"only {len(on_it)} {'point lies' if len(on_it) == 1 else 'points lie'} on the intrados",
            "take both edges of every course, or at least 15 points from springing to springing",
        )
        return
    place = points.xy_mm[on_it]
    order = np.argsort(_around(place))
    steps = np.linalg.norm(np.diff(place[order], axis=0), axis=1)
    widest = int(np.argmax(steps))
    one, two = int(on_it[order[widest]]), int(on_it[order[widest + 1]])
    span = float(np.ptp(place[:, 0]))
    if steps[widest] > _GAP * span and not _is_fallen(points, one, two, courses):
        findings.doubt(
            SCHEMA.file,
            f"nothing was measured on the intrados for {steps[widest]:.0f} mm between"
            f" {points.name[one]} and {points.name[two]}",
            "measure there, or note the courses missing in courses.csv",
        )


def _around(place: Floats) -> Floats:
    """Angles (n,) that grow along any arch, seen from far enough below its ends to order a flat row too."""
    low, high = place[:, 0].min(), place[:, 0].max()
    below = place[:, 1].min() - _SEEN_FROM * (high - low)
    return np.asarray(np.arctan2(place[:, 1] - below, (low + high) / 2.0 - place[:, 0]))


def _is_fallen(points: SurveyPoints, one: int, two: int, courses: tuple[CourseNote, ...]) -> bool:
    ring = int(points.ring[one])
    first, last = sorted((int(points.course[one]), int(points.course[two])))
    gone = {n.course for n in courses if n.ring == ring and n.condition is Condition.MISSING}
    return first >= 1 and last > first + 1 and gone.issuperset(range(first + 1, last))


def _tell_sigma(points: SurveyPoints, findings: Findings) -> None:
    odd = np.flatnonzero((points.sigma_mm < _SIGMAS_MM[0]) | (points.sigma_mm > _SIGMAS_MM[1]))
    if len(odd):
        shown = sorted({f"{sigma:.4g}" for sigma in points.sigma_mm[odd]})
        every = len(odd) == len(points)
        findings.doubt(
            arch_file.FILE if every else SCHEMA.file,
            f"a standard uncertainty of {listed(shown)} mm is not believable"
            + ("" if every else f" (row {listed(points.row[odd])})"),
            "write it in measure.unit; 1 to 5 mm is usual on a worn arris",
            column="measure.point_sigma" if every else "sigma",
        )


def _tell_springings(points: SurveyPoints, findings: Findings) -> None:
    springing = points.on(Feature.SPRINGING)
    lacking = [edge for edge in (Edge.LEFT, Edge.RIGHT) if not np.any(springing & (points.edge == edge))]
    if not lacking:
        return
    unmarked = np.flatnonzero(springing & (points.edge != Edge.LEFT) & (points.edge != Edge.RIGHT))
    if len(unmarked) >= len(lacking):
        findings.doubt(
            SCHEMA.file,
            f"{'rows' if len(unmarked) > 1 else 'row'} {listed(points.row[unmarked])}: a springing point"
            " does not say which springing it is",
            "write left or right",
            column="edge",
        )
        return
    findings.doubt(
        SCHEMA.file,
        f"the {' and the '.join(lacking)} springing {'was' if len(lacking) == 1 else 'were'} not measured",
        "measure where the arch leaves its support: only that fixes where it ends",
    )


def _tell_off_face(points: SurveyPoints, findings: Findings) -> None:
    told = _rows_told(findings)
    on_wall = points.on(Feature.SPRINGING) | points.on(Feature.FACE) | points.on(Feature.INTRADOS)
    for i in np.flatnonzero(on_wall & (np.abs(points.w_mm) > _OFF_FACE_MM)):
        if int(points.row[i]) not in told:
            findings.doubt(
                SCHEMA.file,
                f"{points.name[i]} stands {abs(points.w_mm[i]):.0f} mm"
                f" {'in front of' if points.w_mm[i] > 0 else 'behind'} the face",
                "measure it again, or call it other",
                row=int(points.row[i]),
            )


def _tell_ringless(points: SurveyPoints, findings: Findings) -> None:
    rows = points.row[(points.ring == UNKNOWN) & (points.course != UNKNOWN)]
    if len(rows):
        findings.doubt(
            SCHEMA.file,
            f"a course is given without its ring in {'rows' if len(rows) > 1 else 'row'} {listed(rows)}",
            "write the ring, or the course cannot be used",
            column="ring",
        )
