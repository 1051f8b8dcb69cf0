"""The pattern of the joints of a ring: trend from springing to crown, alternation, sides, scatter."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from survey.curves.protocol import Floats

LEAST_SCATTER_MM = 0.2
"""No mason lays joints more alike than this; keeps the pattern from being taken for exact."""
OUTLIER = 3.5
"""Joints further from the pattern than so many robust deviations do not shape it (cracks, patches)."""
FEWEST_MIRROR_PAIRS = 8


class Trait(StrEnum):
    """What a pattern of joints may show, each one column of its regression."""

    MEAN = "mean"
    TIGHTENING = "springing to crown"
    CURVED = "springing to crown, curved"
    LEFT_RIGHT = "left to right"
    ALTERNATING = "alternating"
    ALTERNATING_MIRRORED = "alternating from both springings"
    SKEWBACK = "at the skewbacks"


@dataclass(frozen=True, slots=True)
class JointScatter:
    """Scatter of the measured joints about their pattern, apart from the errors of reading them.

    Attributes
    ----------
    own_mm : float
        Standard deviation, at least ``LEAST_SCATTER_MM``; 0 where no joint was read.
    reading_mm : float
        Standard uncertainty of one reading.
    most_mm : float
        It is not greater, at 95 %.
    n_joints : int
        So many measured joints tell it.
    shows : bool
        Whether it stands out of the reading errors at all, at 95 %.
    """

    own_mm: float
    reading_mm: float = 0.0
    most_mm: float = 0.0
    n_joints: int = 0
    shows: bool = False

    @classmethod
    def of(cls, rest_mm: Floats, sigma_mm: Floats, n_traits: int) -> JointScatter:
        r"""Scatter from what a pattern leaves over.

        Notes
        -----
        Of joints with reading errors :math:`u` and scatter :math:`s`, the squares left over by a pattern of p
        traits are :math:`(s^2 + u^2)\chi^2_{n-p}`, which bounds :math:`s` from both sides. With no degree of
        freedom left nothing is known of it.
        """
        freedom = rest_mm.size - n_traits
        squares, reading = float(rest_mm @ rest_mm), float((sigma_mm**2).mean())
        own = squares / max(freedom, 1) - reading
        least, most = 0.0, float("inf")
        if freedom > 0:
            # the chi-squared quantile by the inverse of the incomplete gamma function
            low, high = (2.0 * float(gammaincinv(freedom / 2.0, p)) for p in (0.05, 0.95))
            least, most = squares / high - reading, squares / low - reading
        return cls(
            own_mm=float(np.sqrt(max(own, LEAST_SCATTER_MM**2))),
            reading_mm=float(np.sqrt(reading)),
            most_mm=float(np.sqrt(max(most, LEAST_SCATTER_MM**2))),
            n_joints=rest_mm.size,
            shows=least > 0.0,
        )


@dataclass(frozen=True, slots=True, eq=False)
class JointPattern:
    """Joints of one ring as a pattern with scatter about it.

    Attributes
    ----------
    expected_mm : (N + 1,) float
        The joint the pattern, and the mirror joint where mirrored joints are alike, foretell.
    scatter : JointScatter
        Of the measured joints about the pattern; those inferred from it have none.
    traits : tuple of Trait
    size_mm : (len(traits),) float
        Size of each trait: the mean; how much wider the springing joints are than the crown's (linear and
        curved part); how much wider the right ones are than the left; the swing of an alternation; and what
        the skewback joints have more.
    mirror_correlation : float
        Correlation of the departures from the pattern of mirrored joints; 0 where not established.
    outliers : (N + 1,) bool
        Read joints that depart too far from the pattern to shape it.
    """

    expected_mm: Floats
    scatter: JointScatter
    traits: tuple[Trait, ...]
    size_mm: Floats
    mirror_correlation: float
    outliers: NDArray[np.bool_]

    @property
    def scatter_mm(self) -> float:
        """Standard deviation of the joints about the pattern, without the reading errors."""
        return self.scatter.own_mm


def find_pattern(joint_mm: Floats, sigma_mm: Floats, *, default_mm: float) -> JointPattern:
    """Describe the joints of one ring.

    Parameters
    ----------
    joint_mm : (N + 1,) float, mm
        Read joints from the left springing's to the right one's, NaN where none.
    sigma_mm : (N + 1,) float, mm
        Standard uncertainties of the readings.
    default_mm : float
        The joint where none was read at all.

    Notes
    -----
    Weighted least squares on the traits; a trait is taken in while it lowers the Bayesian information
    criterion. Gross departures are then left out and the pattern found anew.
    """
    n = joint_mm.size
    read = ~np.isnan(joint_mm)
    none_out = np.zeros(n, dtype=bool)
    if not read.any():
        mean = np.array([default_mm])
        return JointPattern(np.full(n, default_mm), JointScatter(0.0), (Trait.MEAN,), mean, 0.0, none_out)
    columns = _columns(n)
    use = read
    for _ in range(2):
        traits, size, scatter = _fit(columns, joint_mm, sigma_mm, use)
        base = sum((size[i] * columns[t] for i, t in enumerate(traits)), np.zeros(n))
        off = joint_mm - base
        spread = max(1.4826 * float(np.median(np.abs(off[read]))), LEAST_SCATTER_MM)
        outliers = read & (
            np.abs(np.where(read, off, 0.0)) > OUTLIER * np.hypot(spread, np.where(read, sigma_mm, 0.0))
        )
        use = read & ~outliers
    correlation = _mirror_correlation(np.where(use, off, np.nan))
    mirrored = np.where(use[::-1], off[::-1], 0.0)
    expected = base + correlation * mirrored
    return JointPattern(expected, scatter, traits, size, correlation, outliers)


def _columns(n: int) -> dict[Trait, Floats]:
    """Regression columns (n,) of all traits, each running over 1 so that sizes are in mm."""
    k = np.arange(n)
    along = np.linspace(-1.0, 1.0, n) if n > 1 else np.zeros(1)
    ends = np.minimum(k, n - 1 - k)
    return {
        Trait.MEAN: np.ones(n),
        Trait.TIGHTENING: np.abs(along) - 0.5,
        Trait.CURVED: along**2 - 1.0 / 3.0,
        Trait.LEFT_RIGHT: 0.5 * along,
        Trait.ALTERNATING: 0.5 - (k % 2),
        Trait.ALTERNATING_MIRRORED: 0.5 - (ends % 2),
        Trait.SKEWBACK: (ends == 0).astype(float),
    }


def _fit(
    columns: dict[Trait, Floats], joint: Floats, sigma: Floats, use: NDArray[np.bool_]
) -> tuple[tuple[Trait, ...], Floats, JointScatter]:
    """Traits taken in, their sizes, and the scatter about the pattern."""
    y, variance = joint[use], sigma[use] ** 2
    n = y.size
    weight = 1.0 / np.sqrt(variance + np.var(y) + LEAST_SCATTER_MM**2)
    names = tuple(columns)
    matrix = np.column_stack([columns[t][use] * weight for t in names])
    target = y * weight
    gram, along, power = matrix.T @ matrix, matrix.T @ target, float(target @ target)
    # two traits may be one and the same in a short or gappy ring: a hair of weight on the diagonal parts them
    gram[np.diag_indices_from(gram)] += 1e-9 * np.diag(gram)

    def solve(chosen: list[int]) -> tuple[Floats, float]:
        inner, right = gram[np.ix_(chosen, chosen)], along[chosen]
        size = np.linalg.solve(inner, right)
        left_over = max(power - 2.0 * float(size @ right) + float(size @ inner @ size), 0.0)
        score = n * np.log(max(left_over / n, 1e-12)) + len(chosen) * np.log(n)
        return np.asarray(size, dtype=float), float(score)

    chosen = [names.index(Trait.MEAN)]
    size, score = solve(chosen)
    open_to = [k for k in range(len(names)) if gram[k, k] > 0.0 and k not in chosen]
    while open_to and n > 3 * (len(chosen) + 1):
        tries = [(k, *solve([*chosen, k])) for k in open_to]
        best, next_size, next_score = min(tries, key=lambda x: x[2])
        if next_score > score - 2.0:  # worth a word to the mason only when the evidence is more than marginal
            break
        chosen, size, score = [*chosen, best], next_size, next_score
        open_to.remove(best)
    taken = tuple(names[k] for k in chosen)
    rest = y - sum(s * columns[t][use] for s, t in zip(size, taken, strict=True))
    return taken, size, JointScatter.of(rest, sigma[use], len(taken))


def _mirror_correlation(off: Floats) -> float:
    """Correlation of mirrored departures where enough pairs were read and it is beyond chance, else 0."""
    half = off.size // 2
    left, right = off[:half], off[::-1][:half]
    both = ~np.isnan(left) & ~np.isnan(right)
    pairs = int(both.sum())
    if pairs < FEWEST_MIRROR_PAIRS:
        return 0.0
    a, b = left[both], right[both]
    power = 0.5 * float(a @ a + b @ b)
    correlation = float(a @ b) / power if power > 0.0 else 0.0
    return correlation if correlation > 2.0 / np.sqrt(pairs) else 0.0
