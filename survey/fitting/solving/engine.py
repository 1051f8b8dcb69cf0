"""One Levenberg-Marquardt engine for every orthogonal-distance fit.

How to use it
-------------
A fit needs a :class:`Model`: for a vector of parameters it gives the weighted sums J'WJ, J'Wd and the cost
over all points in one pass, and on demand the residuals one by one. Most fits need no class of their own:

    model = residual_model(lambda p: (residuals, jacobian), n_observations=n, names=("half_span_mm", ...))
    solution = minimise(model, start)
    if not solution.converged:
        ...                                   # solution.because says why in words; parameters are NaN
    solution.parameters, solution.covariance(variance)

``residual_model`` (one call for all points), ``blocked_model`` (called block by block, for very many
points) and ``with_rows`` (a model with further observations of its parameters, such as a known span or the
springing points) are in :mod:`survey.fitting.solving.engine_models`; ``minimise_robustly`` is in
:mod:`survey.fitting.solving.engine_robust`. Residuals may be whitened beforehand: the engine only ever sees
residuals d and their derivatives J = dd/dp. A residual function that is asked for parameters outside its
domain raises :class:`OutsideDomainError` with the reason; the engine then shortens its step.

Method
------
The cost is the sum of squared residuals (or of a robust loss) and J'Wd is half its gradient. Each step solves
(N + damping diag N) step = -J'Wd with N = J'WJ, and the damping follows the ratio of the won to the promised
decrease (Marquardt's scaling by diag N makes the steps independent of the units of the parameters). Only
the k x k sums are ever held, so memory and time are linear in the number of points.

For orthogonal distances d to a curve with foot points F(p, t(p)) and unit normals n, the derivative of d is
minus the normal component of the foot's derivative at fixed t, dd/dp = -n . dF/dp, for the foot slides along
the tangent only (the envelope theorem). The normal matrix of these k columns equals the Schur complement of
the (n + k) Gauss-Newton matrix that keeps the n foot parameters as unknowns, so covariances are those of
full orthogonal distance regression.

Numbers stay near one where it matters: points are centred, turned to their longest extent and scaled before
anything is squared (:mod:`survey.fitting.free.points`), and free ellipses and circles are searched for in
conic coefficients, in which a flat arc is as well placed as a round one
(:mod:`survey.fitting.free.ellipse_model`, :mod:`survey.fitting.free.circle_model`). Feet on an ellipse come
from the secular equation (:mod:`survey.fitting.free.ellipse_foot`). Many points are passed in blocks of a
cache's size, the search begins on a sample of them, and their first full pass may be rough
(:class:`NormalSums`).

A robust loss (:mod:`survey.fitting.solving.robust`) enters each pass through the weights psi(r)/r of its
residuals; for a fixed threshold the search descends on the summed loss itself, and the proof below is of its
own gradient.

When it has converged
---------------------
With g = J'Wd, sqrt(g' N^-1 g / n) is how far, in root mean square over the n observations, the next
Gauss-Newton step would move the curve; divided by the rms residual it is the cosine of the angle between
the residual vector and the tangent plane of the model (0 at an optimum, the same in any parametrisation). A
fit has converged when the movement is below ``relative_tolerance`` times the rms residual or below
``absolute_tolerance``; or when rounding lets no step lower it and it is below ``rounding_tolerance`` times
the rms. It is measured at the returned parameters. Anything else (steps that leave the domain, points that
leave a parameter undetermined, too many evaluations) is a failure with its reason in words and NaN
parameters; where the search stood is kept in ``reached``.

References
----------
Marquardt, D. W., "An Algorithm for Least-Squares Estimation of Nonlinear Parameters", J. SIAM 11 (1963)
431-441. More, J. J., "The Levenberg-Marquardt algorithm: implementation and theory", Lecture Notes in
Mathematics 630 (1978). Boggs, P. T., Byrd, R. H. and Schnabel, R. B., "A stable and efficient algorithm for
nonlinear orthogonal distance regression", SIAM J. Sci. Stat. Comput. 8 (1987) 1052-1078. All three from
memory, not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import lapack

from survey.curves.protocol import Floats
from survey.errors import FitError, GeometryError
from survey.fitting.solving.robust import ScaledLoss

RELATIVE_TOLERANCE = 1e-10
"""Movement still to come as a part of the rms residual: parameters exact to 1e-9 of their errors."""
ABSOLUTE_TOLERANCE = 1e-11
"""Movement still to come in the residuals' unit: the rounding of coordinates of some metres given in mm."""
ROUNDING_TOLERANCE = 1e-6
"""Largest relative movement at which 'no step lowers it further' counts as reaching the rounding level."""
SINGULAR_PIVOT = 1e-14
"""Smallest pivot (1 - R^2) of the unit-diagonal normal matrix that still determines a parameter."""
FIRST_DAMPING = 1e-3
SMALLEST_DAMPING = 1e-12
LARGEST_DAMPING = 1e12
FELT_DAMPING = 1e-6
UNFELT_DAMPING = 1e-8
"""Below this part of the diagonal a damped step is the undamped one for all that matters."""
ROUGH_SLACK = 1e-3
TINY = float(np.finfo(float).tiny)
OUT_OF_DOMAIN = "the search runs out of the domain: "
"""How the reason begins where the cost falls all the way to where the model ends."""
LATELY = 20
"""A search that left the domain within so many evaluations before it was cut short creeps along its edge."""
COST_ROUNDING = 1e-13
"""Changes of the cost below this part of it are rounding; steps are then judged by the gradient instead."""


class OutsideDomainError(GeometryError):
    """Raised by a model asked for parameters it has no curve for; the message is the reason in words."""


class NormalSums(NamedTuple):
    """One pass over the points: J'WJ (k, k), J'Wd (k,) and the summed squares or loss.

    ``rough`` sums are good for a step but not for a proof: the search goes on from them.
    """

    matrix: Floats
    gradient: Floats
    cost: float
    rough: bool = False


class Model(Protocol):
    """What the engine needs to know of a fit."""

    @property
    def n_observations(self) -> int:
        """Number of residuals, further observations included."""
        ...

    @property
    def names(self) -> Sequence[str]:
        """Names of the parameters, for messages; may be empty."""
        ...

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """The sums at parameters (k,), or :class:`OutsideDomainError`. No loss: plain squares."""
        ...

    def residuals(self, parameters: Floats) -> Floats:
        """Residuals (n,) of the points alone, without further observations."""
        ...


@dataclass(frozen=True, slots=True)
class EngineOptions:
    """Tolerances and limits of the engine; see the module's text for their meaning."""

    relative_tolerance: float = RELATIVE_TOLERANCE
    absolute_tolerance: float = ABSOLUTE_TOLERANCE
    rounding_tolerance: float = ROUNDING_TOLERANCE
    singular_pivot: float = SINGULAR_PIVOT
    first_damping: float = FIRST_DAMPING
    max_evaluations: int = 200


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Where a fit ended.

    Attributes
    ----------
    parameters : (k,) float
        The optimum; all NaN unless ``converged``.
    matrix : (k, k) float
        Normal matrix J'WJ there.
    cost : float
        Sum of squared residuals (of the robust loss, if there is one) there.
    gradient_measure : float
        Movement still to come divided by the rms residual: the proof of convergence.
    n_observations, n_evaluations : int
        Residuals, and passes over them.
    converged : bool
    because : str
        Why the search ended, in words.
    reached : (k,) float
        Where the search stood when it ended; equals ``parameters`` if converged.
    """

    parameters: Floats
    matrix: Floats
    cost: float
    gradient_measure: float
    n_observations: int
    n_evaluations: int
    converged: bool
    because: str
    reached: Floats

    def covariance(self, variance: float = 1.0) -> Floats:
        """Covariance (k, k) of the parameters for residuals of the given variance: variance inv(J'WJ).

        All NaN unless ``converged``.

        Raises
        ------
        FitError
            The matrix is singular: the observations leave a parameter open, and its covariance has no bound.
        """
        if not self.converged:
            return np.full_like(self.matrix, np.nan)
        diagonal = np.diag(self.matrix)
        scale = np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
        scales = scale[:, None] * scale
        try:
            inverse = np.linalg.inv(self.matrix / scales)
        except np.linalg.LinAlgError as singular:
            raise FitError(f"{undetermined(self.matrix / scales)}; no covariance") from singular
        return np.asarray((0.5 * variance) * (inverse + inverse.T) / scales)


class _Step(NamedTuple):
    """A step in scaled parameters and the decrease it promises; inf where the matrix is singular."""

    step: Floats
    promised: float


class _Place(NamedTuple):
    """Parameters with their sums, brought to unit-diagonal form, and the undamped step from there."""

    parameters: Floats
    sums: NormalSums
    scale: Floats
    scaled: Floats
    gradient: Floats
    newton: _Step
    is_optimal: bool

    @property
    def measure(self) -> float:
        return sqrt(self.newton.promised / max(self.sums.cost, TINY)) if self.newton.promised > 0.0 else 0.0


def _solve(scaled: Floats, gradient: Floats, damping: float, singular_pivot: float) -> _Step:
    matrix = scaled.copy()
    if damping > 0.0:
        matrix.flat[:: matrix.shape[0] + 1] += damping
    factor, info = lapack.dpotrf(matrix, 1)
    if info != 0 or (singular_pivot > 0.0 and factor.diagonal().min() ** 2 < singular_pivot):
        return _Step(np.full_like(gradient, np.nan), np.inf)
    step = np.negative(lapack.dpotrs(factor, gradient, 1)[0])
    return _Step(step, float(damping * step.dot(step) - gradient.dot(step)))


def _visit(model: Model, parameters: Floats, loss: ScaledLoss | None, options: EngineOptions) -> _Place:
    sums = model.sums(parameters, loss)
    if not isfinite(sums.cost + float(np.add.reduce(sums.gradient)) + float(sums.matrix.sum())):
        raise OutsideDomainError("the residuals are not finite numbers there")
    diagonal = sums.matrix.diagonal()
    scale = np.sqrt(diagonal if diagonal.min() > 0.0 else np.where(diagonal > 0.0, diagonal, 1.0))
    scaled = sums.matrix / (scale[:, None] * scale)
    gradient = sums.gradient / scale
    newton = _solve(scaled, gradient, 0.0, options.singular_pivot)
    tolerance = max(
        options.relative_tolerance**2 * sums.cost, options.absolute_tolerance**2 * model.n_observations
    )
    is_optimal = newton.promised <= tolerance and not sums.rough
    return _Place(parameters, sums, scale, scaled, gradient, newton, is_optimal)


def _step_from(place: _Place, damping: float) -> _Step:
    """The damped step; the undamped one, which is at hand, where damping would not be felt."""
    if damping < UNFELT_DAMPING and place.newton.promised < np.inf:
        return place.newton
    return _solve(place.scaled, place.gradient, damping, 0.0)


def _is_better(new: _Place, old: _Place, promised: float) -> bool:
    """Sufficient decrease of the cost; of the gradient where the cost cannot show it any more.

    From rough sums a step is taken unless it leads clearly upwards: there is nothing to compare it with.
    """
    if old.sums.rough:
        return new.sums.cost < (1.0 + ROUGH_SLACK) * old.sums.cost
    if promised <= COST_ROUNDING * old.sums.cost:
        slack = COST_ROUNDING * old.sums.cost
        return new.sums.cost <= old.sums.cost + slack and new.newton.promised < old.newton.promised
    return old.sums.cost - new.sums.cost > 1e-4 * promised


def undetermined(scaled: Floats, names: Sequence[str] = ()) -> str:
    """Which parameter a normal matrix (k, k) of unit diagonal leaves open, in words."""
    if not np.isfinite(scaled).all():
        return "the sums over the observations are not finite numbers"
    weakest = np.linalg.eigh(scaled)[1][:, 0]
    number = int(np.argmax(np.abs(weakest)))
    name = names[number] if names else f"parameter {number + 1}"
    return f"the observations do not determine {name}"


def minimise(
    model: Model, start: ArrayLike, *, options: EngineOptions | None = None, loss: ScaledLoss | None = None
) -> Solution:
    """Find the parameters of least cost, and prove it or say why not.

    Parameters
    ----------
    model : Model
    start : (k,) float
        Start values inside the model's domain.
    options : EngineOptions, optional
    loss : ScaledLoss, optional
        A robust loss of fixed threshold; plain squares if left out.

    Raises
    ------
    FitError
        Start values that are not finite numbers, or fewer observations than parameters.

    Examples
    --------
    A straight line y = p0 + p1 x through three points:

    >>> from survey.fitting.solving.engine_models import residual_model
    >>> x, y = np.array([0.0, 1.0, 2.0]), np.array([1.0, 2.0, 6.0])
    >>> rows = np.stack([np.ones(3), x], axis=1)
    >>> fit = minimise(residual_model(lambda p: (rows @ p - y, rows), n_observations=3), [0.0, 0.0])
    >>> fit.converged, fit.parameters.round(9).tolist(), round(fit.cost, 9)
    (True, [0.5, 2.5], 1.5)
    """
    options = EngineOptions() if options is None else options
    first = np.array(start, dtype=float)
    if not np.isfinite(first).all():
        raise FitError(f"start values {first.tolist()} are not all finite numbers")
    if model.n_observations < first.size:
        raise FitError(f"{model.n_observations} observations cannot determine {first.size} parameters")
    return _search(model, first, loss, options)


def _search(model: Model, first: Floats, loss: ScaledLoss | None, options: EngineOptions) -> Solution:
    try:
        place = _visit(model, first, loss, options)
    except OutsideDomainError as outside:
        return _failed(first, model, 1, f"there is none to start from: {outside}")
    damping, growth, left_domain, n_evaluations = options.first_damping, 4.0, "", 1
    edge, last_at_edge = "", -LATELY
    while not place.is_optimal:
        if n_evaluations >= options.max_evaluations:
            creeping = n_evaluations - last_at_edge < LATELY
            why = f"{OUT_OF_DOMAIN}{edge}" if creeping else f"no optimum within {n_evaluations} evaluations"
            return _ended(place, model, n_evaluations, why)
        step, promised = _step_from(place, damping)
        if place.newton.promised == np.inf and promised <= COST_ROUNDING**2 * place.sums.cost:
            return _ended(place, model, n_evaluations, undetermined(place.scaled, model.names))
        try:
            n_evaluations += 1
            new = _visit(model, place.parameters + step / place.scale, loss, options)
            better = _is_better(new, place, promised)
        except OutsideDomainError as outside:
            better, left_domain = False, str(outside)
            edge, last_at_edge = left_domain, n_evaluations
        if better:
            ratio = (place.sums.cost - new.sums.cost) / promised
            damping = max(
                damping * (0.03 if ratio > 0.75 else 0.3 if ratio > 0.25 else 2.0), SMALLEST_DAMPING
            )
            place, growth, left_domain = new, 4.0, ""
            continue
        damping, growth = max(damping, FELT_DAMPING) * growth, growth * 2.0
        if damping > LARGEST_DAMPING:
            return _stalled(place, model, n_evaluations, left_domain, options)
    return _converged(place, model, n_evaluations, "the gradient vanishes")


def _stalled(
    place: _Place, model: Model, n_evaluations: int, left_domain: str, options: EngineOptions
) -> Solution:
    if place.measure <= options.rounding_tolerance:
        return _converged(
            place, model, n_evaluations, "the gradient vanishes to the rounding of the residuals"
        )
    if left_domain:
        return _ended(place, model, n_evaluations, f"{OUT_OF_DOMAIN}{left_domain}")
    if place.newton.promised == np.inf:
        return _ended(place, model, n_evaluations, undetermined(place.scaled, model.names))
    return _ended(
        place, model, n_evaluations, "no step lowers the cost although the gradient does not vanish"
    )


def _converged(place: _Place, model: Model, n_evaluations: int, because: str) -> Solution:
    return Solution(
        place.parameters, place.sums.matrix, place.sums.cost, place.measure, model.n_observations,
        n_evaluations, True, because, place.parameters,
    )  # fmt: skip


def _ended(place: _Place, model: Model, n_evaluations: int, because: str) -> Solution:
    nothing = np.full_like(place.parameters, np.nan)
    return Solution(
        nothing, place.sums.matrix, place.sums.cost, place.measure, model.n_observations, n_evaluations,
        False, because, place.parameters,
    )  # fmt: skip


def _failed(start: Floats, model: Model, n_evaluations: int, because: str) -> Solution:
    nothing = np.full_like(start, np.nan)
    matrix = np.full((start.size, start.size), np.nan)
    return Solution(
        nothing, matrix, np.nan, np.inf, model.n_observations, n_evaluations, False, because, start
    )  # fmt: skip
