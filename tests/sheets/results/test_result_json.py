"""fit.json: unknown figures are null, and no figure carries the rounding of its computation."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from recovery.simulated import ArchSpec, TrueMovement, simulate

from survey import curves
from survey.curves import Family, setting_out
from survey.fitting import FitOptions, fit_arch
from survey.fitting.result import UnseenMovement
from survey.sheets.results.result_json import fit_json

SHAPES = {
    Family.SEMICIRCULAR: curves.semicircular(1100.0),
    Family.SEGMENTAL: curves.segmental(2600.0, 600.0),
    Family.ELLIPTICAL: curves.elliptical(2400.0, 750.0),
    Family.THREE_CENTRED: curves.three_centred_sixty(2400.0, 800.0),
    Family.FIVE_CENTRED: curves.five_centred(2400.0, 800.0, 620.0),
}
SPREAD = TrueMovement(spread_mm=50.0, crown_hinge_ratio=0.5)


def figures(value: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number in a JSON value with the path of keys to it."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from figures(inner, f"{path}/{key}")
    elif isinstance(value, list):
        for inner in value:
            yield from figures(inner, path)
    elif isinstance(value, float):
        yield path, value


@pytest.mark.parametrize("movement", [None, SPREAD], ids=["still", "spread"])
@pytest.mark.parametrize("family", Family)
def test_no_figure_is_the_rounding_of_nothing(family: Family, movement: TrueMovement | None) -> None:
    spec = ArchSpec(SHAPES[family], n_courses=61, movement=movement, site_grid=True)
    text = fit_json(fit_arch(simulate(spec, 3).record))
    found = dict.fromkeys((path for path, _ in figures(json.loads(text))), 0)
    for path, value in figures(json.loads(text)):
        found[path] += 1
        if not any(word in path for word in ("probability", "none_of_these", "covariance", "chance")):
            assert value == 0.0 or abs(value) >= 1e-9, path
    assert any(path.endswith("centres_mm") for path in found)
    assert "-0.0," not in text
    assert "-0.0\n" not in text


def test_rounding_moves_no_figure_that_is_meant() -> None:
    spec = ArchSpec(SHAPES[Family.FIVE_CENTRED], n_courses=61)
    fit = fit_arch(simulate(spec, 3).record, FitOptions(movement=False))
    content = json.loads(fit_json(fit))
    for family, candidate in fit.candidates.items():
        said = content["candidates"][str(family)]
        facts = setting_out(candidate.shape)
        assert said["half_span_mm"]["value"] == pytest.approx(
            candidate.figures["half_span_mm"].value, abs=1e-9
        )
        assert said["half_span_mm"]["sigma"] == pytest.approx(
            candidate.figures["half_span_mm"].sigma, abs=1e-9
        )
        if candidate.shape.radii_mm:
            np.testing.assert_allclose(said["centres_mm"], facts.centres_mm, rtol=0, atol=1e-9)
        degrees = np.array([np.degrees(1.0) if n.endswith("_rad") else 1.0 for n in candidate.parameters])
        wanted = candidate.covariance * np.outer(degrees, degrees)
        sigma = np.sqrt(np.diag(wanted))
        assert np.abs((said["covariance"] - wanted) / np.outer(sigma, sigma)).max() <= 1e-12
    np.testing.assert_allclose(content["frame"]["origin"], fit.frame.origin_mm, rtol=0, atol=1e-9)


def test_a_difference_to_nothing_is_null() -> None:
    spec = ArchSpec(SHAPES[Family.ELLIPTICAL], n_courses=61)
    fit = fit_arch(simulate(spec, 3).record, FitOptions(families=(Family.ELLIPTICAL,)))
    assert json.loads(fit_json(fit))["verdict"]["largest_difference_mm"] is None


def test_figures_that_are_no_numbers_are_null() -> None:
    spec = ArchSpec(SHAPES[Family.ELLIPTICAL], n_courses=61)
    fit = fit_arch(simulate(spec, 3).record, FitOptions(movement=False))
    unknown = replace(
        fit, n_effective=float("nan"), verdict=replace(fit.verdict, largest_difference_mm=np.inf)
    )
    content = json.loads(fit_json(unknown))
    assert content["n_effective"] is None
    assert content["verdict"]["largest_difference_mm"] is None


def test_movements_too_small_to_show_are_given_where_none_is_told() -> None:
    still = fit_arch(simulate(ArchSpec(SHAPES[Family.SEMICIRCULAR], n_courses=61), 3).record)
    content = json.loads(fit_json(still))
    assert still.unseen_movement is not None
    assert content["movement"] is None
    assert content["unseen_movement"]["spread_mm"] == pytest.approx(still.unseen_movement.spread_mm)
    assert content["unseen_movement"]["settlement_mm"] == pytest.approx(still.unseen_movement.settlement_mm)
    never = replace(still, unseen_movement=UnseenMovement(float("inf"), 8.0))
    assert json.loads(fit_json(never))["unseen_movement"] == {"spread_mm": None, "settlement_mm": 8.0}
    spread = fit_arch(
        simulate(ArchSpec(SHAPES[Family.SEMICIRCULAR], n_courses=61, movement=SPREAD), 3).record
    )
    content = json.loads(fit_json(spread))
    assert content["movement"] is not None
    assert content["unseen_movement"] is None
