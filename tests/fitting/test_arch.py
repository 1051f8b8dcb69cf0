"""The whole fit: exact arches, invariances, options, and what it says when it cannot know."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fitting.builds import EXAMPLES, record_of, whole_arch
from recovery.simulated import ArchSpec, simulate

from survey import curves
from survey.curves import Family, curve_of
from survey.fitting import FitOptions, fit_arch
from survey.fitting.arch import _depths
from survey.fitting.choosing.candidates import final_fit
from survey.fitting.choosing.hypotheses import Ground, Weighed, weigh_hypotheses
from survey.fitting.families.builds import numbers_of
from survey.fitting.mechanism.hinge_choices import Depths
from survey.fitting.result import ArchFit
from survey.fitting.sightings import sightings_of
from survey.record.model import UNKNOWN, Feature, Known, KnownDimensions, Record

EXACT = ["semicircular", "segmental", "elliptical", "three-centred", "five-centred"]
FAMILIES = dict(zip(EXACT, Family, strict=True))
SHAPES = {
    Family.SEMICIRCULAR: curves.semicircular(1100.0),
    Family.SEGMENTAL: curves.segmental(2600.0, 600.0),
    Family.ELLIPTICAL: curves.elliptical(2400.0, 750.0),
    Family.THREE_CENTRED: curves.three_centred_sixty(2400.0, 800.0),
    Family.FIVE_CENTRED: curves.five_centred(2400.0, 800.0, 620.0),
}


def surveyed(family: Family, seed: int = 11, **changes: object) -> Record:
    spec = ArchSpec(SHAPES[family], n_courses=61, point_sigma_mm=1.2, irregularity_mm=1.0)
    return simulate(replace(spec, **changes), seed).record


def weighed_of(record: Record) -> tuple[Weighed, Ground]:
    """All still hypotheses of a record."""
    weighed = weigh_hypotheses(sightings_of(record), 60.0, Depths(240.0, 240.0), FitOptions(movement=False))
    return weighed, weighed.ground


def moved_points(record: Record, xy_mm: np.ndarray) -> Record:
    return replace(record, points=replace(record.points, xy_mm=xy_mm))


@pytest.mark.parametrize("name", EXACT)
def test_an_exact_arch_is_found_exactly(name: str) -> None:
    soffit, ends = whole_arch(name, n=40)
    place = np.array([300.0, -70.0])
    fit = fit_arch(record_of(soffit + place, ends + place))
    family = FAMILIES[name]
    assert fit.verdict.family is family
    assert fit.verdict.clear
    assert fit.chosen is family
    assert numbers_of(EXAMPLES[name][0], fit.best.shape) == pytest.approx(EXAMPLES[name][1], abs=1e-6)
    assert fit.origin_mm == pytest.approx(tuple(place), abs=1e-6)
    assert fit.movement is None
    assert np.abs(fit.points.deviation_mm).max() < 1e-6
    assert sum(fit.verdict.probability.values()) <= 1.0 + 1e-12


def test_the_frame_is_the_middle_of_the_springing_line() -> None:
    fit = fit_arch(surveyed(Family.ELLIPTICAL))
    assert (fit.best.shape.axis_x_mm, fit.best.shape.springing_y_mm) == (0.0, 0.0)
    record = surveyed(Family.ELLIPTICAL)
    used = fit.to_arch(record.points.xy_mm[fit.points.index])
    located = curve_of(fit.best.shape).locate(used)
    assert fit.points.deviation_mm == pytest.approx(located.distance_mm, abs=1e-8)
    assert fit.points.station_mm == pytest.approx(located.station_mm, abs=1e-6)
    assert fit.frame.to_site(used) == pytest.approx(
        record.frame.to_site(record.points.xy_mm[fit.points.index])
    )


def figures(fit: ArchFit) -> np.ndarray:
    best = fit.best.figures
    return np.array([[best[n].value, best[n].sigma] for n in ("half_span_mm", "rise_mm", "length_mm")])


@pytest.mark.parametrize("family", Family)
def test_a_shift_of_the_site_grid_changes_nothing(family: Family) -> None:
    record = surveyed(family)
    here = fit_arch(record)
    far = np.array([4.5e8, -2.1e8])
    there = fit_arch(moved_points(record, record.points.xy_mm + far))
    assert figures(there) == pytest.approx(figures(here), abs=1e-4)
    assert np.subtract(there.origin_mm, far) == pytest.approx(here.origin_mm, abs=1e-4)
    assert there.verdict.probability == pytest.approx(dict(here.verdict.probability), abs=1e-6)


@pytest.mark.parametrize("family", Family)
def test_mirroring_the_arch_mirrors_the_fit(family: Family) -> None:
    record = surveyed(family)
    points = record.points
    n = points.course.max()
    mirrored = replace(
        points,
        xy_mm=points.xy_mm * [-1, 1],
        course=np.where(points.course > 0, n + 1 - points.course, points.course),
        edge=np.array([{"left": "right", "right": "left"}.get(e, e) for e in points.edge], dtype=object),
    )
    one, other = fit_arch(record), fit_arch(replace(record, points=mirrored))
    assert figures(other) == pytest.approx(figures(one), abs=1e-6)
    assert other.origin_mm == pytest.approx((-one.origin_mm[0], one.origin_mm[1]), abs=1e-6)
    assert other.verdict.probability == pytest.approx(dict(one.verdict.probability), abs=1e-6)


def test_known_dimensions_are_kept_to_within_their_sigma() -> None:
    record = surveyed(Family.SEGMENTAL)
    known = KnownDimensions(span=Known(2606.0, 0.2), rise=Known(603.0, 0.2))
    free, held = fit_arch(record).best, fit_arch(replace(record, known=known)).best
    assert held.shape.span_mm == pytest.approx(2606.0, abs=1.0)
    assert held.shape.rise_mm == pytest.approx(603.0, abs=1.0)
    assert held.figures["half_span_mm"].sigma < free.figures["half_span_mm"].sigma


def test_a_flat_arch_says_how_badly_its_radius_is_known() -> None:
    # R = s^2 / (8 h) + h / 2 of span s and rise h, so dR/dh = 1/2 - s^2 / (8 h^2): -31.5 at 2400 by 150,
    # -4 at 2400 by 400 (closed form).
    for rise, slope in ((150.0, -31.5), (400.0, -4.0)):
        spec = ArchSpec(curves.segmental(2400.0, rise), n_courses=45, gross_ratio=0.0)
        best = fit_arch(simulate(spec, 3).record, FitOptions(movement=False)).candidates[Family.SEGMENTAL]
        names = best.parameters.index("half_span_mm"), best.parameters.index("rise_mm")
        s, h = best.shape.half_span_mm, best.shape.rise_mm
        by = np.array([s / h, 0.5 - s * s / (2 * h * h)])
        cov = best.covariance[np.ix_(names, names)]
        assert 0.5 - (2400.0**2) / (8 * rise**2) == pytest.approx(slope)
        assert by[1] == pytest.approx(slope, rel=0.05)
        assert best.figures["radius_1_mm"].sigma == pytest.approx(np.sqrt(by @ cov @ by), rel=1e-9)


def test_a_metre_slip_is_set_aside() -> None:
    record = surveyed(Family.SEMICIRCULAR, gross_ratio=0.0)
    xy = record.points.xy_mm.copy()
    slipped = int(np.flatnonzero(record.points.on(Feature.INTRADOS))[30])
    xy[slipped] += [0.0, 1000.0]
    fit = fit_arch(moved_points(record, xy))
    place = fit.points.index.tolist().index(slipped)
    assert fit.points.set_aside[place]
    assert np.count_nonzero(fit.points.set_aside) == 1
    assert figures(fit)[:, 0] == pytest.approx(figures(fit_arch(record))[:, 0], abs=1.5)


@pytest.mark.parametrize("slip", [[0.0, 60.0], [60.0, 0.0], [0.0, -1000.0]])
def test_a_misread_springing_point_is_set_aside(slip: list[float]) -> None:
    record = surveyed(Family.THREE_CENTRED, gross_ratio=0.0)
    xy = record.points.xy_mm.copy()
    xy[np.flatnonzero(record.points.on(Feature.SPRINGING))[1]] += slip
    fit = fit_arch(moved_points(record, xy))
    assert fit.verdict.family is Family.THREE_CENTRED
    assert any("springing point lies far from every curve" in note for note in fit.notes)
    half = fit.best.figures["half_span_mm"]
    assert abs(half.value - 1200.0) < 3.5 * half.sigma


def test_without_course_numbers_and_springings_the_family_is_still_found() -> None:
    record = surveyed(Family.SEGMENTAL, springings=False, numbered=False, gross_ratio=0.0)
    assert np.all(record.points.course == UNKNOWN)
    fit = fit_arch(record)
    assert fit.verdict.family is Family.SEGMENTAL
    assert any("No springing point was surveyed" in note for note in fit.notes)
    # Where such an arch ends is known to a joint or so, no better.
    assert fit.best.figures["half_span_mm"].sigma > 4.0


def test_half_an_arch_is_fitted_as_the_mirror_of_itself_and_says_so() -> None:
    record = surveyed(Family.SEMICIRCULAR, gross_ratio=0.0)
    points = record.points
    left = points.xy_mm[:, 0] < np.median(points.xy_mm[points.on(Feature.SPRINGING), 0])
    fit = fit_arch(replace(record, points=points.take(left)))
    assert any("right half was not surveyed" in note for note in fit.notes)
    half = fit.candidates[Family.SEMICIRCULAR].figures["half_span_mm"]
    assert half.sigma > fit_arch(record).candidates[Family.SEMICIRCULAR].figures["half_span_mm"].sigma
    assert abs(half.value - 1100.0) < 3.5 * half.sigma


def test_a_family_at_its_limit_is_the_semicircle_and_says_so() -> None:
    # Points a little higher than a semicircle: no segmental arch rises above its half-span.
    soffit, ends = whole_arch("semicircular", n=40)
    record = record_of(soffit * [1.0, 1.004], ends)
    candidates = fit_arch(record, FitOptions(movement=False)).candidates
    for family in (Family.SEGMENTAL, Family.THREE_CENTRED):
        shape = candidates[family].shape
        assert "fits best as the semicircle" in candidates[family].because
        assert shape.rise_mm == pytest.approx(shape.half_span_mm, rel=1e-12)
        assert shape.half_span_mm == pytest.approx(
            candidates[Family.SEMICIRCULAR].shape.half_span_mm, abs=0.2
        )
    assert candidates[Family.ELLIPTICAL].shape.rise_mm == pytest.approx(1004.0, abs=1e-6)


def test_the_users_choice_is_carried_on_whatever_the_verdict() -> None:
    fit = fit_arch(surveyed(Family.ELLIPTICAL), FitOptions(chosen=Family.FIVE_CENTRED))
    assert fit.verdict.family is Family.ELLIPTICAL
    assert fit.chosen is Family.FIVE_CENTRED
    assert fit.best.family is Family.FIVE_CENTRED
    assert fit.best.shape.axis_x_mm == 0.0


def test_only_the_families_asked_for_are_tried() -> None:
    fit = fit_arch(surveyed(Family.ELLIPTICAL), FitOptions(families=(Family.SEGMENTAL, Family.ELLIPTICAL)))
    assert set(fit.candidates) == {Family.SEGMENTAL, Family.ELLIPTICAL}


def test_free_sectors_let_a_five_centred_arch_have_its_own() -> None:
    sectors = (0.75, 0.45)
    shape = curves.five_centred_free(
        2400.0, 800.0, 560.0, first_angle_rad=sectors[0], second_angle_rad=sectors[1]
    )
    record = simulate(ArchSpec(shape, n_courses=81, irregularity_mm=0.5, gross_ratio=0.0), 4).record
    best = fit_arch(record, FitOptions(free_sectors=True, movement=False)).candidates[Family.FIVE_CENTRED]
    assert best.parameters[-2:] == ("sector_1_rad", "sector_2_rad")
    for k, true in enumerate(sectors):
        said = best.figures[f"sector_{k + 1}_rad"]
        assert abs(said.value - true) < 4 * said.sigma
    equal = fit_arch(record, FitOptions(movement=False)).candidates[Family.FIVE_CENTRED]
    assert best.rms_mm < equal.rms_mm


def test_irregularity_and_effective_points_are_those_of_the_arch() -> None:
    spec = ArchSpec(SHAPES[Family.ELLIPTICAL], n_courses=121, irregularity_mm=2.0, point_sigma_mm=1.0)
    found = [fit_arch(simulate(spec, seed).record, FitOptions(movement=False)) for seed in range(8)]
    assert np.mean([fit.irregularity_mm for fit in found]) == pytest.approx(2.0, rel=0.25)
    assert all(fit.n_effective < 0.5 * len(fit.points.index) for fit in found)


def test_a_handbook_construction_is_named() -> None:
    fit = fit_arch(surveyed(Family.THREE_CENTRED, irregularity_mm=0.5, gross_ratio=0.0))
    assert fit.best.construction == "three arcs of 60 degrees"


@pytest.mark.parametrize("family", Family)
def test_what_the_points_alone_leave_open_is_named(family: Family) -> None:
    weighed, ground = weighed_of(surveyed(family))
    still = weighed.stills[family]
    grams = still.grams.copy()
    grams[:, 2], grams[:, :, 2] = 0.0, 0.0  # as if no point told anything of the springing level
    final = final_fit(replace(still, grams=grams), ground)
    assert not final.converged
    assert "do not determine springing_y_mm" in final.because
    assert np.isfinite(final.covariance).all()


def test_a_figure_that_cannot_vary_has_no_uncertainty() -> None:
    best = fit_arch(surveyed(Family.SEMICIRCULAR)).candidates[Family.SEMICIRCULAR]
    assert best.figures["sector_1_rad"].sigma == 0.0
    assert best.figures["half_span_mm"].sigma == best.figures["radius_1_mm"].sigma > 0.0


def test_an_arch_of_two_rings_may_hinge_at_the_back_of_either() -> None:
    record = surveyed(Family.ELLIPTICAL, n_rings=2, depth_mm=110.0)
    assert tuple(_depths(record)) == (110.0, 230.0, 0.0)  # and 10 mm of collar joint
    assert tuple(_depths(replace(record, rings=()))) == (0.0, 0.0, 0.0)
    one = surveyed(Family.ELLIPTICAL, depth_mm=110.0)
    assert tuple(_depths(one)) == (110.0, 110.0, 0.0)
