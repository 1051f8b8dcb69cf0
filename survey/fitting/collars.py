"""Collar joints between rings: as arch.toml gives them, else as the survey of the outer rings shows them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.curves import curve_of
from survey.curves.protocol import Floats
from survey.fitting.before_movement import brought_back
from survey.fitting.curve_uncertainty import curve_variance
from survey.fitting.result import ArchFit, Candidate, Collar, Estimate, Movement
from survey.fitting.solving.noise import Scatter
from survey.fitting.solving.robust import MAD_TO_SIGMA
from survey.record.model import Feature, Record, Ring

FEWEST_POINTS = 4
"""From fewer points of a ring no collar joint is estimated."""
MOST_MM = 40.0
"""No collar joint is thicker (judgement: four times the usual one); what measures more is a wrong depth."""
MOST_SIGMA_MM = 5.0
"""An estimate vaguer than this says no more than that there may be a joint."""
DOUBT_MM, DOUBT_SIGMAS = 3.0, 3.0
"""A collar joint given that is off the survey by more than both is doubted."""
MEDIAN_VARIANCE = np.pi / 2.0
"""Variance of a median against that of a mean, for Gaussian errors and many points."""


@dataclass(frozen=True, slots=True, eq=False)
class FittedIntrados:
    """The intrados of ring 1 that rings are measured from.

    Attributes
    ----------
    candidate : Candidate
        As the arch stands; where it has moved, the rings are taken back to ``movement.original``.
    movement : Movement or None
    origin_mm : tuple of float
        The arch frame's origin in the record's face frame.
    scatter : Scatter
        The arch's own irregularity, and how far along the arch it stays alike.
    """

    candidate: Candidate
    movement: Movement | None
    origin_mm: tuple[float, float]
    scatter: Scatter


def find_collars(record: Record, intrados: FittedIntrados) -> tuple[Collar, ...]:
    """The collar joint inside every ring but the innermost, from the opening outwards.

    Parameters
    ----------
    record : Record
    intrados : FittedIntrados

    Notes
    -----
    The median distance of a ring's soffit points from the intrados, along the normal, less the depths and
    collar joints of all inside it; of its back, less its own depth too, where the soffit was not surveyed.
    Of an arch that has moved every brick is first taken back with its piece. The median's variance is
    ``pi / 2`` times that of the mean: noise is taken as independent from point to point, irregularity over
    twice its correlation length; the curve's own variance adds to it.
    """
    rings = sorted(record.rings, key=lambda ring: ring.ring)
    found: list[Collar] = []
    inside = Estimate(rings[0].depth_mm if rings else 0.0, 0.0)
    for ring in rings[1:]:
        collar = _collar_of(record, ring, intrados, inside)
        found.append(collar)
        unsure = 0.0 if collar.given_mm is not None or collar.measured is None else collar.measured.sigma
        back = inside.value + collar.used_mm + ring.depth_mm
        inside = Estimate(back, float(np.hypot(inside.sigma, unsure)))
    return tuple(found)


def with_collars(record: Record, collars: tuple[Collar, ...]) -> Record:
    """The record with the collar joints that are used written into its rings."""
    used = {collar.ring: collar.used_mm for collar in collars}
    if all(used.get(ring.ring, ring.collar_mm) == ring.collar_mm for ring in record.rings):
        return record
    rings = tuple(replace(r, collar_mm=used.get(r.ring, r.collar_mm)) for r in record.rings)
    return replace(record, rings=rings)


def with_found_collars(record: Record, fit: ArchFit) -> Record:
    """The record as every room beyond the fit reads it: collar joints not given are those the fit found."""
    return with_collars(record, fit.collars)


def _collar_of(record: Record, ring: Ring, intrados: FittedIntrados, inside: Estimate) -> Collar:
    off_mm, n_points = _offset(record, ring, intrados)
    given = ring.collar_mm if ring.collar_given else None
    measured = None
    if off_mm is not None:
        sigma = float(np.hypot(off_mm.sigma, inside.sigma))
        if sigma <= MOST_SIGMA_MM:
            measured = Estimate(off_mm.value - inside.value, sigma)
    used, told, doubtful = _taken(ring.ring, given, measured, n_points)
    return Collar(ring.ring, used, given, measured, n_points, told, doubtful)


def _taken(
    ring: int, given_mm: float | None, measured: Estimate | None, n_points: int
) -> tuple[float, str, bool]:
    """The collar joint used, what is told of it, and whether that is a doubt."""
    points = f"{n_points} point{'' if n_points == 1 else 's'}"
    if given_mm is not None:
        if measured is None or abs(measured.value - given_mm) <= max(DOUBT_MM, DOUBT_SIGMAS * measured.sigma):
            return given_mm, "", False
        return (
            given_mm,
            f"arch.toml gives ring {ring} a collar_joint of {given_mm:.1f} mm, but {points} of that ring "
            f"make it {measured.value:.1f} mm, standard uncertainty {measured.sigma:.1f} mm: measure it, and "
            "the depths of the rings inside, again.",
            True,
        )
    if measured is None:
        return (
            0.0,
            f"collar_joint of ring {ring} is not given, and {points} surveyed of that ring cannot tell it: "
            "taken as 0 mm. Measure it and write it into arch.toml.",
            True,
        )
    slack = DOUBT_SIGMAS * measured.sigma
    if not -slack <= measured.value <= MOST_MM + slack:
        return (
            0.0,
            f"collar_joint of ring {ring} is not given; by {points} it would be {measured.value:.1f} mm, "
            "which is no collar joint: taken as 0 mm. Measure it, and the depths of the rings inside, and "
            "write them into arch.toml.",
            True,
        )
    used = min(max(measured.value, 0.0), MOST_MM)
    held = "" if used == measured.value else f" ({measured.value:.1f} mm by measurement)"
    return (
        used,
        f"collar_joint of ring {ring} is not given: {used:.1f} mm{held}, standard uncertainty "
        f"{measured.sigma:.1f} mm, taken from {points}; write it into arch.toml.",
        False,
    )


def _offset(record: Record, ring: Ring, intrados: FittedIntrados) -> tuple[Estimate | None, int]:
    """Distance of a ring's inner curve from the intrados, and from how many points it is told."""
    points = record.points
    of_ring = points.ring == ring.ring
    on, depth_mm = points.on(Feature.INTRADOS) & of_ring, 0.0
    back = points.on(Feature.EXTRADOS) & of_ring
    if np.count_nonzero(on) < FEWEST_POINTS <= np.count_nonzero(back):
        on, depth_mm = back, ring.depth_mm
    n = int(np.count_nonzero(on))
    if n < FEWEST_POINTS:
        return None, n
    xy = points.xy_mm[on] - np.asarray(intrados.origin_mm)
    candidate, movement = intrados.candidate, intrados.movement
    if movement is not None:
        candidate = movement.original
        xy = brought_back(curve_of(candidate.shape), movement, xy, brick=points.course[on])
    located = curve_of(candidate.shape).locate(xy)
    middle = float(np.median(located.distance_mm))
    variance = _median_variance(located.distance_mm - middle, located.station_mm, intrados.scatter)
    variance += float(np.mean(curve_variance(candidate, located.station_mm)))
    return Estimate(middle - depth_mm, float(np.sqrt(variance))), n


def _median_variance(off_mm: Floats, station_mm: Floats, scatter: Scatter) -> float:
    """Variance of the median of distances off (n,) it at stations (n,)."""
    n = len(off_mm)
    total = (MAD_TO_SIGMA * float(np.median(np.abs(off_mm)))) ** 2
    own = min(scatter.irregularity_mm**2, total)
    apart = float(np.ptp(station_mm)) / max(2.0 * scatter.correlation_mm, 1.0)
    return float(MEDIAN_VARIANCE * ((total - own) / n + own / np.clip(apart, 1.0, n)))
