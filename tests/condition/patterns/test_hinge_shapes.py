"""Departures of hinged pieces, against the exact place of the crown hinge between two circles."""

from __future__ import annotations

import numpy as np
import pytest

from survey.condition.patterns.hinge_shapes import (
    CROWN_SHARES,
    HINGE_DEPTH_SHARE,
    LOW_SHARES,
    Courses,
    hinge_shapes,
)
from survey.curves import curve_of, segmental, semicircular
from survey.curves.protocol import Curve, Floats
from survey.curves.shape import ArchShape

DEPTH = 240.0
PUSH = 1e-4
SHARE = (np.arange(40) + 0.5) / 40


def turn(xy: Floats, about: Floats, angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(about + (xy - about) @ np.array([[c, s], [-s, c]]))


def departure(curve: Curve, places: tuple[float, float, float], feet_moved: Floats) -> Floats:
    """Along the normals (n,), by the intersection of two circles about the moved lower hinges."""
    left, crown, right = places
    length = curve.length_mm
    feet = np.array([curve.point(np.array([length * share]))[0] for share in (left, right)])
    top = curve.point(np.array([length * crown]))[0]
    top = top + HINGE_DEPTH_SHARE * DEPTH * curve.normal(np.array([length * crown]))[0]
    now = feet + feet_moved
    arms = np.hypot(*(feet - top).T)
    base = now[1] - now[0]
    wide = np.hypot(*base)
    along = (arms[0] ** 2 - arms[1] ** 2 + wide**2) / (2 * wide)
    high = np.sqrt(arms[0] ** 2 - along**2)
    apex = now[0] + along * base / wide + high * np.array([-base[1], base[0]]) / wide
    point = curve.point(length * SHARE)
    moved = point.copy()
    for side in (0, 1):
        was, then = top - feet[side], apex - now[side]
        angle = np.arctan2(was[0] * then[1] - was[1] * then[0], was @ then)
        piece = (crown > SHARE) if side == 0 else (crown <= SHARE)
        beyond = (left < SHARE) if side == 0 else (right > SHARE)
        moved[piece] = point[piece] + feet_moved[side]
        turned = piece & beyond
        moved[turned] = turn(point[turned], feet[side], angle) + feet_moved[side]
    return np.asarray(((moved - point) * curve.normal(length * SHARE)).sum(axis=1) / PUSH)


@pytest.mark.parametrize("shape", [semicircular(1500.0), segmental(3000.0, 500.0)])
def test_departures_are_those_of_pieces_turned_as_they_must(shape: ArchShape) -> None:
    curve = curve_of(shape)
    at = curve.length_mm * SHARE
    shapes = hinge_shapes(curve, DEPTH, Courses(curve.point(at), curve.normal(at), SHARE))
    n_low, n_crown = len(LOW_SHARES), len(CROWN_SHARES)
    assert shapes.mixing.shape == (n_crown, n_low**2, 2 + 2 * n_low, 2)
    assert shapes.nested
    for i, j, k in [(0, 3, 0), (2, 7, 4), (4, 13, 1)]:
        places = LOW_SHARES[i], CROWN_SHARES[j], 1.0 - LOW_SHARES[k]
        found = shapes.member((j * n_low + i) * n_low + k)
        spread = departure(curve, places, PUSH * np.array([[-0.5, 0.0], [0.5, 0.0]]))
        sunk = departure(curve, places, PUSH * np.array([[0.0, 0.5], [0.0, -0.5]]))
        assert found[:, 0] == pytest.approx(spread, abs=1e-4)
        assert found[:, 1] == pytest.approx(sunk, abs=1e-4)
