"""The way through every free fit: a start on a sample of the points, then the engine on all of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.free.points import FreePoints
from survey.fitting.solving.engine import EngineOptions, Model, Solution, minimise
from survey.fitting.solving.engine_robust import RobustSolution, minimise_robustly
from survey.fitting.solving.robust import Loss

SAMPLED = EngineOptions(relative_tolerance=0.05, absolute_tolerance=1e-12, first_damping=1e-9)
"""The optimum of a sample is itself off by so much of the rms residual; its search need not be finer."""
ROUNDING = 1e-14
"""Of lengths in units of the points' extent."""
FIRST_DAMPING = 1e-9
"""Algebraic starts are near enough for undamped steps."""


class CoefficientModel(Model, Protocol):
    """A model of a curve given by coefficients of which the largest is held at its value."""

    held: int
    held_value: float

    @property
    def start(self) -> Floats:
        """The free coefficients it was made with."""
        ...

    def coefficients(self, parameters: Floats) -> list[float]:
        """All coefficients."""
        ...

    def distances(self, parameters: Floats) -> Floats:
        """Signed distances (n,) without any weight, in the frame's unit."""
        ...


M = TypeVar("M", bound=CoefficientModel)
M_co = TypeVar("M_co", bound=CoefficientModel, covariant=True)


@dataclass(frozen=True, slots=True, eq=False)
class Found(Generic[M_co]):
    """A finished search: the model it was made with, the engine's solution, and the robust one if any."""

    model: M_co
    solution: Solution
    robust: RobustSolution | None

    @property
    def converged(self) -> bool:
        """Whether the optimum was found and proven."""
        return self.solution.converged if self.robust is None else self.robust.converged

    @property
    def because(self) -> str:
        """Why the search ended."""
        return self.solution.because if self.robust is None else self.robust.because


def find(
    points: FreePoints,
    model_of: Callable[[FreePoints, Floats], M],
    starts: Iterable[Floats],
    loss: Loss,
    scale: float | None,
) -> Found[M]:
    """The first start's optimum that is proven; the last failure if none is.

    Parameters
    ----------
    points : FreePoints
    model_of : callable
        Makes the model of points and coefficients to start from.
    starts : iterable of (k + 1,) float
        Coefficients to start from, in the order they are tried.
    loss : Loss
    scale : float or None
        Standard deviation of good residuals in the model's unit, where it is known.
    """
    options = EngineOptions(
        relative_tolerance=points.relative_tolerance,
        absolute_tolerance=ROUNDING,
        first_damping=FIRST_DAMPING,
    )
    sample = points.sample()
    for coefficients in starts:
        if sample is not points:
            model = model_of(sample, coefficients)
            rough = minimise(model, model.start, options=SAMPLED)
            if rough.converged:
                coefficients = np.array(model.coefficients(rough.parameters))
        found = _find_from(model_of(points, coefficients), loss, scale, options)
        if found.converged:
            break
    return found


def _find_from(model: M, loss: Loss, scale: float | None, options: EngineOptions) -> Found[M]:
    if loss is Loss.SQUARES:
        return Found(model, minimise(model, model.start, options=options), None)
    robust = minimise_robustly(model, model.start, loss, scale=scale, options=options)
    return Found(model, robust.solution, robust)
