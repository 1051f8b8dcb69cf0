"""The rhythm of an arch that has moved is that it was laid with, without what opened at the hinges."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from rebuild.factory import Laid, edge_survey, fit, joined, lay, lines_of, note, record, ring

from survey.curves import curve_of, semicircular
from survey.curves.protocol import Floats
from survey.fitting.result import Estimate, Hinge, Movement, Opens, Piece
from survey.rebuild import BrickKind, RebuildOptions, RebuildPlan, Scope, plan_rebuild
from survey.record.model import Condition, Record, SurveyPoints

BEFORE = semicircular(1500.0)
NOW = semicircular(1504.3)
"""A semicircle through the moved arch, as near as one comes: its springings are level, those now are not."""
ORIGINAL = curve_of(BEFORE)
HINGE_MM = 2388.0
PIECES = (
    Piece(0.0, HINGE_MM, np.radians(-0.642), (-12.4, -10.4)),
    Piece(HINGE_MM, ORIGINAL.length_mm, np.radians(0.176), (12.3, -11.0)),
)
RINGS = (ring(1, 73, depth_mm=230.0, brick_width_mm=55.0), ring(2, 83, depth_mm=230.0, brick_width_mm=55.0))
MISSING = 30


def movement() -> Movement:
    none = Estimate(0.0, 0.1)
    original = fit(BEFORE, record(RINGS)).best
    hinges = tuple(
        Hinge(Estimate(at, 5.0), opens, Estimate(0.012, 0.001), 0.0, 0.0, where)
        for at, opens, where in (
            (0.0, Opens.EXTRADOS, "left springing"),
            (HINGE_MM, Opens.INTRADOS, "crown"),
            (ORIGINAL.length_mm, Opens.EXTRADOS, "right springing"),
        )
    )
    return Movement(original, none, none, none, hinges, PIECES, 1.0, 6.0, 1.0)


def carried(points: SurveyPoints, line_length_mm: float, laid: Laid) -> SurveyPoints:
    """Every brick moved whole, with the piece its middle lies in; complex numbers, by the definition."""
    middle = (0.5 * (laid.left_mm + laid.right_mm) * ORIGINAL.length_mm / line_length_mm)[points.course - 1]
    z = points.xy_mm[:, 0] + 1j * points.xy_mm[:, 1]
    moved = [z * np.exp(1j * p.rotation_rad) + complex(*p.shift_mm) for p in PIECES]
    z = np.where(middle < HINGE_MM, *moved)
    return dataclasses.replace(points, xy_mm=np.column_stack([z.real, z.imag]))


def survey(*, missing: bool = False) -> tuple[Record, tuple[Laid, ...]]:
    """Two rings of uneven joints on the semicircle, moved, and every edge that is there surveyed."""
    random = np.random.default_rng(8)
    rings, points = [], []
    for number, line in enumerate(lines_of(BEFORE, RINGS), 1):
        n = RINGS[number - 1].courses
        assert n is not None
        laid = lay(line.length_mm, np.full(n, 55.0), 10.0 + random.uniform(-1.5, 1.5, n + 1))
        there = np.ones(n, bool)
        there[MISSING - 1] = not (missing and number == 1)
        taken = edge_survey(line, laid, ring=number, there=there, sigma_mm=0.02)
        points.append(carried(taken, line.length_mm, laid))
        rings.append(laid)
    notes = (note(MISSING, condition=Condition.MISSING),) if missing else ()
    return record(RINGS, points=joined(*points), courses=notes), tuple(rings)


def plan(rec: Record, *, moved: bool, scope: Scope = Scope.WHOLE) -> RebuildPlan:
    return plan_rebuild(
        rec, fit(NOW, rec, movement=movement() if moved else None), RebuildOptions(scope=scope)
    )


def worst(found: Floats, laid: Laid) -> float:
    return float(np.abs(found - laid.joints_mm).max())


@pytest.mark.parametrize("number", [1, 2])
def test_every_joint_is_read_as_it_was_laid(number: int) -> None:
    """The hinges at the springings open at the back of ring 1, where ring 2 begins; that is no rhythm."""
    rec, rings = survey()
    laid = rings[number - 1]
    found = plan(rec, moved=True).rings[number - 1].original_joints_mm
    assert worst(found, laid) < 0.01
    # Read along the curve fitted to the arch as it stands the first joint is far off: the test can tell.
    as_it_stands = plan(rec, moved=False).rings[number - 1].original_joints_mm
    assert abs(as_it_stands[0] - laid.joints_mm[0]) > 5.0


def test_a_repair_aims_at_the_laid_joints_and_leaves_what_stands() -> None:
    rec, rings = survey(missing=True)
    repaired = plan(rec, moved=True, scope=Scope.REPAIR)
    for number, laid in enumerate(rings, 1):
        found = repaired.rings[number - 1].original_joints_mm.copy()
        if number == 1:
            found[MISSING - 1 : MISSING + 1] = laid.joints_mm[MISSING - 1 : MISSING + 1]  # not measured
        assert worst(found, laid) < 0.01
        on = (rec.points.ring == number) & (rec.points.course == 1)
        first = next(b for b in repaired.bricks if (b.ring, b.course) == (number, 1))
        assert first.kind is BrickKind.IN_SITU
        assert first.corners_mm[:2] == pytest.approx(rec.points.xy_mm[on], abs=1.0)
