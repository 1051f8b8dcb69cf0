"""The result tables as CSV text: deviations, layout, cuts, centring, laying, quantities.

Column names and order are stable. Lengths are millimetres and angles degrees; a blank cell means not measured
or not applicable. Lengths carry four decimals so that a sum over every brick and joint of a ring still closes
to a hundredth. The tables of a plan end with a column ``refused``: blank, or in every row why nothing may be
built from it.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from survey.files import safe_cell
from survey.rebuild.cautions import NOT_TO_BE_BUILT

if TYPE_CHECKING:
    from survey.condition.comparing.compare import Comparison
    from survey.condition.result import DeviationMap
    from survey.rebuild.plan import Brick, RebuildPlan, RingPlan

DEVIATION_COLUMNS = [
    "ring",
    "course",
    "station_mm",
    "x_mm",
    "y_mm",
    "deviation_mm",
    "deviation_sigma_mm",
    "face_offset_mm",
    "width_mm",
    "joint_mm",
    "joint_tilt_deg",
    "condition",
    "flag",
    "lip_mm",
    "start_mm",
    "end_mm",
    "inferred",
]

LAYOUT_COLUMNS = [
    "ring",
    "course",
    "kind",
    "source",
    "width_intrados_mm",
    "width_extrados_mm",
    "depth_mm",
    "joint_after_intrados_mm",
    "joint_after_extrados_mm",
    "station_start_mm",
    "station_end_mm",
    "from_crown_mm",
    "bed_angle_deg",
    "templet",
    "x1_mm",
    "y1_mm",
    "x2_mm",
    "y2_mm",
    "x3_mm",
    "y3_mm",
    "x4_mm",
    "y4_mm",
    "inferred",
    "laid",
    "survey_residual_mm",
    "refused",
]

CUT_COLUMNS = [
    "templet",
    "count",
    "width_intrados_mm",
    "width_extrados_mm",
    "depth_mm",
    "courses",
    "bevel_deg",
    "joint_error_mm",
    "cut",
    "to_lay",
    "refused",
]

CENTRING_COLUMNS = [
    "what",
    "ring",
    "course",
    "x_mm",
    "soffit_y_mm",
    "rib_y_mm",
    "along_left_mm",
    "along_right_mm",
    "along_crown_mm",
    "chord_left_mm",
    "edge",
    "from_axis_mm",
    "refused",
]

LAYING_COLUMNS = [
    "step",
    "ring",
    "course",
    "side",
    "from_springing_mm",
    "from_crown_mm",
    "bevel_deg",
    "joint_below_mm",
    "joint_above_mm",
    "depth_gauge_mm",
    "check",
    "stop",
]

QUANTITY_COLUMNS = ["item", "amount", "unit", "waste_percent", "order", "note", "refused"]

COMPARISON_COLUMNS = (
    "ring course station_mm outwards_mm outwards_sigma_mm along_mm along_sigma_mm moved misread"
).split()


def number(value: float, decimals: int = 4) -> str:
    """A number for a cell: fixed decimals without a negative zero, blank for NaN.

    Examples
    --------
    >>> number(-0.00001), number(float("nan")), number(12.5, 1)
    ('0.0000', '', '12.5')
    """
    if not math.isfinite(value):
        return ""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def degrees(angle_rad: float, decimals: int = 4) -> str:
    """An angle in radians for a cell, in degrees."""
    return number(math.degrees(angle_rad), decimals)


def yes_no(flag: bool) -> str:
    """A flag for a cell."""
    return "yes" if flag else "no"


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """CSV text of a heading and rows; the free texts must have gone through ``safe_cell``."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return stream.getvalue()


def refused(plan: RebuildPlan) -> str:
    """What stands in the last cell of every row of a refused plan; blank where the plan may be built."""
    if not plan.refusals:
        return ""
    first, *others = plan.refusals
    return safe_cell(f"{NOT_TO_BE_BUILT} {first}" + (f" (And {len(others)} more.)" if others else ""))


def deviations_csv(map_: DeviationMap) -> str:
    """Text of deviations.csv, one row a course and ring."""
    return csv_text(
        DEVIATION_COLUMNS,
        (
            [
                str(c.ring),
                str(c.course),
                *(
                    number(value, 3)
                    for value in (
                        c.station_mm,
                        c.x_mm,
                        c.y_mm,
                        c.deviation_mm,
                        c.deviation_sigma_mm,
                        c.face_offset_mm,
                        c.width_mm,
                        c.joint_mm,
                    )
                ),
                degrees(c.joint_tilt_rad, 3),
                str(c.condition),
                safe_cell(c.flag),
                number(c.lip_mm, 3),
                number(c.start_mm, 3),
                number(c.end_mm, 3),
                yes_no(c.inferred),
            ]
            for c in map_.courses
        ),
    )


def _springing_row(ring: RingPlan) -> list[str]:
    row = dict.fromkeys(LAYOUT_COLUMNS[:-1], "")
    row |= {
        "ring": str(ring.ring),
        "course": "0",
        "joint_after_intrados_mm": number(ring.springing_joint_intrados_mm),
        "joint_after_extrados_mm": number(ring.springing_joint_extrados_mm),
    }
    return list(row.values())


def _brick_row(brick: Brick) -> list[str]:
    return [
        str(brick.ring),
        str(brick.course),
        str(brick.kind),
        safe_cell(brick.source),
        *(
            number(value)
            for value in (
                brick.width_intrados_mm,
                brick.width_extrados_mm,
                brick.depth_mm,
                brick.joint_after_intrados_mm,
                brick.joint_after_extrados_mm,
                brick.station_start_mm,
                brick.station_end_mm,
                brick.from_crown_mm,
            )
        ),
        degrees(brick.bed_angle_rad),
        safe_cell(brick.templet),
        *(number(float(value)) for value in brick.corners_mm.ravel()),
        yes_no(brick.inferred),
        yes_no(brick.laid),
        number(brick.survey_residual_mm, 2),
    ]


def layout_csv(plan: RebuildPlan) -> str:
    """Text of layout.csv: for each ring its springing joint (course 0), then every brick in course order.

    ``survey_residual_mm`` is how far a standing brick's soffit was surveyed at most from where it is drawn.
    """
    why = refused(plan)
    rows = (row for ring in plan.rings for row in [_springing_row(ring), *map(_brick_row, ring.bricks)])
    return csv_text(LAYOUT_COLUMNS, ([*row, why] for row in rows))


def cuts_csv(plan: RebuildPlan) -> str:
    """Text of cuts.csv, one row a templet; ``courses`` lists ring/course pairs.

    ``count`` is of all its pieces, ``to_lay`` of those not laid yet.
    """
    why, to_lay = refused(plan), {(b.ring, b.course) for b in plan.bricks if b.to_lay}
    return csv_text(
        CUT_COLUMNS,
        (
            [
                safe_cell(t.name),
                str(t.count),
                number(t.width_intrados_mm, 2),
                number(t.width_extrados_mm, 2),
                number(t.depth_mm, 2),
                " ".join(f"{ring}/{course}" for ring, course in t.courses),
                degrees(t.bevel_rad, 3),
                number(t.joint_error_mm, 3),
                yes_no(t.cut),
                str(sum(place in to_lay for place in t.courses)),
                why,
            ]
            for t in plan.templets
        ),
    )


def centring_csv(plan: RebuildPlan) -> str:
    """Text of centring.csv: rib ordinates and course marks.

    ``x_mm`` is in the arch frame as in layout.csv, ``from_axis_mm`` counts it from the axis of the rib.
    """
    why = refused(plan)
    return csv_text(
        CENTRING_COLUMNS,
        (
            [
                mark.what,
                str(mark.ring) if mark.ring > 0 else "",
                str(mark.course) if mark.ring > 0 else "",
                *(
                    number(value, 2)
                    for value in (
                        mark.x_mm,
                        mark.soffit_y_mm,
                        mark.rib_y_mm,
                        mark.along_left_mm,
                        mark.along_right_mm,
                        mark.along_crown_mm,
                        mark.chord_left_mm,
                    )
                ),
                mark.edge,
                number(mark.from_axis_mm, 2),
                why,
            ]
            for mark in plan.centring.marks
        ),
    )


def laying_csv(plan: RebuildPlan) -> str:
    """Text of laying.csv, one row a brick in the order of laying.

    A refused plan has no order: each refusal stands in a row of its own, as step 0 of no course, in the check
    that stops the work.
    """
    if plan.refusals:
        blank = [""] * (len(LAYING_COLUMNS) - 3)
        rows = [["0", *blank, safe_cell(f"{NOT_TO_BE_BUILT} {r}"), yes_no(True)] for r in plan.refusals]
        return csv_text(LAYING_COLUMNS, rows)
    return csv_text(
        LAYING_COLUMNS,
        (
            [
                str(step.step),
                str(step.ring),
                str(step.course),
                step.side,
                number(step.from_springing_mm, 1),
                number(step.from_crown_mm, 1),
                degrees(step.bevel_rad, 2),
                number(step.joint_below_mm, 2),
                number(step.joint_above_mm, 2),
                number(step.depth_gauge_mm, 1),
                safe_cell(step.check),
                yes_no(step.stop),
            ]
            for step in plan.laying
        ),
    )


def quantities_csv(plan: RebuildPlan) -> str:
    """Text of quantities.csv with the wastage stated beside each amount.

    Amounts are of what is still to be done; of a refused plan nothing is ordered.
    """
    why = refused(plan)
    return csv_text(
        QUANTITY_COLUMNS,
        (
            [
                safe_cell(q.item),
                number(q.amount, 3),
                q.unit,
                number(100 * q.waste_ratio, 1),
                number(q.order, 3),
                safe_cell(q.note),
                why,
            ]
            for q in plan.quantities
        ),
    )


def comparison_csv(comparison: Comparison) -> str:
    """Text of comparison.csv, one row a course read in both surveys."""
    return csv_text(
        COMPARISON_COLUMNS,
        (
            [
                str(c.ring),
                str(c.course),
                *(
                    number(value, 3)
                    for value in (
                        c.station_mm,
                        c.outwards_mm.value,
                        c.outwards_mm.sigma,
                        c.along_mm.value,
                        c.along_mm.sigma,
                    )
                ),
                yes_no(c.moved),
                yes_no(c.misread),
            ]
            for c in comparison.courses
        ),
    )
