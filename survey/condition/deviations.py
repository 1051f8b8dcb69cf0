"""The arch course by course against its fitted curve: deviations, joints, beds, flags, and what they show."""

from __future__ import annotations

import numpy as np

from survey.condition.courses.ring_table import RingTable, ring_table
from survey.condition.findings import Finding, findings_of, flags_of
from survey.condition.no_curve import has_curve
from survey.condition.patterns.patterns import find_patterns
from survey.condition.result import CourseDeviation, DeviationMap
from survey.condition.worst import worst_courses
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.collars import with_found_collars
from survey.fitting.counting.edge_readings import average_edges
from survey.fitting.counting.numbering import number_points
from survey.fitting.curve_uncertainty import slopes_at, variance_of
from survey.fitting.result import ArchFit
from survey.record.model import Record


def map_deviations(record: Record, fit: ArchFit) -> DeviationMap:
    """Measure every course of every ring against the fitted curve.

    Ring 1 is measured against the intrados, every further ring against the curve parallel to it at the depths
    and collars of the rings inside. Where only the back of a course was surveyed, it is measured against the
    ring's outer curve. A course whose edges cannot both be right is measured at the one that fits its
    neighbours, and flagged to be measured again.

    Parameters
    ----------
    record : Record
    fit : ArchFit
        As ``fit_arch`` gives it for this record.

    Returns
    -------
    DeviationMap
        One row a course and ring, missing and unsurveyed courses included: these are placed by the rhythm
        and carry NaN where nothing was measured.
    """
    record = with_found_collars(record, fit)
    curve = curve_of(fit.best.shape)
    places = number_points(record, curve, fit.origin_mm).places
    readings = average_edges(record, places)
    tables = tuple(
        ring_table(record, curve, ring, places, readings, count)
        for ring, count in zip(record.rings, fit.courses, strict=True)
    )
    slopes = tuple(slopes_at(fit.best, table.foot_mm, table.normal) for table in tables)
    sigmas = tuple(
        np.sqrt(table.reading_variance_mm2 + variance_of(fit.best, slope))
        for table, slope in zip(tables, slopes, strict=True)
    )
    found = tuple(
        findings_of(table, sigma, record.tolerances, judged=has_curve(fit))
        for table, sigma in zip(tables, sigmas, strict=True)
    )
    rows = tuple(
        row
        for table, sigma, findings in zip(tables, sigmas, found, strict=True)
        for row in _rows(table, sigma, findings)
    )
    return DeviationMap(
        shape=fit.best.shape,
        courses=rows,
        patterns=find_patterns(record, fit, tables, slopes),
        worst=worst_courses(tables, found),
        tolerances=record.tolerances,
        movement=fit.movement,
    )


def _rows(table: RingTable, sigma_mm: Floats, findings: tuple[Finding, ...]) -> list[CourseDeviation]:
    off = table.offset_mm + np.nan_to_num(table.deviation_mm)
    xy = table.foot_mm + off[:, None] * table.normal
    flags = flags_of(findings, len(table.course))
    columns = (
        table.course.tolist(),
        table.station_mm.tolist(),
        xy[:, 0].tolist(),
        xy[:, 1].tolist(),
        table.deviation_mm.tolist(),
        np.where(np.isfinite(table.deviation_mm), sigma_mm, np.nan).tolist(),
        table.face_mm.tolist(),
        table.width_mm.tolist(),
        table.joint_mm.tolist(),
        table.tilt_rad.tolist(),
        table.lip_mm.tolist(),
        table.condition,
        flags,
        table.start_mm.tolist(),
        table.end_mm.tolist(),
        table.inferred.tolist(),
    )
    return [CourseDeviation(table.ring.ring, *row) for row in zip(*columns, strict=True)]
