"""The laying card and its lists: one page, large print, every step with all its checks."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from sheets.legibility import said, sheet_texts
from sheets.worked import works

from survey.rebuild.plan import BrickKind
from survey.sheets import ink
from survey.sheets.drawing import Polyline, Text
from survey.sheets.rebuild_card import (
    CAUTION_MM,
    dry_schedule,
    every_brick,
    joint_range,
    laying_sheets,
    steps_schedule,
    work_sentences,
)
from survey.sheets.rebuild_card_drawing import card_key, laying_drawing

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
    orders = {t.height_mm for t in sheet_texts(card) if "Check the centre" in t.text}
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
            else "laid, with its step"
        )
        assert style[f"ring-{brick.ring}-course-{brick.course}"] == entries[meaning]
    shown = {int(m.text) for m in drawing.primitives if isinstance(m, Text)}
    assert shown <= {s.step for s in made.plan.laying}
    assert shown


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
    assert "Gaps go up from their lower end" in door
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
