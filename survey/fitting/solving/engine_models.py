"""Ready-made models for the engine: from functions that give residuals and their derivatives.

>>> import numpy as np
>>> from survey.fitting.solving.engine import minimise
>>> rows = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
>>> model = residual_model(lambda p: (rows @ p - [1.0, 2.0, 6.0], rows), n_observations=3)
>>> known = with_rows(model, lambda p: ((p[:1] - 2.0) / 1e-6, np.array([[1e6, 0.0]])), n_rows=1)
>>> minimise(known, [0.0, 0.0]).parameters.round(6).tolist()   # first parameter known to 1e-6
[2.0, 3.0]
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.solving.engine import Model, NormalSums
from survey.fitting.solving.robust import ScaledLoss

BLOCK = 8192
"""Points a pass: ten columns of 8 bytes a point then stay within a second-level cache."""

ResidualFunction = Callable[[Floats], tuple[Floats, Floats]]
"""parameters (k,) -> residuals (n,) and Jacobian (n, k)."""
BlockFunction = Callable[[Floats, slice], tuple[Floats, Floats]]
"""parameters (k,) and a slice of the points -> their residuals and Jacobian."""


def normal_sums(residuals: Floats, jacobian: Floats, loss: ScaledLoss | None) -> NormalSums:
    """J'WJ, J'Wd and cost of residuals (n,) and Jacobian (n, k) under a loss."""
    if loss is None:
        return NormalSums(jacobian.T @ jacobian, residuals @ jacobian, float(residuals @ residuals))
    weights, cost = loss.weigh(residuals)
    weighted = jacobian * weights[:, None]
    return NormalSums(weighted.T @ jacobian, residuals @ weighted, cost)


def _added(a: NormalSums, b: NormalSums) -> NormalSums:
    return NormalSums(a.matrix + b.matrix, a.gradient + b.gradient, a.cost + b.cost)


@dataclass(frozen=True, slots=True, eq=False)
class ResidualModel:
    """A model from one function of all residuals; see :func:`residual_model`."""

    function: ResidualFunction
    n_observations: int
    names: Sequence[str] = ()

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The engine's sums."""
        residuals, jacobian = self.function(parameters)
        return normal_sums(residuals, jacobian, loss)

    def residuals(self, parameters: Floats) -> Floats:
        """Residuals (n,)."""
        return self.function(parameters)[0]


@dataclass(frozen=True, slots=True, eq=False)
class BlockedModel:
    """A model evaluated block by block; see :func:`blocked_model`."""

    function: BlockFunction
    n_observations: int
    names: Sequence[str] = ()
    block: int = BLOCK

    def _slices(self) -> list[slice]:
        return [
            slice(i, min(i + self.block, self.n_observations))
            for i in range(0, self.n_observations, self.block)
        ]

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The engine's sums, one block after the other."""
        k = parameters.size
        total = NormalSums(np.zeros((k, k)), np.zeros(k), 0.0)
        for points in self._slices():
            total = _added(total, normal_sums(*self.function(parameters, points), loss))
        return total

    def residuals(self, parameters: Floats) -> Floats:
        """Residuals (n,)."""
        return np.concatenate([self.function(parameters, points)[0] for points in self._slices()])


@dataclass(frozen=True, slots=True, eq=False)
class ModelWithRows:
    """A model with further observations of its parameters; see :func:`with_rows`."""

    points: Model
    rows: ResidualFunction
    n_rows: int

    @property
    def n_observations(self) -> int:
        """Points and further observations."""
        return self.points.n_observations + self.n_rows

    @property
    def names(self) -> Sequence[str]:
        """Names of the parameters."""
        return self.points.names

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The engine's sums; the loss applies to the points alone."""
        return _added(self.points.sums(parameters, loss), normal_sums(*self.rows(parameters), None))

    def residuals(self, parameters: Floats) -> Floats:
        """Residuals (n,) of the points alone."""
        return self.points.residuals(parameters)


def residual_model(
    function: ResidualFunction, *, n_observations: int, names: Sequence[str] = ()
) -> ResidualModel:
    """A model from ``function(parameters) -> (residuals (n,), jacobian (n, k))``.

    Residuals may be weighted or whitened; then robust thresholds are in those units. The function raises
    :class:`~survey.fitting.solving.engine.OutsideDomainError` for parameters it has no curve for.
    """
    return ResidualModel(function, n_observations, names)


def blocked_model(
    function: BlockFunction, *, n_observations: int, names: Sequence[str] = (), block: int = BLOCK
) -> BlockedModel:
    """A model from ``function(parameters, slice) -> (residuals, jacobian)``, for very many points."""
    return BlockedModel(function, n_observations, names, block)


def with_rows(model: Model, rows: ResidualFunction, *, n_rows: int) -> ModelWithRows:
    """The model with further observations: springing points, a known span, rise, level or axis.

    ``rows(parameters)`` gives their residuals (m,), each divided by its sigma where the points' residuals
    are, and the derivatives (m, k). No robust loss is applied to them.
    """
    return ModelWithRows(model, rows, n_rows)
