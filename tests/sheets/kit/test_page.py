"""Pages: scale, fit, frame and title strip."""

import io

import pytest
from pypdf import PdfReader
from sheets.legibility import outside, overprints, said
from sheets.pictures import NASTY, everything

from survey.errors import DrawingError
from survey.sheets.drawing import Box, Drawing, Placed, Text
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.page import (
    NOT_A_DESIGN,
    SCALES,
    SPELLED_OUT,
    Page,
    Paper,
    TitleBlock,
    choose_scale,
    finish,
    fitted,
)
from survey.sheets.kit.placing import extent, on_paper
from survey.sheets.render.pdf import render_pdf

BLOCK = TitleBlock("North cellar door", "Old brewery", "2026-05-04", "A. Mason")
LONG = TitleBlock("An arch of a very long name " * 4, NASTY * 2, "2026-05-04", "Somebody of many names " * 4)


def always(_scale: float) -> Drawing:
    return everything()


def nothing(_scale: float) -> Drawing:
    return Drawing("nothing", ())


@pytest.mark.parametrize(
    ("width", "scale"), [(80.0, 1.0), (399.0, 4.0), (499.0, 5.0), (2000.0, 20.0), (9999.0, 100.0)]
)
def test_scale_is_the_largest_that_fits(width, scale):
    box = Box(0.0, 0.0, 100.0, 100.0)
    assert choose_scale(width, 10.0, box) == scale
    assert choose_scale(10.0, width, box) == scale


def test_what_fits_at_no_scale_is_refused():
    with pytest.raises(
        DrawingError, match=r"12\.0 m by 1\.0 m do not fit 100 mm by 100 mm .* check the unit"
    ):
        choose_scale(12000.0, 1000.0, Box(0.0, 0.0, 100.0, 100.0))


def test_fitted_drawing_lies_inside_and_the_next_larger_scale_would_not():
    box = Box(20.0, 30.0, 250.0, 150.0)
    placed = fitted(always, box)
    assert box.holds(extent(on_paper(placed)), slack=1e-6)
    larger = SCALES[SCALES.index(placed.scale) - 1]
    bounds = extent(on_paper(Placed(everything(), (0.0, 0.0), (0.0, 0.0), larger)))
    assert bounds.width > box.width or bounds.height > box.height


def test_drawing_that_fits_at_no_scale_is_refused():
    with pytest.raises(
        DrawingError, match="the drawing 'everything' does not fit 10 mm by 10 mm of paper at 1 : 100"
    ):
        fitted(always, Box(0.0, 0.0, 10.0, 10.0))


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("block", [BLOCK, LONG, TitleBlock("", "", "", "")], ids=["usual", "long", "blank"])
def test_title_strip_is_legible_whatever_the_record_says(paper, block):
    pages = [Page("a", NASTY, (), scale=10.0, paper=paper), Page("a", "Second", (), paper=paper)]
    for sheet in finish(pages, block):
        assert not overprints(sheet)
        texts = [m for m in sheet.primitives if isinstance(m, Text)]
        assert all(paper.frame.holds(text_box(t)) for t in texts)
        assert not any(paper.area.meets(text_box(t)) for t in texts)
        assert NOT_A_DESIGN in said((sheet,))
        assert not outside(sheet)


def test_sheets_are_numbered_in_their_set():
    sheets = finish([Page("a", f"T{k}", (), scale=20.0) for k in range(3)], BLOCK)
    assert [s.name for s in sheets] == ["a_1", "a_2", "a_3"]
    assert [f"{k} of 3" in said((s,)) for k, s in enumerate(sheets, start=1)] == [True] * 3
    assert "1 : 20" in said(sheets[:1])
    (alone,) = finish([Page("a", "T", ())], BLOCK)
    assert alone.name == "a"


def test_unframed_page_stays_bare():
    (sheet,) = finish([Page("a", "T", (), framed=False)], BLOCK)
    assert sheet.primitives == ()


def test_area_lies_inside_the_frame_above_the_strip():
    for paper in Paper:
        assert paper.frame.holds(paper.area)
        assert paper.area.bottom >= paper.frame.bottom + paper.strip_mm


def test_empty_drawing_cannot_be_fitted():
    with pytest.raises(DrawingError, match="empty drawing has no extent"):
        fitted(nothing, Box(0.0, 0.0, 10.0, 10.0))


def test_the_sheets_of_a_set_are_numbered_under_its_name():
    pages = [Page("setting_out", "First", ()), Page("setting_out", "Second", ())]
    for number, sheet in enumerate(finish(pages, BLOCK), start=1):
        assert f"setting out, {number} of 2" in said((sheet,))


def test_a_drawing_may_be_fitted_at_scales_of_its_own():
    box = Box(20.0, 30.0, 250.0, 150.0)
    usual = fitted(always, box).scale
    assert fitted(always, box, scales=(1.0, usual + 0.5, usual + 1.0)).scale == usual + 0.5


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize(
    ("block", "told"),
    [
        (BLOCK, False),
        (TitleBlock("Πύλη", "Улица", "", "Łukasz"), False),
        (TitleBlock("北門", "", "", ""), True),
        (TitleBlock("Door", "", "", "カミ"), True),
    ],
)
def test_names_that_had_to_be_spelled_out_are_told(paper, block, told):
    (sheet,) = finish([Page("a", "First", (), paper=paper)], block)
    assert (SPELLED_OUT in said((sheet,))) == told
    assert not overprints(sheet)
    assert outside(sheet, 5.0) == []


def test_a_name_in_letters_the_print_lacks_is_legible_in_the_pdf():
    (sheet,) = finish([Page("a", "First", ())], TitleBlock("カミ 北", "Θήβα", "", ""))
    words = PdfReader(io.BytesIO(render_pdf([sheet]))).pages[0].extract_text()
    assert "Kami [U+5317]" in words
    assert "Θήβα" in words
