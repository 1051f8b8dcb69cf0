"""An arch that has moved: simulated truth is met exactly, derivatives hold, small motions are linear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recovery.simulated import ArchSpec, SimulatedArch, TrueMovement, simulate

from survey import curves
from survey.curves import curve_of
from survey.fitting.choosing.held_hinges import hinged
from survey.fitting.families.builds import BUILDS, numbers_of
from survey.fitting.families.standing import Standing
from survey.fitting.mechanism.hinge_choices import HingeChoices
from survey.fitting.mechanism.hinge_search import motion_columns, sighted
from survey.fitting.mechanism.joint_gaps import back_joint_gaps, joint_gaps
from survey.fitting.mechanism.moved import Moved
from survey.fitting.sightings import sightings_of
from survey.record.model import Known, KnownDimensions

SHAPES = {
    "semicircular": curves.semicircular(1200.0),
    "segmental": curves.segmental(2400.0, 500.0),
    "elliptical": curves.elliptical(2400.0, 800.0),
    "three-centred": curves.three_centred_sixty(2400.0, 850.0),
    "five-centred": curves.five_centred(2400.0, 850.0, 650.0),
}
MOVED = TrueMovement(24.0, -11.0, 0.44, 0.0, 0.2, crown_hinge_at_back=True)
CLOSER = TrueMovement(-24.0, 7.0, 0.44, 0.0, 0.2, lower_hinges_at_back=True)
BOTH_WAYS = pytest.mark.parametrize("movement", [MOVED, CLOSER], ids=["apart", "closer"])


def exact_arch(name: str, movement: TrueMovement = MOVED, *, extrados: bool = False) -> SimulatedArch:
    """An arch that moved, surveyed without any error."""
    return simulate(
        ArchSpec(
            SHAPES[name],
            point_sigma_mm=1e-9,
            irregularity_mm=1e-9,
            gross_ratio=0.0,
            movement=movement,
            extrados=extrados,
        ),
        seed=5,
    )


def moved_as_simulated(arch: SimulatedArch) -> tuple[Moved, np.ndarray, HingeChoices]:
    seen = sightings_of(arch.record)
    seen = replace(seen, sigma_mm=np.ones(len(seen)), end_sigma_mm=np.where(seen.end == 0, np.inf, 1.0))
    build = BUILDS[arch.shape.family]
    standing = Standing(seen, build)
    place = np.array([arch.shape.axis_x_mm, arch.shape.springing_y_mm]) - seen.centre_mm
    original = np.concatenate([place, numbers_of(build, arch.shape)])
    m = arch.movement
    assert m is not None
    depth = arch.spec.depth_mm if m.crown_hinge_at_back else 0.0
    here = HingeChoices(
        *(
            np.array([v])
            for v in (m.left_hinge_ratio, m.crown_hinge_ratio, 1 - m.right_hinge_ratio, depth, 0.0)
        )
    )._replace(lower_mm=arch.spec.depth_mm if m.lower_hinges_at_back else 0.0)
    moved = hinged(standing, original, sighted(standing, original), here, 0)
    return moved, np.concatenate([original, [m.spread_mm, m.settlement_mm]]), here


@BOTH_WAYS
@pytest.mark.parametrize("name", SHAPES)
def test_a_simulated_movement_is_met_exactly(name: str, movement: TrueMovement) -> None:
    arch = exact_arch(name, movement)
    moved, parameters, _ = moved_as_simulated(arch)
    look = moved.look(parameters)
    assert np.abs(look.distance).max() < 1e-6
    if movement is MOVED:
        # Above a springing hinged at its back the lowest joint opens; the simulated end goes with the arch.
        assert np.abs(look.rows).max() < 1e-6
    soffit = moved.sightings.edge != 0
    true = np.stack([arch.left_mm, arch.right_mm], axis=1).ravel()
    assert moved.stations(parameters)[soffit] == pytest.approx(true, abs=1e-5)


@BOTH_WAYS
@pytest.mark.parametrize("name", SHAPES)
def test_every_derivative(name: str, movement: TrueMovement) -> None:
    arch = simulate(ArchSpec(SHAPES[name], movement=movement, gross_ratio=0.0), seed=2)
    moved, parameters, _ = moved_as_simulated(arch)
    look = moved.look(parameters)
    assert len(look.distance) == len(moved.sightings)
    for k, size in enumerate(parameters):
        step = np.zeros(len(parameters))
        step[k] = 1e-6 * max(abs(size), 1.0)
        up, down = moved.look(parameters + step), moved.look(parameters - step)
        by = (up.distance - down.distance) / (2 * step[k])
        scale = max(1.0, np.abs(by).max())
        assert look.slopes[:, k] == pytest.approx(by, abs=2e-6 * scale)
        assert look.row_slopes[:, k] == pytest.approx((up.rows - down.rows) / (2 * step[k]), abs=2e-6 * scale)


@BOTH_WAYS
@pytest.mark.parametrize("name", SHAPES)
def test_motion_columns_are_the_derivatives_of_an_arch_at_rest(name: str, movement: TrueMovement) -> None:
    arch = simulate(ArchSpec(SHAPES[name], movement=movement, gross_ratio=0.0), seed=2)
    moved, parameters, here = moved_as_simulated(arch)
    k = moved.n_standing
    at_rest = np.concatenate([parameters[:k], [0.0, 0.0]])
    seen = sighted(moved.standing, parameters[:k])
    columns = motion_columns(moved.standing, parameters[:k], seen, here)
    look = moved.look(at_rest)
    assert columns.points[:, 0] == pytest.approx(look.slopes[:, k:].T, abs=1e-10)
    assert columns.rows == pytest.approx(look.row_slopes[:, k:].T, abs=1e-10)


def test_a_hinge_at_the_back_opens_its_joint_by_depth_times_turn() -> None:
    arch = exact_arch("semicircular")
    moved, parameters, here = moved_as_simulated(arch)
    motion = moved.motion(parameters)
    k = moved.n_standing
    columns = motion_columns(moved.standing, parameters[:k], sighted(moved.standing, parameters[:k]), here)
    opening = 240.0 * (motion.rotation_rad[2] - motion.rotation_rad[1])
    assert 240.0 * columns.turns[1, :, 0] @ parameters[k:] == pytest.approx(opening, rel=0.03)
    # The simulated joint at the hinge stands open by as much, over what it was.
    gaps = joint_gaps(moved.sightings, sighted(moved.standing, parameters[:k]), np.ones(len(moved.sightings)))
    at = int(np.argmin(np.abs(gaps.share - here.crown[0])))
    assert at == int(np.argmax(gaps.excess_mm))
    assert gaps.excess_mm[at] == pytest.approx(opening, abs=3.0)


def test_a_hinge_on_the_soffit_closes_its_joint_at_the_back_and_haunches_open_theirs() -> None:
    movement = TrueMovement(24.0, 0.0, 0.45, 0.18, 0.16)
    arch = exact_arch("elliptical", movement=movement, extrados=True)
    moved, parameters, here = moved_as_simulated(arch)
    k = moved.n_standing
    seen = sighted(moved.standing, parameters[:k])
    turns = motion_columns(moved.standing, parameters[:k], seen, here).turns[:, :, 0] @ parameters[k:]
    gaps = back_joint_gaps(moved.sightings, seen, 240.0)
    assert gaps.out_mm == 240.0
    for place, turn in zip((here.left[0], here.crown[0], here.right[0]), turns, strict=True):
        at = int(np.argmin(np.abs(gaps.share - place)))
        assert abs(turn) > 0.01
        assert gaps.excess_mm[at] == pytest.approx(-240.0 * turn, abs=2.0)


def test_without_edges_at_the_back_no_joint_is_told_there() -> None:
    moved, parameters, _ = moved_as_simulated(exact_arch("elliptical"))
    seen = sighted(moved.standing, parameters[: moved.n_standing])
    assert len(back_joint_gaps(moved.sightings, seen, 240.0).share) == 0


def test_known_dimensions_are_those_of_the_arch_as_it_stands() -> None:
    arch = exact_arch("elliptical")
    known = KnownDimensions(span=Known(2424.0, 0.5), rise=Known(123.0, 0.5), axis_x=Known(0.0, 1e6))
    arch = replace(arch, record=replace(arch.record, known=known))
    moved, parameters, here = moved_as_simulated(arch)
    look = moved.look(parameters)
    # The present span is 2400 and a spread of 24; the present rise is no rise of the original's.
    assert look.rows[2:4] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert look.row_slopes[2, moved.n_standing] == 2.0
    assert np.all(look.row_slopes[3] == 0.0)
    k = moved.n_standing
    columns = motion_columns(moved.standing, parameters[:k], sighted(moved.standing, parameters[:k]), here)
    assert columns.rows[:, 2] == pytest.approx([2.0, 0.0])


def test_without_settlement_the_motion_is_a_spread() -> None:
    arch = exact_arch("elliptical", TrueMovement(20.0, 0.0, 0.5))
    moved, parameters, _ = moved_as_simulated(arch)
    spread_only = replace(moved, settles=False)
    assert spread_only.names[-1] == "spread_mm"
    assert np.abs(spread_only.look(parameters[:-1]).distance).max() < 1e-6
    left, right = curve_of(arch.shape).point([0.0, curve_of(arch.shape).length_mm])
    ends = moved.sightings.xy_mm[moved.sightings.end != 0]
    assert ends[1, 0] - ends[0, 0] == pytest.approx(right[0] - left[0] + 20.0, abs=1e-6)
