"""The rhythm of a ring: what the pitch of standing courses says of a stretch that cannot be counted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Floats

WHITE_RATIOS = (0.25, 0.5, 1.0, 1.6)
"""Brick-to-brick variances tried, as shares of the variance seen between neighbouring pitches."""
SLOW_RATIOS = (0.0, 0.1, 0.4)
"""Variances tried of a pitch that drifts along the ring, as shares of the same."""
DRIFT_COURSES = (10.0, 30.0)
"""Lengths tried, in courses, over which a drifting pitch stays alike."""
CROWN_TREND_RATIOS = (0.0, 0.06)
"""Sizes tried of a steady change of pitch from the springings to the crown, as shares of the pitch."""
GROSS_SHARE, GROSS_SIGMA_MM = 0.03, 20.0
"""Chance, and size, of a gross error in the readings at a stretch's ends (judgement)."""
LEAST_SCATTER_MM = 0.5
"""No hand-laid ring keeps its pitch better than this; keeps a perfect record from claiming certainty."""


@dataclass(frozen=True, slots=True, eq=False)
class Strides:
    """Distances between neighbouring courses whose difference in number is known; arrays of length n.

    Attributes
    ----------
    distance_mm : (n,) float
        From the middle of one course to the middle of the next one read.
    steps : (n,) float
        How many pitches that is.
    at_mm : (n,) float
        Where along the ring its middle lies.
    end_variance_mm2 : (n, 2) float
        Variance of the reading at either end.
    joined : (n,) bool
        True where the stride begins with the reading the one before ended with.
    """

    distance_mm: Floats
    steps: Floats
    at_mm: Floats
    end_variance_mm2: Floats
    joined: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A stretch to be counted: from a reading to a reading, or from a springing."""

    start_mm: float
    end_mm: float
    end_variance_mm2: float
    """Variance of its length from the readings at both ends."""

    @property
    def length_mm(self) -> float:
        """Distance along the ring's inner curve."""
        return self.end_mm - self.start_mm


def step_likelihood(strides: Strides, stretch: Stretch, steps: ArrayLike, ring_length_mm: float) -> Floats:
    """Log likelihood (k,) that a stretch holds each of ``steps`` (k,) pitches, given the strides around it.

    The pitch is a mean with a drift along the ring, a change from springings to crown, a scatter from brick
    to brick and the noise of the readings. How large each is is not known: the answer is the mean over a
    grid of sizes, each weighed by how well it explains the known strides, so that a ring with a loose rhythm
    says less than a steady one.

    Parameters
    ----------
    strides : Strides
        At least one.
    stretch : Stretch
    steps : array_like (k,)
        Numbers of pitches to try; halves at a springing.
    ring_length_mm : float

    Notes
    -----
    Gaussian-process regression of the mean pitch over the stretch (kriging with an unknown mean); C. E.
    Rasmussen and C. K. I. Williams, *Gaussian Processes for Machine Learning*, MIT Press 2006, sections 2.2
    and 2.7.
    """
    tried = np.asarray(steps, dtype=float)
    near = np.argsort(np.abs(strides.at_mm - (stretch.start_mm + stretch.end_mm) / 2))[:80]
    near = np.sort(near)
    model = _PitchModel(strides, near, ring_length_mm)
    scores, answers = [], []
    for white, slow, drift, trend in _grid():
        fitted = model.fitted(white, slow, drift, trend)
        if fitted is None:
            continue
        scores.append(fitted.log_evidence)
        answers.append(fitted.log_density(stretch, tried))
    weight = np.array(scores) - np.logaddexp.reduce(scores)
    mixed = np.logaddexp.reduce(np.array(answers) + weight[:, None], axis=0)
    return np.asarray(mixed, dtype=float)


def _grid() -> list[tuple[float, float, float, float]]:
    slow = [(0.0, DRIFT_COURSES[0])] + [(s, d) for s in SLOW_RATIOS if s > 0 for d in DRIFT_COURSES]
    return [(w, s, d, t) for w in WHITE_RATIOS for s, d in slow for t in CROWN_TREND_RATIOS]


class _PitchModel:
    """Kernel pieces of one stretch's neighbours, shared by all sizes of scatter that are tried."""

    def __init__(self, strides: Strides, near: np.ndarray, ring_length_mm: float) -> None:
        self.steps = strides.steps[near]
        self.pitch = strides.distance_mm[near] / self.steps
        self.typical = float(np.median(self.pitch))
        self.half = ring_length_mm / 2
        self.at = strides.at_mm[near]
        self.away = np.abs(self.at[:, None] - self.at[None, :])
        ends = strides.end_variance_mm2[near]
        reading = ends.sum(axis=1) / self.steps**2
        shared = np.where(
            strides.joined[near][1:] & (np.diff(near) == 1),
            ends[1:, 0] / (self.steps[1:] * self.steps[:-1]),
            0.0,
        )
        self.noise = np.diag(reading) - np.diag(shared, 1) - np.diag(shared, -1)
        spread = (
            np.median(np.abs(self.pitch - self.typical)) * 1.4826 if len(near) > 2 else 0.04 * self.typical
        )
        self.scatter = float(max(spread, LEAST_SCATTER_MM)) ** 2

    def rise(self, at_mm: Floats) -> Floats:
        """How near the crown: 0 half-way up either side, half at the crown, minus half at the springings."""
        return np.asarray(0.5 - np.abs(at_mm - self.half) / self.half, dtype=float)

    def fitted(self, white: float, slow: float, drift: float, trend: float) -> _FittedPitch | None:
        """The model with one choice of sizes; None where the covariance is singular."""
        up = self.rise(self.at)
        slow_var = slow * self.scatter
        trend_var = (trend * self.typical) ** 2
        length = drift * self.typical
        cov = self.noise + np.diag(white * self.scatter / self.steps)
        cov = cov + slow_var * np.exp(-self.away / length) + trend_var * np.outer(up, up)
        try:
            chol = np.linalg.cholesky(cov)
        except np.linalg.LinAlgError:
            return None
        ones = np.linalg.solve(chol, np.column_stack([np.ones(len(up)), self.pitch]))
        precision = float(ones[:, 0] @ ones[:, 0])
        mean = float(ones[:, 0] @ ones[:, 1]) / precision
        left = ones[:, 1] - mean * ones[:, 0]
        log_det = 2 * float(np.log(np.diag(chol)).sum()) + np.log(precision)
        return _FittedPitch(
            self, chol, ones[:, 0], left, mean, precision, white, slow_var, length, trend_var,
            -0.5 * (float(left @ left) + log_det),
        )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _FittedPitch:
    """One choice of sizes, ready to predict."""

    model: _PitchModel
    chol: Floats
    ones: Floats
    left: Floats
    mean_mm: float
    precision: float
    white: float
    slow_var: float
    length_mm: float
    trend_var: float
    log_evidence: float

    def log_density(self, stretch: Stretch, steps: Floats) -> Floats:
        """Log density (k,) of the stretch's length if it held each number of steps."""
        model = self.model
        spots = np.linspace(stretch.start_mm, stretch.end_mm, 9)
        spots = (spots[1:] + spots[:-1]) / 2
        up = float(model.rise(spots).mean())
        across = np.exp(-np.abs(model.at[:, None] - spots[None, :]) / self.length_mm).mean(axis=1)
        cross = self.slow_var * across + self.trend_var * model.rise(model.at) * up
        own_slow = np.exp(-np.abs(spots[:, None] - spots[None, :]) / self.length_mm).mean()
        own = self.slow_var * own_slow + self.trend_var * up**2
        white = np.linalg.solve(self.chol, cross)
        pitch = self.mean_mm + float(white @ self.left)
        lacking = 1.0 - float(white @ self.ones)
        variance = max(own - float(white @ white), 0.0) + lacking**2 / self.precision
        total = steps**2 * variance + steps * self.white * model.scatter + stretch.end_variance_mm2
        miss = stretch.length_mm - steps * pitch
        sound = np.log(1.0 - GROSS_SHARE) + _log_normal(miss, total)
        gross = np.log(GROSS_SHARE) + _log_normal(miss, total + GROSS_SIGMA_MM**2)
        return np.asarray(np.logaddexp(sound, gross), dtype=float)


def _log_normal(miss: Floats, variance: Floats) -> Floats:
    return np.asarray(-0.5 * (miss**2 / variance + np.log(2 * np.pi * variance)), dtype=float)
