"""The module search finds a unit that is there and keeps silent about one that is not."""

import numpy as np
import pytest

from survey.curves import (
    ArchShape,
    Family,
    elliptical,
    five_centred,
    segmental,
    semicircular,
    three_centred,
    three_centred_sixty,
)
from survey.fitting.historic_units import DOCUMENTED_UNITS, HistoricUnit
from survey.fitting.module import (
    SIGNIFICANT,
    ModuleSearch,
    find_module,
    n_chosen,
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


def test_silent_on_arches_and_bricks_without_a_module():
    """The same with the bricks counted in: two searches share the one per cent."""
    rng = np.random.default_rng(4)
    claims = 0
    for number in range(100):
        half_span, rise = rng.uniform([800, 450], [1600, 750])
        half_span = max(half_span, 1.1 * rise)
        shape = (elliptical, segmental, three_centred_sixty)[number % 3](2 * half_span, rise)
        bricks = [Estimate(rng.uniform(110, 260), 3.0), Estimate(4 * rng.uniform(45, 85), 1.5)]
        claims += find_module(shape, 2.0, other_lengths=bricks) is not None
    assert claims <= 3


@pytest.mark.parametrize("curve", [elliptical, segmental, three_centred_sixty])
def test_unit_of_a_modular_arch_is_found_with_its_bricks(curve):
    """Span and rise in half units, a ring one unit deep, four courses to the unit: told in most cases."""
    rng = np.random.default_rng(5)
    right = 0
    for _ in range(20):
        unit = DOCUMENTED_UNITS[rng.integers(len(DOCUMENTED_UNITS))].length_mm * rng.uniform(0.997, 1.003)
        span, rise = rng.integers(8, 21) / 2 * unit, rng.integers(4, 7) / 2 * unit
        rise = min(rise, np.floor(0.9 * span / unit) * unit / 2)
        shape = curve(span + rng.normal(0.0, 2.0), rise + rng.normal(0.0, 1.5))
        bricks = [Estimate(unit + rng.normal(0.0, 2.0), 3.0), Estimate(unit + rng.normal(0.0, 1.0), 1.5)]
        found = find_module(shape, 2.0, other_lengths=bricks, constructed=curve is three_centred_sixty)
        right += found is not None and min(abs(found.unit_mm * k / unit - 1) for k in (0.5, 1, 2)) < 0.004
    assert right >= 15


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
    np.testing.assert_allclose(set_out_lengths(elliptical(1000.0, 300.0)), [1000, 300])
    np.testing.assert_allclose(set_out_lengths(segmental(1000.0, 250.0)), [1000, 250, 625])


@pytest.mark.parametrize(
    ("shape", "constructed", "n"),
    [
        (semicircular(500.0), False, 1),
        (segmental(1000.0, 250.0), False, 2),
        (elliptical(1000.0, 300.0), False, 2),
        (basket_handle(100.0), False, 3),
        (basket_handle(100.0), True, 2),
        (five_centred(1000.0, 330.0, 236.0), False, 3),
        (five_centred(1000.0, 330.0, 236.0), True, 2),
    ],
)
def test_lengths_free_to_choose(shape, constructed, n):
    assert n_chosen(shape, constructed=constructed) == n


def test_arcs_that_have_become_a_semicircle_count_once():
    """Span, rise and radii of a family at its limit are one length, not four that agree."""
    limit = ArchShape(Family.THREE_CENTRED, 870.9, 870.9, (870.9, 870.9), (np.pi / 4, np.pi / 4))
    np.testing.assert_allclose(set_out_lengths(limit), [2 * 870.9])
    np.testing.assert_allclose(set_out_lengths(semicircular(500.0)), [1000.0])


def test_bricks_of_the_unit_speak_for_it_and_others_do_not_speak_against_it():
    """The curve is searched on its own and with its bricks, and the chance is doubled for two answers."""
    shape = basket_handle(VIENNA.length_mm)
    alone = find_module(shape, 0.5)
    with_any = find_module(shape, 0.5, other_lengths=[Estimate(212.0, 1.0), Estimate(223.0, 1.0)])
    assert alone is not None
    assert with_any is not None
    assert with_any.chance_probability == pytest.approx(2 * alone.chance_probability)
    assert (with_any.unit_mm, with_any.name) == (alone.unit_mm, alone.name)
    # An ellipse's span and rise are too few; with bricks of the same foot they are enough.
    ellipse = elliptical(10 * VIENNA.length_mm, 3.5 * VIENNA.length_mm)
    bricks = [Estimate(VIENNA.length_mm, 1.0), Estimate(VIENNA.length_mm / 2, 1.0)]
    assert find_module(ellipse, 0.5) is None
    found = find_module(ellipse, 0.5, other_lengths=bricks, search=ModuleSearch(units=(VIENNA,)))
    assert found is not None
    assert (found.span_units, found.rise_units) == pytest.approx((10.0, 3.5), abs=0.01)


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


def test_lengths_too_uncertain_for_any_unit_score_nothing() -> None:
    assert quantogram([3000.0, 4500.0], [300.0, 316.0], [1e6, 1e6]).tolist() == [0.0, 0.0]
