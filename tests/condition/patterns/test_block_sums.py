"""Sums over blocks, against the matrix written out."""

from __future__ import annotations

import numpy as np
import pytest
from condition.patterns.chains import written_out

from survey.condition.patterns.block_sums import ChainInverse, block_sums


@pytest.mark.parametrize("every", [1, 3])
def test_sums_are_those_of_the_matrix_written_out(every: int) -> None:
    rng = np.random.default_rng(every)
    n = 24
    ratio = rng.uniform(0.0, 1.0, n)
    ratio[[7, 15]] = 0.0, 1.0
    matrix = ChainInverse(rng.normal(size=n), rng.normal(size=n), rng.normal(size=n), ratio)
    columns, root = rng.normal(size=(n, 2)), rng.normal(size=(2, 2))
    dense = written_out(matrix) - columns @ (root @ root.T) @ columns.T
    pairs = [(a, b) for a in range(n // every) for b in range(a + 1, n // every + 1)]
    first, behind = np.array(pairs).T
    expected = [dense[every * a : every * b, every * a : every * b].sum() for a, b in pairs]
    sums = block_sums(matrix, columns, root @ root.T, every=every)
    assert sums(first, behind) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_a_long_chain_that_forgets_at_once_neither_overflows_nor_loses_anything() -> None:
    n = 4000
    ratio = np.full(n, 1e-9)
    matrix = ChainInverse(np.ones(n), np.ones(n), np.ones(n), ratio)
    sums = block_sums(matrix, np.zeros((n, 1)), np.eye(1))
    assert sums(np.array([0, 3000]), np.array([n, 3003])) == pytest.approx([n, 3.0], rel=1e-6)
