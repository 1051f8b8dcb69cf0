"""The cosine quantogram against published and independently computed examples of quantum hunting."""

import numpy as np
import pytest

from survey.fitting.module import quantogram, refined_quantum

MUSTONEN = [3, 6, 7, 9, 12, 14, 15, 18, 21, 24, 27, 28, 30, 33, 35]
"""S. Mustonen's example of a set with two quanta, 3 and 3.5 (help text on quanta, text seen)."""

LENGTHS = [563, 827, 1119, 1404, 1665, 1947, 2237, 2496, 2791, 3346, 4174, 5024]
"""Lengths set out in a Castilian foot, invented for an independent computation."""


def test_scores_of_mustonens_example():
    """The formula is Kendall's (1974); the two scores were computed independently from it."""
    np.testing.assert_allclose(quantogram(MUSTONEN, [3.0, 3.5]), [3.28634, 0.94903], atol=5e-6)


def test_highest_peak_of_mustonens_example():
    quanta = np.arange(2.5, 4.5, 0.0005)
    score = quantogram(MUSTONEN, quanta)
    assert quanta[score.argmax()] == pytest.approx(2.995, abs=0.001)
    assert score.max() == pytest.approx(3.2941, abs=5e-5)
    assert score.max() < np.sqrt(2 * len(MUSTONEN)) == pytest.approx(5.4772, abs=5e-5)


def test_peak_of_lengths_in_castilian_feet():
    quanta = np.arange(200.0, 360.0, 0.01)
    score = quantogram(LENGTHS, quanta)
    assert quanta[score.argmax()] == pytest.approx(278.73, abs=0.01)
    assert score.max() == pytest.approx(4.834, abs=5e-4)
    np.testing.assert_allclose(quantogram(LENGTHS, [304.8, 324.839]), [-1.062, -0.787], atol=5e-4)


def test_refined_quantum_of_lengths_in_castilian_feet():
    """Least squares over the multiples 2 to 10, 12, 15 and 18; rms misfit 7.25 mm."""
    refined = refined_quantum(LENGTHS, 278.73)
    assert refined.value == pytest.approx(278.724, abs=5e-4)
    assert refined.sigma == pytest.approx(0.231, abs=5e-4)
