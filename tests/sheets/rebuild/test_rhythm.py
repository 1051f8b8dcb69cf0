"""The rhythm sheet: bars as high as the joints they stand for, and figures recomputed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from sheets.legibility import said
from sheets.worked import works

from survey.sheets.drawing import Layer, Polyline, Text
from survey.sheets.kit.brickwork import STATE_STYLES, BrickState
from survey.sheets.rebuild.rhythm import comparison, original_row, planned_row, rhythm_sheets

WORKS = works()
LAID = STATE_STYLES[BrickState.LAID]


def bars(sheet, fill: str) -> list[float]:
    """Heights of the bars of one fill, in the order drawn; the key's samples are left out."""
    found = []
    for mark in sheet.primitives:
        if (
            isinstance(mark, Polyline)
            and mark.style.layer is Layer.JOINT
            and mark.style.fill == fill
            and mark.closed
        ):
            xs, ys = zip(*mark.points, strict=True)
            if max(xs) - min(xs) < 3.0:
                found.append(max(ys) - min(ys))
    return found


def test_bars_are_as_high_as_their_joints():
    made = WORKS["gateway"]
    (sheet,) = rhythm_sheets(made.record, made.fit, made.plan)
    ring, other = made.plan.rings
    planned = np.array(bars(sheet, "#c4c4c4"))
    assert len(planned) == ring.count + 1 + other.count + 1
    joints = made.plan.joints_mm(1)
    scale = planned[0] / joints[0]
    np.testing.assert_allclose(planned[: ring.count + 1], joints * scale, rtol=1e-9)
    measured, inferred = np.array(bars(sheet, "#161616")), np.array(bars(sheet, "#ffffff"))
    known = np.array(ring.recorded_joints)
    np.testing.assert_allclose(measured[: known.sum()], ring.original_joints_mm[known] * scale, rtol=1e-9)
    np.testing.assert_allclose(inferred[: (~known).sum()], ring.original_joints_mm[~known] * scale, rtol=1e-9)


def test_rows_run_on_without_gaps():
    for made in WORKS.values():
        for ring in made.plan.rings:
            for row in (original_row(ring), planned_row(ring)):
                np.testing.assert_allclose(row.start_mm[0], row.joints_mm[0])
                np.testing.assert_allclose(row.start_mm[1:], row.end_mm[:-1] + row.joints_mm[1:-1], atol=1e-9)
            assert planned_row(ring).total_mm == pytest.approx(ring.inner.length_mm, abs=1e-6)


def test_the_comparison_is_that_of_the_two_rhythms():
    ring = WORKS["gateway"].plan.rings[0]
    rows = {name: (was, planned) for name, was, planned in comparison(ring).rows}
    planned = WORKS["gateway"].plan.joints_mm(1)
    was = ring.original_joints_mm
    assert rows["mean joint"] == (f"{was.mean():.1f}", f"{planned.mean():.1f}")
    assert rows["greatest joint"] == (f"{was.max():.1f}", f"{planned.max():.1f}")
    assert rows["joints inferred"][0] == "3"
    assert rows["correlation of joints"][1] == f"{np.corrcoef(was, planned)[0, 1]:.2f}"
    assert rows["rms change of joints"][1] == f"{math.sqrt(np.mean((planned - was) ** 2)):.1f}"
    worst = int(np.argmax(np.abs(planned - was)))
    assert rows["greatest change"][1].endswith(f"after {worst}")


def test_an_even_rhythm_has_no_correlation_to_tell():
    ring = WORKS["window"].plan.rings[0]
    rows = {name: planned for name, _, planned in comparison(ring).rows}
    assert rows["correlation of joints"] == "–"
    assert rows["greatest change"] == "0.0"


def test_two_rings_a_sheet_and_rings_without_bricks_left_out():
    made = WORKS["doorway"]
    first, second = rhythm_sheets(made.record, made.fit, made.plan)
    heads = [
        [m.text for m in sheet.primitives if isinstance(m, Text) and m.text.startswith("Ring ")]
        for sheet in (first, second)
    ]
    assert heads == [["Ring 1", "Ring 2"], ["Ring 3"]]
    bare = replace(made.plan, rings=(replace(made.plan.rings[0], bricks=()), *made.plan.rings[1:]))
    (sheet,) = rhythm_sheets(made.record, made.fit, bare)
    assert "Ring 1" not in said((sheet,))


def test_the_key_names_what_was_inferred_only_where_anything_was():
    made = WORKS["gateway"]
    first, second = made.plan.rings
    for known, there in (
        ((True,) * 55, set()),
        (first.recorded_joints, {"joint inferred", "brick inferred"}),
    ):
        ring = replace(first, recorded_joints=known)
        plan = replace(made.plan, rings=(ring, replace(second, recorded_joints=(True,) * 59)))
        (sheet,) = rhythm_sheets(made.record, made.fit, plan)
        words = {m.text for m in sheet.primitives if isinstance(m, Text)}
        assert words & {"joint inferred", "brick inferred"} == there
        assert {"joint measured", "joint planned"} <= words


def test_the_key_names_the_states_of_bricks_that_occur():
    made = WORKS["gateway"]
    first = made.plan.rings[0]
    bricks = tuple(replace(b, laid=b.course < 4) for b in first.bricks)
    begun = replace(made.plan, rings=(replace(first, bricks=bricks), *made.plan.rings[1:]))
    for plan, laid in ((made.plan, False), (begun, True)):
        (sheet,) = rhythm_sheets(made.record, made.fit, plan)
        words = {m.text for m in sheet.primitives if isinstance(m, Text)}
        assert words & {state.value for state in BrickState} == {
            "original, laid again",
            "salvaged brick",
            "new brick",
            *(["laid already"] if laid else []),
        }
        grey = [m for m in sheet.primitives if isinstance(m, Polyline) and m.style == LAID]
        assert len(grey) == (4 if laid else 0), "three bricks and the sample in the key"
