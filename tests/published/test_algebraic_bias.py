"""What algebraic fits do to short arcs and this fit does not: Kasa's circle, Halir and Flusser's ellipse.

Both as scikit-image fits them (CircleModel, EllipseModel). That they draw short arcs in is well known
(Gander, Golub and Strebel 1994, from memory; scikit-image issue 5186, text seen); the sizes of the bias
were computed independently on arcs of 100 points with 4 mm of noise, an ellipse of 2000 x 900 mm and a
circle of 2000 mm.
"""

import numpy as np
import pytest
from fitting.free.arcs import noisy_arc
from skimage.measure import CircleModel, EllipseModel

from survey.fitting.free.circle import fit_circle_orthogonal
from survey.fitting.free.ellipse import fit_ellipse_orthogonal

SEEDS = range(60)


@pytest.mark.parametrize(
    ("arc_deg", "most_major_mm", "excess_ratio"), [(120.0, 1975.0, 0.034), (90.0, 1760.0, 0.23)]
)
def test_direct_ellipses_shrink_and_this_one_does_not(arc_deg, most_major_mm, excess_ratio):
    ours, theirs, excess = [], [], []
    for seed in SEEDS:
        points = noisy_arc(100, arc_deg, seed)
        fit = fit_ellipse_orthogonal(points)
        direct = EllipseModel.from_estimate(points)
        ours.append(fit.semi_major_mm)
        theirs.append(max(direct.axis_lengths))
        excess.append(np.sum(direct.residuals(points) ** 2) / fit.ss_mm2 - 1.0)
    assert np.median(theirs) < most_major_mm
    assert np.median(ours) == pytest.approx(2000.0, rel=0.015)
    assert np.median(excess) == pytest.approx(excess_ratio, rel=0.25)
    assert min(excess) > -1e-9


def test_kasas_circle_shrinks_and_this_one_does_not():
    ours, theirs, excess = [], [], []
    for seed in range(400):
        points = noisy_arc(100, 60.0, seed, a_mm=2000.0, b_mm=2000.0)
        fit = fit_circle_orthogonal(points)
        kasa = CircleModel.from_estimate(points)
        ours.append(fit.radius_mm)
        theirs.append(kasa.radius)
        excess.append(np.sum(kasa.residuals(points) ** 2) / fit.ss_mm2 - 1.0)
    assert np.mean(np.subtract(ours, theirs)) == pytest.approx(5.0, rel=0.2)
    assert np.mean(theirs) == pytest.approx(1995.0, abs=2.0)
    assert np.mean(ours) == pytest.approx(2000.0, abs=2.0)
    assert np.median(excess) == pytest.approx(0.0021, rel=0.5)
    assert min(excess) > -1e-12
