"""A smooth sag weighed against hinges."""

from __future__ import annotations

import pytest
from recovery.flaws import Flaw, flawed
from recovery.simulated import ArchSpec, TrueMovement, simulate

from survey import curves
from survey.curves import Family
from survey.errors import FitError
from survey.fitting import FitOptions, fit_arch
from survey.fitting.choosing import sagging, task
from survey.fitting.choosing.hypotheses import weigh_hypotheses
from survey.fitting.mechanism.hinge_choices import Depths
from survey.fitting.sightings import sightings_of

SPEC = ArchSpec(curves.segmental(2600.0, 700.0), n_courses=61, gross_ratio=0.0, irregularity_mm=0.8)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_smoothly_hanging_soffit_is_no_movement(seed: int) -> None:
    record = flawed(simulate(SPEC, seed), Flaw.SAG, seed).record
    fit = fit_arch(record)
    assert fit.movement is None
    assert fit.hangs_smoothly > 0.9
    told = [
        note for note in fit.notes if note.startswith("The soffit leaves its segmental curve in a smooth")
    ]
    assert len(told) == 1


def test_an_arch_on_its_curve_and_one_that_moved_do_not_hang() -> None:
    assert fit_arch(simulate(SPEC, 1).record).hangs_smoothly < 0.5
    moved = ArchSpec(SPEC.shape, n_courses=61, movement=TrueMovement(24.0, 0.0, 0.45))
    fit = fit_arch(simulate(moved, 3).record)
    assert fit.movement is not None
    assert fit.hangs_smoothly == 0.0
    assert not any("smooth wave" in note for note in fit.notes)


def test_where_points_tell_no_wave_the_fit_goes_on_without(monkeypatch: pytest.MonkeyPatch) -> None:
    def left_open(*_: object) -> float:
        raise FitError("the observations do not determine departure_2")

    monkeypatch.setattr(task, "sagging_evidence", left_open)
    fit = fit_arch(flawed(simulate(SPEC, 1), Flaw.SAG, 1).record)
    assert fit.verdict.family is Family.SEGMENTAL
    assert fit.hangs_smoothly == 0.0


def test_waves_of_no_size_leave_the_evidence_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sagging, "SAG_RATIO", 1e-7)
    weighed = weigh_hypotheses(
        sightings_of(simulate(SPEC, 1).record), 60.0, Depths(240.0, 240.0), FitOptions()
    )
    grid = weighed.ground.grid
    for family in (Family.SEGMENTAL, Family.THREE_CENTRED, Family.FIVE_CENTRED):
        still = weighed.stills[family]
        assert sagging.sagging_evidence(still, grid) == pytest.approx(still.log_total, abs=1e-4)
        rarer = still.rarer(-2.5)
        assert sagging.sagging_evidence(rarer, grid) == pytest.approx(rarer.log_total, abs=1e-4)
