"""A smooth sag without hinges: the soffit leaves its curve gently, built so or by a centre that gave way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.condition.courses.ring_table import RingTable
from survey.condition.patterns.shapes import Likeliest, Shapes, single_shapes
from survey.condition.result import Pattern
from survey.curves.protocol import Floats
from survey.fitting.result import Estimate

NAMED_ABOVE = 4.0
"""Evidence a pattern needs to be named: odds of fifty to one."""
DENT_MIDDLES = tuple(np.linspace(0.35, 0.65, 7).tolist())
DENT_HALF_WIDTHS = (0.22, 0.28, 0.35)
"""Where a soffit hangs and how far to either side, as shares of the row of courses (judgement)."""


def smooth_waves(station_mm: Floats) -> Floats:
    """Templates (n, 3) of one wave and two over the arch: even about the crown, and leaning to one side."""
    turn = 2 * np.pi * (station_mm - station_mm.min()) / float(np.ptp(station_mm))
    return np.column_stack([np.cos(turn), np.cos(2 * turn), np.sin(turn)])


def smooth_dents(station_mm: Floats) -> Floats:
    """Templates (n, m) of soffits that hang by 1 mm at one place and meet the curve without a kink."""
    share = (station_mm - station_mm.min()) / float(np.ptp(station_mm))
    middle, half = np.meshgrid(DENT_MIDDLES, DENT_HALF_WIDTHS, indexing="ij")
    at = np.clip((share[:, None] - middle.ravel()) / half.ravel(), -1.0, 1.0)
    return np.asarray(-0.5 * (1.0 + np.cos(np.pi * at)), dtype=float)


def sag_shapes(station_mm: Floats) -> tuple[Shapes, Shapes]:
    """What a smooth sag may look like: waves over the whole arch, or one place that hangs."""
    waves, dents = smooth_waves(station_mm), smooth_dents(station_mm)
    return single_shapes(waves[:, None, :]), single_shapes(dents[:, :, None], one_way=True)


@dataclass(frozen=True, slots=True, eq=False)
class Sag:
    """A smooth departure (n,) of known courses from their curve, its uncertainty (n,), and its evidence.

    ``columns`` (n, k) are the templates it is made of.
    """

    smooth_mm: Floats
    sigma_mm: Floats
    evidence: float
    columns: Floats

    @property
    def depth_mm(self) -> float:
        """How far it hangs below the curve at its deepest."""
        return -float(self.smooth_mm.min())


def sag_of(likeliest: Likeliest, nuisance: Floats, evidence: float) -> Sag:
    """The sag a shape makes, less what orthonormal columns (n, k) span: what no curve of the family has."""
    shape = likeliest.columns - nuisance @ (nuisance.T @ likeliest.columns)
    spread = np.sqrt(np.einsum("ij,jk,ik->i", shape, likeliest.covariance, shape))
    return Sag(shape @ likeliest.coefficient, spread, evidence, likeliest.columns)


def sag_pattern(table: RingTable, known: np.ndarray, sag: Sag, meaning: str) -> Pattern:
    """A sag of the known courses of one ring (mask) in words, and what it means."""
    course = table.course[known]
    low, high = int(np.argmin(sag.smooth_mm)), int(np.argmax(sag.smooth_mm))
    inside = np.flatnonzero(sag.smooth_mm < -sag.depth_mm / 2)
    # The run around the deepest course, not a second trough elsewhere.
    parts = np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1)
    part = next(p for p in parts if p[0] <= low <= p[-1])
    first, last = int(course[part[0]]), int(course[part[-1]])
    size = Estimate(-sag.depth_mm, float(sag.sigma_mm[low]))
    where = f"At course {first}" if first == last else f"From course {first} to {last}"
    sentence = (
        f"{where} of ring {table.ring.ring} the soffit hangs smoothly below its curve, deepest at course "
        f"{int(course[low])} by {sag.depth_mm:.0f} mm (± {2 * size.sigma:.0f}), and stands "
        f"{sag.smooth_mm[high]:.0f} mm outside it near course {int(course[high])}.{meaning}"
    )
    return Pattern("smooth sag", sentence, table.ring.ring, first, last, size, sag.evidence)
