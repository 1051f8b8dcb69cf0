"""Text metrics against an independent reading of the same font, and the treatment of odd letters."""

import math
from itertools import pairwise

import pytest
from fontTools.ttLib import TTFont as Font
from hypothesis import given
from hypothesis import strategies as st

from survey.errors import DrawingError
from survey.sheets.drawing import Anchor, Text
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import (
    CAP_RATIO,
    font_path,
    ground_corners,
    plain_text,
    printed_text,
    shorten,
    text_box,
    text_corners,
    text_width_mm,
    texts_overlap,
    wrap,
)

SENTENCE = "Prop before cutting out: Süd-Tür, ΔΣ, Жб, 12.5 mm ± 3 °"


@pytest.mark.parametrize("bold", [False, True])
def test_widths_agree_with_another_reader_of_the_font(bold):
    with Font(font_path(bold=bold)) as font:
        glyphs, metrics = font.getBestCmap(), font["hmtx"].metrics
        em = sum(metrics[glyphs[ord(c)]][0] for c in SENTENCE) / font["head"].unitsPerEm
    assert text_width_mm(SENTENCE, 2.5, bold=bold) == pytest.approx(em * 2.5 / CAP_RATIO, abs=1e-9)


@pytest.mark.parametrize("bold", [False, True])
def test_capital_height_is_what_the_font_draws(bold):
    with Font(font_path(bold=bold)) as font:
        assert font["glyf"]["H"].yMax / font["head"].unitsPerEm == CAP_RATIO


def test_a_missing_letter_has_the_width_of_what_is_printed_for_it():
    assert printed_text("\U00020000") == "[U+20000]"
    assert text_width_mm("\U00020000", 2.5) == text_width_mm("[U+20000]", 2.5)


@given(st.text(max_size=40))
def test_everything_printed_is_in_both_fonts(text):
    shown = printed_text(text)
    assert {ord(c) for c in shown} <= GLYPHS
    assert printed_text(shown) == shown


GLYPHS = set.intersection(*(set(Font(font_path(bold=bold)).getBestCmap()) for bold in (False, True)))


@pytest.mark.parametrize(
    "text", ["Süd-Tür", "Łódź, Žižkov, Çeşme", "Ἀθῆναι, Θεσσαλονίκη", "Арка погреба", "10 × 3½″ ± ⅜", "ế"]
)
def test_what_the_font_has_is_left_as_it_is(text):
    assert printed_text(text) == text


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("カミ 3", "Kami 3"),
        ("북문", "Bugmun"),
        ("देवल", "Devala"),
        ("שלום", "shin-lamed-vav-mem"),
        ("北 door", "[U+5317] door"),
        ("ＡＢＣ ㎜", "ABC mm"),
        ("arch 🏠", "arch [U+1F3E0]"),
    ],
)
def test_what_the_font_lacks_is_spelled_out(text, printed):
    assert printed_text(text) == printed


def test_lines_are_wrapped_and_shortened_as_they_are_printed():
    assert wrap("北 門", 20.0, 2.0) == ("[U+5317]", "[U+9580]")
    assert shorten("北門 " * 9, 20.0, 2.0).startswith("[U+5317]")


def test_font_of_a_missing_package_is_refused():
    with pytest.raises(DrawingError, match=r"DejaVuSans\.ttf was not found in no_such_package; reinstall"):
        font_path(package="no_such_package")


def test_font_missing_from_a_package_is_refused():
    with pytest.raises(DrawingError, match=r"was not found in json"):
        font_path(package="json", bold=True)


@given(st.text(max_size=60))
def test_plain_text_is_one_line_and_settled(text):
    flat = plain_text(text)
    assert flat.isprintable() or all(c == " " or c.isprintable() for c in flat)
    assert plain_text(flat) == flat
    flat.encode()  # no lone surrogate is left


@given(st.text(alphabet="abcde fghi jkl", min_size=1, max_size=120), st.floats(3.0, 80.0))
def test_wrapping_loses_no_letter_and_keeps_to_the_width(text, width):
    lines = wrap(text, width, 2.0)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert all(text_width_mm(line, 2.0) <= width or len(line) == 1 for line in lines)


def test_shortened_text_fits_and_ends_with_the_mark():
    cut = shorten("A very long name of an arch indeed", 20.0, 2.0)
    assert cut.endswith("…")
    assert text_width_mm(cut, 2.0) <= 20.0


def test_corners_turn_with_the_text():
    level = Text((3.0, 4.0), "course", 2.0, ink.letters(), Anchor.MIDDLE)
    turned = Text((3.0, 4.0), "course", 2.0, ink.letters(), Anchor.MIDDLE, 0.7)
    for (x, y), (u, v) in zip(text_corners(level), text_corners(turned), strict=True):
        dx, dy = x - 3.0, y - 4.0
        assert u - 3.0 == pytest.approx(dx * math.cos(0.7) - dy * math.sin(0.7))
        assert v - 4.0 == pytest.approx(dx * math.sin(0.7) + dy * math.cos(0.7))
    sides = [math.dist(a, b) for a, b in pairwise(ground_corners(turned))]
    assert sides[0] == pytest.approx(text_width_mm("course", 2.0) + 1.0)
    assert sides[1] == pytest.approx(3.0)


def test_turned_neighbours_may_share_a_box_without_overprint():
    a = Text((0.0, 0.0), "123456", 2.0, ink.letters(), turn_rad=math.pi / 4)
    b = Text((4.0, 0.0), "123456", 2.0, ink.letters(), turn_rad=math.pi / 4)
    assert text_box(a).meets(text_box(b))
    assert not texts_overlap(a, b)
    assert texts_overlap(a, Text((1.0, 1.0), "9", 2.0, ink.letters()))
