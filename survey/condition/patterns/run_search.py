"""A run of courses that stands apart from the rest by one amount: where it lies, and the evidence for it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from survey.condition.courses.middles import middle_of
from survey.condition.patterns.noise_model import CourseNoise
from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints
from survey.fitting.result import Estimate

LENGTH_RATIO = 1.1
"""Long runs are tried in lengths of about this ratio, and the best of them again with ends moved a little."""
MOST_LEFT_OUT = 3
BESIDE = 8
"""So many courses on either side of a run are those beside it."""
HOPELESS_BELOW = 2.2
"""Under the one weighing that suits the values best without any run, evidence that falls short of what is
needed by more than this does not reach it under the others: they differ too little (of 93
runs found by trying all, none was further below)."""


class RunWeighing(Protocol):
    """One choice of scatter: pull of every course, likelihood without a run, precision of every run."""

    @property
    def pull(self) -> Floats: ...

    @property
    def log_likelihood(self) -> float: ...

    @property
    def run_precision(self) -> Callable[[Ints, Ints], Floats]: ...


@dataclass(frozen=True, slots=True)
class Run:
    """The likeliest run of courses apart.

    Attributes
    ----------
    first, last : int
        Indices into the values.
    step : Estimate
        How far it stands apart.
    evidence : float
        Log of how much likelier the values are with some run than without any.
    weighing : int
        Index of the weighing under which it is likeliest.
    """

    first: int
    last: int
    step: Estimate
    evidence: float
    weighing: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """Every run of courses that is tried: first and behind the last index (m,), and the log of its prior."""

    first: Ints
    behind: Ints
    log_prior: Floats

    @property
    def length(self) -> Ints:
        """Numbers of courses (m,)."""
        return np.asarray(self.behind - self.first, dtype=np.int64)


def _lengths(shortest: int, longest: int) -> Ints:
    """Lengths of runs that are tried, from every one among short ones to one in ten per cent among long ones.

    Examples
    --------
    >>> _lengths(3, 30).tolist()
    [3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 22, 24, 26, 29]
    """
    found = [shortest]
    while (after := max(found[-1] + 1, round(LENGTH_RATIO * found[-1]))) <= longest:
        found.append(after)
    return np.array(found)


@lru_cache(maxsize=64)
def windows_of(n: int, shortest: int, longest: int) -> Windows:
    """Runs of ``shortest`` to ``longest`` among n courses.

    Every place of a length is alike. Lengths weigh as their inverse: a run of 4 to 8 courses is as likely as
    one of 8 to 16. Of long runs only some lengths are tried, each for those about it.
    """
    length = _lengths(shortest, longest)
    share = np.diff(np.log(np.append(length, longest + 1)))
    n_places = n - length + 1
    first = np.concatenate([np.arange(k) for k in n_places])
    weight = np.repeat(share / n_places, n_places)
    behind = first + np.repeat(length, n_places)
    windows = Windows(first, behind, np.log(weight / weight.sum()))
    for array in (windows.first, windows.behind, windows.log_prior):
        array.flags.writeable = False
    return windows


def likeliest_run(
    noise: CourseNoise, *, shortest: int, longest: int, usual_step: float, named_above: float
) -> Run | None:
    """The run of courses that stands apart from the rest by one amount.

    None where there are too few courses for any run, or where the evidence is below ``named_above``.

    Parameters
    ----------
    noise : CourseNoise
    shortest, longest : int
    usual_step : float
        Standard deviation of how far runs stand apart where there are any.
    named_above : float

    Notes
    -----
    The evidence is the log of the mean likelihood ratio over all runs, all steps and all weighings, each with
    its prior, so that the number of runs looked at is counted in, and neighbouring runs, which say nearly
    the same, are not counted as so many chances. With the step ``N(0, t^2)`` beforehand the ratio of one run
    under one weighing is ``(1 + t^2 w)^-1/2 exp(p^2 t^2 / (2 (1 + t^2 w)))``, w the sum of the precision over
    the run and p that of the pull.
    """
    n = len(noise.values)
    longest = min(longest, n - 2)
    if longest < shortest:
        return None
    windows = windows_of(n, shortest, longest)
    if log_mean_ratio(noise.best, windows, usual_step) < named_above - HOPELESS_BELOW:
        return None
    every = (noise.best, *(noise.weighings[k] for k in range(1, len(noise.weighings))))
    return likeliest_among(every, windows, usual_step=usual_step, named_above=named_above)


def log_mean_ratio(weighing: RunWeighing, windows: Windows, usual_step: float) -> float:
    """Evidence for some run under one weighing alone."""
    return _log_sum(_log_ratios(weighing, windows, usual_step))


def likeliest_among(
    weighings: Sequence[RunWeighing], windows: Windows, *, usual_step: float, named_above: float
) -> Run | None:
    """The likeliest run under weighings that are alike beforehand; None with less evidence than needed."""
    ratios = [_log_ratios(weighing, windows, usual_step) for weighing in weighings]
    own = np.array([weighing.log_likelihood for weighing in weighings])
    each = own + [_log_sum(ratio) for ratio in ratios]
    evidence = _log_sum(each) - _log_sum(own)
    if evidence < named_above:
        return None
    k = int(np.argmax(each))
    best = int(np.argmax(ratios[k]))
    weighing = weighings[k]
    near = _near(
        int(windows.first[best]), int(windows.behind[best]), len(weighing.pull), int(windows.length.min())
    )
    best = int(np.argmax(_log_ratios(weighing, near, usual_step)))
    start, end = int(near.first[best]), int(near.behind[best])
    precision = float(weighing.run_precision(near.first, near.behind)[best])
    step = Estimate(float(weighing.pull[start:end].sum()) / precision, precision**-0.5)
    return Run(start, end - 1, step, evidence, k)


def _near(start: int, end: int, n: int, shortest: int) -> Windows:
    """Runs whose ends lie within what the lengths tried leave out, all alike beforehand."""
    reach = np.arange(-MOST_LEFT_OUT, MOST_LEFT_OUT + 1)
    first, behind = (grid.ravel() for grid in np.meshgrid(start + reach, end + reach, indexing="ij"))
    possible = (first >= 0) & (behind <= n) & (behind - first >= min(shortest, end - start))
    return Windows(first[possible], behind[possible], np.zeros(np.count_nonzero(possible)))


def _log_ratios(weighing: RunWeighing, windows: Windows, usual_step: float) -> Floats:
    """Log of the likelihood ratio of every run (m,), its prior counted in."""
    running = np.concatenate([[0.0], np.cumsum(weighing.pull)])
    pull = running.take(windows.behind) - running.take(windows.first)
    precision = weighing.run_precision(windows.first, windows.behind)
    spread = 1.0 + usual_step**2 * np.maximum(precision, 0.0)
    gain = 0.5 * (usual_step * pull) ** 2 / spread - 0.5 * np.log(spread)
    return np.asarray(windows.log_prior + gain, dtype=float)


def _log_sum(logs: Floats) -> float:
    most = float(np.max(logs))
    return most + float(np.log(np.exp(logs - most).sum()))


def share_in(values: Floats, run: Run) -> float:
    """How much of the step the middle one of a run's courses has, against the courses beside the run.

    One course far out makes a short run by itself; the middle one of that run has no part in it.
    """
    beside = np.concatenate(
        [values[max(run.first - BESIDE, 0) : run.first], values[run.last + 1 : run.last + 1 + BESIDE]]
    )
    inside = values[run.first : run.last + 1]
    return (middle_of(inside) - middle_of(beside)) / run.step.value
