"""Scale bars measure what they say; notes and cautions are printed whole or refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets.handmade import CAUTIONS
from sheets.legibility import overprints, said

from survey.errors import DrawingError
from survey.sheets.drawing import Box, Hatch, Layer, Polyline, Sheet, Text
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import (
    KeyEntry,
    cautions,
    cautions_height_mm,
    check_bar,
    key,
    key_width_mm,
    notes,
    notes_height_mm,
    orientation_mark,
    refusal_banner,
    scale_bar,
)
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.page import SCALES


def paper(*marks) -> Sheet:
    return Sheet("p", "p", 420.0, 297.0, (), marks)


@pytest.mark.parametrize("scale", SCALES)
def test_scale_bar_measures_what_its_last_figure_says(scale):
    marks = scale_bar((10.0, 10.0), scale)
    fields = [m for m in marks if isinstance(m, Polyline)]
    length = max(x for f in fields for x, _ in f.points) - 10.0
    (last,) = [m.text for m in marks if isinstance(m, Text) and m.text.endswith(" mm")]
    assert float(last.removesuffix(" mm")) == pytest.approx(length * scale)
    assert 40.0 <= length <= 100.0
    assert not overprints(paper(*marks))


def test_check_bar_words_stand_clear_of_its_strokes():
    for upright in (False, True):
        assert len([m for m in check_bar((20.0, 20.0), upright=upright) if isinstance(m, Text)]) == 1


def test_orientation_names_both_sides_left_to_the_left():
    words = {m.text: m.at[0] for m in orientation_mark((100.0, 50.0)) if isinstance(m, Text)}
    assert set(words) == {"left", "seen from outside", "right"}
    assert words["left"] < words["seen from outside"] < words["right"]


def test_key_is_as_wide_as_it_says():
    entries = [KeyEntry(ink.area(Layer.BRICK, hatch=h), f"meaning of {h}") for h in Hatch]
    entries.append(KeyEntry(ink.pen(Layer.CURVE), "a line", closed=False))
    marks = key(entries, 10.0, 100.0)
    assert not overprints(paper(*marks))
    reach = max(text_box(m).right for m in marks if isinstance(m, Text))
    assert reach == pytest.approx(10.0 + key_width_mm(entries))


sentences = st.lists(st.text(alphabet="abc de fgh ", min_size=1, max_size=150), max_size=9)


@given(sentences, st.integers(1, 4), st.floats(90.0, 380.0))
@settings(max_examples=40, deadline=None)
def test_notes_fill_exactly_the_height_they_ask_for(said_, n_columns, width):
    height = notes_height_mm(said_, width, title="Notes", n_columns=n_columns)
    box = Box(10.0, 20.0, width, height)
    marks = notes(said_, box, title="Notes", n_columns=n_columns)
    assert not overprints(paper(*marks))
    assert all(box.grown(0.7).holds(text_box(m)) for m in marks)
    printed = "".join(m.text for m in marks[1:]).replace(" ", "").replace("–", "")
    assert printed == "".join(said_).replace(" ", "")


def test_notes_that_do_not_fit_are_refused_not_cut():
    with pytest.raises(DrawingError, match=r"7 sentences need \d+ mm of height and the sheet has 10 mm"):
        notes(CAUTIONS, Box(0.0, 0.0, 100.0, 10.0))


@pytest.mark.parametrize("n_columns", [1, 2, 4])
def test_cautions_are_all_printed_inside_their_field(n_columns):
    height = cautions_height_mm(CAUTIONS, 300.0, n_columns=n_columns)
    box = Box(10.0, 10.0, 300.0, height)
    sheet = paper(*cautions(CAUTIONS, box, n_columns=n_columns))
    assert not overprints(sheet)
    words = said((sheet,))
    assert all(caution in words for caution in CAUTIONS)
    assert all(box.holds(text_box(m)) for m in sheet.primitives if isinstance(m, Text))


def test_refusal_stands_out_and_nothing_stands_when_there_is_none():
    area = Box(10.0, 10.0, 380.0, 250.0)
    assert refusal_banner((), area) == ((), 0.0)
    marks, height = refusal_banner(("The ring needs three more courses.",), area)
    assert said((paper(*marks),)).split("–")[0].strip() == "NOT TO BE BUILT:"
    assert "The ring needs three more courses." in said((paper(*marks),))
    assert 13.0 < height < 30.0


def test_a_refusal_reads_without_colour_and_from_afar():
    area = Box(10.0, 10.0, 380.0, 250.0)
    marks, _ = refusal_banner(("The ring needs three more courses.",), area)
    (head,) = (m for m in marks if isinstance(m, Text) and m.bold)
    field = next(m for m in marks if isinstance(m, Polyline) and m.style.fill)
    assert head.height_mm > 7.0
    assert (head.style.colour, field.style.fill) == (ink.WHITE, ink.BLACK)
    low, high = (f(y for _, y in field.points) for f in (min, max))
    ground = text_box(head)
    assert low < ground.bottom
    assert ground.top < high
    reasons = [m for m in marks if isinstance(m, Text) and not m.bold]
    assert {m.height_mm for m in reasons} == {ink.HEAD_MM}


def test_many_reasons_are_set_smaller_rather_than_left_out():
    area = Box(10.0, 10.0, 160.0, 200.0)
    reasons = tuple(
        f"Ring 1, courses {k} to {k + 3}: 30.0 mm are missing. Count again." * 2 for k in range(10)
    )
    marks, height = refusal_banner(reasons, area)
    assert all(reason in said((paper(*marks),)) for reason in reasons)
    assert {m.height_mm for m in marks if isinstance(m, Text) and not m.bold} == {ink.SMALL_TEXT_MM}
    assert height < 200.0


def test_more_reasons_than_a_sheet_holds_are_counted():
    area = Box(10.0, 10.0, 160.0, 200.0)
    reasons = tuple(f"Ring 1, courses {k} to {k + 3}: 30 mm are missing. Count again." * 3 for k in range(60))
    marks, height = refusal_banner(reasons, area)
    words = said((paper(*marks),))
    told = sum(reason in words for reason in reasons)
    assert 0 < told < 60
    assert f"And {60 - told} more: read them all in rebuild.json." in words
    assert height < 0.6 * area.height


def test_one_reason_is_printed_whole_however_long():
    (reason,) = reasons = (("Ring 1: 30 mm are missing. " * 80).strip(),)
    marks, _ = refusal_banner(reasons, Box(10.0, 10.0, 160.0, 200.0))
    assert reason in said((paper(*marks),))
