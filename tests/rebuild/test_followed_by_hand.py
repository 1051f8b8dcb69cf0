"""A plan followed with a calculator from its printed tables alone: layout.csv, laying.csv, centring.csv."""

from __future__ import annotations

import csv
import io
import math

import numpy as np
import pytest
from rebuild.factory import fit, lay, notes_from, record, ring

from survey.curves import curve_of, segmental, semicircular
from survey.rebuild import plan_rebuild
from survey.record.model import JointLimits
from survey.sheets.results.tables import centring_csv, laying_csv, layout_csv

N = 43


def tables(shape):
    """The three tables of a whole rebuild with joints that widen to the springings, as a mason gets them."""
    joints = 1.0 + 0.4 * np.abs(np.linspace(-1.0, 1.0, N + 1))
    length = curve_of(shape).length_mm
    width = round(length / N - 10.0, 1)
    laid = lay(length, np.full(N, width), joints)
    one = ring(1, N, brick_width_mm=width)
    rec = record((one,), courses=notes_from(laid), joints=JointLimits(3.0, 25.0, 60.0))
    plan = plan_rebuild(rec, fit(shape, rec))
    assert not plan.refusals
    return [
        list(csv.DictReader(io.StringIO(text)))
        for text in (layout_csv(plan), laying_csv(plan), centring_csv(plan))
    ]


@pytest.mark.parametrize(
    ("shape", "radius", "centre_y"),
    [(segmental(2400.0, 400.0), 2000.0, -1600.0), (semicircular(1000.0), 1000.0, 0.0)],
)
def test_ten_courses_on_either_side_from_the_printed_tables(shape, radius, centre_y):
    layout, laying, centring = tables(shape)
    half = math.asin(shape.half_span_mm / radius) if centre_y else math.pi / 2
    length = 2.0 * radius * half
    joint = {int(row["course"]): float(row["joint_after_intrados_mm"]) for row in layout}
    width = {int(row["course"]): float(row["width_intrados_mm"]) for row in layout if row["course"] != "0"}
    corner = {int(row["course"]): row for row in layout}
    marks = {(int(r["course"]), r["edge"]): r for r in centring if r["what"] == "mark"}
    followed = 0
    for step in laying:
        course, side = int(step["course"]), step["side"]
        up = course if side == "left" else N + 1 - course
        if up > 10 or side == "key":
            continue
        followed += 1
        # running sum of the bricks and joints below, from its own springing
        below = range(1, course) if side == "left" else range(N, course, -1)
        first_joint = joint[0] if side == "left" else joint[N]
        run = first_joint + sum(width[c] + joint[c if side == "left" else c - 1] for c in below)
        free = run + width[course]
        assert float(step["from_springing_mm"]) == pytest.approx(free, abs=0.06)
        assert float(step["from_crown_mm"]) == pytest.approx(length / 2.0 - free, abs=0.06)
        assert float(step["joint_below_mm"]) == pytest.approx(
            joint[course - 1 if side == "left" else course], abs=0.006
        )
        assert float(step["joint_above_mm"]) == pytest.approx(
            joint[course if side == "left" else course - 1], abs=0.006
        )
        # a whole brick's beds run along its own axis, the radius through the middle of its face
        middle = (run + free) / 2.0 / radius
        assert float(step["bevel_deg"]) == pytest.approx(90.0 - math.degrees(half - middle), abs=0.006)
        # its corners by sine and cosine
        sign = -1.0 if side == "left" else 1.0
        for station, name in ((run, "1" if side == "left" else "2"), (free, "2" if side == "left" else "1")):
            angle = half - station / radius
            x, y = sign * radius * math.sin(angle), centre_y + radius * math.cos(angle)
            assert float(corner[course][f"x{name}_mm"]) == pytest.approx(x, abs=0.002)
            assert float(corner[course][f"y{name}_mm"]) == pytest.approx(y, abs=0.002)
        # the mark of its free edge: along the soffit, and along a straight tape from the left springing
        mark = marks[course, "right" if side == "left" else "left"]
        along = free if side == "left" else length - free
        assert float(mark["along_left_mm"]) == pytest.approx(along, abs=0.006)
        assert float(mark["along_right_mm"]) == pytest.approx(length - along, abs=0.006)
        assert float(mark["chord_left_mm"]) == pytest.approx(
            2.0 * radius * math.sin(along / radius / 2.0), abs=0.006
        )
    assert followed == 20
    assert sum(width.values()) + sum(joint.values()) == pytest.approx(length, abs=0.01)


def test_the_two_sides_rise_together_in_the_printed_order():
    _, laying, _ = tables(semicircular(1000.0))
    left = right = 0
    for step in laying:
        left += step["side"] == "left"
        right += step["side"] == "right"
        assert abs(left - right) <= 1
    assert [step["side"] for step in laying].count("key") == 1
    assert laying[-1]["side"] == "key"
