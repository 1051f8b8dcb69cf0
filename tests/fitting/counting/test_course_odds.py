"""Odds of course numbers: what is as good as impossible is left out, the likeliest never."""

import numpy as np
import pytest

from survey.fitting.counting.course_odds import LEAST_SHOWN, likeliest, odds_of


@pytest.mark.parametrize("n", [1, 3, 999, 1001, 20_000])
def test_the_likeliest_number_stays_however_many_there_are(n):
    """Falling weights over so many numbers that each holds less than the least that is shown."""
    odds = odds_of(list(range(n)), -np.arange(n) / (10.0 * n))
    assert likeliest(odds) == 0
    assert sum(odds.values()) == pytest.approx(1.0)


def test_what_is_as_good_as_impossible_is_left_out():
    odds = odds_of([4, 5, 6], np.log([0.9, 0.1, LEAST_SHOWN / 2.0]))
    assert odds == pytest.approx({4: 0.9, 5: 0.1})
