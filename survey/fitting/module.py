r"""The module: the historic unit an arch seems to be set out in.

Notes
-----
Cosine quantogram of lengths :math:`x_i` against a quantum :math:`q`, each length weighted by what its
uncertainty leaves of it,

.. math:: \varphi(q) = \frac{\sum_i w_i \cos(2\pi x_i/q)}{\sqrt{\tfrac12 \sum_i w_i^2}},
          \qquad w_i = \exp(-2\pi^2\sigma_i^2/q^2),

which for exact lengths is :math:`\sqrt{2/N}\sum\cos(2\pi x_i/q)`, of mean 0 and variance 1 for lengths
that know nothing of :math:`q`. Because the largest of many such values is always large, its significance
comes from simulation: arches of about the same size but of no module are searched in just the same way.

References
----------
D. G. Kendall, "Hunting quanta", *Phil. Trans. R. Soc. A* 276 (1974) 231-266 (formula and reference seen in a
later text).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.fitting.historic_units import DOCUMENTED_UNITS, HistoricUnit
from survey.fitting.result import Estimate, Module

RULE_DRIFT_RATIO = 0.004
"""How far a mason's rule may have stood from the documented unit; judgement, no source."""

SIGNIFICANT = 0.01
"""Nothing is said of a module that chance would better more often than this."""

MIN_LENGTHS = 4
"""Fewer lengths fit some unit or other whatever they are, so nothing is said of them; judgement."""

MULTIPLES = (1.0, 0.5)
"""Whole and half units are searched for."""

_DRIFTS = np.linspace(-RULE_DRIFT_RATIO, RULE_DRIFT_RATIO, 5)
_N_SIMULATED = 2000
_SEED = 1974


@dataclass(frozen=True, slots=True)
class ModuleSearch:
    """How the search is done; the defaults fit a single arch.

    Attributes
    ----------
    units : tuple of HistoricUnit
        Units to look for; name only the local ones where the place is known, for then less is left to chance.
    n_simulated : int
        Arches without a module that the peak is held against.
    seed : int
        Seed of that simulation, so that the same arch always gets the same answer.
    """

    units: tuple[HistoricUnit, ...] = DOCUMENTED_UNITS
    n_simulated: int = _N_SIMULATED
    seed: int = _SEED


def quantogram(lengths_mm: ArrayLike, quanta_mm: ArrayLike, sigma_mm: ArrayLike = 0.0) -> Floats:
    """Cosine quantogram of lengths at several quanta.

    Parameters
    ----------
    lengths_mm : (..., n) float, mm
    quanta_mm : (m,) float, mm, positive
    sigma_mm : (n,) or scalar float, mm
        Standard uncertainty of each length.

    Returns
    -------
    (..., m) float
        Score of each quantum; at most ``sqrt(2 n)``, and 0 where the lengths are too uncertain for it.

    Raises
    ------
    ValueError
        When a quantum is not positive.

    Examples
    --------
    >>> float(quantogram([600.0, 900.0, 1500.0], [300.0])[0].round(6)) == round(6 ** 0.5, 6)
    True
    """
    lengths = np.asarray(lengths_mm, dtype=float)
    quanta = np.asarray(quanta_mm, dtype=float)
    if np.any(quanta <= 0):
        raise ValueError(f"quanta must be positive lengths in mm, the least given is {quanta.min():g}")
    sigma = np.broadcast_to(np.asarray(sigma_mm, dtype=float), lengths.shape[-1:])
    weight = np.exp(-2.0 * (np.pi * sigma / quanta[:, None]) ** 2)
    norm = np.sqrt(0.5 * np.sum(weight**2, axis=1))
    score = np.einsum("...mn,mn->...m", np.cos(2 * np.pi * lengths[..., None, :] / quanta[:, None]), weight)
    # Lengths far less certain than a quantum is long say nothing of it.
    return np.asarray(np.divide(score, norm, out=np.zeros_like(score), where=norm > 0.0), dtype=float)


def refined_quantum(lengths_mm: ArrayLike, quantum_mm: float, sigma_mm: ArrayLike = 1.0) -> Estimate:
    """Least-squares quantum from the whole multiples nearest to a first guess, with its uncertainty.

    The uncertainty is the larger of what the lengths' own ``sigma_mm`` give and what their misfit shows.

    Parameters
    ----------
    lengths_mm : (n,) float, mm
    quantum_mm : float, mm
    sigma_mm : (n,) or scalar float, mm

    Examples
    --------
    >>> refined_quantum([602.0, 898.0, 1500.0], 300.0).value.__round__(2)
    299.95
    """
    lengths = np.asarray(lengths_mm, dtype=float)
    multiple = np.round(lengths / quantum_mm)
    weight = 1.0 / np.broadcast_to(np.asarray(sigma_mm, dtype=float), lengths.shape) ** 2
    information = float(np.sum(weight * multiple**2))
    if information == 0:
        raise ValueError(f"every length is shorter than half the quantum of {quantum_mm:g} mm")
    value = float(np.sum(weight * multiple * lengths)) / information
    misfit = float(np.sum(weight * (lengths - multiple * value) ** 2)) / max(1, lengths.size - 1)
    return Estimate(value, math.sqrt(max(1.0, misfit) / information))


def set_out_lengths(shape: ArchShape) -> Floats:
    """The lengths (n,) of an arch a mason would have chosen in whole units: span, rise, and the radii that
    are free.

    A semicircle has only its span, and so have arcs that rise to half their span. A segmental arch's radius
    follows from span and rise, and the last radius of a chain of arcs from the others, but either may have
    been the one chosen, so each is searched.
    """
    lengths = [2 * shape.half_span_mm]
    if not is_semicircle(shape):
        lengths += [shape.rise_mm, *shape.radii_mm]
    return np.array(lengths)


def n_chosen(shape: ArchShape, *, constructed: bool = False) -> int:
    """How many of ``set_out_lengths(shape)``, from the first, a mason was free to choose.

    Span and rise; of arcs also the first radius, unless a construction with string and pegs gave it.
    """
    if is_semicircle(shape):
        return 1
    of_arcs = shape.family in (Family.THREE_CENTRED, Family.FIVE_CENTRED)
    return 3 if of_arcs and not constructed else 2


def is_semicircle(shape: ArchShape) -> bool:
    """Whether a shape is a semicircle, by its family or because its arcs rise to half their span."""
    arcs = shape.family is not Family.ELLIPTICAL
    return shape.family is Family.SEMICIRCULAR or (arcs and shape.rise_mm >= shape.half_span_mm * (1 - 1e-9))


def _without_module(lengths: Floats, rng: np.random.Generator, n_simulated: int) -> Floats:
    """Lengths (n_simulated, n) of arches of about this size and no module, each drawn on its own."""
    return lengths * rng.uniform(0.7, 1.4, size=(n_simulated, lengths.size))


@dataclass(frozen=True, slots=True, eq=False)
class _Peak:
    """The best quantum of some lengths: its number among the quanta, and how often chance does as well."""

    lengths_mm: Floats
    sigma_mm: Floats
    number: int
    chance: float


def find_module(
    shape: ArchShape,
    sigma_mm: ArrayLike,
    *,
    other_lengths: Sequence[Estimate] = (),
    constructed: bool = False,
    search: ModuleSearch | None = None,
) -> Module | None:
    """Find the historic unit an arch was set out in, or nothing when chance would do as well.

    Parameters
    ----------
    shape : ArchShape
        The original curve.
    sigma_mm : (n,) or scalar float, mm
        Standard uncertainty of each of ``set_out_lengths(shape)``.
    other_lengths : sequence of Estimate, mm
        Further lengths, such as four courses of brick or the depth of a ring. Bricks may be of a unit or not,
        whatever the curve is: all lengths of the curve are searched on their own, and those that were free
        to choose together with the bricks; the better answer counts, its chance doubled for being one of two.
    constructed : bool
        Whether the curve agrees with a handbook construction, so that no radius was free to choose.
    search : ModuleSearch or None
        Units and simulation; None takes the defaults.

    Returns
    -------
    Module or None
        None when the best unit's score is bettered by chance in more than :data:`SIGNIFICANT` of the
        simulated arches, or when there are fewer than :data:`MIN_LENGTHS` lengths.
    """
    chosen = search if search is not None else ModuleSearch()
    own = set_out_lengths(shape)
    sigma = np.broadcast_to(np.asarray(sigma_mm, dtype=float), own.shape)
    others = np.array([[length.value, length.sigma] for length in other_lengths]).reshape(-1, 2)
    tried = [(own, sigma)]
    if len(others):
        free = n_chosen(shape, constructed=constructed)
        tried.append(
            (np.concatenate([own[:free], others[:, 0]]), np.concatenate([sigma[:free], others[:, 1]]))
        )
    enough = [lengths for lengths in tried if lengths[0].size >= MIN_LENGTHS]
    if not enough:
        return None
    unit_mm = np.array([unit.length_mm for unit in chosen.units])
    quanta = np.multiply.outer(np.multiply.outer(MULTIPLES, unit_mm), 1 + _DRIFTS)
    allowed = SIGNIFICANT / len(enough)
    peaks = [_peak(lengths, given, quanta.ravel(), chosen, allowed) for lengths, given in enough]
    best = min(peaks, key=lambda peak: peak.chance)
    if best.chance > allowed:
        return None
    multiple, unit, _ = np.unravel_index(best.number, quanta.shape)
    refined = refined_quantum(
        best.lengths_mm, float(quanta.ravel()[best.number]), np.maximum(best.sigma_mm, 1e-3)
    )
    named = chosen.units[int(unit)]
    whole = refined.value / MULTIPLES[int(multiple)]
    return Module(
        unit_mm=whole,
        unit_sigma_mm=refined.sigma / MULTIPLES[int(multiple)],
        name=named.name,
        source=named.source,
        span_units=2 * shape.half_span_mm / whole,
        rise_units=shape.rise_mm / whole,
        chance_probability=best.chance * len(enough),
    )


def _peak(
    lengths_mm: Floats, sigma_mm: Floats, quanta_mm: Floats, search: ModuleSearch, allowed: float
) -> _Peak:
    score = quantogram(lengths_mm, quanta_mm, sigma_mm)
    number = int(np.argmax(score))
    simulated = _without_module(lengths_mm, np.random.default_rng(search.seed), search.n_simulated)
    chance = _share_of_better(simulated, quanta_mm, sigma_mm, float(score[number]), allowed)
    return _Peak(lengths_mm, sigma_mm, number, chance)


def _share_of_better(
    simulated: Floats, quanta_mm: Floats, sigma_mm: Floats, score: float, allowed: float
) -> float:
    """Share of simulated arches whose best quantum scores at least as well, never stated below what was
    simulated.

    Stops as soon as the share is sure to end above what is allowed; the share returned is then that of the
    arches looked at so far.
    """
    block = 250  # keeps the block of cosines within the cache
    enough = allowed * (len(simulated) + 1)
    n_better = n_seen = 0
    for part in np.array_split(simulated, max(1, len(simulated) // block)):
        n_better += int(np.count_nonzero(quantogram(part, quanta_mm, sigma_mm).max(axis=-1) >= score))
        n_seen += len(part)
        if n_better >= enough:
            break
    return (n_better + 1) / (n_seen + 1)
