"""Likelihood ratios of templates in a row of courses whose irregularity is alike from course to course."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np

from survey.condition.courses.middles import middle_of
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints
from survey.fitting.solving.noise import Scatter, nodes_of, whitener

IRREGULARITY_FACTORS = (0.5, 1.0, 1.7)
"""Irregularities tried, as multiples of the first guess, which a pattern may have swollen."""
LENGTH_FACTORS = (0.5, 1.8)
"""Correlation lengths tried, likewise."""
LONGEST_ALIKE_COURSES = 3.0
"""A longer first guess of the correlation length is taken for so many courses: what is alike over more is a
shape, not a mason's irregularity (judgement)."""
LEAST_IRREGULARITY_MM = 0.3
SCATTER_SHARES = (1.0, 0.75, 0.5, 0.3)
"""Variances tried of values that scatter independently, as shares of what is seen."""
REPEATED_RATIO = 1e-6
"""Columns that differ from what others span by less than this share are repeats."""
OUTLIER_SIGMAS = 4.0
"""A course this far from what all others say of it is judged by itself, not as part of a pattern."""


class Metric(Protocol):
    """An inverse covariance that can be applied."""

    @property
    def log_determinant(self) -> float:
        """Of the covariance, but for what is the same under all weighings."""
        ...

    def apply(self, columns: Floats) -> Floats:
        """Inverse covariance times columns (n, k)."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Weighing:
    """One choice of irregularity and correlation: the courses' precision less what the curve can follow.

    Attributes
    ----------
    project : callable
        ``P @ columns`` for columns (n, k), with ``P = S^-1 - S^-1 A (A' S^-1 A)^-1 A' S^-1``: the inverse
        covariance with the nuisance columns A projected out.
    pull : (n,) float
        ``P @ values``.
    log_likelihood : float
        Of the values without any pattern, the nuisance integrated out.
    run_precision : callable
        Sums of P over square blocks on its diagonal, from first to behind the last index, (m,) each.
    """

    project: Callable[[Floats], Floats]
    pull: Floats
    log_likelihood: float
    run_precision: Callable[[Ints, Ints], Floats]


@dataclass(frozen=True, slots=True, eq=False)
class CourseNoise:
    """Values of a row of courses with all weighings tried, the one that explains them best first.

    Attributes
    ----------
    station_mm, values : (n,) float
    nuisance : (n, k) float
        Orthonormal columns a pattern must not be made of.
    weighings : tuple of Weighing
    own_precision : (n,) float
        Diagonal of the best weighing's P.
    """

    station_mm: Floats
    values: Floats
    nuisance: Floats
    weighings: tuple[Weighing, ...]
    own_precision: Floats

    @property
    def best(self) -> Weighing:
        """The likeliest weighing without any pattern."""
        return self.weighings[0]


@dataclass(frozen=True, slots=True, eq=False)
class TemplateFit:
    """Coefficients (k,) of templates, their covariance (k, k), and the evidence for them.

    ``evidence`` is the log of how much likelier the values are with the templates, less half the log of the
    number of courses for each coefficient (Schwarz's criterion).
    """

    coefficient: Floats
    covariance: Floats
    evidence: float


def course_noise(
    station_mm: Floats,
    values: Floats,
    sigma: Floats,
    nuisance: Floats,
    first_guess: Scatter,
) -> CourseNoise:
    """Weigh a row of courses under a grid of irregularities and correlation lengths.

    Parameters
    ----------
    station_mm, values, sigma : (n,) float
        Where the courses are, what was measured on them, and its standard uncertainty.
    nuisance : (n, k) float
        Columns a pattern must not be made of: what the fitted curve or plane itself could follow.
    first_guess : Scatter
        Irregularity and correlation length the grid is built around.

    Notes
    -----
    Restricted likelihood; D. A. Harville, *Biometrika* 61 (1974) 383-385 (reference from memory).
    """
    n = len(values)
    nodes = nodes_of(station_mm, np.arange(n))
    base = max(first_guess.irregularity_mm, LEAST_IRREGULARITY_MM)
    pitch = middle_of(np.diff(station_mm))
    alike = min(first_guess.correlation_mm, LONGEST_ALIKE_COURSES * pitch)
    basis = independent_columns(nuisance)
    metrics = [
        whitener(nodes, sigma, np.ones(n), Scatter(irregularity * base, length * alike))
        for length in LENGTH_FACTORS
        for irregularity in IRREGULARITY_FACTORS
    ]
    best, *others = weighings_of(metrics, values, basis)
    precision = best.project(np.eye(n))
    best = replace(best, run_precision=partial(block_sums, precision))
    return CourseNoise(station_mm, values, basis, (best, *others), np.diag(precision).copy())


def weighings_of(metrics: Sequence[Metric], values: Floats, basis: Floats) -> tuple[Weighing, ...]:
    """Values (n,) weighed by every metric, the likeliest first, orthonormal columns (n, k) projected out."""
    columns = np.column_stack([values, basis])
    applied = np.stack([metric.apply(columns) for metric in metrics])
    inner = basis.T @ applied[:, :, 1:]
    inverses, log_inners = np.linalg.inv(inner), np.linalg.slogdet(inner)[1]
    found = [
        _weighing(metric, values, basis, weighed, inverse, float(log_inner))
        for metric, weighed, inverse, log_inner in zip(metrics, applied, inverses, log_inners, strict=True)
    ]
    return tuple(sorted(found, key=lambda w: -w.log_likelihood))


def _dense_sums(project: Callable[[Floats], Floats], n: int, first: Ints, behind: Ints) -> Floats:
    return block_sums(project(np.eye(n)), first, behind)


def block_sums(precision: Floats, first: Ints, behind: Ints) -> Floats:
    """Sums (m,) over square blocks on the diagonal of a symmetric matrix (n, n)."""
    n = len(precision)
    running = np.zeros((n + 1, n + 1))
    np.cumsum(precision.cumsum(axis=0), axis=1, out=running[1:, 1:])
    return _between(running, first, behind)


def _between(running: Floats, first: Ints, behind: Ints) -> Floats:
    """``c_bb - c_ab - c_ba + c_aa`` (m,) of a symmetric table of sums c up to a and b."""
    corner = np.diag(running)
    across = np.take(running, first * len(running) + behind)
    return np.asarray(corner[behind] + corner[first] - 2.0 * across, dtype=float)


def independent_columns(columns: Floats) -> Floats:
    """Orthonormal columns (n, r) that span the given ones (n, k), those that only repeat others dropped.

    A segmental arch, for one, is told by four numbers of which only three move its circle.
    """
    scaled = columns / np.maximum(np.sqrt((columns**2).sum(axis=0)), np.finfo(float).tiny)
    left, size, _ = np.linalg.svd(scaled, full_matrices=False)
    return np.asarray(left[:, size > REPEATED_RATIO * size[0]], dtype=float)


def independent_noise(station_mm: Floats, values: Floats, nuisance: Floats) -> CourseNoise:
    """Weigh values that scatter independently, by an amount found from themselves.

    Several sizes of scatter are weighed, so that a run large enough to swell the scatter is still found.
    """
    basis = independent_columns(nuisance)
    free = len(values) - basis.shape[1]
    left = values - basis @ (basis.T @ values)
    sum_of_squares = float(left @ left)
    running = np.vstack([np.zeros(basis.shape[1]), basis.cumsum(axis=0)])
    found = []
    variances = [max(share * sum_of_squares / free, LEAST_IRREGULARITY_MM**2) for share in SCATTER_SHARES]
    for variance in variances:
        log = -0.5 * (free * np.log(variance) + sum_of_squares / variance)
        found.append(
            Weighing(
                partial(_scaled_rest, basis, variance),
                left / variance,
                float(log),
                partial(_independent_sums, running, variance),
            )
        )
    order = sorted(range(len(found)), key=lambda i: -found[i].log_likelihood)
    variance = variances[order[0]]
    own = (1.0 - (basis**2).sum(axis=1)) / variance
    return CourseNoise(station_mm, values, basis, tuple(found[i] for i in order), own)


def _independent_sums(running: Floats, variance: float, first: Ints, behind: Ints) -> Floats:
    """Block sums of ``(I - Q Q') / variance`` from running sums (n + 1, k) of Q, without writing it out."""
    followed = _between(running @ running.T, first, behind)
    return np.asarray((behind - first - followed) / variance, dtype=float)


def _weighing(
    metric: Metric, values: Floats, nuisance: Floats, applied: Floats, inverse: Floats, log_inner: float
) -> Weighing:
    weighed_values, weighed = applied[:, 0], applied[:, 1:]
    pull = weighed_values - weighed @ (inverse @ (nuisance.T @ weighed_values))
    log = -0.5 * (metric.log_determinant + log_inner + float(values @ pull))
    project = partial(_projected, metric, weighed, inverse)
    return Weighing(project, pull, log, partial(_dense_sums, project, len(values)))


def _projected(metric: Metric, weighed: Floats, inverse: Floats, columns: Floats) -> Floats:
    return np.asarray(metric.apply(columns) - weighed @ (inverse @ (weighed.T @ columns)), dtype=float)


def _scaled_rest(basis: Floats, variance: float, columns: Floats) -> Floats:
    return np.asarray((columns - basis @ (basis.T @ columns)) / variance, dtype=float)


def fit_template(noise: CourseNoise, templates: Floats) -> TemplateFit:
    """How well templates (n, k) explain the values, against irregularity alone.

    Both sides may choose the irregularity that suits them best, so that a pattern does not win because it was
    counted into the noise first, nor noise because the pattern inflated it.
    """
    best = -np.inf
    coefficient, covariance = np.zeros(templates.shape[1]), np.eye(templates.shape[1])
    for weighing in noise.weighings:
        inverse = np.asarray(np.linalg.inv(templates.T @ weighing.project(templates)), dtype=float)
        push = templates.T @ weighing.pull
        log = weighing.log_likelihood + 0.5 * float(push @ inverse @ push)
        if log > best:
            best, coefficient, covariance = log, inverse @ push, inverse
    cost = 0.5 * templates.shape[1] * np.log(len(noise.values))
    return TemplateFit(coefficient, covariance, float(best - noise.best.log_likelihood - cost))


def outliers(noise: CourseNoise) -> np.ndarray:
    """Mask (n,) of the values that all others contradict."""
    spread = np.sqrt(np.maximum(noise.own_precision, np.finfo(float).tiny))
    return np.asarray(np.abs(noise.best.pull) / spread > OUTLIER_SIGMAS, dtype=bool)
