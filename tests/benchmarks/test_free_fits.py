"""Free fits beside other libraries.

    OPENBLAS_NUM_THREADS=1 pytest --benchmark-enable tests/benchmarks/test_free_fits.py

Without --benchmark-enable every fit runs once. The table of ratios is made by free_fit_table.py.
"""

import numpy as np
import pytest
from benchmarks.free_fit_peers import CIRCLE_PEERS, ELLIPSE_PEERS, floor
from benchmarks.free_fit_table import circle_ss, half_circle, half_ellipse

from survey.fitting import fit_circle_orthogonal, fit_ellipse_orthogonal

SIZES = (100, 1000, 10_000, 100_000)
PEER_SIZES = (100, 1000)


@pytest.mark.parametrize("n", SIZES)
def test_ellipse(benchmark, n):
    assert benchmark(fit_ellipse_orthogonal, half_ellipse(n)).converged


@pytest.mark.parametrize("n", SIZES)
def test_circle(benchmark, n):
    assert benchmark(fit_circle_orthogonal, half_circle(n)).converged


@pytest.mark.parametrize("n", SIZES)
def test_floor(benchmark, n):
    assert benchmark(floor, half_ellipse(n)).shape == (5, 5)


@pytest.mark.parametrize("n", PEER_SIZES)
@pytest.mark.parametrize("peer", list(ELLIPSE_PEERS))
def test_ellipse_peer(benchmark, peer, n):
    points = half_ellipse(n)
    found = benchmark(ELLIPSE_PEERS[peer], points)
    fit = fit_ellipse_orthogonal(points)
    assert np.abs((np.sort(found[2:4]) - np.sort(fit.parameters[2:4])) / np.sort(fit.sigmas[2:4])).max() < 5.0


@pytest.mark.parametrize("n", PEER_SIZES)
@pytest.mark.parametrize("peer", list(CIRCLE_PEERS))
def test_circle_peer(benchmark, peer, n):
    points = half_circle(n)
    found = np.asarray(benchmark(CIRCLE_PEERS[peer], points))
    least = fit_circle_orthogonal(points).ss_mm2
    assert least * (1.0 - 1e-12) <= circle_ss(points, found) <= 1.01 * least
