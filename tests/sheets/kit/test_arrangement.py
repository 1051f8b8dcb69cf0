"""Arrangement: the larger drawing wins; words keep off the drawing; what fits nowhere is refused."""

from __future__ import annotations

import pytest

from survey.errors import DrawingError
from survey.sheets.drawing import Drawing, Layer, Line, Text
from survey.sheets.kit import ink
from survey.sheets.kit.arrangement import COLUMN_MM, Subject, arranged, further_columns
from survey.sheets.kit.columns import Said
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.page import Paper
from survey.sheets.kit.placing import extent, on_paper

AREA = Paper.A3_LANDSCAPE.area


def subject(width, height, sentences=("a few words.",)):
    def drawn(_scale):
        pen = ink.pen(Layer.CURVE)
        return Drawing(
            "cross", (Line((0.0, 0.0), (width, height), pen), Line((0.0, height), (width, 0.0), pen))
        )

    return Subject(drawn, (width, height), [Said("Words", tuple(sentences))], head_mm=6.0, foot_mm=20.0)


@pytest.mark.parametrize(
    ("width", "height", "scale", "below"),
    [
        (3200.0, 1200.0, 10.0, True),
        (2400.0, 2000.0, 10.0, False),
        (1900.0, 1900.0, 10.0, False),
        (3700.0, 300.0, 10.0, True),
        (1200.0, 300.0, 4.0, True),
        (4900.0, 300.0, 20.0, False),
    ],
)
def test_the_arrangement_that_draws_larger_is_taken(width, height, scale, below):
    found = arranged(subject(width, height))
    assert found.placed.scale == scale
    assert (found.foot.width > 0.9 * AREA.width) == below


def test_at_one_scale_the_fewer_sheets_win():
    assert arranged(subject(4900.0, 300.0, ("words " * 30,) * 12)).foot.width < AREA.width
    many = arranged(subject(4900.0, 300.0, ("words " * 60,) * 24))
    assert many.foot.width == pytest.approx(AREA.width)
    assert len(many.pages) == 1


@pytest.mark.parametrize("size", [(3200.0, 1200.0), (1900.0, 1900.0)])
def test_words_drawing_head_and_foot_keep_apart(size):
    found = arranged(subject(*size, sentences=("words " * 40,) * 5))
    drawing = extent(on_paper(found.placed))
    assert AREA.holds(drawing)
    assert not drawing.meets(found.head)
    assert not drawing.meets(found.foot)
    for mark in found.pages[0]:
        if isinstance(mark, Text):
            assert AREA.grown(0.5).holds(text_box(mark))
            assert not text_box(mark).meets(drawing)
            assert not text_box(mark).meets(found.foot)


def test_three_columns_fill_the_sheet():
    columns = further_columns(AREA)
    assert columns[-1].right == pytest.approx(AREA.right)
    assert all(column.width == COLUMN_MM for column in columns)


def test_a_drawing_too_high_for_words_below_it_stands_beside_them():
    assert arranged(subject(15000.0, 20000.0)).placed.scale == 100.0


def test_a_drawing_that_fits_nowhere_is_refused():
    with pytest.raises(DrawingError, match=r"90\.0 m by 30\.0 m do not fit .* check the unit"):
        arranged(subject(90000.0, 30000.0))
