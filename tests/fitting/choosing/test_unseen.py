"""Movements too small to show: their sizes shrink with better points, hold by simulation, and are told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.simulated import ArchSpec, TrueMovement, simulate

from survey import curves
from survey.fitting import FitOptions, fit_arch
from survey.fitting.choosing.unseen import unseen_told
from survey.fitting.result import ArchFit, UnseenMovement

SHAPES = {
    "semicircular": curves.semicircular(1200.0),
    "elliptical": curves.elliptical(2400.0, 800.0),
    "five-centred": curves.five_centred(2400.0, 850.0, 650.0),
}


def surveyed(name: str, seed: int = 4, **changes: object) -> ArchFit:
    spec = ArchSpec(SHAPES[name], n_courses=60, correlation_courses=1.5, gross_ratio=0.0)
    return fit_arch(simulate(replace(spec, **changes), seed).record)


def unseen_of(fit: ArchFit) -> UnseenMovement:
    assert fit.movement is None
    assert fit.unseen_movement is not None
    return fit.unseen_movement


@pytest.mark.parametrize("name", SHAPES)
def test_better_points_show_smaller_movements(name: str) -> None:
    rough = unseen_of(surveyed(name, point_sigma_mm=2.5, irregularity_mm=2.5))
    fine = unseen_of(surveyed(name, point_sigma_mm=0.8, irregularity_mm=0.5))
    assert fine.spread_mm < 0.7 * rough.spread_mm
    assert fine.settlement_mm < 0.8 * rough.settlement_mm
    assert 1.0 < fine.spread_mm < 20.0
    assert 1.0 < fine.settlement_mm < 20.0


def test_sizes_scale_with_the_arch() -> None:
    spec = ArchSpec(
        SHAPES["elliptical"], n_courses=60, point_sigma_mm=0.8, irregularity_mm=0.5, gross_ratio=0
    )
    record = simulate(spec, 3).record
    points = record.points
    twice = replace(
        record,
        points=replace(points, xy_mm=2 * points.xy_mm, sigma_mm=2 * points.sigma_mm),
        rings=tuple(
            replace(r, depth_mm=2 * r.depth_mm, brick_width_mm=2 * r.brick_width_mm) for r in record.rings
        ),
    )
    once, double = unseen_of(fit_arch(record)), unseen_of(fit_arch(twice))
    # Not exactly: the usual irregularity is known in millimetres.
    assert double.spread_mm / once.spread_mm == pytest.approx(2.0, rel=0.2)
    assert double.settlement_mm / once.settlement_mm == pytest.approx(2.0, rel=0.2)


@pytest.mark.parametrize("motion", ["spread", "settlement"])
def test_movements_of_the_stated_size_are_mostly_found(motion: str) -> None:
    """Hinges drawn evenly over the places that are looked at: nine in ten or so are found, half at least."""
    found = []
    rng = np.random.default_rng(8)
    for seed in range(4):
        for name in SHAPES:
            unseen = unseen_of(surveyed(name, seed))
            crown, left, right = rng.uniform(0.36, 0.64), *rng.choice([0.0, 0.18], 2)
            moved = (
                TrueMovement(unseen.spread_mm, 0.0, crown, left, right)
                if motion == "spread"
                else TrueMovement(0.0, unseen.settlement_mm, crown, left, right)
            )
            found.append(surveyed(name, 100 + seed, movement=moved).movement is not None)
    assert sum(found) >= 6
    # A third of the size is found by luck alone.
    third = [
        surveyed(name, 50 + seed, movement=TrueMovement(unseen_of(surveyed(name, seed)).spread_mm / 3, 0.0))
        for seed in range(2)
        for name in SHAPES
    ]
    assert sum(fit.movement is not None for fit in third) <= 2


def test_it_is_said_where_no_movement_is_told_and_only_there() -> None:
    fit = surveyed("semicircular")
    unseen = unseen_of(fit)
    assert unseen_told(unseen) in fit.notes
    moved = surveyed("semicircular", movement=TrueMovement(30.0, 0.0, 0.45))
    assert moved.movement is not None
    assert moved.unseen_movement is None
    assert not any("might not show" in note for note in moved.notes)
    spec = ArchSpec(SHAPES["semicircular"], n_courses=60)
    unasked = fit_arch(simulate(spec, 1).record, FitOptions(movement=False))
    assert unasked.unseen_movement is None


@pytest.mark.parametrize(
    ("unseen", "told"),
    [
        (
            UnseenMovement(13.6, 9.2),
            "A spread of the springings of up to 14 mm, or a settlement of one springing of up to 9 mm, "
            "might not show in these points.",
        ),
        (
            UnseenMovement(np.inf, 9.2),
            "A spread of the springings about certain hinges, even a large one, or a settlement of one "
            "springing of up to 9 mm, might not show in these points.",
        ),
    ],
)
def test_words(unseen: UnseenMovement, told: str) -> None:
    assert unseen_told(unseen) == told
