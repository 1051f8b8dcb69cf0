"""The tables of a plan: refusals on every row, what is laid, residuals, and marks from the axis."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest
from rebuild.factory import fit, record, ring
from sheets.cases import REFUSALS, cases

from survey.curves import segmental
from survey.rebuild import plan_rebuild
from survey.rebuild.plan import BrickKind, RebuildPlan
from survey.sheets.results import frames, tables
from survey.sheets.results.result_json import rebuild_json

CASES = cases()
SOUND, REFUSED = CASES["elliptical, three rings"].plan, CASES["five-centred, refused"].plan
WRITERS = (tables.layout_csv, tables.cuts_csv, tables.centring_csv, tables.quantities_csv)


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.parametrize("write", WRITERS)
def test_every_row_of_a_refused_plan_says_why(write):
    rows = rows_of(write(REFUSED))
    assert rows
    assert list(rows[0])[-1] == "refused"
    told = f"NOT TO BE BUILT: {REFUSALS[0]}"
    more = f" (And {len(REFUSALS) - 1} more.)" if len(REFUSALS) > 1 else ""
    assert {row["refused"] for row in rows} == {told + more}


@pytest.mark.parametrize("write", WRITERS)
def test_a_single_reason_stands_alone(write):
    rows = rows_of(write(replace(REFUSED, refusals=("The bricks do not fit.",))))
    assert {row["refused"] for row in rows} == {"NOT TO BE BUILT: The bricks do not fit."}


@pytest.mark.parametrize("write", WRITERS)
def test_a_plan_that_may_be_built_has_the_same_columns_and_no_reason(write):
    rows = rows_of(write(SOUND))
    assert list(rows[0]) == list(rows_of(write(REFUSED))[0])
    assert {row["refused"] for row in rows} == {""}


def with_bricks(plan: RebuildPlan, **by_course: dict[int, object]) -> RebuildPlan:
    """The plan with fields of ring 1's bricks given by course."""
    first = plan.rings[0]
    bricks = tuple(
        replace(b, **{name: values[b.course] for name, values in by_course.items() if b.course in values})
        for b in first.bricks
    )
    return replace(plan, rings=(replace(first, bricks=bricks), *plan.rings[1:]))


def test_layout_tells_how_far_standing_bricks_lie_from_their_survey():
    plan = with_bricks(SOUND, survey_residual_mm={2: 3.456, 3: float("nan")})
    by_course = {row["course"]: row for row in rows_of(tables.layout_csv(plan)) if row["ring"] == "1"}
    assert [by_course[c]["survey_residual_mm"] for c in ("0", "2", "3")] == ["", "3.46", ""]


def test_cuts_tell_how_many_are_still_to_be_laid():
    rec = record((ring(1, 43),))
    plan = plan_rebuild(rec, fit(segmental(2400.0, 400.0), rec))
    (row,) = rows_of(tables.cuts_csv(with_bricks(plan, laid={1: True, 43: True})))
    assert (row["count"], row["to_lay"]) == ("43", "41")


def test_marks_stand_in_both_frames():
    marks = tuple(replace(m, from_axis_mm=m.x_mm + 0.09) for m in SOUND.centring.marks)
    plan = replace(SOUND, centring=replace(SOUND.centring, marks=marks))
    for row in rows_of(tables.centring_csv(plan)):
        assert float(row["from_axis_mm"]) == pytest.approx(float(row["x_mm"]) + 0.09, abs=0.0101)


@pytest.mark.parametrize("frame", [frames.layout_frame, frames.cuts_frame, frames.centring_frame])
def test_frames_have_words_where_the_tables_have(frame):
    assert set(frame(SOUND)["refused"]) == {""}
    assert all(told.startswith("NOT TO BE BUILT: ") for told in frame(REFUSED)["refused"])


def test_rebuild_json_counts_what_is_laid_and_what_is_left():
    rec = record((ring(1, 43),))
    plan = plan_rebuild(rec, fit(segmental(2400.0, 400.0), rec))
    (first,) = json.loads(rebuild_json(plan))["rings"]
    assert (first["count"], first["laid"], first["to_lay"]) == (43, 0, 43)
    begun = with_bricks(plan, laid={1: True, 2: True}, kind={43: BrickKind.IN_SITU})
    (first,) = json.loads(rebuild_json(begun))["rings"]
    assert (first["count"], first["laid"], first["to_lay"]) == (43, 2, 40)
