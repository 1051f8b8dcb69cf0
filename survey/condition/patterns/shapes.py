"""Families of shapes a row of courses may have taken, and how likely each family makes what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.condition.patterns.noise_model import Weighing
from survey.curves.protocol import Floats

LARGEST_MM = 1000.0
"""Standard deviation of a coefficient beforehand: next to no limit, but where the curve can follow a whole
shape, or one column another, nothing is known of it and it gains nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """Shapes (n, m, k) of n courses: m members, each of k columns whose coefficients are free.

    ``one_way`` is for members of one column that can only be taken forwards. ``nested`` is for members that
    may have their first column alone as well.
    """

    columns: Floats
    one_way: bool = False
    nested: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Likeliest:
    """The likeliest member of a family: columns (n, k), their coefficients (k,), and covariance (k, k)."""

    columns: Floats
    coefficient: Floats
    covariance: Floats


def log_still(weighings: Sequence[Weighing]) -> float:
    """Log of the mean likelihood over the weighings without any shape."""
    return _log_mean(np.array([weighing.log_likelihood for weighing in weighings]))


def log_shaped(weighings: Sequence[Weighing], shapes: Shapes) -> float:
    """Log of the mean likelihood over weighings and members.

    Notes
    -----
    Each member by its likeliest coefficients, less half the log of the number of courses for every one of
    them (Schwarz's criterion); the mean over the members counts in that one of many was chosen.
    """
    return _log_mean(_logs(weighings, shapes))


def gain_under_best(weighings: Sequence[Weighing], shapes: Shapes) -> float:
    """What the likeliest member gains under the weighing that is likeliest without any shape."""
    return float(_logs(weighings[:1], shapes).max()) - weighings[0].log_likelihood


def likeliest_shape(weighings: Sequence[Weighing], families: Sequence[Shapes]) -> Likeliest:
    """The likeliest member of several families, with all its columns."""
    logs = [_logs(weighings, shapes) for shapes in families]
    family = int(np.argmax([log.max() for log in logs]))
    w, member = np.unravel_index(int(np.argmax(logs[family])), logs[family].shape)
    columns = families[family].columns[:, int(member)]
    weighing = weighings[int(w)]
    inner = columns.T @ weighing.project(columns) + LARGEST_MM**-2.0 * np.eye(columns.shape[1])
    covariance = np.asarray(np.linalg.inv(inner), dtype=float)
    return Likeliest(columns, covariance @ (columns.T @ weighing.pull), covariance)


def _logs(weighings: Sequence[Weighing], shapes: Shapes) -> Floats:
    """Log likelihood (w, m) of every member under every weighing, those of nested first columns behind."""
    n, m, k = shapes.columns.shape
    flat = shapes.columns.reshape(n, m * k)
    numbers = (k, 1) if shapes.nested else (k,)
    found = np.empty((len(weighings), len(numbers), m))
    for row, weighing in zip(found, weighings, strict=True):
        projected = weighing.project(flat).reshape(n, m, k)
        inner = np.einsum("nmi,nmj->mij", shapes.columns, projected) + LARGEST_MM**-2.0 * np.eye(k)
        push = (weighing.pull @ flat).reshape(m, k)
        if shapes.one_way:
            push = np.maximum(push, 0.0)
        for line, j in zip(row, numbers, strict=True):
            solution = np.linalg.solve(inner[:, :j, :j], push[:, :j, None])[:, :, 0]
            gain = 0.5 * (push[:, :j] * solution).sum(axis=1)
            line[:] = weighing.log_likelihood + gain - 0.5 * j * np.log(n)
    return found.reshape(len(weighings), -1)


def _log_mean(logs: Floats) -> float:
    most = float(logs.max())
    return most + float(np.log(np.exp(logs - most).mean()))
