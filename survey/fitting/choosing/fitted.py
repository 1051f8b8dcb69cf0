"""One family fitted to the sightings under a known scatter, and the uncertainty of every figure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.fitting.families.builds import profile_of
from survey.fitting.families.profile import HalfArcs
from survey.fitting.families.standing import Standing
from survey.fitting.mechanism.moved import Moved
from survey.fitting.result import Estimate
from survey.fitting.solving.engine import EngineOptions, NormalSums, Solution, minimise
from survey.fitting.solving.noise import Whitener
from survey.fitting.solving.robust import Loss, ScaledLoss, tuned
from survey.record.model import UNKNOWN

FIRST_SCALE_MM = 3.0
"""Scatter to expect before anything is known: brick arches keep their curve within a few millimetres."""
VARIANCE_ROUNDING = 1e-13
"""A sum of some dozens of terms is known to this part of their size."""
ROUGH = EngineOptions(relative_tolerance=1e-3, max_evaluations=60)


@dataclass(frozen=True, slots=True, eq=False)
class ScatteredModel:
    """The engine's view of a family under a whitener; without one, plain sums with a robust loss."""

    standing: Standing | Moved
    whitener: Whitener | None = None

    @property
    def n_observations(self) -> int:
        """Points and further observations."""
        return len(self.standing.sightings) + self.standing.n_rows

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters."""
        return self.standing.names

    def sums(self, parameters: Floats, loss: ScaledLoss | None) -> NormalSums:
        """Normal matrix, gradient and cost in the metric of the scatter."""
        seen = self.standing.look(parameters)
        columns = np.column_stack([seen.distance, seen.slopes])
        if self.whitener is not None:
            weighted = self.whitener.apply(columns)
        elif loss is not None:
            weights, cost = loss.weigh(seen.distance)
            weighted = columns * weights[:, None]
        else:
            weighted = columns
        gram = columns.T @ weighted
        first = gram[0, 0] if self.whitener is not None or loss is None else cost
        rows = np.column_stack([seen.rows, seen.row_slopes])
        if loss is not None:
            # A springing point may be misread by a metre as well as any other.
            trust, cost = tuned(Loss.HUBER, 1.0).weigh(seen.rows)
            extra = rows.T @ (rows * trust[:, None])
            extra[0, 0] = cost
        else:
            extra = rows.T @ rows
        return NormalSums(
            gram[1:, 1:] + extra[1:, 1:], gram[0, 1:] + extra[0, 1:], float(first + extra[0, 0])
        )

    def residuals(self, parameters: Floats) -> Floats:
        """Distances (n,)."""
        return self.standing.look(parameters).distance


def fit_roughly(standing: Standing, start: Floats) -> Solution:
    """A first robust fit without any knowledge of the scatter, to a thousandth of its residuals."""
    return minimise(ScatteredModel(standing), start, loss=tuned(Loss.HUBER, FIRST_SCALE_MM), options=ROUGH)


def fit_standing(
    standing: Standing, whitener: Whitener, start: Floats, *, options: EngineOptions | None = None
) -> Solution:
    """The generalised least squares fit under a whitener, from a start within reach."""
    return minimise(ScatteredModel(standing, whitener), start, options=options)


def start_of(standing: Standing) -> Floats:
    """Start values from the ends and the highest points of the sightings.

    Raises
    ------
    FitError
        No rise over the ends: the points are not an arch standing on its springings.
    """
    seen = standing.sightings
    soffit = seen.xy_mm[(seen.end == 0) | (seen.course != UNKNOWN)]
    low, high = np.quantile(soffit[:, 0], [0.01, 0.99])
    fifth = np.quantile(soffit[:, 0], [0.2, 0.8])
    flanks = soffit[soffit[:, 0] <= fifth[0], 1], soffit[soffit[:, 0] >= fifth[1], 1]
    at = {side: seen.xy_mm[seen.end == side] for side in (-1, 1)}
    # The middle of ends and lowest edges: one misread springing point, or a missing flank, does not move it.
    levels = [*(p[1] for xy in at.values() for p in xy), *(np.quantile(f, 0.02) for f in flanks)]
    level = float(np.median(levels))
    top = float(np.quantile(soffit[:, 1], 0.98))
    ends = [xy[:, 0].mean() if len(xy) else edge for xy, edge in zip(at.values(), (low, high), strict=True)]
    middle, half = (ends[0] + ends[1]) / 2, (ends[1] - ends[0]) / 2
    if not (len(at[-1]) and len(at[1])):
        # Only one end: the crown is the axis as near as a start needs it.
        middle = float(np.mean(soffit[soffit[:, 1] >= np.quantile(soffit[:, 1], 0.9), 0]))
        reached = [low, high, *(p[0] for xy in at.values() for p in xy)]
        half = float(np.max(np.abs(np.array(reached) - middle)))
    if half <= 0.0:
        raise FitError(
            f"the left springing point lies {-2 * half:.0f} mm right of the right one; check their edges"
        )
    inside = soffit[(soffit[:, 0] > fifth[0]) & (soffit[:, 0] < fifth[1]), 1]
    below = (
        min(float(np.median(flank)) for flank in flanks) - float(np.median(inside)) if len(inside) else 0.0
    )
    if below > 0.0:
        raise FitError(
            f"the middle of the soffit lies {below:.0f} mm below both its flanks; check which points are "
            "springings and which way is up"
        )
    return standing.start(half, top - level, np.array([middle, level]))


def figures_of(standing: Standing, parameters: Floats, covariance: Floats) -> dict[str, Estimate]:
    """Every derived figure with its standard uncertainty (first-order propagation of exact derivatives).

    A variance that is but the rounding of the terms it is summed from is that of a figure which cannot vary
    (the second radius' centre of a family at its limit, say): its uncertainty is 0.
    """
    figures = _figures(standing, parameters)
    slopes = np.stack([slope for _, slope in figures.values()])
    variance = np.einsum("ij,jk,ik->i", slopes, covariance, slopes)
    terms = np.einsum("ij,jk,ik->i", np.abs(slopes), np.abs(covariance), np.abs(slopes))
    variance = np.where(variance > VARIANCE_ROUNDING * terms, variance, 0.0)
    return {
        name: Estimate(value, float(np.sqrt(spread)))
        for (name, (value, _)), spread in zip(figures.items(), variance, strict=True)
    }


def _figures(standing: Standing, parameters: Floats) -> dict[str, tuple[float, Floats]]:
    """Figures with their derivatives (k,) by the parameters."""
    numbers = standing.numbers(parameters)
    profile = profile_of(standing.build, numbers)
    unit = np.eye(len(parameters))
    q = len(numbers)

    def of_shape(slopes: Floats) -> Floats:
        wide = np.zeros(len(parameters))
        wide[2 : 2 + q] = slopes
        return wide

    rise = 3 if q > 1 else 2
    tilt = (float(parameters[-1]), unit[-1]) if standing.tilt else (0.0, np.zeros(len(parameters)))
    figures = {
        "half_span_mm": (float(parameters[2]), unit[2]),
        "rise_mm": (float(parameters[rise]), unit[rise]),
        "springing_y_mm": (float(parameters[1]), unit[1]),
        "axis_x_mm": (float(parameters[0]), unit[0]),
        "tilt_rad": tilt,
        "length_mm": (2 * profile.half_length_mm, of_shape(2 * profile.half_length_slopes)),
    }
    if isinstance(profile, HalfArcs):
        for k, radius in enumerate(profile.radius_mm):
            figures[f"radius_{k + 1}_mm"] = float(radius), of_shape(profile.radius_slope[k])
        turns = np.diff(profile.bound_rad), np.diff(profile.bound_slope, axis=0)
        for k, turn in enumerate(turns[0]):
            figures[f"sector_{k + 1}_rad"] = float(turn), of_shape(turns[1][k])
        crown = profile.centre_mm[-1, 1], profile.centre_slope[-1, 1]
        figures["crown_centre_y_mm"] = float(crown[0]), of_shape(crown[1])
    return figures
