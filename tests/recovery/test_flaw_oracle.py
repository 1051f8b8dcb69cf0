"""The oracle of flaws knows the simulation as it is."""

from __future__ import annotations

import numpy as np
import pytest
from recovery.flaw_oracle import edges_of, laid, log_ratio, off_covariance
from recovery.flaws import Flawed, patched, relaid, still_arch, true_curve

from survey.fitting import fit_arch
from survey.fitting.options import FitOptions


def test_sound_arches_scatter_as_the_oracle_says() -> None:
    """Squares of whitened edges, along the curve and off it, are one in the mean: 40 arches, 7000 edges."""
    along, off, n = 0.0, 0.0, 0
    for seed in range(40):
        arch = still_arch(seed)
        edges = edges_of(arch)
        curve, origin = true_curve(arch)
        located = curve.locate(arch.record.points.xy_mm[edges.row] - origin)
        mean, covariance = laid(arch)
        at = np.ix_(edges.place, edges.place)
        covariance = covariance[at] + arch.spec.point_sigma_mm**2 * np.eye(len(edges.place))
        left = located.station_mm - mean[edges.place]
        along += float(left @ np.linalg.solve(covariance, left))
        covariance = off_covariance(arch, edges, located.station_mm)
        off += float(located.distance_mm @ np.linalg.solve(covariance, located.distance_mm))
        n += len(edges.place)
    assert along / n == pytest.approx(1.0, abs=0.04)
    assert off / n == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize("way", ["off", "along"])
def test_the_log_ratios_of_a_flaw_and_of_its_reverse_go_with_its_square(way: str) -> None:
    """Of a flaw t and of -t, r being the noise, they are t'Pr + t'Pt/2 and -t'Pr + t'Pt/2."""
    totals = []
    for seed in range(6):
        arch = still_arch(seed, gaps=False)
        fit = fit_arch(arch.record, FitOptions(families=(arch.shape.family,), movement=False))
        both: list[float] = []
        for sign in (1.0, -1.0):
            put: Flawed = (
                patched(arch, 6, sign * 6.0, seed) if way == "off" else relaid(arch, 8, sign * 3.0, seed)
            )
            both.append(log_ratio(arch, put, fit.best))
        smaller = patched(arch, 6, 3.0, seed) if way == "off" else relaid(arch, 8, 1.5, seed)
        opposite = patched(arch, 6, -3.0, seed) if way == "off" else relaid(arch, 8, -1.5, seed)
        half = log_ratio(arch, smaller, fit.best) + log_ratio(arch, opposite, fit.best)
        # The noise cancels between a flaw and its reverse; what is left goes with the square of its size.
        assert sum(both) == pytest.approx(4.0 * half, rel=1e-3)
        totals.append(sum(both))
    assert min(totals) > 0.0
