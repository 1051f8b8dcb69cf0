"""Exaggeration: round, as large as fits, and not spoilt by a gross reading."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from survey.sheets.kit.exaggeration import FACTORS, exaggeration, readable_mm


@given(st.floats(0.01, 500.0), st.sampled_from([1.0, 5.0, 10.0, 20.0, 50.0]))
def test_the_factor_is_the_largest_that_fits(largest, scale):
    factor = exaggeration(largest, scale, longest_mm=12.0)
    assert factor in FACTORS
    assert factor == 1 or factor * largest / scale <= 12.0
    larger = [f for f in FACTORS if f > factor]
    assert not larger or min(larger) * largest / scale > 12.0


@given(st.lists(st.floats(-20.0, 20.0), min_size=10, max_size=60))
def test_ordinary_readings_are_never_cut(values):
    assert readable_mm(values, 5.0) >= max(5.0, np.abs(values).max())


def test_a_smooth_shape_is_never_cut_however_large():
    shape = 90.0 * np.sin(np.linspace(0.0, np.pi, 50))
    assert readable_mm(shape, 5.0) == np.abs(shape).max()


def test_one_gross_reading_does_not_set_the_measure():
    assert readable_mm([*np.linspace(-4.0, 4.0, 30), 700.0], 5.0) == 25.0


def test_nothing_measured_is_the_tolerance():
    assert readable_mm([np.nan, np.nan], 5.0) == 5.0
    assert readable_mm([], 2.0) == 2.0
