"""The pieces as they moved: continuity at the hinges, exaggeration, signs in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, record_of

from survey.condition import map_deviations, movement_residuals, view_movement
from survey.condition.kinematics import ThreeHinges
from survey.condition.movement_view import fitting_factor
from survey.curves import curve_of, semicircular
from survey.errors import GeometryError
from survey.fitting import fit_arch
from survey.fitting.counting.edge_readings import total_depth_mm
from survey.fitting.result import Candidate, Estimate, Hinge, Movement, Opens, Piece
from survey.record.model import Record

RADIUS, DEPTH, SPREAD = 1000.0, 240.0, 20.0
SHAPE = semicircular(RADIUS)


def spread_movement(spread_mm: float = SPREAD, settlement_mm: float = 0.0) -> Movement:
    """A semicircle hinged at both springings' soffit and at the crown's back, moved exactly."""
    length = np.pi * RADIUS
    height = RADIUS + DEPTH
    links = ThreeHinges(2 * RADIUS, height)
    turn = links.turn_rad(spread_mm)
    pieces = []
    for side, start, end in ((-1.0, 0.0, length / 2), (1.0, length / 2, length)):
        angle = side * turn
        c, s = np.cos(angle), np.sin(angle)
        foot = np.array([side * RADIUS, 0.0])
        shift = np.array([side * (RADIUS + spread_mm / 2), 0.0]) - np.array([[c, -s], [s, c]]) @ foot
        pieces.append(Piece(start, end, float(angle), (float(shift[0]), float(shift[1]))))
    at = Estimate(length / 2, 20.0)
    crown = Hinge(at, Opens.INTRADOS, Estimate(2 * turn, 0.001), 0.0, height, "crown")
    left = Hinge(Estimate(0.0, 5.0), Opens.EXTRADOS, Estimate(turn, 0.001), -RADIUS, 0.0, "left springing")
    right = replace(left, station_mm=Estimate(length, 5.0), x_mm=RADIUS, where="right springing")
    original = Candidate(
        SHAPE.family, SHAPE, ("axis_x_mm", "springing_y_mm", "half_span_mm"), np.eye(3), {}, 1.0, True
    )
    return Movement(
        original,
        Estimate(spread_mm, 2.0),
        Estimate(settlement_mm, 1.0),
        Estimate(links.drop_mm(spread_mm), 1.0),
        (left, crown, right),
        tuple(pieces),
        0.99,
        5.0,
        1.0,
        "moved",
    )


def moved_record(movement: Movement) -> Record:
    record = record_of(SHAPE, [LaidRing(51)])
    curve = curve_of(SHAPE)
    station = curve.locate(record.points.xy_mm).station_mm
    xy = record.points.xy_mm.copy()
    for piece in movement.pieces:
        on = (station >= piece.start_mm - 1.0) & (
            station < piece.end_mm + (1.0 if piece.end_mm > 3000 else 0.0)
        )
        c, s = np.cos(piece.rotation_rad), np.sin(piece.rotation_rad)
        xy[on] = record.points.xy_mm[on] @ np.array([[c, s], [-s, c]]) + piece.shift_mm
    return replace(record, points=replace(record.points, xy_mm=xy))


def test_pieces_stay_together_at_the_hinge_however_exaggerated() -> None:
    movement = spread_movement()
    record = record_of(SHAPE, [LaidRing(51)])
    courses = map_deviations(record, fit_of(record, SHAPE)).ring(1)
    for factor in (1, 5, 20):
        view = view_movement(record, movement, courses, factor=factor)
        left, right = view.pieces
        assert left.moved_back_mm[-1] == pytest.approx(right.moved_back_mm[0], abs=1e-9)
        crown = view.hinges[1]
        assert (crown.x_mm, crown.y_mm) == pytest.approx(tuple(left.moved_back_mm[-1]), abs=1e-9)
        assert view.factor == factor
        gap = float(np.hypot(*(left.moved_soffit_mm[-1] - right.moved_soffit_mm[0])))
        turn = 2 * ThreeHinges(2 * RADIUS, RADIUS + DEPTH).turn_rad(SPREAD)
        assert gap == pytest.approx(factor * DEPTH * 2 * np.sin(turn / 2), rel=1e-9)
        assert gap / factor == pytest.approx(crown.crack_mm.value, rel=1e-3)


def test_the_springings_and_the_crown_go_where_the_figures_say() -> None:
    movement = spread_movement()
    record = record_of(SHAPE, [LaidRing(51)])
    view = view_movement(record, movement, (), factor=1)
    step = view.moved_springings_mm - view.springings_mm
    assert step == pytest.approx(np.array([[-10.0, 0.0], [10.0, 0.0]]), abs=1e-9)
    drop = view.pieces[0].back_mm[-1, 1] - view.pieces[0].moved_back_mm[-1, 1]
    assert drop == pytest.approx(movement.crown_drop_mm.value, abs=1e-9)


def test_without_a_factor_the_movement_is_drawn_at_a_round_one() -> None:
    movement = spread_movement()
    record = record_of(SHAPE, [LaidRing(51)])
    # 6 % of 2 m is 120 mm; no point moves further than 12 mm.
    assert view_movement(record, movement, ()).factor == 10
    assert fitting_factor(curve_of(SHAPE), spread_movement(300.0)) == 1


@pytest.mark.parametrize("factor", [0, -3])
def test_a_factor_below_one_is_refused(factor: int) -> None:
    record = record_of(SHAPE, [LaidRing(51)])
    with pytest.raises(GeometryError, match=f"exaggeration by {factor}: give a whole number"):
        view_movement(record, spread_movement(), (), factor=factor)


def test_a_hinge_that_hardly_turned_has_no_sign_of_its_own() -> None:
    movement = spread_movement()
    doubtful = tuple(
        replace(h, rotation_rad=Estimate(h.rotation_rad.value, abs(h.rotation_rad.value)))
        if h.where == "crown"
        else h
        for h in movement.hinges
    )
    sunk = replace(movement, hinges=doubtful, settlement_mm=Estimate(25.0, 3.0))
    assert sunk.as_one_piece
    assert not movement.as_one_piece
    view = view_movement(record_of(SHAPE, [LaidRing(51)]), sunk, ())
    assert view.hinges[1].sign == (
        "At the crown: whether a joint opened cannot be told; look for a crack on either face."
    )
    told = next(s for s in view.sentences if "has sunk" in s)
    assert (
        told == "The right springing has sunk 25 mm (± 6) against the left, unless the arch was set out so."
    )


def test_signs_name_the_courses_the_side_and_the_width() -> None:
    record = record_of(SHAPE, [LaidRing(51)])
    courses = map_deviations(record, fit_of(record, SHAPE)).ring(1)
    view = view_movement(record, spread_movement(), courses)
    crown = view.hinges[1]
    assert crown.between in {(25, 26), (26, 27)}
    assert "At the crown, between courses" in crown.sign
    assert "a joint open at the soffit, about 3.9 mm" in crown.sign
    assert "At the left springing: a joint open at the back" in view.hinges[0].sign
    text = " ".join(view.sentences)
    assert "The springings stand 20 mm (± 4) further apart" in text
    assert "The crown has dropped 8 mm (± 2) against the mean level of the springings." in text
    assert "abutments that lean outwards" in text
    assert "let an engineer look" in text
    assert "sunk" not in text


@pytest.mark.parametrize(
    ("settlement", "said"),
    [(9.0, "The right springing has sunk 9 mm"), (-9.0, "The left springing has sunk 9 mm")],
)
def test_a_sunk_springing_is_told(settlement: float, said: str) -> None:
    record = record_of(SHAPE, [LaidRing(51)])
    view = view_movement(record, spread_movement(settlement_mm=settlement), ())
    assert said in " ".join(view.sentences)


def test_springings_closer_together_say_so() -> None:
    record = record_of(SHAPE, [LaidRing(51)])
    text = " ".join(view_movement(record, spread_movement(-20.0), ()).sentences)
    assert "closer together" in text
    assert "The crown has risen" in text
    assert "lean outwards" not in text


def test_residuals_vanish_on_the_moved_pieces() -> None:
    movement = spread_movement()
    record = moved_record(movement)
    fit = fit_of(record, SHAPE, movement=movement)
    residuals = movement_residuals(record, fit, movement)
    assert np.abs(residuals.after_mm).max() < 1e-9
    assert np.abs(residuals.before_mm).max() > 4.0
    assert (np.diff(residuals.station_mm) >= 0).all()
    assert residuals.station_mm[0] == pytest.approx(0.0, abs=1e-9)
    assert residuals.station_mm[-1] == pytest.approx(np.pi * RADIUS, abs=1e-9)


def test_the_picture_before_is_of_the_curve_its_figure_is_of() -> None:
    """The nearest still curve may be of another family than the original: both are of that one."""
    movement = spread_movement()
    fit = fit_arch(moved_record(movement))
    assert fit.movement is not None
    residuals = movement_residuals(moved_record(movement), fit, fit.movement)
    assert residuals.still is not fit.best.family
    rms = [float(np.sqrt(np.mean(values**2))) for values in (residuals.before_mm, residuals.after_mm)]
    assert rms == pytest.approx([fit.movement.rms_before_mm, fit.movement.rms_after_mm], rel=0.05)


def test_depth_of_all_rings() -> None:
    rings = [LaidRing(51), LaidRing(60, ring=2, depth_mm=120.0, collar_mm=10.0)]
    assert total_depth_mm(record_of(SHAPE, rings).rings) == 370.0


def test_a_hinge_that_does_not_turn_is_shown_on_the_soffit() -> None:
    movement = spread_movement()
    still = Piece(0.0, np.pi * RADIUS / 2, 0.0, (0.0, 0.0))
    movement = replace(movement, pieces=(still, replace(still, start_mm=still.end_mm, end_mm=np.pi * RADIUS)))
    record = record_of(SHAPE, [LaidRing(51)])
    crown = view_movement(record, movement, ()).hinges[1]
    assert (crown.x_mm, crown.y_mm) == pytest.approx((0.0, RADIUS), abs=1e-9)


@pytest.mark.parametrize("spread", [SPREAD, -SPREAD])
@pytest.mark.parametrize("side", [0, 2])
def test_a_springing_opens_on_the_side_its_piece_turns_away_from(spread: float, side: int) -> None:
    """The wall's bed stays level: turned about the closed arris the piece leaves it open at the other one."""
    movement = spread_movement(spread)
    opens = Opens.EXTRADOS if spread > 0 else Opens.INTRADOS
    hinges = tuple(h if h.where == "crown" else replace(h, opens=opens) for h in movement.hinges)
    record = record_of(SHAPE, [LaidRing(51)])
    hinge = view_movement(record, replace(movement, hinges=hinges), (), factor=1).hinges[side]
    foot = -RADIUS if side == 0 else RADIUS
    soffit, back = np.array([foot, 0.0]), np.array([foot * (1 + DEPTH / RADIUS), 0.0])
    turn = movement.pieces[0 if side == 0 else 1].rotation_rad
    c, s = np.cos(turn), np.sin(turn)
    closed, opened = (soffit, back) if opens is Opens.EXTRADOS else (back, soffit)
    lifted = np.array([[c, -s], [s, c]]) @ (opened - closed) + closed - opened
    assert lifted[1] > 0.0
    assert hinge.crack_mm.value == pytest.approx(float(np.hypot(*lifted)), rel=1e-3)
    assert hinge.crack_mm.sigma == pytest.approx(DEPTH * 0.001)
    # Drawn where that arris has gone with its piece.
    assert hinge.x_mm == pytest.approx(
        closed[0] + np.sign(foot) * spread / 2, abs=0.5 * DEPTH * turn**2 + 1e-9
    )
    where = "soffit" if opens is Opens.INTRADOS else "back"
    assert f"springing: a joint open at the {where}, about {hinge.crack_mm.value:.1f} mm" in hinge.sign


def test_a_haunch_that_opens_at_the_soffit_turns_on_its_back() -> None:
    movement = spread_movement(-SPREAD)
    at = Estimate(0.2 * np.pi * RADIUS, 20.0)
    haunch = Hinge(at, Opens.INTRADOS, Estimate(0.02, 0.001), 0.0, 0.0, "left haunch")
    foot = Piece(0.0, at.value, 0.0, (0.0, 0.0))
    pieces = (foot, replace(movement.pieces[0], start_mm=at.value), movement.pieces[1])
    hinges = (haunch, *movement.hinges[1:])
    record = record_of(SHAPE, [LaidRing(51)])
    view = view_movement(record, replace(movement, pieces=pieces, hinges=hinges), ())
    assert view.hinges[0].crack_mm.value == pytest.approx(0.02 * DEPTH)
    outer = replace(haunch, opens=Opens.EXTRADOS)
    view = view_movement(record, replace(movement, pieces=pieces, hinges=(outer, *hinges[1:])), ())
    assert view.hinges[0].crack_mm.value == pytest.approx(0.02 * DEPTH)
    assert "mostly hidden by the fill" in view.hinges[0].sign


@pytest.mark.parametrize(
    ("share", "where", "said"),
    [
        (0.008, "left haunch", "between the left springing and course 1:"),
        (0.992, "right haunch", "between course 51 and the right springing:"),
        (0.2, "left haunch", "between courses 10 and 11:"),
    ],
)
def test_a_hinge_beside_a_springing_names_it(share: float, where: str, said: str) -> None:
    record = record_of(SHAPE, [LaidRing(51)])
    courses = map_deviations(record, fit_of(record, SHAPE)).ring(1)
    movement = spread_movement()
    at = Estimate(share * np.pi * RADIUS, 5.0)
    hinge = replace(movement.hinges[0], station_mm=at, where=where)
    view = view_movement(record, replace(movement, hinges=(hinge,)), courses)
    assert said in view.hinges[0].sign
    assert (
        view_movement(record, replace(movement, hinges=(hinge,)), ())
        .hinges[0]
        .sign.startswith(f"At the {where}: a joint")
    )
