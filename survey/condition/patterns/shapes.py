"""Families of shapes a row of courses may have taken, and how likely each family makes what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.condition.patterns.weighings import Weighings
from survey.curves.protocol import Floats

LARGEST_MM = 1000.0
"""Standard deviation of a coefficient beforehand: next to no limit, but where the curve can follow a whole
shape, or one column another, nothing is known of it and it gains nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """Shapes of n courses in s groups: each group q members, each of k columns whose coefficients are free.

    Attributes
    ----------
    atoms : (n, s, a) float
        What the columns of a group's members are made of.
    mixing : (s, q, a, k) float
        How much of each.
    one_way : bool
        For members of one column that can only be taken forwards.
    nested : bool
        For members that may have their first column alone as well.
    """

    atoms: Floats
    mixing: Floats
    one_way: bool = False
    nested: bool = False

    def member(self, number: int) -> Floats:
        """Columns (n, k) of one member, counted group after group."""
        group, which = divmod(number, self.mixing.shape[1])
        return np.asarray(self.atoms[:, group] @ self.mixing[group, which])


def single_shapes(columns: Floats, *, one_way: bool = False, nested: bool = False) -> Shapes:
    """Shapes (n, m, k), m members of columns of their own, a group each."""
    _, m, k = columns.shape
    return Shapes(columns, np.broadcast_to(np.eye(k), (m, 1, k, k)), one_way, nested)


@dataclass(frozen=True, slots=True, eq=False)
class Likeliest:
    """The likeliest member of a family: columns (n, k), their coefficients (k,), and covariance (k, k)."""

    columns: Floats
    coefficient: Floats
    covariance: Floats


def log_still(weighings: Weighings) -> float:
    """Log of the mean likelihood over the weighings without any shape."""
    return _log_mean(weighings.log_likelihood)


def log_shaped(weighings: Weighings, shapes: Shapes) -> float:
    """Log of the mean likelihood over weighings and members.

    Notes
    -----
    Each member by its likeliest coefficients, less half the log of the number of courses for every one of
    them (Schwarz's criterion); the mean over the members counts in that one of many was chosen.
    """
    return _log_mean(_logs(weighings, shapes))


def gain_under_best(weighings: Weighings, shapes: Shapes) -> float:
    """What the likeliest member gains under the weighing that is likeliest without any shape."""
    best = weighings.take(np.array([0]))
    return float(_logs(best, shapes).max() - best.log_likelihood[0])


def likeliest_shape(weighings: Weighings, families: Sequence[Shapes]) -> Likeliest:
    """The likeliest member of several families, with all its columns."""
    logs = [_logs(weighings, shapes) for shapes in families]
    family = int(np.argmax([log.max() for log in logs]))
    w, _, member = np.unravel_index(int(np.argmax(logs[family])), logs[family].shape)
    columns = families[family].member(int(member))
    weighing = weighings.take(np.array([w]))
    inner = weighing.grams(columns[:, None])[0, 0] + LARGEST_MM**-2.0 * np.eye(columns.shape[1])
    covariance = np.asarray(np.linalg.inv(inner), dtype=float)
    return Likeliest(columns, covariance @ (columns.T @ weighing.pull[0]), covariance)


def _logs(weighings: Weighings, shapes: Shapes) -> Floats:
    """Log likelihood (w, j, m) of m members under w weighings; of nested ones, first columns alone behind."""
    n = len(shapes.atoms)
    mixing = shapes.mixing
    k = mixing.shape[-1]
    grams = weighings.grams(shapes.atoms)[:, :, None]
    inner = mixing.swapaxes(-1, -2) @ (grams @ mixing) + LARGEST_MM**-2.0 * np.eye(k)
    pull = np.tensordot(weighings.pull, shapes.atoms, axes=1)
    push = (pull[:, :, None, None] @ mixing)[..., 0, :]
    if shapes.one_way:
        push = np.maximum(push, 0.0)
    found = []
    for j in (k, 1) if shapes.nested else (k,):
        solution = np.linalg.solve(inner[..., :j, :j], push[..., :j, None])[..., 0]
        gain = 0.5 * (push[..., :j] * solution).sum(axis=-1)
        found.append(gain.reshape(len(weighings), -1) - 0.5 * j * np.log(n))
    return np.asarray(weighings.log_likelihood[:, None, None] + np.stack(found, axis=1))


def _log_mean(logs: Floats) -> float:
    most = float(logs.max())
    return most + float(np.log(np.exp(logs - most).mean()))
