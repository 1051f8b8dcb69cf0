"""The work sheets of many arches: legible, cautioned, refused with their plan, repeatable, sound as DXF."""

from __future__ import annotations

import io

import ezdxf
import pytest
from sheets.legibility import outside, overprints, said
from sheets.worked import REFUSALS, Worked, works

from survey.rebuild.cautions import CAUTIONS
from survey.sheets.rebuild.card import laying_sheets
from survey.sheets.rebuild.cutting import cutting_sheets
from survey.sheets.rebuild.rhythm import rhythm_sheets
from survey.sheets.rebuild.rib import rib_sheets
from survey.sheets.rebuild.templets import templet_sheets
from survey.sheets.render.dxf import render_dxf

WORKS = works()
EVERY = pytest.mark.parametrize("made", WORKS.values(), ids=list(WORKS))
MAKERS = [rhythm_sheets, cutting_sheets, templet_sheets, rib_sheets, laying_sheets]


def drawn(make, made: Worked):
    return make(made.record, made.fit, made.plan)


@EVERY
@pytest.mark.parametrize("make", MAKERS)
def test_no_text_over_another_and_none_off_the_paper(make, made):
    for sheet in drawn(make, made):
        assert overprints(sheet) == []
        assert outside(sheet, 5.0) == []


@EVERY
@pytest.mark.parametrize("make", MAKERS)
def test_every_set_carries_all_cautions_on_its_first_sheet(make, made):
    words = said(drawn(make, made)[:1])
    for caution in CAUTIONS:
        assert caution in words


@pytest.mark.parametrize("make", MAKERS)
def test_a_refused_plan_says_so_on_every_sheet(make):
    refused = drawn(make, WORKS["many templets, refused"])
    for sheet in refused:
        assert all(refusal in said((sheet,)) for refusal in (*REFUSALS, "NOT TO BE BUILT:"))
    assert "NOT TO BE BUILT" not in said(drawn(make, WORKS["gateway"]))


@pytest.mark.parametrize("make", MAKERS)
def test_same_plan_same_sheets(make):
    assert drawn(make, WORKS["doorway"]) == drawn(make, WORKS["doorway"])


@pytest.mark.parametrize("make", [templet_sheets, rib_sheets, laying_sheets])
def test_every_drawing_is_a_sound_dxf(make):
    for sheet in drawn(make, WORKS["doorway"]):
        for placed in sheet.placed:
            document = ezdxf.read(io.StringIO(render_dxf(placed.drawing, scale=placed.scale)))
            assert not document.audit().has_errors
            assert len(document.modelspace()) > 5
