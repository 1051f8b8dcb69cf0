"""From surveyed points to curves: orthogonal fits, which family, what moved, and how sure all of it is."""

from survey.fitting.arch import fit_arch
from survey.fitting.free.circle import CircleFit, fit_circle_orthogonal
from survey.fitting.free.ellipse import EllipseFit, fit_ellipse_orthogonal
from survey.fitting.options import FitOptions
from survey.fitting.robust import Loss

__all__ = [
    "CircleFit",
    "EllipseFit",
    "FitOptions",
    "Loss",
    "fit_arch",
    "fit_circle_orthogonal",
    "fit_ellipse_orthogonal",
]
