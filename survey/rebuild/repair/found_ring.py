"""One ring as it was found, before anything is repaired."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.rebuild.layout.courses import Fate, RingCount
from survey.rebuild.repair.soffit import Base
from survey.rebuild.rhythm.edges import RingEdges
from survey.rebuild.rhythm.rhythm import RingRhythm
from survey.rebuild.rhythm.rings import RingLines


@dataclass(frozen=True, slots=True, eq=False)
class FoundRing:
    """One ring as found, ready to be repaired.

    Attributes
    ----------
    base : ChainOfArcs, Ellipse or EllipseParallel
        The fitted inner curve.
    lines : RingLines
        The curves fitted.
    fate : (N,) int
        ``STANDS`` or ``NEW`` for every course.
    """

    base: Base
    lines: RingLines
    count: RingCount
    edges: RingEdges
    rhythm: RingRhythm
    fate: NDArray[np.int64]

    @property
    def stands(self) -> NDArray[np.bool_]:
        """Mask (N,) of the courses that stay."""
        return np.asarray(self.fate == Fate.STANDS)
