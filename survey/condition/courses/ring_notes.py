"""What was noted on site about the courses of one ring, in their counted order."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.counting.edge_readings import Ints
from survey.record.model import Condition, CourseNote


class RingNotes:
    """Notes of one ring in course order."""

    def __init__(self, notes: Mapping[int, CourseNote], recorded: Ints) -> None:
        self._rows = [notes.get(int(label)) if label >= 0 else None for label in recorded]

    def figure(self, name: str) -> Floats:
        """One figure (n,) of the notes, NaN where blank."""
        values = [None if row is None else getattr(row, name) for row in self._rows]
        return np.array([np.nan if v is None else v for v in values], dtype=float)

    def is_missing(self) -> np.ndarray:
        """Mask (n,) of courses noted as missing."""
        return np.array([row is not None and row.condition is Condition.MISSING for row in self._rows])

    def conditions(self, missing: np.ndarray) -> tuple[Condition, ...]:
        """Condition as noted, or missing where a gap was counted."""
        return tuple(
            row.condition
            if row is not None and row.condition is not Condition.UNKNOWN
            else (Condition.MISSING if gone else Condition.UNKNOWN)
            for row, gone in zip(self._rows, missing, strict=True)
        )
