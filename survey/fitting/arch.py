"""From a record to everything the fitting room answers about it."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.errors import FitError
from survey.fitting.count import count_courses
from survey.fitting.families import BUILDS
from survey.fitting.fitted import figures_of, fit_roughly, fit_standing, start_of
from survey.fitting.module import find_module, set_out_lengths
from survey.fitting.noise import Nodes, Scatter, Whitener, nodes_of, whitener
from survey.fitting.options import FitOptions
from survey.fitting.result import ArchFit, Candidate, PointFits, Verdict
from survey.fitting.sightings import Sightings, sightings_of
from survey.fitting.standing import Standing
from survey.record.model import Record


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    standing: Standing
    parameters: Floats
    covariance: Floats
    distance: Floats
    log_evidence: float


def fit_arch(record: Record, options: FitOptions | None = None) -> ArchFit:
    """Fit every family to a record and say which one the arch was set out to.

    Parameters
    ----------
    record : Record
    options : FitOptions, optional

    Raises
    ------
    FitError
        The points determine no arch; the message says what is missing.
    """
    asked = FitOptions() if options is None else options
    seen = sightings_of(record)
    rough: list[tuple[Standing, Floats, float]] = []
    notes = list(seen.notes)
    for family in asked.families:
        standing = Standing(seen, BUILDS[family], asked.tilt)
        solution = fit_roughly(standing, start_of(standing))
        if solution.converged:
            rough.append((standing, solution.parameters, solution.cost))
        else:
            notes.append(f"No {family.value.replace('_', '-')} curve fits: {solution.because}.")
    if not rough:
        raise FitError("no family fits the surveyed points: " + " ".join(notes))
    standing, parameters, _ = min(rough, key=lambda r: r[2])
    nodes = nodes_of(standing.stations(parameters), seen.course)
    distance = standing.look(parameters).distance
    weight, scatter = _weights(nodes, seen, distance)
    metric = whitener(nodes, seen.sigma_mm, weight, scatter)
    fitted: dict[Family, _Fitted] = {}
    for standing, parameters, _ in rough:
        solution = fit_standing(standing, metric, parameters)
        if not solution.converged:
            notes.append(f"No {standing.build.family.value} curve fits: {solution.because}.")
            continue
        k = len(solution.parameters)
        evidence = -0.5 * (solution.cost + k * np.log(len(seen)))
        fitted[standing.build.family] = _Fitted(
            standing,
            solution.parameters,
            solution.covariance(),
            standing.look(solution.parameters).distance,
            float(evidence),
        )
    return _answer(record, asked, fitted, metric, scatter, notes)


def _weights(nodes: Nodes, seen: Sightings, distance: Floats) -> tuple[Floats, Scatter]:
    """Robust weights (n,): near 0 for points far from what all others say of them."""
    weight = np.ones(len(seen))
    scatter = Scatter(1.5, 200.0)
    for _ in range(4):
        metric = whitener(nodes, seen.sigma_mm, weight, scatter)
        left = metric.left_out(distance)
        variance = left.variance + seen.sigma_mm**2 * (1.0 - 1.0 / weight)
        gross = variance + 30.0**2
        odds = 0.02 / 0.98 * np.sqrt(variance / gross)
        odds = odds * np.exp(np.minimum(0.5 * left.difference**2 * (1 / variance - 1 / gross), 50.0))
        weight = np.maximum(1.0 / (1.0 + odds), 1e-6)
    return weight, scatter


def _shape(fit: _Fitted, origin: Floats) -> ArchShape:
    return fit.standing.shape(fit.parameters, origin_mm=origin)


def _answer(
    record: Record,
    asked: FitOptions,
    fitted: dict[Family, _Fitted],
    metric: Whitener,
    scatter: Scatter,
    notes: list[str],
) -> ArchFit:
    families = list(fitted)
    log = np.array([fitted[f].log_evidence for f in families])
    probability = np.exp(log - log.max())
    probability /= probability.sum()
    likeliest = families[int(np.argmax(probability))]
    chosen = asked.chosen if asked.chosen is not None and asked.chosen in fitted else likeliest
    best = fitted[chosen]
    seen = best.standing.sightings
    origin = best.parameters[:2]
    shapes = {f: _shape(fit, origin) for f, fit in fitted.items()}
    candidates = {
        f: Candidate(
            family=f,
            shape=shapes[f],
            parameters=fit.standing.names,
            covariance=fit.covariance,
            figures=MappingProxyType(figures_of(fit.standing, _from(fit, origin), fit.covariance)),
            rms_mm=float(np.sqrt(np.average(fit.distance**2, weights=metric.weight))),
            converged=True,
            log_evidence=fit.log_evidence,
        )
        for f, fit in fitted.items()
    }
    order = np.argsort(probability)[::-1]
    second = families[int(order[1])] if len(order) > 1 else likeliest
    difference = _largest_difference(shapes[likeliest], shapes[second])
    clear = bool(probability.max() >= asked.clear_probability)
    verdict = Verdict(
        family=likeliest,
        clear=clear,
        probability=MappingProxyType(dict(zip(families, probability.tolist(), strict=True))),
        because=f"The points fit a {likeliest.value.replace('_', '-')} curve best.",
        largest_difference_mm=difference,
    )
    origin_face = (float(origin[0] + seen.centre_mm[0]), float(origin[1] + seen.centre_mm[1]))
    weight = metric.weight * seen.sigma_mm**2
    points = PointFits(
        index=seen.index,
        name=tuple(record.points.name[i] for i in seen.index),
        station_mm=best.standing.stations(best.parameters),
        deviation_mm=best.distance,
        weight=weight,
        set_aside=weight < 0.05,
    )
    shape = shapes[chosen]
    lengths = set_out_lengths(shape)
    module = find_module(shape, np.full(len(lengths), candidates[chosen].figures["half_span_mm"].sigma))
    return ArchFit(
        record_name=record.name,
        frame=record.frame.moved_to(origin_face),
        origin_mm=origin_face,
        verdict=verdict,
        chosen=chosen,
        candidates=MappingProxyType(candidates),
        points=points,
        irregularity_mm=scatter.irregularity_mm,
        correlation_length_mm=scatter.correlation_mm,
        n_effective=float(len(seen)),
        movement=None,
        module=module,
        courses=count_courses(record, curve_of(shape), origin_face),
        notes=tuple(notes),
    )


def _from(fit: _Fitted, origin: Floats) -> Floats:
    moved = fit.parameters.copy()
    moved[:2] -= origin
    return moved


def _largest_difference(one: ArchShape, other: ArchShape) -> float:
    """Largest distance between two curves over the arch."""
    curve = curve_of(one)
    points = curve.point(np.linspace(0.0, curve.length_mm, 201))
    return float(np.max(np.abs(curve_of(other).locate(points).distance_mm)))
