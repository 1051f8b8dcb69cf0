"""The module search finds a unit that is there and keeps silent about one that is not."""

import numpy as np
import pytest

from survey.curves import ArchShape, semicircular, three_centred
from survey.fitting.historic_units import DOCUMENTED_UNITS, HistoricUnit
from survey.fitting.module import (
    SIGNIFICANT,
    ModuleSearch,
    find_module,
    quantogram,
    refined_quantum,
    set_out_lengths,
)
from survey.fitting.result import Estimate

VIENNA = next(unit for unit in DOCUMENTED_UNITS if unit.name == "Vienna foot")


def basket_handle(unit_mm: float) -> ArchShape:
    """Ten units of span, three of rise, two and seven of radius: all whole, and the arcs close."""
    shape = three_centred(10 * unit_mm, 3 * unit_mm, 2 * unit_mm)
    assert shape.radii_mm[1] == pytest.approx(7 * unit_mm)
    return shape


def test_local_unit_found_with_its_multiples():
    search = ModuleSearch(units=(VIENNA,))
    shape = basket_handle(VIENNA.length_mm * 1.001)
    depth = Estimate(1.0 * VIENNA.length_mm, 1.0)
    module = find_module(shape, 1.0, other_lengths=[depth], search=search)
    assert module is not None
    assert module.name == "Vienna foot"
    assert module.unit_mm == pytest.approx(VIENNA.length_mm * 1.001, abs=3 * module.unit_sigma_mm)
    assert module.span_units == pytest.approx(10, abs=0.02)
    assert module.rise_units == pytest.approx(3, abs=0.02)
    assert module.chance_probability <= SIGNIFICANT


def test_semicircle_alone_proves_nothing():
    assert find_module(semicircular(5 * VIENNA.length_mm), 0.1) is None


def test_silent_on_arches_without_a_module():
    """On arches drawn without any module claims stay near the stated chance: 3 of 100 at most at 1 %."""
    rng = np.random.default_rng(3)
    claims = 0
    for _ in range(100):
        half_span, rise, haunch = rng.uniform([800, 450, 250], [1600, 750, 400])
        shape = three_centred(2 * half_span, rise, haunch)
        claims += find_module(shape, 2.0) is not None
    assert claims <= 3


def test_uncertain_length_weighs_little():
    """A length uncertain by more than half the quantum leaves the score of the others as it is."""
    sure = quantogram([600.0, 900.0], [300.0], 1.0)
    with_unsure = quantogram([600.0, 900.0, 750.0], [300.0], np.array([1.0, 1.0, 400.0]))
    np.testing.assert_allclose(with_unsure, sure, rtol=1e-12)


def test_same_answer_every_time():
    shape = basket_handle(300.0)
    assert find_module(shape, 1.0) == find_module(shape, 1.0)


def test_lengths_searched():
    np.testing.assert_allclose(set_out_lengths(basket_handle(100.0)), [1000, 300, 200, 700])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: quantogram([600.0], [0.0]), "quanta must be positive lengths in mm"),
        (lambda: refined_quantum([100.0], 300.0), "every length is shorter than half the quantum of 300 mm"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_units_are_named_once_with_a_source():
    assert len({unit.name for unit in DOCUMENTED_UNITS}) == len(DOCUMENTED_UNITS)
    assert all(
        isinstance(unit, HistoricUnit) and unit.source and unit.length_mm > 100 for unit in DOCUMENTED_UNITS
    )
