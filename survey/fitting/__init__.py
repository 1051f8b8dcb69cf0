"""From surveyed points to curves: orthogonal fits, which family, what moved, and how sure all of it is.

The free fits of a circle and an ellipse stand by themselves and are loaded when asked for: no stage of the
job needs them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from survey.fitting.arch import fit_arch
from survey.fitting.options import FitOptions
from survey.fitting.robust import Loss

if TYPE_CHECKING:
    from survey.fitting.free.circle import CircleFit, fit_circle_orthogonal
    from survey.fitting.free.ellipse import EllipseFit, fit_ellipse_orthogonal

__all__ = [
    "CircleFit",
    "EllipseFit",
    "FitOptions",
    "Loss",
    "fit_arch",
    "fit_circle_orthogonal",
    "fit_ellipse_orthogonal",
]

_FREE = {
    "CircleFit": "circle",
    "fit_circle_orthogonal": "circle",
    "EllipseFit": "ellipse",
    "fit_ellipse_orthogonal": "ellipse",
}
"""Modules of :mod:`survey.fitting.free` that hold these names."""


def __getattr__(name: str) -> Any:
    if name not in _FREE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.free.{_FREE[name]}"), name)
