"""Likelihood ratios of templates in a row of courses whose irregularity is alike from course to course."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.middles import middle_of
from survey.condition.patterns.metrics import Independent, alike_nearby
from survey.condition.patterns.weighings import Weighing, Weighings, weighings_of
from survey.curves.protocol import Floats
from survey.fitting.solving.noise import Scatter

IRREGULARITY_FACTORS = (0.5, 1.0, 1.7)
"""Irregularities tried, as multiples of the first guess, which a pattern may have swollen."""
LENGTH_FACTORS = (0.5, 1.8)
"""Correlation lengths tried, likewise."""
LONGEST_ALIKE_COURSES = 3.0
"""A longer first guess of the correlation length is taken for so many courses: what is alike over more is a
shape, not a mason's irregularity (judgement)."""
LEAST_PITCH_MM = 1.0
"""Courses are further apart than this, though misread edges may put most of them in one place."""
LEAST_IRREGULARITY_MM = 0.3
SCATTER_SHARES = (1.0, 0.75, 0.5, 0.3)
"""Variances tried of values that scatter independently, as shares of what is seen."""
REPEATED_RATIO = 1e-6
"""Columns that differ from what others span by less than this share are repeats."""
OUTLIER_SIGMAS = 4.0
"""A course this far from what all others say of it is judged by itself, not as part of a pattern."""


@dataclass(frozen=True, slots=True, eq=False)
class CourseNoise:
    """Values of a row of courses with all weighings tried, the one that explains them best first.

    Attributes
    ----------
    station_mm, values : (n,) float
    nuisance : (n, k) float
        Orthonormal columns a pattern must not be made of.
    weighings : Weighings
    best : Weighing
        The likeliest without any pattern.
    """

    station_mm: Floats
    values: Floats
    nuisance: Floats
    weighings: Weighings
    best: Weighing

    @property
    def own_precision(self) -> Floats:
        """Diagonal (n,) of the best weighing's P."""
        return self.best.own_precision


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
    base = max(first_guess.irregularity_mm, LEAST_IRREGULARITY_MM)
    alike = min(first_guess.correlation_mm, longest_alike_mm(station_mm))
    length, irregularity = np.meshgrid(LENGTH_FACTORS, IRREGULARITY_FACTORS, indexing="ij")
    metrics = alike_nearby(station_mm, sigma, irregularity.ravel() * base, length.ravel() * alike)
    basis = independent_columns(nuisance)
    weighings = weighings_of(metrics, values, basis)
    return CourseNoise(station_mm, values, basis, weighings, weighings[0])


def longest_alike_mm(station_mm: Floats) -> float:
    """The longest correlation length of courses at stations (n,), from the middle one of their steps.

    Examples
    --------
    >>> longest_alike_mm(np.array([0.0, 60.0, 120.0, 185.0])), longest_alike_mm(np.zeros(4))
    (180.0, 3.0)
    """
    return LONGEST_ALIKE_COURSES * max(middle_of(np.abs(np.diff(station_mm))), LEAST_PITCH_MM)


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
    left = values - basis @ (basis.T @ values)
    seen = float(left @ left) / (len(values) - basis.shape[1])
    variance = np.maximum(np.multiply(SCATTER_SHARES, seen), LEAST_IRREGULARITY_MM**2)
    weighings = weighings_of(Independent(variance, len(values)), values, basis)
    return CourseNoise(station_mm, values, basis, weighings, weighings[0])


def likeliest_template(noise: CourseNoise, templates: Floats) -> tuple[int, TemplateFit]:
    """Which of m templates (n, m, k) explains the values best, against irregularity alone, and how well.

    Both sides may choose the irregularity that suits them best, so that a pattern does not win because it was
    counted into the noise first, nor noise because the pattern inflated it. A template that the curve can
    follow, or of columns that repeat others, cannot be weighed: there is no evidence for it.
    """
    n, _, k = templates.shape
    weighable = _is_weighable(noise, templates)
    grams = noise.weighings.grams(templates)
    grams[:, ~weighable] = np.eye(k)
    inverse = np.linalg.inv(grams)
    push = np.tensordot(noise.weighings.pull, templates, axes=1)
    coefficient = (inverse @ push[..., None])[..., 0]
    log = noise.weighings.log_likelihood[:, None] + 0.5 * (push * coefficient).sum(axis=-1)
    log[:, ~weighable] = -np.inf
    g, m = np.unravel_index(int(np.argmax(log)), log.shape)
    evidence = log[g, m] - noise.best.log_likelihood - 0.5 * k * np.log(n)
    return int(m), TemplateFit(coefficient[g, m], inverse[g, m], float(evidence))


def _is_weighable(noise: CourseNoise, templates: Floats) -> np.ndarray:
    """Mask (m,) of templates (n, m, k) whose columns differ from what the nuisance spans, and each other."""
    size = np.sqrt((templates**2).sum(axis=0))
    scaled = templates / np.maximum(size, np.finfo(float).tiny)
    left = scaled - np.tensordot(noise.nuisance, np.tensordot(noise.nuisance.T, scaled, axes=1), axes=1)
    spread = np.linalg.svd(left.transpose(1, 0, 2), compute_uv=False)
    return np.asarray(spread[:, -1] > REPEATED_RATIO, dtype=bool)


def fit_template(noise: CourseNoise, templates: Floats) -> TemplateFit:
    """How well templates (n, k) explain the values, against irregularity alone."""
    return likeliest_template(noise, templates[:, None])[1]


def outliers(noise: CourseNoise) -> np.ndarray:
    """Mask (n,) of the values that all others contradict."""
    spread = np.sqrt(np.maximum(noise.own_precision, np.finfo(float).tiny))
    return np.asarray(np.abs(noise.best.pull) / spread > OUTLIER_SIGMAS, dtype=bool)
