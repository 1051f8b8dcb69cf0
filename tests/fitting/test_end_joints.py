"""Springing points against the courses beside them: judged, set aside and told; sunk springings are kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fitting.builds import standing_on
from recovery.simulated import ArchSpec, SimulatedArch, TrueMovement, simulate

from survey import curves
from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting import fit_arch
from survey.fitting.end_joints import EndJoints, end_joints
from survey.fitting.families.builds import BUILDS, numbers_of
from survey.fitting.families.standing import Standing
from survey.fitting.result import ArchFit
from survey.fitting.sightings import sightings_of
from survey.record.model import Edge, Feature, Record

SHAPES = {
    "small semicircular": curves.semicircular(450.0),
    "semicircular": curves.semicircular(1300.0),
    "segmental": curves.segmental(2600.0, 700.0),
    "elliptical": curves.elliptical(2600.0, 900.0),
    "three-centred": curves.three_centred_sixty(2400.0, 850.0),
    "five-centred": curves.five_centred(3000.0, 1050.0, 800.0),
}
LOW, HIGH, OUT = np.array([0.0, -1.0]), np.array([0.0, 1.0]), np.array([1.0, 0.0])


def surveyed(name: str, seed: int = 0, **changes: object) -> SimulatedArch:
    n = int(curve_of(SHAPES[name]).length_mm / 62.0) | 1
    spec = ArchSpec(SHAPES[name], n_courses=n, correlation_courses=1.5, gross_ratio=0.0)
    return simulate(replace(spec, **changes), seed)


def springing_of(record: Record, side: int) -> int:
    edge = Edge.RIGHT if side > 0 else Edge.LEFT
    points = record.points
    return next(
        i for i in range(len(points)) if points.feature[i] is Feature.SPRINGING and points.edge[i] is edge
    )


def misread(record: Record, side: int, off_mm: Floats) -> Record:
    """The record with one springing point off by (2,), outwards and up."""
    xy = record.points.xy_mm.copy()
    xy[springing_of(record, side)] += off_mm * [side, 1.0]
    return replace(record, points=replace(record.points, xy_mm=xy))


def joints_of(record: Record, arch: SimulatedArch) -> EndJoints:
    """Joints at the ends of a record, by stations along the true curve."""
    seen = sightings_of(record)
    build = BUILDS[arch.shape.family]
    place = np.array([arch.shape.axis_x_mm, arch.shape.springing_y_mm]) - seen.centre_mm
    standing = Standing(seen, build)
    return end_joints(seen, standing.stations(np.concatenate([place, numbers_of(build, arch.shape)])))


def trust_of(fit: ArchFit, record: Record, side: int) -> float:
    return float(fit.points.weight[fit.points.index.tolist().index(springing_of(record, side))])


def exact(name: str, **changes: object) -> SimulatedArch:
    return surveyed(name, point_sigma_mm=1e-6, irregularity_mm=1e-6, **changes)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("name", ["semicircular", "elliptical", "five-centred"])
def test_the_excess_is_what_the_joint_exceeds_its_neighbours_by(name: str, side: int) -> None:
    arch = exact(name)
    off = misread(arch.record, side, 9.0 * LOW)
    found = joints_of(off, arch)
    usual = [np.median(arch.joints_mm[1:7]), np.median(arch.joints_mm[-7:-1])]
    true = np.array([arch.joints_mm[0] - usual[0], arch.joints_mm[-1] - usual[1]])
    true[0 if side < 0 else 1] += 9.0
    assert found.side.tolist() == [-1, 1]
    assert found.excess_mm == pytest.approx(true, abs=0.05)


def test_springing_points_read_well_lie_within_what_is_stated() -> None:
    strange = np.concatenate(
        [
            joints_of(arch.record, arch).strange
            for seed in range(12)
            for arch in [surveyed("elliptical", seed, point_sigma_mm=2.0)]
        ]
    )
    assert len(strange) == 24
    assert np.sqrt(np.mean(strange**2)) == pytest.approx(0.9, abs=0.35)
    assert strange.max() < 3.2


def test_a_misread_lowest_edge_is_outvoted_by_those_above_it() -> None:
    arch = exact("semicircular")
    xy = arch.record.points.xy_mm.copy()
    points = arch.record.points
    lowest = np.flatnonzero(points.on(Feature.INTRADOS) & (points.course == 1) & (points.edge == Edge.LEFT))
    xy[lowest] += [0.0, 25.0]
    found = joints_of(replace(arch.record, points=replace(points, xy_mm=xy)), arch)
    assert abs(found.excess_mm[0]) < 6.0
    assert found.sigma_mm[0] >= joints_of(arch.record, arch).sigma_mm[0]


@pytest.mark.parametrize(
    ("changes", "known"),
    [
        ({"gaps": ((1, 2),)}, [False, True]),
        ({"gaps": ((40, 65),)}, [True, False]),
        ({"numbered": False}, [False, False]),
        ({"springings": False}, []),
    ],
)
def test_courses_that_are_not_there_tell_nothing(changes: dict[str, object], known: list[bool]) -> None:
    arch = surveyed("semicircular", **changes)
    found = joints_of(arch.record, arch)
    assert found.known.tolist() == known
    assert np.all(found.excess_mm[~found.known] == 0.0)
    assert np.all(found.log_gross[~found.known] == 0.0)


def test_a_gap_of_a_whole_course_is_no_misreading() -> None:
    arch = exact("semicircular", counted=False)
    pitch = float(np.median(np.diff(arch.left_mm)))
    assert joints_of(misread(arch.record, 1, pitch * LOW), arch).known.tolist() == [True, False]


def test_the_odds_of_a_gross_error_rise_with_the_excess() -> None:
    excess = np.array([0.0, 4.0, 8.0, 12.0, 30.0])
    odds = EndJoints(np.ones(5, dtype=np.int64), excess, np.full(5, 3.0)).log_gross
    assert np.all(np.diff(odds) > 0)
    # Densities at nothing: 0.99 good ones of 3 mm and 0.01 of 12.4 mm against one of 30.1 mm.
    good = 0.99 / 3.0 + 0.01 / np.hypot(3.0, 12.0)
    assert odds[0] == pytest.approx(np.log(1 / np.hypot(3.0, 30.0) / good))


def test_courses_vouch_for_a_springing_point_a_joint_below_them() -> None:
    side = np.array([-1, 1, 1], dtype=np.int64)
    found = EndJoints(side, np.array([2.0, 2.0, 4.0]), np.array([3.0, 3.0, 3.0]))
    assert not found.doubts(-1)
    assert found.doubts(1)
    assert EndJoints(side[:1], np.zeros(1), np.array([np.inf])).doubts(-1)
    assert found.doubts(0)


@pytest.mark.parametrize(
    "off", [12 * LOW, 12 * HIGH, 20 * LOW, 30 * OUT], ids=["low", "high", "lower", "out"]
)
@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("name", SHAPES)
def test_one_bad_springing_point_is_no_movement(name: str, side: int, off: Floats) -> None:
    arch = surveyed(name)
    record = misread(arch.record, side, off)
    fit = fit_arch(record)
    assert fit.movement is None
    assert fit.verdict.family is arch.shape.family
    assert trust_of(fit, record, side) < 0.05
    assert trust_of(fit, record, -side) == 1.0
    said = [note for note in fit.notes if note.startswith(f"The {'left' if side < 0 else 'right'} springing")]
    assert len(said) == 1
    assert "set aside" in said[0]
    assert "measure it again" in said[0]
    half = fit.best.figures["half_span_mm"]
    assert abs(half.value - arch.shape.half_span_mm) < 3.5 * half.sigma


def test_the_doubt_says_how_far_and_which_way() -> None:
    arch = surveyed("semicircular", point_sigma_mm=0.5, irregularity_mm=0.3)
    low = fit_arch(misread(arch.record, 1, 14.0 * LOW)).notes
    high = fit_arch(misread(arch.record, -1, 14.0 * HIGH)).notes
    assert any("mm below where the courses beside it lead" in note for note in low)
    assert any("left springing point stands" in note and "mm above" in note for note in high)


@pytest.mark.parametrize("name", ["semicircular", "segmental", "elliptical"])
@pytest.mark.parametrize("settlement", [-16.0, 16.0])
def test_a_springing_that_sank_with_its_courses_is_found_and_trusted(name: str, settlement: float) -> None:
    movement = TrueMovement(22.0, settlement, 0.46)
    arch = surveyed(name, point_sigma_mm=1.0, irregularity_mm=0.7, movement=movement)
    fit = fit_arch(arch.record)
    assert fit.movement is not None
    said = fit.movement.settlement_mm
    assert abs(said.value - settlement) < 3.5 * said.sigma
    assert said.value / settlement > 0.6
    assert all(trust_of(fit, arch.record, side) == 1.0 for side in (-1, 1))
    assert not any("springing point" in note for note in fit.notes)


def test_a_movement_never_rests_on_one_springing_point_alone() -> None:
    arch = surveyed("semicircular", 1, gaps=((63, 65),))
    assert arch.n_courses == 65
    fit = fit_arch(misread(arch.record, 1, 12.0 * HIGH))
    assert fit.movement is None
    assert any("right springing point" in note for note in fit.notes)


def test_an_end_is_held_where_its_courses_lead() -> None:
    soffit = np.array([[-9.0, 4.0], [-5.0, 8.0], [0.0, 10.0], [5.0, 8.0], [9.0, 4.0]]) * 100.0
    standing = standing_on("semicircular", soffit, np.array([[-1000.0, 0.0], [1000.0, -12.0]]))
    seen = standing.sightings
    led = replace(standing, sightings=seen.with_end(seen.end == 1, 12.0, 3.0))
    parameters = np.array([*-seen.centre_mm, 1000.0])
    assert standing.look(parameters).rows == pytest.approx([0.0, -12.0])
    assert led.look(parameters).rows == pytest.approx([0.0, 0.0])
    assert led.look(parameters).row_slopes[1] == pytest.approx(standing.look(parameters).row_slopes[1] / 3.0)
