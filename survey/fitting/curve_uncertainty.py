"""How well the fitted curve's own place is known, station by station."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.fitting.families.builds import BUILDS, FIVE_CENTRED_FREE, Build, numbers_of, profile_of
from survey.fitting.result import Candidate

_PLACE = ("axis_x_mm", "springing_y_mm", "tilt_rad")
ROUNDING = 1e-12
"""Share of the terms of a sum that their rounding can leave of it."""


def curve_slopes(candidate: Candidate, station_mm: ArrayLike) -> Floats:
    """Movement (n, k) of the curve along its own normal by each of its k parameters, at stations (n,).

    Raises
    ------
    FitError
        The candidate's parameters are not those of its family.

    Notes
    -----
    Along the normal a point of the curve moves by ``n . dF/dp``, the reverse of what the distance of a fixed
    point does; only these normal components enter a deviation.

    Examples
    --------
    >>> from survey.curves import semicircular
    >>> from survey.curves.shape import Family
    >>> names = ("axis_x_mm", "springing_y_mm", "half_span_mm")
    >>> arch = Candidate(Family.SEMICIRCULAR, semicircular(1000.0), names, np.eye(3), {}, 1.0, True)
    >>> curve_slopes(arch, [0.0, 500.0 * np.pi]).round(9) + 0.0
    array([[-1.,  0.,  1.],
           [ 0.,  1.,  1.]])
    """
    station = np.asarray(station_mm, dtype=float)
    curve = curve_of(candidate.shape)
    return slopes_at(candidate, curve.point(station), curve.normal(station))


def slopes_at(candidate: Candidate, foot_mm: Floats, normal: Floats) -> Floats:
    """The same (n, k) at points (n, 2) of the curve with their outward normals (n, 2).

    Raises
    ------
    FitError
        The candidate's parameters are not those of its family.
    """
    shape = candidate.shape
    build = _build_of(candidate)
    c, s = np.cos(shape.tilt_rad), np.sin(shape.tilt_rad)
    turn = np.array([[c, -s], [s, c]])
    local = (foot_mm - [shape.axis_x_mm, shape.springing_y_mm]) @ turn
    profile = profile_of(build, numbers_of(build, shape))
    by_shape = -profile.sight(np.abs(local[:, 0]), local[:, 1]).slopes
    own = normal @ turn
    columns = {
        "axis_x_mm": normal[:, 0],
        "springing_y_mm": normal[:, 1],
        "tilt_rad": own[:, 1] * local[:, 0] - own[:, 0] * local[:, 1],
        **{name: by_shape[:, i] for i, name in enumerate(build.numbers)},
    }
    return np.column_stack([columns[name] for name in candidate.parameters])


def curve_variance(candidate: Candidate, station_mm: ArrayLike) -> Floats:
    """Variance (n,) of the curve's place along its normal at stations (n,), mm squared."""
    return variance_of(candidate, curve_slopes(candidate, station_mm))


def variance_of(candidate: Candidate, slopes: Floats) -> Floats:
    """The same (n,) from slopes (n, k).

    What is negative by no more than the rounding of the terms it is the sum of is nothing; what is negative
    beyond that is given as it is, for then the covariance is at fault.
    """
    covariance = candidate.covariance
    variance = np.einsum("ij,jk,ik->i", slopes, covariance, slopes)
    terms = np.einsum("ij,jk,ik->i", np.abs(slopes), np.abs(covariance), np.abs(slopes))
    rounded = (variance < 0.0) & (variance >= -ROUNDING * terms)
    return np.asarray(np.where(rounded, 0.0, variance), dtype=float)


def _build_of(candidate: Candidate) -> Build:
    own = tuple(name for name in candidate.parameters if name not in _PLACE)
    for build in (BUILDS[candidate.family], FIVE_CENTRED_FREE):
        if build.family is candidate.family and build.numbers == own:
            return build
    raise FitError(
        f"parameters {', '.join(own)} are not those of family {candidate.family.value.replace('_', '-')}; "
        "use a candidate as fit_arch gives it"
    )
