"""From surveyed points to curves: which family, what moved, and how sure all of it is.

``fit_arch(record)`` answers in one :class:`~survey.fitting.result.ArchFit`. This page tells how it gets
there; the formulas stand in the modules named.

What it sees
    The edges of the courses on the intrados of ring 1, the springing points, and dimensions known beforehand,
    each with its uncertainty (:mod:`~survey.fitting.sightings`). Springing points fix where the curve ends;
    where none was surveyed the lowest edges stand for them, loosely, and the fit says so.
What is fitted
    Five families (:mod:`~survey.fitting.families.builds`): semicircular, segmental, elliptical, three-centred
    and five-centred. Each is laid so that the distances square to the curve are least, by one search that
    proves its optimum or says why there is none (:mod:`~survey.fitting.solving.engine`).
How points scatter
    By what the tape or the instrument errs, each point on its own; and because no arch is laid perfectly:
    both edges of a course lie off together, and so, fading, do the courses beside it. A hundred points are
    then worth far fewer, and the uncertainties say so. How crooked the arch is, over how many courses, and
    whether the stated accuracy holds is not known beforehand; all of it is averaged over by how likely the
    points make it (:mod:`~survey.fitting.solving.noise`, :mod:`~survey.fitting.solving.evidence`). A point
    far from what all others say of it is set aside as a gross error
    (:mod:`~survey.fitting.solving.weighing`).
Which family
    Not the one that lies nearest: a curve with more freedom always lies nearer. Each family is weighed by how
    likely it makes the points, averaged over all its dimensions, those that masons used counting for more
    (:mod:`~survey.fitting.families.priors`): a semicircle is preferred to the ellipse that beats it by a
    millimetre. Pointed, parabolic and freely bent curves are weighed beside the five. From 99 % a verdict is
    clear; below that it names the families that cannot be told apart, how far they lie apart, and whether
    that is more than a joint. Where nothing fits it says "none of these", and names the nearest in
    millimetres (:mod:`~survey.fitting.choosing.verdict`).
What moved
    The same five families, parted into rigid pieces that turned about hinges when the springings spread or
    one sank (:mod:`~survey.fitting.mechanism.pieces`, :mod:`~survey.fitting.choosing.movement_fit`), are
    weighed against those that stand still, so that a spread semicircle is not called an ellipse. Kinks of the
    soffit tell the hinges, and joints that opened on the soffit or at the back
    (:mod:`~survey.fitting.mechanism.joint_gaps`); they are placed joint by joint. Two things that hinges can
    follow are weighed beside them: springings set out a little out of level, and a soffit that hangs
    smoothly because its centre gave way (:mod:`~survey.fitting.choosing.sagging`). From 60 % the arch is said
    to have moved, and the original is given beside the shape as it stands.
How sure
    Every figure has its standard uncertainty, over everything that was averaged
    (:mod:`~survey.fitting.choosing.candidates`, :mod:`~survey.fitting.choosing.movement`); the half-span of
    an arch that seems to stand still allows for a spread too small to show
    (:mod:`~survey.fitting.choosing.hidden_spread`). Over simulated arches of known truth 95 % intervals are
    held to cover the truth in 93 to 97 of a hundred (``tests/recovery/RESULTS.md``).
Unit and count
    A historic unit is named only when span, rise, free radii, ring depth and courses fit it better than
    chance would in one arch of a hundred (:mod:`~survey.fitting.module`). Missing courses are counted from
    the rhythm on both sides of a gap, and a recorded count that the rhythm contradicts is said to be doubtful
    (:mod:`~survey.fitting.counting.count`).

What it cannot know: whether the arch was ever true to its curve, what the hidden back of the ring does, and
anything of its safety.

The free fits of a circle and an ellipse stand by themselves and are loaded when asked for: no stage of the
job needs them.

References
----------
Least distances: Marquardt, J. SIAM 11 (1963) 431; Boggs, Byrd and Schnabel, SIAM J. Sci. Stat. Comput. 8
(1987) 1052. Gross errors: Huber, *Robust Statistics* (1981). Scatter along the arch: Rue and Held, *Gaussian
Markov Random Fields* (2005). Weighing: MacKay, *Information Theory, Inference, and Learning Algorithms*
(2003), chapter 28; Kass and Raftery, J. Am. Stat. Assoc. 90 (1995) 773. Hinges: Heyman, *The Masonry Arch*
(1982). All these from memory, not seen. Units: Kendall, Phil. Trans. R. Soc. A 276 (1974) 231, seen in a
later text.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from survey.fitting.arch import fit_arch
from survey.fitting.options import FitOptions
from survey.fitting.solving.robust import Loss

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
