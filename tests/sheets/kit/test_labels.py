"""Labels: first free place, no overprint, and the left-out ones are told."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from survey.sheets.drawing import Anchor, Box, Text
from survey.sheets.kit import ink
from survey.sheets.kit.labels import legible_step, place_labels, thinned
from survey.sheets.kit.lettering import text_box, text_width_mm, texts_overlap


def label(x: float, y: float, words: str = "label") -> Text:
    return Text((x, y), words, 2.0, ink.letters(), Anchor.MIDDLE)


def test_first_free_candidate_is_taken():
    taken = [label(0.0, 0.0)]
    result = place_labels([[label(1.0, 0.0), label(0.0, 5.0), label(0.0, 9.0)]], taken)
    assert result.texts == (label(0.0, 5.0),)
    assert result.left_out == ()


def test_label_without_a_place_is_told():
    result = place_labels([[label(0.0, 0.0, "first")], [label(0.5, 0.0, "second")]])
    assert [t.text for t in result.texts] == ["first"]
    assert result.left_out == ("second",)


def test_kept_out_areas_stay_free():
    box = Box(-5.0, -5.0, 10.0, 10.0)
    result = place_labels([[label(0.0, 0.0), label(0.0, 20.0)]], (), [box])
    assert not text_box(result.texts[0]).meets(box)


places = st.tuples(st.floats(0.0, 40.0), st.floats(0.0, 20.0))


@given(st.lists(st.lists(places, min_size=1, max_size=4), max_size=15))
def test_placed_labels_never_overlap(wanted):
    result = place_labels([[label(x, y) for x, y in candidates] for candidates in wanted])
    assert len(result.texts) + len(result.left_out) == len(wanted)
    for i, first in enumerate(result.texts):
        assert not any(texts_overlap(first, other) for other in result.texts[i + 1 :])


@given(st.integers(0, 120), st.floats(0.5, 12.0))
def test_thinned_numbers_are_clear_and_keep_first_and_last(n, pitch):
    row = [label(pitch * k, 0.0, str(k)) for k in range(1, n + 1)]
    shown = thinned(row)
    assert not any(texts_overlap(a, b) for a, b in pairwise(shown))
    if n:
        assert shown[0] is row[0]
        assert shown[-1] is row[-1] or texts_overlap(row[0], row[-1])
    step = legible_step(row)
    inner = [int(t.text) for t in shown[1:-1]]
    assert all(number % step == 0 for number in inner)


def test_numbers_that_would_read_as_one_are_thinned():
    """Two figures side by side need air between them: 82 and 83 are not 8283."""
    width = text_width_mm("82", 2.0)
    row = [label((width + 0.3) * k, 0.0, str(k)) for k in range(80, 100)]
    assert legible_step(row) == 2
    shown = thinned(row)
    for one, other in pairwise(shown):
        assert text_box(other).left - text_box(one).right >= 0.5
