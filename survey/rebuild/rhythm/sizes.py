"""Brick sizes that recur in a ring, and which size stood where none was read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats

MAX_SIZES = 3
LEAST_SEPARATION = 2.5
"""Sizes closer than so many standard deviations of one size are one size (judgement)."""
LEAST_SCATTER_MM = 0.1
"""Finer than a rule reads: identical readings are no proof of identical bricks."""
FEWEST_OF_A_SIZE = 3
"""One or two odd widths are odd bricks or misreadings, not a size."""
MIXTURE_ROUNDS = 60
MOST_CUTS = 40
"""Places tried for a cut; where the mixture starts from need not be exact."""
LEAST_DIFFERENCE_MM = 2.0
"""Bricks of one make differ by as much (class T2 of EN 771-1 for small sizes: values from memory)."""
LONGEST_PERIOD = 4
"""Longest repeat looked for along the ring: header, stretcher and the like."""


@dataclass(frozen=True, slots=True, eq=False)
class BrickSizes:
    """Recurring widths of one ring.

    Attributes
    ----------
    sizes_mm : (k,) float
        Mean width of each size, growing.
    scatter_mm : float
        Standard deviation of the readings about their size, reading errors included.
    of_course : (N,) int
        Size of each course, read or predicted.
    order : str
        How the sizes follow one another: ``one size``, ``mirrored``, ``every 2`` …, ``mostly`` (no order
        found).
    agreement : float
        Share of the read courses whose size that order predicts from the others.
    """

    sizes_mm: Floats
    scatter_mm: float
    of_course: NDArray[np.int64]
    order: str
    agreement: float

    @property
    def width_of_course_mm(self) -> Floats:
        """Width (N,) of the size of each course."""
        return np.asarray(self.sizes_mm[self.of_course])


def find_sizes(width_mm: Floats, *, default_mm: float) -> BrickSizes:
    """Sort the widths of a ring into one to three sizes and predict the courses that were not read.

    Parameters
    ----------
    width_mm : (N,) float, mm
        Read widths, NaN where none.
    default_mm : float
        Width of the ring's brick by arch.toml, for a ring of which no width was read.

    Notes
    -----
    For each number of sizes a normal mixture of one scatter is fitted by expectation and maximisation, from
    a split of least squares found by prefix sums over the sorted widths. The number is the one of
    least Bayesian information criterion whose sizes stand apart by ``LEAST_SEPARATION``.
    """
    read = ~np.isnan(width_mm)
    if not read.any():
        return BrickSizes(np.array([default_mm]), 0.0, np.zeros(width_mm.size, np.int64), "one size", 1.0)
    sizes, scatter = _split(np.sort(width_mm[read]))
    nearest = np.abs(width_mm[read][:, None] - sizes).argmin(axis=1)
    of_course = np.full(width_mm.size, -1, dtype=np.int64)
    of_course[read] = nearest
    if sizes.size == 1:
        return BrickSizes(sizes, scatter, np.zeros(width_mm.size, np.int64), "one size", 1.0)
    order, agreement, predicted = _best_order(of_course, sizes.size)
    return BrickSizes(sizes, scatter, np.where(read, of_course, predicted), order, agreement)


def _split(ordered: Floats) -> tuple[Floats, float]:
    """Sizes and scatter of the best mixture of one to three sizes for sorted widths."""
    n = ordered.size
    shifted = ordered - ordered.mean()
    sums = np.concatenate([[0.0], np.cumsum(shifted)])
    squares = np.concatenate([[0.0], np.cumsum(shifted**2)])
    best, best_score = ordered.mean(keepdims=True), np.inf
    for k in range(1, min(MAX_SIZES, n // 4) + 1):
        cuts = _cuts(sums, squares, k)
        parts = [ordered[a:b] for a, b in zip([0, *cuts], [*cuts, n], strict=True)]
        means, scatter, log_likelihood = _mixture(ordered, parts)
        fewest = np.bincount(np.abs(ordered[:, None] - means).argmin(axis=1), minlength=k).min()
        apart = np.diff(means).min() if k > 1 else np.inf
        if k > 1 and (
            fewest < FEWEST_OF_A_SIZE or apart < max(LEAST_SEPARATION * scatter, LEAST_DIFFERENCE_MM)
        ):
            continue
        score = 2.0 * k * np.log(n) - 2.0 * log_likelihood  # k sizes, k - 1 shares, one scatter
        if score < best_score:
            best, best_score = means, score
    nearest = np.abs(ordered[:, None] - best).argmin(axis=1)
    sizes = np.array([np.median(ordered[nearest == k]) for k in range(best.size)])
    return sizes, 1.4826 * float(np.median(np.abs(ordered - sizes[nearest])))


def _mixture(widths: Floats, parts: list[Floats]) -> tuple[Floats, float, float]:
    """Means, common scatter and log likelihood of a normal mixture, by expectation and maximisation."""
    means = np.array([p.mean() for p in parts])
    share = np.array([p.size for p in parts]) / widths.size
    variance = max(sum(float(((p - p.mean()) ** 2).sum()) for p in parts) / widths.size, LEAST_SCATTER_MM**2)
    log_likelihood = -np.inf
    for _ in range(MIXTURE_ROUNDS):
        density = (
            share * np.exp(-0.5 * (widths[:, None] - means) ** 2 / variance) / np.sqrt(2 * np.pi * variance)
        )
        total = np.maximum(density.sum(axis=1), 1e-300)
        last, log_likelihood = log_likelihood, float(np.log(total).sum())
        if log_likelihood - last < 1e-3:
            break
        belongs = density / total[:, None]
        weight = np.maximum(belongs.sum(axis=0), 1e-12)
        means, share = belongs.T @ widths / weight, weight / widths.size
        spread = float((belongs * (widths[:, None] - means) ** 2).sum()) / widths.size
        variance = max(spread, LEAST_SCATTER_MM**2)
    return np.sort(means), float(np.sqrt(variance)), log_likelihood


def _cuts(sums: Floats, squares: Floats, k: int) -> list[int]:
    """Where to cut the sorted widths into k parts of least total squares, to a few widths."""
    n = sums.size - 1

    def cost(a: NDArray[np.int64] | int, b: NDArray[np.int64] | int) -> Floats:
        size = np.asarray(b) - np.asarray(a)
        inside = squares[b] - squares[a] - (sums[b] - sums[a]) ** 2 / np.maximum(size, 1)
        return np.where(size > 0, inside, np.inf)

    if k == 1:
        return []
    at = np.unique(np.linspace(1, n - 1, MOST_CUTS).astype(np.int64))
    if k == 2:
        return [int(at[np.argmin(cost(0, at) + cost(at, n))])]
    first, second = np.meshgrid(at, at, indexing="ij")
    i, j = np.unravel_index(np.argmin(cost(0, first) + cost(first, second) + cost(second, n)), first.shape)
    return [int(at[i]), int(at[j])]


def _best_order(of_course: NDArray[np.int64], n_sizes: int) -> tuple[str, float, NDArray[np.int64]]:
    """The order that best predicts each read course from the others, and what it predicts for all."""
    n = of_course.size
    course = np.arange(n)
    from_springing = np.minimum(course, n - 1 - course)
    groups = {"mostly": np.zeros(n, np.int64), "mirrored": from_springing}
    for period in range(2, LONGEST_PERIOD + 1):
        groups[f"every {period} from both springings"] = from_springing % period
        groups[f"every {period}"] = course % period
    read = of_course >= 0
    whole = np.bincount(of_course[read], minlength=n_sizes) / read.sum()
    best, best_score = ("mostly", 0.0, of_course), -1.0
    for name, group in groups.items():
        votes = np.zeros((int(group.max()) + 1, n_sizes))
        np.add.at(votes, (group[read], of_course[read]), 1.0)
        others = votes[group]
        covered = others[~read].any(axis=1).mean() if not read.all() else 1.0
        others[course[read], of_course[read]] -= 1.0  # a course must not vouch for itself
        guess = (others + 0.01 * whole).argmax(axis=1)
        agreement = float((guess[read] == of_course[read]).mean())
        # what the order says nothing about is left to the commonest size
        score = covered * agreement + (1.0 - covered) * float(whole.max())
        if score > best_score + 0.05:  # a richer order must pay for itself
            best, best_score = (name, agreement, (votes[group] + 0.01 * whole).argmax(axis=1)), score
    return best
