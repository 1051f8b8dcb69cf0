"""The laying card and its lists: one page, large print, every step with all its checks."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from sheets.legibility import overprints, said, sheet_texts
from sheets.worked import works

from survey.rebuild.laying.laying import order_laying
from survey.rebuild.plan import BrickKind
from survey.sheets.drawing import Placed, Polyline, Text
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.placing import on_paper
from survey.sheets.rebuild.card import (
    CAUTION_MM,
    dry_schedule,
    joint_range,
    laying_sheets,
    rings_schedule,
    steps_schedule,
)
from survey.sheets.rebuild.card_drawing import card_key, laying_drawing
from survey.sheets.rebuild.work_words import work_sentences
from survey.sheets.report.step_words import every_brick

WORKS = works()
EVERY = pytest.mark.parametrize("made", WORKS.values(), ids=list(WORKS))


@EVERY
def test_the_card_is_one_page_in_large_print(made):
    card, *lists = laying_sheets(made.record, made.fit, made.plan)
    assert card.title == "Laying card"
    assert all(sheet.title in ("Laying list", "Dry lay") for sheet in lists)
    words = said((card,))
    for sentence in work_sentences(made.record, made.plan):
        assert sentence in words
    first = work_sentences(made.record, made.plan)[0]
    orders = {t.height_mm for t in sheet_texts(card) if t.text.startswith(first[:16])}
    assert min(orders) > ink.HEAD_MM
    warned = [t for t in sheet_texts(card) if t.text.startswith("– Prop the arch")]
    assert [t.height_mm for t in warned] == [CAUTION_MM]


@EVERY
def test_no_clause_of_a_check_is_lost_between_list_and_foot(made):
    foot = " ".join(every_brick(made.plan))
    rows = steps_schedule(made.plan).rows
    assert len(rows) == len(made.plan.laying)
    for row, step in zip(rows, made.plan.laying, strict=True):
        assert row[-1].startswith("STOP: ") == step.stop
        for clause in step.check.split("; "):
            assert clause in row[-1] or clause in foot
        assert row[1] == f"{step.ring}/{step.course}"
        assert float(row[3]) == pytest.approx(step.from_springing_mm, abs=0.051)
        assert float(row[5]) == pytest.approx(math.degrees(step.bevel_rad), abs=0.051)


def test_what_concerns_one_brick_stays_with_its_step():
    made = WORKS["doorway"]
    foot = " ".join(every_brick(made.plan))
    assert "fair face out" in foot
    assert not any(word in foot for word in ("closes a gap", "second person", "new, templet", "springer"))
    only = replace(made.plan, laying=made.plan.laying[-1:])
    assert "closes a gap" in steps_schedule(only).rows[0][-1]
    assert "closes a gap" not in " ".join(every_brick(only))


@EVERY
def test_the_dry_lay_lists_every_brick_to_be_laid(made):
    rows = dry_schedule(made.plan).rows
    listed = [(int(r[0]), int(c)) for r in rows for c in (r[1], r[5]) if c.isdigit()]
    assert sorted(listed) == sorted((s.ring, s.course) for s in made.plan.laying)


@EVERY
def test_the_picture_tells_stops_key_and_standing_bricks_apart(made):
    drawing = laying_drawing(made.plan, 20.0)
    style = {m.tag: m.style for m in drawing.primitives if isinstance(m, Polyline) and m.tag}
    steps = {(s.ring, s.course): s for s in made.plan.laying}
    entries = {e.meaning: e.style for e in card_key(made.plan)}
    for brick in made.plan.bricks:
        step = steps.get((brick.ring, brick.course))
        meaning = (
            "stands"
            if step is None
            else "key: tried dry, goes in last"
            if step.side == "key"
            else "stop: a second person checks"
            if step.stop
            else "to lay, with its step"
        )
        assert style[f"ring-{brick.ring}-course-{brick.course}"] == entries[meaning]
    shown = {int(m.text) for m in drawing.primitives if isinstance(m, Text)}
    assert shown <= {s.step for s in made.plan.laying}
    assert shown


@pytest.mark.parametrize("scale", [25.0, 40.0, 75.0])
def test_steps_beside_a_ring_of_small_bricks_keep_apart_and_tell_first_and_key(scale):
    made = WORKS["gateway"]
    placed = Placed(laying_drawing(made.plan, scale), (0.0, 0.0), (0.0, 0.0), scale)
    texts = [m for m in on_paper(placed) if isinstance(m, Text)]
    for one, other in combinations(texts, 2):
        assert not text_box(one).grown(1.0 - 1e-6).meets(text_box(other)), (one.text, other.text)
    shown = {t.text for t in texts}
    for ring in made.plan.rings:
        steps = [s for s in made.plan.laying if s.ring == ring.ring]
        assert f"{min(s.step for s in steps)}" in shown
        assert {f"{s.step}" for s in steps if s.side == "key"} <= shown


def test_joints_of_a_turned_ring_are_given_across_the_joint():
    made = WORKS["doorway"]
    turned = made.plan.rings[1]
    low, high = joint_range(turned)
    along = turned.bricks[0].joint_after_intrados_mm
    assert low == high == pytest.approx(along * math.cos(math.pi / 4))
    rows = [r for r in dry_schedule(made.plan).rows if r[0] == "2"]
    assert {r[8] for r in rows} == {f"{low:.1f}"}
    stands = replace(turned, bricks=tuple(replace(b, kind=BrickKind.IN_SITU) for b in turned.bricks))
    assert all(math.isnan(v) for v in joint_range(stands))


def test_the_order_of_work_speaks_of_what_there_is():
    door, gate = (" ".join(work_sentences(WORKS[n].record, WORKS[n].plan)) for n in ("doorway", "gateway"))
    assert "turned bricks from the middle outwards, protractor 45°" in door
    assert "Gaps: one is closed before the next is begun" in door
    assert "Key: try it dry" not in door
    assert "Lay the bricks of each gap dry first" in door
    assert "Key: try it dry" in gate
    assert "protractor 45" not in gate
    assert "Lay the ring dry first" in gate
    assert "Mortar: NHL 3.5, 1 : 2.5." in gate
    assert "no harder than the brick" in door
    for words in (door, gate):
        assert "Strike only on the engineer's word" in words


def test_a_ring_that_stands_is_said_to_stand():
    made = WORKS["doorway"]
    rings = tuple(
        replace(r, bricks=tuple(replace(b, kind=BrickKind.IN_SITU) for b in r.bricks)) if r.ring == 3 else r
        for r in made.plan.rings
    )
    plan = replace(made.plan, rings=rings, laying=tuple(s for s in made.plan.laying if s.ring != 3))
    card = laying_sheets(made.record, made.fit, plan)[0]
    assert "stands" in {t.text for t in sheet_texts(card)}
    nothing = replace(plan, laying=(), rings=rings[2:])
    assert len(laying_sheets(made.record, made.fit, nothing)) == 1


def begun(made, *courses: int):
    """The same plan with some courses of its first ring laid."""
    first = made.plan.rings[0]
    rings = (
        replace(first, bricks=tuple(replace(b, laid=b.course in courses) for b in first.bricks)),
        *made.plan.rings[1:],
    )
    return replace(made.plan, rings=rings, laying=order_laying(rings, made.plan.centring, made.plan.shape))


def test_what_is_laid_is_marked_and_where_to_go_on_comes_first():
    made = WORKS["window"]
    plan = begun(made, 1, 2, 19)
    card, laying_list, *_ = laying_sheets(made.record, made.fit, plan)
    assert "1 Laid already: ring 1, courses 1, 2, 19. Go on with ring 1, course 18, on the right." in said(
        (card,)
    )
    done = next(e.style for e in card_key(plan) if e.meaning == "laid already")
    styles = {m.tag: m.style for m in laying_drawing(plan, 10.0).primitives if isinstance(m, Polyline)}
    assert [c for c in range(1, 20) if styles[f"ring-1-course-{c}"] == done] == [1, 2, 19]
    assert [row[1] for row in steps_schedule(plan).rows][:3] == ["1/18", "1/3", "1/17"]
    row = rings_schedule(plan).rows[0]
    assert (row[1], row[-1]) == ("16", "from both springings to the key; 3 bricks laid")
    assert laying_list.title == "Laying list"
    assert "laid already" not in {e.meaning for e in card_key(made.plan)}
    finished = begun(made, *range(1, 20))
    assert rings_schedule(finished).rows[0][-1] == "done"
    assert "Laid already: ring 1, courses 1 to 19." in work_sentences(made.record, finished)


def test_a_refused_card_orders_nothing():
    made = WORKS["many templets, refused"]
    sheets = laying_sheets(made.record, made.fit, replace(made.plan, laying=()))
    assert [sheet.title for sheet in sheets] == ["Laying card"]
    words = said(sheets)
    assert "there is no order of laying" in words
    assert "Lay no further brick and take none out" in words
    assert not any(word in words for word in ("Check the centre", "from both springings", "Strike only"))
    assert {e.meaning for e in card_key(replace(made.plan, laying=()))} == {"no order: not to be built"}


def test_joint_limits_and_whether_they_were_given_are_said():
    made = WORKS["window"]
    low, high = made.plan.rings[0].joint_min_mm, made.plan.rings[0].joint_max_mm
    given = " ".join(work_sentences(made.record, made.plan))
    assert f"No joint under {low:.1f} or over {high:.1f} mm. " in given
    back = made.record.joints.extrados_max_mm
    for missing, told in (
        (("min", "max"), f"over {high:.1f} mm (min and max by default"),
        (("min", "max", "extrados_max"), "called out (min, max and that at the back by default"),
        (
            ("extrados_max",),
            f"; one over {back:.1f} mm at the back is called out (that at the back by default",
        ),
    ):
        rings = tuple(replace(r, default_limits=missing) for r in made.plan.rings)
        taken = " ".join(work_sentences(made.record, replace(made.plan, rings=rings)))
        assert f"{told}, for the record gives none: a judgement)." in taken


@EVERY
def test_the_card_reads_at_arms_length(made):
    """At 700 mm a capital of 2 mm stands under ten minutes of arc, the least for reading with ease."""
    card = laying_sheets(made.record, made.fit, made.plan)[0]
    own = [t for t in card.primitives if isinstance(t, Text)]
    frame = {"scale", "unit", "recorded", "sheet", "seen from outside"}
    small = [t.text for t in own if t.height_mm < 2.04 and t.text not in frame]
    assert small == []


@EVERY
def test_no_sentence_of_the_card_runs_into_the_cautions(made):
    """Also with much laid already, a long name for the mortar and limits by default."""
    courses = range(1, len(made.plan.rings[0].bricks), 2)
    plan = begun(made, *courses)
    rings = tuple(replace(r, default_limits=("min", "max", "extrados_max")) for r in plan.rings)
    record = replace(made.record, mortar=replace(made.record.mortar, name="lime mortar to match " * 8))
    for drawn in (made.plan, replace(plan, rings=rings)):
        card = laying_sheets(record, made.fit, drawn)[0]
        texts = sheet_texts(card)
        (head,) = (t for t in texts if t.text == "Before any work, every day")
        sentence = work_sentences(record, drawn)[-1]
        last = [t for t in texts if t.height_mm != CAUTION_MM and t.text in sentence and len(t.text) > 9]
        assert last
        assert min(t.at[1] for t in last) > head.at[1] + 7.0
        assert overprints(card) == []


@EVERY
def test_the_centre_is_checked_against_its_own_fall(made):
    soffit = made.plan.rings[0].inner
    left, right = soffit.point(np.array([0.0, soffit.length_mm]))
    fall = float(right[1] - left[1])
    side = "right" if fall > 0 else "left"
    told = "level across" if abs(fall) < 0.5 else f"{side} springing {abs(fall):.0f} higher"
    checks = [s for s in work_sentences(made.record, made.plan) if s.startswith("Check the centre")]
    assert len(checks) == (0 if made.plan.refusals else 1)
    assert all(f"springing line, {told}, firm" in check for check in checks)
