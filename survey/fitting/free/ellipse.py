"""The ellipse of least squared orthogonal distances through points anywhere in the plane.

>>> import numpy as np
>>> angle = np.linspace(0.3, 2.7, 9)
>>> fit = fit_ellipse_orthogonal(np.stack([2000.0 * np.cos(angle), 900.0 * np.sin(angle)], axis=1))
>>> fit.converged, round(fit.semi_major_mm, 6), round(fit.semi_minor_mm, 6)
(True, 2000.0, 900.0)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, inf, nan, pi, sin

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Floats
from survey.fitting.free.ellipse_conic import (
    LARGEST_AXIS_RATIO,
    NO_FINITE_ELLIPSE,
    EllipsePlace,
    conic_derivatives,
    ellipse_place,
)
from survey.fitting.free.ellipse_foot import solve_feet_safely
from survey.fitting.free.ellipse_model import EllipseModel
from survey.fitting.free.points import FreePoints, checked_points, reject_unusable
from survey.fitting.free.quality import (
    OPEN_PARAMETERS,
    FitQuality,
    known_scale,
    parameter_covariance,
    quality_of,
)
from survey.fitting.free.search import Found, find
from survey.fitting.free.start import (
    CIRCLE_ABOUT_POINTS,
    certain_ellipse_start,
    ellipse_moments,
    ellipse_start,
)
from survey.fitting.solving.engine import OutsideDomainError
from survey.fitting.solving.robust import Loss

N_FREEDOMS = 5


@dataclass(frozen=True, slots=True, eq=False)
class EllipseFit:
    """An ellipse fitted to points; every number is NaN unless ``converged``.

    Attributes
    ----------
    centre_mm : (2,) tuple of float
    semi_major_mm, semi_minor_mm : float
    angle_rad : float
        Direction of the long axis, anticlockwise from x, in (-pi/2, pi/2].
    covariance : (5, 5) float, mm and rad
        Of centre x, centre y, semi_major, semi_minor, angle. For a circle the angle's variance is infinite.
    quality : FitQuality
        Sums of squares, robust weights, and how the search went.
    converged : bool
        The optimum was found and its gradient vanishes.
    because : str
        Why the search ended, in words.
    """

    centre_mm: tuple[float, float]
    semi_major_mm: float
    semi_minor_mm: float
    angle_rad: float
    covariance: Floats
    quality: FitQuality
    converged: bool
    because: str

    @property
    def parameters(self) -> Floats:
        """Centre x, centre y, semi_major, semi_minor, angle (5,), mm and rad."""
        return np.array([*self.centre_mm, self.semi_major_mm, self.semi_minor_mm, self.angle_rad])

    @property
    def sigmas(self) -> Floats:
        """Standard uncertainties (5,) of :attr:`parameters`, mm and rad."""
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
        """Signed distances (n,) of points (n, 2), mm, positive outside the ellipse."""
        c, s = cos(self.angle_rad), sin(self.angle_rad)
        uv = np.array([[c, s], [-s, c]]) @ (np.asarray(xy_mm, dtype=float) - np.array(self.centre_mm)).T
        a, b = self.semi_major_mm, self.semi_minor_mm
        slopes = solve_feet_safely(uv, a, b)[1:]
        return np.asarray((np.sum(uv * slopes, axis=0) - 1.0) / np.hypot(*slopes))


def fit_ellipse_orthogonal(
    xy_mm: ArrayLike,
    *,
    sigma_mm: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    loss: Loss = Loss.SQUARES,
) -> EllipseFit:
    """Fit an ellipse of any orientation by least weighted squares of the orthogonal distances.

    Parameters
    ----------
    xy_mm : (n, 2) float, mm
        At least five points, in any frame however far from its origin; not modified.
    sigma_mm : float or (n,) float, mm, optional
        Standard uncertainty of the distances, of all or of each point. Squares are then divided by its
        square, and the covariance rests on it; left out, on the residuals: s^2 = sum w d^2 / (n - 5), NaN
        for five points.
    weights : (n,) float, optional
        Further factors of the squared distances; 0 leaves a point out.
    loss : Loss
        A robust loss instead of squares; its scale is ``sigma_mm``, or found from the median residual. The
        covariance then rests on the residuals.

    Returns
    -------
    EllipseFit
        Not converged, with NaN and the reason, when no finite ellipse is nearest: points flatter than any.

    Raises
    ------
    FitError
        Points that cannot be fitted: fewer than five or at fewer places, all on one line, no numbers.

    Notes
    -----
    Minimises the sum of squared distances to the curve itself (see
    :mod:`survey.fitting.free.ellipse_model`), not an algebraic residual; direct algebraic fits draw short
    arcs' ellipses in and do not say so. The minimum found is that of the descent from an algebraic start.

    References
    ----------
    Gander, W., Golub, G. H. and Strebel, R., "Least-squares fitting of circles and ellipses", BIT 34 (1994)
    558-578 (first page seen). Ahn, S. J., Rauh, W. and Warnecke, H.-J., "Least-squares orthogonal distances
    fitting of circle, sphere, ellipse, hyperbola, and parabola", Pattern Recognition 34 (2001) 2283-2303
    (first page seen).
    """
    points = checked_points(xy_mm, sigma_mm, weights, n_needed=N_FREEDOMS, curve="an ellipse")
    scale = known_scale(points, sigma_mm)
    found = find(points, EllipseModel, _starts(points.sample()), loss, scale)
    if not found.converged:
        reject_unusable(points, n_needed=N_FREEDOMS, curve="an ellipse")
        nothing = np.full((5, 5), nan)
        return EllipseFit(
            (nan, nan), nan, nan, nan, nothing, quality_of(found, points), False, _failure(found)
        )
    return _in_millimetres(found, points, scale)


def _starts(sample: FreePoints) -> Iterator[Floats]:
    """Taubin's conic and the direct ellipse, if they are ellipses, then the circle about the points."""
    moments = ellipse_moments(sample)
    conic = ellipse_start(moments)
    if _is_ellipse(conic):
        yield conic
    direct = certain_ellipse_start(moments)
    if _is_ellipse(direct):
        yield direct
    yield CIRCLE_ABOUT_POINTS


def _is_ellipse(coefficients: Floats) -> bool:
    try:
        ellipse_place(coefficients.tolist())
    except OutsideDomainError:
        return False
    return True


def _failure(found: Found[EllipseModel]) -> str:
    """The reason of a failed search; one that ran out towards ever longer axes has its own."""
    try:
        longest = found.model.place(found.solution.reached).a
    except OutsideDomainError as outside:
        return str(outside)
    return NO_FINITE_ELLIPSE if longest > 0.5 * LARGEST_AXIS_RATIO else found.because


def _in_millimetres(found: Found[EllipseModel], points: FreePoints, scale: float | None) -> EllipseFit:
    quality = quality_of(found, points)
    place = found.model.place(found.solution.parameters)
    x, y = points.to_site(place.x, place.y)
    angle = place.angle_rad + points.turn_rad
    angle = angle - pi if angle > pi / 2 else angle + pi if angle <= -pi / 2 else angle
    covariance = _covariance(found, place, points, quality.n_used, scale)
    return EllipseFit(
        (x, y),
        place.a * points.scale_mm,
        place.b * points.scale_mm,
        angle,
        covariance,
        quality,
        True,
        OPEN_PARAMETERS if covariance.item(0) == inf else found.because,
    )


def _covariance(
    found: Found[EllipseModel], place: EllipsePlace, points: FreePoints, n_used: int, scale: float | None
) -> Floats:
    derivatives = conic_derivatives(place)
    outwards = np.diag([points.scale_mm] * 4 + [1.0])
    outwards[:2, :2] = points.turn_out
    # the angle's derivative was divided by this, which vanishes for a circle
    flatness = (place.a - place.b) * (place.a + place.b) / (place.a * place.b)
    if flatness > 0.0:
        outwards[4, 4] /= flatness
    covariance = parameter_covariance(
        found, n_used, scale, conic=derivatives[0], slopes=derivatives[1:].T, outwards=outwards
    )
    if not flatness > 0.0:
        covariance[4] = covariance[:, 4] = 0.0
        covariance[4, 4] = inf
    return covariance
