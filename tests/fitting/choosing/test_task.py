"""All hypotheses at once: springings out of level, and families of which the points leave a number open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.simulated import ArchSpec, SimulatedArch, TrueMovement, simulate

from survey import curves
from survey.curves import ArchShape, Family
from survey.errors import FitError
from survey.fitting import FitOptions, fit_arch
from survey.fitting.choosing import task
from survey.fitting.choosing.still import Still

SHAPES = {
    "segmental": curves.segmental(2400.0, 600.0),
    "elliptical": curves.elliptical(2400.0, 800.0),
}


def out_of_level(shape: ArchShape, lower_mm: float, seed: int = 3) -> SimulatedArch:
    """A still arch whose left springing lies lower."""
    tilted = replace(shape, tilt_rad=float(np.arcsin(lower_mm / shape.span_mm)))
    return simulate(ArchSpec(tilted, n_courses=60, gross_ratio=0.0), seed)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("lower_mm", [10.0, -10.0])
def test_springings_somewhat_out_of_level_are_no_movement(name: str, lower_mm: float) -> None:
    arch = out_of_level(SHAPES[name], lower_mm)
    fit = fit_arch(arch.record)
    assert fit.movement is None
    assert fit.verdict.family is arch.shape.family
    chosen = fit.candidates[fit.chosen]
    assert abs(chosen.shape.tilt_rad - arch.shape.tilt_rad) < 3 * np.sqrt(chosen.covariance[-1, -1])
    assert np.sqrt(chosen.covariance[-1, -1]) < 1.5e-3
    side = "left" if lower_mm > 0 else "right"
    told = [note for note in fit.notes if "lower than the other" in note]
    assert len(told) == 1
    assert told[0].startswith(f"The {side} springing lies ")
    assert "cannot say which" in told[0]


def test_far_out_of_level_one_springing_sank_and_no_hinge_is_claimed() -> None:
    fit = fit_arch(out_of_level(SHAPES["elliptical"], 34.0).record)
    assert fit.movement is not None
    assert abs(fit.movement.settlement_mm.value + 34.0) < 3 * fit.movement.settlement_mm.sigma
    assert fit.movement.settlement_mm.sigma < 4.0
    assert ", unless it was set out so; the arch turned as one piece, with no hinge at the crown;" in (
        fit.movement.because
    )


def test_a_level_arch_stays_level() -> None:
    fit = fit_arch(out_of_level(SHAPES["elliptical"], 0.0).record)
    assert fit.candidates[fit.chosen].shape.tilt_rad == 0.0
    assert not any("lower than the other" in note for note in fit.notes)


def test_a_spread_and_sunk_arch_is_not_taken_for_one_out_of_level() -> None:
    spec = ArchSpec(SHAPES["elliptical"], n_courses=60, movement=TrueMovement(24.0, -10.0, 0.45))
    fit = fit_arch(simulate(spec, 3).record)
    assert fit.movement is not None
    assert fit.movement.settlement_mm.value == pytest.approx(-10.0, abs=3 * fit.movement.settlement_mm.sigma)


def test_a_family_whose_numbers_are_left_open_is_told_and_the_others_go_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    real = task.stand_still

    def open_for_three_arcs(standing: task.Standing, *rest: object) -> Still:
        if standing.build.family is Family.THREE_CENTRED:
            raise FitError("the observations do not determine haunch_angle_rad")
        return real(standing, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(task, "stand_still", open_for_three_arcs)
    fit = fit_arch(out_of_level(SHAPES["elliptical"], 0.0).record)
    assert fit.verdict.family is Family.ELLIPTICAL
    assert Family.THREE_CENTRED not in fit.candidates
    assert (
        "No three-centred curve could be fitted: the observations do not determine haunch_angle_rad."
        in fit.notes
    )


def test_no_family_at_all_is_a_fault_with_its_reasons(monkeypatch: pytest.MonkeyPatch) -> None:
    def left_open(*_: object) -> Still:
        raise FitError("the observations do not determine rise_mm")

    monkeypatch.setattr(task, "stand_still", left_open)
    with pytest.raises(FitError, match=r"no family fits .*elliptical: the observations do not determine"):
        fit_arch(out_of_level(SHAPES["elliptical"], 0.0).record, FitOptions(movement=False))
