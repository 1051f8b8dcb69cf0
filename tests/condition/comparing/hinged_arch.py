"""A semicircle of two rigid halves, hinged at its springings and crown, surveyed before and after."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from condition.factory import LaidRing, fit_of, record_of

from survey.condition import Comparison, compare_records
from survey.curves import semicircular
from survey.record.model import Record

SHAPE = semicircular(1000.0)
N = 51
SIGMA = 0.5


def surveyed(seed: int | None, *, has_z: bool, sunk_mm: float = 0.0, spread_mm: float = 0.0) -> Record:
    """A ring whose halves, hinged at springings and crown, followed the right springing out and down."""
    record = record_of(SHAPE, [LaidRing(N)], noise_seed=seed, sigma_mm=SIGMA)
    rest = record_of(SHAPE, [LaidRing(N)], sigma_mm=SIGMA).points.xy_mm
    xy = record.points.xy_mm - rest + hinged(rest, spread_mm, sunk_mm)
    return replace(record, has_depth=has_z, points=replace(record.points, xy_mm=xy))


def hinged(xy: np.ndarray, spread_mm: float, sunk_mm: float) -> np.ndarray:
    """Three hinges: each half a rigid body between its springing and the crown, worked out with compasses."""
    left, crown, right = complex(-1000, 0), complex(0, 1000), complex(1000, 0)
    moved = right + complex(spread_mm, -sunk_mm)
    arm, line = abs(crown - left), moved - left
    apex = left + line * complex(0.5, np.sqrt(arm**2 / abs(line) ** 2 - 0.25))
    at = xy[:, 0] + 1j * xy[:, 1]
    on_left = left + (at - left) * (apex - left) / (crown - left)
    on_right = moved + (at - right) * (apex - moved) / (crown - right)
    gone = np.where(xy[:, 0] < 0, on_left, on_right)
    return np.column_stack([gone.real, gone.imag])


def turned(record: Record, turn: float) -> Record:
    """The record in a frame out of plumb."""
    c, s = np.cos(turn), np.sin(turn)
    xy = record.points.xy_mm @ np.array([[c, s], [-s, c]])
    return replace(record, points=replace(record.points, xy_mm=xy))


def compared(a: Record, b: Record) -> Comparison:
    """Both surveys, each with the curve it was laid on."""
    return compare_records(a, fit_of(a, SHAPE), b, fit_of(b, SHAPE))
