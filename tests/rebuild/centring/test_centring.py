"""The centre as a whole: rib, striking sentences, props, lagging and what is not known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from rebuild.works_factory import record_of, ring_of, ring_record

from survey.curves import (
    DisplacedCurve,
    curve_of,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred_sixty,
)
from survey.errors import PlanError
from survey.rebuild.centring.centring import plan_centring, props_for
from survey.record.model import Centring


def planned(shape, *, timber: Centring | None = None, cut: bool = False):
    n = int(curve_of(shape).length_mm / 62)
    return plan_centring(
        shape, (ring_of(shape, np.full(n, 50.0), cut=cut),), record_of(ring_record(), centring=timber)
    )


SAID = [
    (
        semicircular(1000),
        ("rod of 975 mm", "on the middle line, on the springing line", "radius is 1000 mm"),
    ),
    (
        segmental(2400, 400),
        ("rod of 1975 mm", "1600 mm below the springing line", "back lies 2240 mm"),
    ),
    (
        three_centred_sixty(2000, 600),
        (
            "rod of 428.6 mm",
            "(453.6 mm for the soffit)",
            "546.4 mm left and right",
            "946.4 mm below",
            "meet 760.7 mm left and right of the middle line, 371.2 mm above",
            "back lies 693.6 and 1786.4 mm",
        ),
    ),
    (
        five_centred(3000, 900, 600),
        ("Side arcs", "Middle arcs", "Crown arc", "325.8 mm below", "1715.6 mm below"),
    ),
    (
        elliptical(2000, 600),
        (
            "800 mm left and right of the middle",
            "string of 2000 mm from pin to pin",
            "3600 mm round",
            "25 mm inwards and square",
            "is not an ellipse",
            "back off the soffit, 240 mm outwards",
        ),
    ),
    (
        elliptical(1200, 1000),
        ("two pins on the middle line, 800 mm above and below", "string of 2000 mm"),
    ),
]


@pytest.mark.parametrize(("shape", "said"), SAID)
def test_the_striking_is_said_in_figures(shape, said):
    """Radii, centres and junctions as in the handbook constructions (side centres -+546.410, crown 946.410
    below)."""
    words = " ".join(planned(shape).setting_out)
    for part in said:
        assert part in words


def test_the_sentences_do_not_change_where_the_arch_stands_in_the_frame():
    for make in (
        lambda **at: segmental(2400, 400, **at),
        lambda **at: three_centred_sixty(2000, 600, **at),
        lambda **at: elliptical(2000, 600, **at),
    ):
        here = planned(make()).setting_out
        there = planned(make(axis_x_mm=321.0, springing_y_mm=-77.0, tilt_rad=0.02)).setting_out
        assert there == here


def test_packing_makes_up_the_slack_that_lifting_leaves():
    """Raised by the slack s, the lagging is short of the soffit by s (1 - cos a) where the normal leans by
    a."""
    plan = planned(segmental(2400, 400), timber=Centring(slack_mm=10.0))
    assert "growing to 2 mm at the springings" in plan.setting_out[-1]
    assert "growing to 5 mm" in planned(semicircular(1000)).setting_out[-1]
    assert planned(segmental(2400, 40)).setting_out[-1].endswith("meets the soffit at the crown.")
    lagging = curve_of(segmental(2400, 400)).offset(-10.0)
    ends = lagging.point([0.0, lagging.length_mm / 2]) + np.array([0.0, 10.0])
    off = curve_of(segmental(2400, 400)).locate(ends).distance_mm
    np.testing.assert_allclose(off, [-10 * (1 - 0.8), 0.0], atol=0.05)
    assert planned(semicircular(1000), timber=Centring(slack_mm=0.0)).setting_out[-1].startswith("No slack")


def test_a_repair_is_cut_to_the_ordinates_of_what_stands():
    shape = segmental(2400, 400)
    drawn = curve_of(shape)
    standing = DisplacedCurve(drawn, (0.0, 900.0, drawn.length_mm), (0.0, 8.0, 0.0))
    ring = replace(ring_of(shape, np.full(43, 50.0)), inner=standing, outer=standing.offset(240.0))
    plan = plan_centring(shape, (ring,), record_of(ring_record()))
    assert any("stands up to 8 mm off that curve" in s for s in plan.setting_out)
    xy = np.array([(m.x_mm, m.rib_y_mm) for m in plan.marks if m.what == "ordinate"])
    xy = xy[np.isfinite(xy[:, 1])]
    np.testing.assert_allclose(standing.locate(xy).distance_mm, -25.0, atol=1e-5)


def test_props_are_odd_in_number_with_one_in_the_middle():
    for half in (300.0, 1000.0, 2900.0):
        props = props_for(curve_of(semicircular(half)).offset(-25))
        assert len(props) % 2 == 1
        assert len(props) >= 3
        assert props[len(props) // 2] == pytest.approx(0.0, abs=1e-9)
        assert np.diff(props).max() <= 1200.0 + 1e-9
        np.testing.assert_allclose(props, [-x for x in props[::-1]], atol=1e-9)


def test_counts_follow_the_wall():
    plan = planned(semicircular(1000), timber=Centring(wall_thickness_mm=330.0))
    assert plan.n_ribs == 3
    assert plan.n_props == plan.n_wedge_pairs == 3 * len(plan.props_x_mm)
    assert plan.lagging_length_mm == 315.0
    assert not any("not recorded" in note for note in plan.notes)
    unknown = planned(semicircular(1000))
    assert (unknown.n_ribs, unknown.lagging_length_mm) == (2, 100.0)
    assert any("thickness is not recorded" in note for note in unknown.notes)
    assert unknown.wedge_travel_mm > unknown.slack_mm


def test_every_course_rests_on_a_strip():
    for width in (40.0, 50.0, 90.0):
        shape = semicircular(1000)
        n = int(curve_of(shape).length_mm / (width + 10))
        plan = plan_centring(shape, (ring_of(shape, np.full(n, width)),), record_of(ring_record()))
        gap = plan.lagging_pitch_mm - plan.lagging_strip_mm
        assert gap <= width / 2 + 1e-9
        assert gap <= plan.lagging_strip_mm + 1e-9
        assert (plan.n_lagging - 1) * plan.lagging_pitch_mm >= plan.rib.length_mm - 1e-6


def test_cut_bricks_are_laid_on_close_boards():
    plan = planned(semicircular(1000), cut=True)
    assert plan.lagging_pitch_mm == plan.lagging_strip_mm


def test_without_bricks_there_is_still_a_centre():
    plan = plan_centring(semicircular(1000), (), record_of(ring_record()))
    assert {m.what for m in plan.marks} == {"ordinate"}
    assert plan.lagging_pitch_mm == plan.lagging_strip_mm


@pytest.mark.parametrize(
    ("shape", "timber"),
    [(semicircular(300), Centring(lagging_mm=280.0, slack_mm=20.0)),
     (elliptical(1000, 200), Centring(lagging_mm=75.0, slack_mm=10.0))],
)  # fmt: skip
def test_lagging_that_leaves_no_rib_is_refused(shape, timber):
    words = "leave no rib inside this soffit, which bends down to a radius of .* mm; give thinner lagging"
    with pytest.raises(PlanError, match=words):
        planned(shape, timber=timber)


def test_marks_are_ordinates_then_courses():
    plan = planned(semicircular(1000))
    what = [m.what for m in plan.marks]
    assert what.index("mark") == what.count("ordinate") > 21
    assert math.isclose(plan.rib.length_mm, 975 * math.pi)


@pytest.mark.parametrize("axis_x", [0.0, -0.09, 350.25])
def test_ordinates_are_alike_left_and_right_of_the_axis(axis_x):
    """Wherever the frame's origin is: counted from the axis, every ordinate has its mirror."""
    shape = replace(segmental(2400, 400), axis_x_mm=axis_x)
    ring = ring_of(shape, np.full(43, 50.0))
    plan = plan_centring(shape, (ring,), record_of(ring_record()))
    marks = [m for m in plan.marks if m.what == "ordinate"]
    off = np.array([m.from_axis_mm for m in marks])
    np.testing.assert_allclose(off, -off[::-1], atol=1e-9)
    assert np.isin(np.arange(-1200.0, 1201.0, 100.0), off.round(6)).all()
    np.testing.assert_allclose([m.x_mm for m in plan.marks], [m.from_axis_mm + axis_x for m in plan.marks])
