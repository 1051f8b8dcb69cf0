"""All hypotheses fitted and weighed for points of given weights: the work that is done once or a few times.

Five families standing still, on level springings or out of level where one springing seems to have sunk, the
same five moved as pieces, and curves of no family.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import Family
from survey.errors import FitError
from survey.fitting.choosing.departing import departing
from survey.fitting.choosing.first_look import FirstLook, look_for_hinges
from survey.fitting.choosing.fitted import fit_roughly, start_of
from survey.fitting.choosing.movement_fit import MovedFit, fit_moved
from survey.fitting.choosing.sagging import sagging_evidence
from survey.fitting.choosing.still import Still, fit_guided, stand_still
from survey.fitting.choosing.weighed import Ground, Weighed
from survey.fitting.families.builds import BUILDS, FIVE_CENTRED_FREE, OTHER_BUILDS, Build, profile_of
from survey.fitting.families.priors import TILTED_SHARE, USUAL_TILT_RAD
from survey.fitting.families.standing import Standing
from survey.fitting.mechanism.hinge_choices import Depths
from survey.fitting.mechanism.hinge_search import sighted
from survey.fitting.mechanism.joint_gaps import joint_gaps
from survey.fitting.options import FitOptions
from survey.fitting.sightings import Sightings
from survey.fitting.solving.evidence import average
from survey.fitting.solving.noise import Nodes, Scatter, Whitener, whitener
from survey.fitting.solving.scatter_grid import ScatterGrid, scatter_grid
from survey.fitting.solving.weighing import bends_along

SMOOTH = (Family.SEMICIRCULAR, Family.SEGMENTAL, Family.ELLIPTICAL)
"""Families without an arc short enough to swallow a gross error."""
USUAL_SCATTER_MM = 1.5
USUAL_CORRELATION_COURSES = 2.5
N_FIRST_SCATTERS = 3
NO_SIGN = 3.0
"""If at first look every moved family is this far behind the likeliest still one, nothing has moved."""
HOPELESS = 6.0
"""A moved family this far (in log evidence, at first look) behind the likeliest is not fitted any further."""
WORTH_TILTING = 0.3
"""Share of the motions with a sunk springing from which the springings may have been set out so."""

Rough = tuple[Standing, Floats, float]
"""A family, its parameters (k,) of a first fit, and what that cost."""


def fit_all_roughly(sightings: Sightings, asked: FitOptions) -> tuple[dict[Family, Rough], dict[Family, str]]:
    """First fits of the families asked for, and why others have none.

    Raises
    ------
    FitError
        None of them has one.
    """
    rough: dict[Family, Rough] = {}
    failed: dict[Family, str] = {}
    for family in asked.families:
        free = family is Family.FIVE_CENTRED and asked.free_sectors
        standing = Standing(sightings, FIVE_CENTRED_FREE if free else BUILDS[family], asked.tilt)
        solution = fit_roughly(standing, start_of(standing))
        if np.isfinite(solution.cost):
            rough[family] = (standing, solution.reached, solution.cost)
        else:
            failed[family] = solution.because
    if not rough:
        raise FitError(told_of_failed(failed))
    return rough, failed


def told_of_failed(failed: Mapping[Family, str]) -> str:
    """That no family fits, and why."""
    reasons = "; ".join(f"{family.value}: {why}" for family, why in failed.items())
    return f"no family fits the surveyed points ({reasons})"


def usual_scatter(pitch_mm: float) -> Scatter:
    """The scatter to expect of courses so far apart before anything is known."""
    return Scatter(USUAL_SCATTER_MM, USUAL_CORRELATION_COURSES * pitch_mm)


def shares_of(standing: Standing, parameters: Floats) -> Floats:
    """Where the sightings lie along a family's curve (n,), as shares of its length."""
    profile = profile_of(standing.build, standing.numbers(parameters))
    return np.asarray(standing.stations(parameters) / (2 * profile.half_length_mm))


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """Everything but the points' weights.

    Attributes
    ----------
    sightings : Sightings
    nodes : Nodes
    pitch : float
        Usual distance from course to course, mm.
    depths : Depths
        Of the innermost ring and of the arch.
    rough : mapping of Family to Rough
        First fits, from which all others start.
    failed : mapping of Family to str
        Families without one, and why.
    asked : FitOptions
    others : tuple of Build
        Curves of no family to weigh beside them.
    """

    sightings: Sightings
    nodes: Nodes
    pitch: float
    depths: Depths
    rough: Mapping[Family, Rough]
    failed: Mapping[Family, str]
    asked: FitOptions
    others: tuple[Build, ...] = OTHER_BUILDS

    def weigh(self, weight: Floats) -> Weighed:
        """Weigh all hypotheses for weights (n,) of points square to the curve."""
        sightings = self.sightings
        grid = scatter_grid(self.nodes, sightings.sigma_mm, weight, self.pitch)
        metric = whitener(self.nodes, sightings.sigma_mm, weight, usual_scatter(self.pitch))
        stills: dict[Family, Still] = {}
        failed = dict(self.failed)
        for family, (standing, start, _) in self.rough.items():
            try:
                stills[family] = _still(replace(standing, sightings=sightings), start, metric, grid)
            except FitError as left_open:
                failed[family] = str(left_open)
        if not stills:
            raise FitError(told_of_failed(failed))
        smooth = [stills[f] for f in SMOOTH if f in stills] or list(stills.values())
        base = max(smooth, key=lambda still: still.log_total)
        bends, loose = _bending(base, grid)
        ground = Ground(sightings, self.nodes, weight, self.pitch, grid, bends, loose)
        moves = self.asked.movement
        moved = _look_for_movement(ground, stills, base, self.depths) if moves else {}
        if not self.asked.tilt and any(fit.settles > WORTH_TILTING for fit in moved.values()):
            stills |= {family: _level_or_not(stills[family], metric, grid) for family in moved}
        sagging = _sagging(ground, stills) if moved else {}
        others: dict[Build, Still] = {}
        for build in self.others:
            standing = Standing(sightings, build, self.asked.tilt)
            try:
                others[build] = _still(standing, start_of(standing), metric, grid)
            except FitError:
                # A curve that no points settle is no rival; the families are, and say so.
                continue
        return Weighed(ground, stills, moved, others, failed, moves, sagging=sagging)


def _still(standing: Standing, start: Floats, metric: Whitener, grid: ScatterGrid) -> Still:
    return stand_still(standing, fit_guided(standing, metric, start).reached, grid)


def _level_or_not(level: Still, metric: Whitener, grid: ScatterGrid) -> Still:
    """The likelier of a family on level springings and the same set out on springings out of level."""
    standing = replace(level.standing, tilt=True, usual_tilt_rad=USUAL_TILT_RAD)
    try:
        tilted = _still(standing, np.append(level.parameters, 0.0), metric, grid)
    except FitError:
        return level
    tilted = tilted.rarer(float(np.log(TILTED_SHARE / (1 - TILTED_SHARE))))
    return max(level, tilted, key=lambda still: still.log_total)


def _sagging(ground: Ground, stills: Mapping[Family, Still]) -> dict[Family, float]:
    """Log evidence of families hanging smoothly off their curve, of those of which the points tell it."""
    few = ground.grid.take(ground.most_likely)
    found: dict[Family, float] = {}
    for family, still in stills.items():
        try:
            found[family] = sagging_evidence(still, few)
        except FitError:
            # Too few points for a wave beside the curve: then the curve itself is all there is.
            continue
    return found


def _bending(still: Still, grid: ScatterGrid) -> tuple[Floats, Floats]:
    """Log evidence (g,), (g,) of a curve free to bend away from a family, its ends held, and its ends free.

    An end that has sunk says nothing of how the courses scatter, so scatters are chosen with the ends free.
    """
    bends = bends_along(shares_of(still.standing, still.parameters), still.parameters[2])
    bent = departing(still, bends.columns, bends.spread_mm)
    without = grid.grams(bent.columns, np.zeros((0, bent.columns.shape[1])))
    share = grid.factor[:, None, None]
    determinants, prior = grid.log_determinants(len(bent.rows)), bent.prior(still.ways[0])
    met = bent.rows.copy()
    met[:, 0] = 0.0
    held, free = (
        grid.log_prior + average(without + share * (r.T @ r), determinants, prior, bent.names).log_evidence
        for r in (bent.rows, met)
    )
    return np.asarray(held), np.asarray(free)


def _look_for_movement(
    ground: Ground, stills: Mapping[Family, Still], base: Still, depths: Depths
) -> dict[Family, MovedFit]:
    seen = sighted(base.standing, base.parameters)
    joints = joint_gaps(ground.sightings, seen, ground.weight)
    first_scatters = ground.likely[:N_FIRST_SCATTERS]
    firsts: dict[Family, FirstLook] = {
        family: look_for_hinges(still, ground.grid, first_scatters, joints)
        for family, still in stills.items()
    }
    top = max(first.log_evidence for first in firsts.values())
    still = max(
        float(np.logaddexp.reduce(s.log_evidence[:, first_scatters], axis=None)) for s in stills.values()
    )
    if top < still - NO_SIGN:
        return {}
    few = ground.grid.take(ground.most_likely)
    fits = {
        family: fit_moved(first, few, few.whitener(0), depths, ground.weight)
        for family, first in firsts.items()
        if first.log_evidence > top - HOPELESS
    }
    return {family: fit for family, fit in fits.items() if fit is not None}
