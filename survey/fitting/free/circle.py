"""The circle of least squared orthogonal distances through points anywhere in the plane.

>>> import numpy as np
>>> angle = np.linspace(0.4, 1.9, 7)
>>> fit = fit_circle_orthogonal(np.stack([100.0 + 50.0 * np.cos(angle), 50.0 * np.sin(angle)], axis=1))
>>> fit.converged, round(fit.radius_mm, 9)
(True, 50.0)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf, nan

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Floats
from survey.fitting.free.circle_model import LARGEST_RADIUS_RATIO, NO_FINITE_CIRCLE, CircleModel
from survey.fitting.free.points import FreePoints, checked_points, reject_unusable
from survey.fitting.free.quality import (
    OPEN_PARAMETERS,
    FitQuality,
    known_scale,
    parameter_covariance,
    quality_of,
)
from survey.fitting.free.search import Found, find
from survey.fitting.free.start import CIRCLE_ABOUT_POINTS, circle_start
from survey.fitting.solving.engine import OutsideDomainError
from survey.fitting.solving.robust import Loss

N_FREEDOMS = 3


@dataclass(frozen=True, slots=True, eq=False)
class CircleFit:
    """A circle fitted to points; every number is NaN unless ``converged``.

    Attributes
    ----------
    centre_mm : (2,) tuple of float
    radius_mm : float
    covariance : (3, 3) float, mm^2
        Of centre x, centre y and radius.
    quality : FitQuality
        Sums of squares, robust weights, and how the search went.
    converged : bool
        The optimum was found and its gradient vanishes.
    because : str
        Why the search ended, in words.
    """

    centre_mm: tuple[float, float]
    radius_mm: float
    covariance: Floats
    quality: FitQuality
    converged: bool
    because: str

    @property
    def parameters(self) -> Floats:
        """Centre x, centre y, radius (3,), mm."""
        return np.array([*self.centre_mm, self.radius_mm])

    @property
    def sigmas(self) -> Floats:
        """Standard uncertainties (3,) of :attr:`parameters`, mm."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def ss_mm2(self) -> float:
        """Sum of squared orthogonal distances, mm^2."""
        return self.quality.ss_mm2

    @property
    def rms_mm(self) -> float:
        """Root mean square orthogonal distance, mm."""
        return self.quality.rms_mm

    def distances(self, xy_mm: ArrayLike) -> Floats:
        """Signed distances (n,) of points (n, 2), mm, positive outside the circle."""
        off = np.asarray(xy_mm, dtype=float) - np.array(self.centre_mm)
        return np.asarray(np.hypot(off[:, 0], off[:, 1]) - self.radius_mm)


def fit_circle_orthogonal(
    xy_mm: ArrayLike,
    *,
    sigma_mm: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    loss: Loss = Loss.SQUARES,
) -> CircleFit:
    """Fit a circle by least weighted squares of the orthogonal distances.

    Parameters
    ----------
    xy_mm : (n, 2) float, mm
        At least three points, in any frame however far from its origin; not modified.
    sigma_mm : float or (n,) float, mm, optional
        Standard uncertainty of the distances, of all or of each point. Squares are then divided by its
        square, and the covariance rests on it; left out, on the residuals: s^2 = sum w d^2 / (n - 3), NaN
        for three points.
    weights : (n,) float, optional
        Further factors of the squared distances; 0 leaves a point out.
    loss : Loss
        A robust loss instead of squares; its scale is ``sigma_mm``, or found from the median residual.

    Returns
    -------
    CircleFit
        Not converged, with NaN and the reason, when no finite circle is nearest: points flatter than any.

    Raises
    ------
    FitError
        Points that cannot be fitted: fewer than three, in one spot or at two places, all on one line, no
        numbers.

    Notes
    -----
    Minimises sum w (|p - c| - R)^2. Algebraic fits (Kasa's, which minimises sum (|p - c|^2 - R^2)^2) draw the
    radius in on short arcs; see :mod:`survey.fitting.free.circle_model` for the form used here.

    References
    ----------
    Gander, W., Golub, G. H. and Strebel, R., "Least-squares fitting of circles and ellipses", BIT 34 (1994)
    558-578 (first page seen).
    """
    points = checked_points(xy_mm, sigma_mm, weights, n_needed=N_FREEDOMS, curve="a circle")
    scale = known_scale(points, sigma_mm)
    found = find(points, CircleModel, _starts(points.sample()), loss, scale)
    if not found.converged:
        reject_unusable(points, n_needed=N_FREEDOMS, curve="a circle")
        nothing = np.full((3, 3), nan)
        return CircleFit((nan, nan), nan, nothing, quality_of(found, points), False, _failure(found))
    return _in_millimetres(found, points, scale)


def _starts(sample: FreePoints) -> Iterator[Floats]:
    """Taubin's circle; if rounding leaves none, the circle about the points."""
    first = circle_start(sample)
    yield first if np.isfinite(first).all() else CIRCLE_ABOUT_POINTS[[0, 3, 4, 5]]


def _failure(found: Found[CircleModel]) -> str:
    """The reason of a failed search; one that ran out towards ever larger radii has its own."""
    try:
        curvature = found.model.place(found.solution.reached).curvature
    except OutsideDomainError as outside:
        return str(outside)
    return NO_FINITE_CIRCLE if abs(curvature) < 10.0 / LARGEST_RADIUS_RATIO else found.because


def _in_millimetres(found: Found[CircleModel], points: FreePoints, scale: float | None) -> CircleFit:
    quality = quality_of(found, points)
    place = found.model.place(found.solution.parameters)
    (x, y), radius = place.centre, 1.0 / abs(place.curvature)
    slopes = [[0.0, 0.0, 0.0], [-2.0, 0.0, 0.0], [0.0, -2.0, 0.0], [2.0 * x, 2.0 * y, -2.0 * radius]]
    outwards = np.eye(3) * points.scale_mm
    outwards[:2, :2] = points.turn_out
    covariance = parameter_covariance(
        found,
        quality.n_used,
        scale,
        conic=np.array([1.0, -2.0 * x, -2.0 * y, x * x + y * y - radius * radius]),
        slopes=np.array(slopes),
        outwards=outwards,
    )
    return CircleFit(
        points.to_site(x, y),
        radius * points.scale_mm,
        covariance,
        quality,
        True,
        OPEN_PARAMETERS if covariance.item(0) == inf else found.because,
    )
