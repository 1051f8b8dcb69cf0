"""Course numbers: flagged first, none over another, a long run by its ends."""

from __future__ import annotations

from itertools import combinations

from survey.sheets.drawing import Anchor, Text
from survey.sheets.kit import ink
from survey.sheets.kit.course_labels import course_labels, scaled
from survey.sheets.kit.lettering import texts_overlap


def row(n, step_mm):
    return [
        Text((step_mm * k, 0.0), str(k + 1), ink.SMALL_TEXT_MM, ink.letters(), Anchor.MIDDLE)
        for k in range(n)
    ]


def shown(texts):
    return [int(text.text) for text in texts]


def test_all_numbers_stand_where_there_is_room():
    assert shown(course_labels(row(40, 6.0), [False] * 40)) == list(range(1, 41))


def test_a_flagged_course_is_numbered_where_others_are_not():
    flagged = [k == 22 for k in range(60)]
    texts = course_labels(row(60, 1.4), flagged)
    assert 23 in shown(texts)
    assert not any(texts_overlap(a, b) for a, b in combinations(texts, 2))


def test_a_crowded_run_of_flagged_courses_shows_its_ends():
    flagged = [20 <= k <= 35 for k in range(60)]
    numbers = shown(course_labels(row(60, 1.4), flagged))
    assert {21, 36} <= set(numbers)
    assert len([k for k in numbers if 21 < k < 36]) < 6


def test_numbers_keep_off_what_is_there():
    taken = row(1, 1.0)
    assert 1 not in shown(course_labels(row(10, 6.0), [False] * 10, taken))


def test_no_courses_no_numbers():
    assert course_labels([], []) == ()


def test_texts_come_into_the_model_at_its_scale():
    (text,) = scaled(row(2, 3.0)[1:], 10.0)
    assert text.at == (30.0, 0.0)
