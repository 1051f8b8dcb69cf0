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
        self._n = len(recorded)
        labels = recorded.tolist() if notes else []
        self._rows = {i: notes[label] for i, label in enumerate(labels) if label >= 0 and label in notes}

    def figure(self, name: str) -> Floats:
        """One figure (n,) of the notes, NaN where blank."""
        found = np.full(self._n, np.nan)
        for i, row in self._rows.items():
            value = getattr(row, name)
            if value is not None:
                found[i] = value
        return found

    def is_missing(self) -> np.ndarray:
        """Mask (n,) of courses noted as missing."""
        found = np.zeros(self._n, dtype=bool)
        found[[i for i, row in self._rows.items() if row.condition is Condition.MISSING]] = True
        return found

    def conditions(self, missing: np.ndarray) -> tuple[Condition, ...]:
        """Condition as noted, or missing where a gap was counted."""
        found = [Condition.MISSING if gone else Condition.UNKNOWN for gone in missing.tolist()]
        for i, row in self._rows.items():
            if row.condition is not Condition.UNKNOWN:
                found[i] = row.condition
        return tuple(found)
