"""From surveyed points to curves: orthogonal fits, which family, what moved, and how sure all of it is."""

from survey.fitting.arch import fit_arch
from survey.fitting.options import FitOptions

__all__ = ["FitOptions", "fit_arch"]
