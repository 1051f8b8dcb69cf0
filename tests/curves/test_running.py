"""Arc length by quadrature, both ways, against integrals in closed form."""

import numpy as np
import pytest

from survey.curves.running import RunningLength

CLOSED = {
    "square root": (lambda u: 0.5 / np.sqrt(u + 1.0), lambda u: np.sqrt(u + 1.0) - 1.0, (-0.9, 0.0, 40.0)),
    "exponential": (np.exp, lambda u: np.exp(u) - 1.0, (-3.0, 0.0, 2.0, 9.0)),
    "wave": (lambda u: 2.0 + np.cos(3 * u), lambda u: 2 * u + np.sin(3 * u) / 3, (-5.0, 25.0)),
    "step": (
        lambda u: np.where(u < 1.0, 1.0, 3.0),
        lambda u: np.where(u < 1.0, u, 3 * u - 2),
        (-1.0, 1.0, 4.0),
    ),
}


@pytest.mark.parametrize(("speed", "length", "marks"), CLOSED.values(), ids=CLOSED.keys())
def test_closed_forms_both_ways(speed, length, marks):
    table = RunningLength.of(speed, np.array(marks))
    u = np.linspace(marks[0], marks[-1], 1001)
    whole = float(length(marks[-1]) - length(marks[0]))
    np.testing.assert_allclose(table.at(u), length(u), rtol=0, atol=1e-12 * whole)
    np.testing.assert_allclose(speed(u) * (table.parameter(length(u)) - u), 0.0, rtol=0, atol=1e-12 * whole)


def test_a_little_past_the_ends_goes_on():
    """Rounding may leave a station a hair outside the table; the last polynomial then still answers."""
    table = RunningLength.of(np.exp, np.array([0.0, 1.0]))
    assert table.parameter(np.array([-1e-9]))[0] == pytest.approx(-1e-9, rel=1e-6)
    assert table.at(np.array([1.0 + 1e-9]))[0] == pytest.approx(np.exp(1.0 + 1e-9) - 1.0, rel=1e-14)
