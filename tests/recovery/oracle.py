"""How well a spread could be told at best: by one who knows family, hinges, scatter and gross errors.

The oracle starts from the truth and takes one Gauss-Newton step there under the true covariance of the
points. No unbiased fit of the same points does better (the Cramer-Rao bound): what a fit that has to find all
that out loses against it is the price of not knowing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from recovery.simulated import SimulatedArch

from survey.curves import curve_of
from survey.fitting.choosing.held_hinges import hinged
from survey.fitting.families.builds import BUILDS, numbers_of
from survey.fitting.families.standing import Standing
from survey.fitting.mechanism.hinge_choices import HingeChoices
from survey.fitting.mechanism.hinge_search import sighted
from survey.fitting.sightings import sightings_of
from survey.fitting.solving.noise import Scatter, nodes_of, whitener

GROSS_WEIGHT = 1e-6


class Told(NamedTuple):
    """Error of the oracle's spread, mm, and its standard deviation over surveys of the same arch."""

    error_mm: float
    sigma_mm: float


def oracle_spread(arch: SimulatedArch) -> Told:
    """The oracle's spread of a simulated arch that has moved.

    Raises
    ------
    ValueError
        The arch stands still.
    """
    true, spec = arch.movement, arch.spec
    if true is None:
        raise ValueError("an arch that stands still has no spread to tell")
    seen = sightings_of(arch.record)
    build = BUILDS[arch.shape.family]
    standing = Standing(seen, build)
    place = np.array([arch.shape.axis_x_mm, arch.shape.springing_y_mm]) - seen.centre_mm
    original = np.concatenate([place, numbers_of(build, arch.shape)])
    depth = spec.depth_mm if true.crown_hinge_at_back else 0.0
    places = true.left_hinge_ratio, true.crown_hinge_ratio, 1 - true.right_hinge_ratio, depth, 0.0
    here = HingeChoices(*(np.array([place]) for place in places))
    moved = hinged(standing, original, sighted(standing, original), here, 0, settles=true.settlement_mm != 0)
    motion = [true.spread_mm, true.settlement_mm][: 1 + moved.settles]
    parameters = np.concatenate([original, motion])
    look = moved.look(parameters)
    gross = arch.gross[seen.index]
    pitch = curve_of(arch.shape).length_mm / spec.n_courses
    scatter = Scatter(spec.irregularity_mm, spec.correlation_courses * pitch)
    nodes = nodes_of(moved.stations(parameters), seen.course)
    metric = whitener(nodes, seen.sigma_mm, np.where(gross, GROSS_WEIGHT, 1.0), scatter)
    trust = np.where(gross[seen.end != 0], GROSS_WEIGHT, 1.0)
    slopes = look.row_slopes * trust[:, None]
    matrix = look.slopes.T @ metric.apply(look.slopes) + look.row_slopes.T @ slopes
    vector = metric.apply(look.distance[:, None])[:, 0] @ look.slopes + look.rows @ slopes
    covariance = np.linalg.inv(matrix)
    k = moved.n_standing
    return Told(float(-(covariance @ vector)[k]), float(np.sqrt(covariance[k, k])))
