"""What must not matter to a fit: the unit of the record, the size of the arch, and how it is turned.

Scaling commutes with the fit of a curve under a given scatter. It does not commute with :func:`fit_arch` as a
whole, and is not meant to: how crooked bricks lie is expected in millimetres, whatever the span.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fitting.builds import EXAMPLES, FAMILY_EXAMPLES, record_of, whole_arch
from recovery.simulated import ArchSpec, simulate

from survey import curves
from survey.curves import Family
from survey.fitting import FitOptions, fit_arch
from survey.fitting.choosing.fitted import fit_standing
from survey.fitting.families.standing import Standing
from survey.fitting.result import ArchFit
from survey.fitting.sightings import Sightings, sightings_of
from survey.fitting.solving.engine import Solution
from survey.fitting.solving.noise import Scatter, nodes_of, whitener
from survey.record import read_record
from survey.record.model import UNKNOWN, Known, KnownDimensions, Record

SHAPES = {
    Family.SEMICIRCULAR: curves.semicircular(1100.0),
    Family.SEGMENTAL: curves.segmental(2600.0, 600.0),
    Family.ELLIPTICAL: curves.elliptical(2400.0, 750.0),
    Family.THREE_CENTRED: curves.three_centred_sixty(2400.0, 800.0),
    Family.FIVE_CENTRED: curves.five_centred(2400.0, 800.0, 620.0),
}
SCATTER = Scatter(irregularity_mm=1.5, correlation_mm=180.0)
SIZES = {"axis_x_mm": 9.0, "springing_y_mm": -7.0, "half_span_mm": 12.0, "rise_mm": 6.0, "radius_1_mm": 3.0}


def rough_sightings(name: str) -> Sightings:
    """Points some millimetres off an example, with a span known beforehand."""
    soffit, ends = whole_arch(name, n=20)
    rng = np.random.default_rng(5)
    known = KnownDimensions(span=Known(2 * EXAMPLES[name][1][0] + 3.0, 2.0))
    return sightings_of(
        record_of(
            soffit + rng.normal(0.0, 3.0, soffit.shape), ends + rng.normal(0.0, 3.0, (2, 2)), known=known
        )
    )


def scaled(seen: Sightings, factor: float) -> Sightings:
    """Everything that is a length, scaled: places, uncertainties and what is known."""
    span = seen.known.span
    assert span is not None
    return replace(
        seen,
        xy_mm=factor * seen.xy_mm,
        sigma_mm=factor * seen.sigma_mm,
        end_sigma_mm=factor * seen.end_sigma_mm,
        centre_mm=factor * seen.centre_mm,
        known=KnownDimensions(span=Known(factor * span.value_mm, factor * span.sigma_mm)),
    )


def fitted(name: str, seen: Sightings, factor: float, *, tilt: bool) -> tuple[Solution, np.ndarray]:
    """Fit of scaled sightings, and what each parameter is scaled by (angles by 1)."""
    standing = Standing(seen, EXAMPLES[name][0], tilt)
    by = np.where([n.endswith("_mm") for n in standing.names], factor, 1.0)
    off = np.array([SIZES.get(n, 0.01) for n in standing.names])
    true = np.array([*(-seen.centre_mm / factor), *EXAMPLES[name][1], *([0.0] if tilt else [])])
    scatter = Scatter(factor * SCATTER.irregularity_mm, factor * SCATTER.correlation_mm)
    nodes = nodes_of(standing.stations(by * true), seen.course)
    metric = whitener(nodes, seen.sigma_mm, np.ones(len(seen)), scatter)
    return fit_standing(standing, metric, by * (true + off)), by


@pytest.mark.parametrize("factor", [1e-3, 1 / 25.4, 304.8])
@pytest.mark.parametrize("tilt", [False, True], ids=["level", "tilted"])
@pytest.mark.parametrize("name", FAMILY_EXAMPLES)
def test_scaling_commutes_with_the_fit_of_a_curve(name: str, tilt: bool, factor: float) -> None:
    seen = rough_sightings(name)
    plain, _ = fitted(name, seen, 1.0, tilt=tilt)
    other, by = fitted(name, scaled(seen, factor), factor, tilt=tilt)
    assert plain.converged
    assert other.converged
    sigma = np.sqrt(np.diag(plain.covariance()))
    assert np.abs(other.parameters / by - plain.parameters) / sigma == pytest.approx(0.0, abs=1e-7)
    assert other.parameters / by == pytest.approx(plain.parameters, rel=1e-9, abs=1e-9)
    assert other.covariance() / np.outer(by, by) == pytest.approx(plain.covariance(), rel=1e-6, abs=1e-12)
    assert other.cost == pytest.approx(plain.cost, rel=1e-9)


def written(folder: Path, record: Record, unit: str, in_mm: float) -> Path:
    """The record as a folder in a unit, every digit kept."""
    folder.mkdir()
    ring, points = record.rings[0], record.points
    (folder / "arch.toml").write_text(
        f'[arch]\nname = "One arch"\n[measure]\nunit = "{unit}"\n'
        f"point_sigma = {record.point_sigma_mm / in_mm!r}\n"
        f"[[rings]]\nring = 1\ncourses = {ring.courses}\ndepth = {ring.depth_mm / in_mm!r}\n"
        f"brick_width = {ring.brick_width_mm / in_mm!r}\n",
        encoding="utf-8",
    )
    rows = ["point,x,y,feature,ring,course,edge"]
    for name, xy, feature, course, edge in zip(
        points.name, points.xy_mm / in_mm, points.feature, points.course, points.edge, strict=True
    ):
        number = "" if course == UNKNOWN else course
        rows.append(f"{name},{float(xy[0])!r},{float(xy[1])!r},{feature},1,{number},{edge}")
    (folder / "points.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("family", Family)
def test_one_arch_recorded_in_any_unit_is_one_fit(tmp_path: Path, family: Family) -> None:
    spec = ArchSpec(SHAPES[family], n_courses=61, point_sigma_mm=1.2, irregularity_mm=1.0)
    record = simulate(spec, 11).record
    units = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
    fits = {
        unit: fit_arch(read_record(written(tmp_path / unit, record, unit, in_mm)))
        for unit, in_mm in units.items()
    }
    here = fits["mm"]
    assert here.chosen is family
    for there in fits.values():
        assert there.verdict.because == here.verdict.because
        assert there.verdict.probability == pytest.approx(dict(here.verdict.probability), abs=1e-9)
        assert there.verdict.largest_difference_mm == pytest.approx(
            here.verdict.largest_difference_mm, rel=1e-9
        )
        assert there.origin_mm == pytest.approx(here.origin_mm, abs=1e-8)
        for candidate in here.candidates.values():
            same = there.candidates[candidate.family]
            assert list(same.figures) == list(candidate.figures)
            for name, figure in candidate.figures.items():
                assert same.figures[name].value == pytest.approx(figure.value, rel=1e-9, abs=1e-7)
                assert same.figures[name].sigma == pytest.approx(figure.sigma, rel=1e-6, abs=1e-9)


def in_its_own_frame(fit: ArchFit, names: tuple[str, ...]) -> np.ndarray:
    return np.array([[fit.best.figures[n].value, fit.best.figures[n].sigma] for n in names])


@pytest.mark.parametrize("family", Family)
def test_an_arch_turned_in_its_wall_is_found_with_its_tilt(family: Family) -> None:
    spec = ArchSpec(SHAPES[family], n_courses=61, point_sigma_mm=1.2, irregularity_mm=1.0)
    record = simulate(spec, 11).record
    angle = 0.02
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    points = replace(record.points, xy_mm=record.points.xy_mm @ turn.T)
    level = fit_arch(record, FitOptions(tilt=True))
    tilted = fit_arch(replace(record, points=points), FitOptions(tilt=True))
    assert tilted.chosen is level.chosen is family
    assert tilted.best.shape.tilt_rad - level.best.shape.tilt_rad == pytest.approx(angle, abs=1e-7)
    own = ("half_span_mm", "rise_mm", "length_mm")
    turned, here = in_its_own_frame(tilted, own), in_its_own_frame(level, own)
    assert turned[:, 0] == pytest.approx(here[:, 0], abs=1e-4)
    # The chance that a spread hides widens the half-span; moved arches are averaged about near optima only.
    assert turned[:, 1] == pytest.approx(here[:, 1], rel=0.03)
    assert tilted.origin_mm == pytest.approx(turn @ level.origin_mm, abs=1e-4)
    assert tilted.points.deviation_mm == pytest.approx(level.points.deviation_mm, abs=1e-4)
    assert tilted.verdict.probability == pytest.approx(dict(level.verdict.probability), abs=1e-4)
