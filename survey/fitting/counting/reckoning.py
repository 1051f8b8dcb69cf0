"""Stretches of a ring reckoned by its rhythm: between neighbouring courses, and at the springings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.fitting.counting.anchors import Anchors
from survey.fitting.counting.course_odds import Odds, likeliest, odds_of
from survey.fitting.counting.rhythm import Stretch, Strides, step_likelihood
from survey.record.model import Condition, Record, Ring

NUMBERED_ODDS = 3.0
"""How much likelier a count is because the surveyor's own numbers across a gap make it (judgement)."""
SURE_RATIO = 0.25
"""A distance within this share of a pitch, times the root of the steps, of what the numbers say is sure."""
DOUBT_BELOW = 0.05
"""A recorded number is doubted where the rhythm gives it less probability than this."""
SPRINGING_SIGMA_MM = 4.0
"""Uncertainty of where the springing joint begins, from the fitted curve's end (judgement)."""
JOINT_GUESS_MM, JOINT_GUESS_SIGMA_MM = 10.0, 4.0
"""Joint of a ring of which nothing was measured (judgement; BIA Technical Note 31 allows 3 to 19 mm)."""

CERTAIN: Odds = {0: 1.0}


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A stretch that holds more than one pitch, or whose length speaks against its numbers.

    Attributes
    ----------
    after : int
        Course it begins at; 0 for the left springing.
    before : int or None
        Course it ends at; None for the right springing.
    start_mm, end_mm : float
        Edges of those courses along the ring's inner curve.
    standing : int
        Courses in between that stand though they were not surveyed.
    lacking : tuple of int
        Recorded numbers in between that stand nowhere.
    odds : mapping
        Odds of how many courses are missing.
    """

    after: int
    before: int | None
    start_mm: float
    end_mm: float
    standing: int
    lacking: tuple[int, ...]
    odds: Odds


class RingReckoning:
    """One surveyed ring and its rhythm; ``stretches`` and ``doubts`` are what it finds.

    Parameters
    ----------
    record : Record
    ring : Ring
    anchors : Anchors
        At least one course.
    length_mm : float
        Of the ring's inner curve.
    """

    def __init__(self, record: Record, ring: Ring, anchors: Anchors, length_mm: float) -> None:
        self.ring, self.anchors, self.length_mm = ring, anchors, length_mm
        notes = [n for n in record.courses if n.ring == ring.ring and n.course >= 1]
        self._noted = {n.course for n in notes if n.condition is not Condition.MISSING} | set(anchors.misread)
        self._noted_missing = {n.course for n in notes if n.condition is Condition.MISSING}
        self._steps = np.diff(anchors.course)
        self._distance = np.diff(anchors.middle_mm)
        self._stride = float(np.median(self._steps)) if len(self._steps) else 1.0
        self.pitch_mm = self._typical_pitch(record)
        self.joint_mm = max(self.pitch_mm - anchors.width_mm, 0.0)
        self._strides = self._known_strides()
        doubts = list(anchors.doubts)
        self.stretches = (self._left_end(), *self._between(doubts), self._right_end())
        self.doubts = tuple(doubts)

    def _typical_pitch(self, record: Record) -> float:
        single = self._distance[self._steps == 1]
        if len(single) >= 3:
            return float(np.median(single))
        noted = [
            n.width_mm + n.joint_mm
            for n in record.courses
            if n.ring == self.ring.ring and n.width_mm is not None and n.joint_mm is not None
        ]
        if len(noted) >= 3:
            return float(np.median(noted))
        if len(self._distance) >= 3:
            return float(np.median(self._distance / self._steps))
        return self.anchors.width_mm + JOINT_GUESS_MM

    def _known_strides(self) -> Strides:
        """Distances whose number of pitches is beyond doubt; a guess of the pitch where there is none."""
        steps = self._steps.astype(float)
        off = np.abs(self._distance / self.pitch_mm - steps)
        sure = (off <= SURE_RATIO * np.sqrt(steps)) & (steps <= 2 * self._stride)
        middle, variance = self.anchors.middle_mm, self.anchors.variance_mm2
        if not sure.any():
            spread = np.array([[JOINT_GUESS_SIGMA_MM**2, 0.0]])
            at = np.array([self.length_mm / 2])
            return Strides(np.array([self.pitch_mm]), np.ones(1), at, spread, np.zeros(1, dtype=bool))
        return Strides(
            self._distance[sure],
            steps[sure],
            ((middle[1:] + middle[:-1]) / 2)[sure],
            np.column_stack([variance[:-1], variance[1:]])[sure],
            np.append(False, np.diff(np.flatnonzero(sure)) == 1),
        )

    def _odds(self, stretch: Stretch, standing: int, claimed: int | None, *, at_springing: bool) -> Odds:
        """Odds of the missing courses; from a springing, half a pitch lies before the first middle."""
        half, whole = (0.5, 0) if at_springing else (0.0, 1)
        around = round(stretch.length_mm / self.pitch_mm - half)
        reach = 4 + max(around, 0) // 8
        least = standing + whole
        steps = np.arange(max(around - reach, least), max(around + reach, least) + 1)
        log = step_likelihood(self._strides, stretch, steps + half, self.length_mm)
        missing = steps - least
        if claimed:
            log = log + np.log(NUMBERED_ODDS) * (missing == claimed)
        return odds_of([int(m) for m in missing], log)

    def _between(self, doubts: list[str]) -> list[Reckoned]:
        course, middle = self.anchors.course, self.anchors.middle_mm
        found: list[Reckoned] = []
        off = np.abs(self._distance / self.pitch_mm - self._steps)
        half = self.anchors.width_mm / 2
        for k in np.flatnonzero((self._steps > 1) | (off > 0.5)):
            first, last, step = int(course[k]), int(course[k + 1]), int(self._steps[k])
            numbered = bool(self.anchors.numbered[k] and self.anchors.numbered[k + 1])
            between = set(range(first + 1, last))
            standing = self._standing(
                between, sampled=numbered and self._stride > 1 and step <= 2 * self._stride
            )
            lacking = tuple(sorted(between - standing))
            stretch = Stretch(
                float(middle[k]), float(middle[k + 1]), float(self.anchors.variance_mm2[k : k + 2].sum())
            )
            odds = CERTAIN
            if lacking or off[k] > max(0.5, SURE_RATIO * np.sqrt(step)):
                odds = self._odds(
                    stretch, len(standing), len(lacking) if numbered else None, at_springing=False
                )
            if numbered:
                doubts.extend(self._doubt(first, last, len(lacking), odds, float(off[k])))
            start, end = stretch.start_mm + half, stretch.end_mm - half
            found.append(Reckoned(first, last, start, end, len(standing), lacking, odds))
        return found

    def _standing(self, between: set[int], *, sampled: bool) -> set[int]:
        """Numbers not surveyed that stand: noted so, or left out by a survey of every so many courses."""
        return between - self._noted_missing if sampled else between & self._noted

    def _doubt(self, first: int, last: int, claimed: int, odds: Odds, off: float) -> list[str]:
        if odds.get(claimed, 0.0) >= DOUBT_BELOW and (claimed > 0 or likeliest(odds) > 0 or off <= 0.5):
            return []
        where = f"Between courses {first} and {last} of ring {self.ring.ring}"
        best = likeliest(odds)
        if best == claimed:
            return [f"{where} the distance fits no whole number of courses: measure both again."]
        return [
            f"{where} the numbers leave out {claimed}, but by the rhythm {best} are missing: count again."
        ]

    def _left_end(self) -> Reckoned:
        first = int(self.anchors.course[0])
        between = set(range(1, first))
        sampled = bool(self.anchors.numbered[0]) and self._stride > 1 and first <= 2 * self._stride
        end = float(self.anchors.middle_mm[0])
        stretch = Stretch(0.0, end - self.joint_mm / 2, self._end_variance(0))
        return self._end(stretch, 0, first, between, self._standing(between, sampled=sampled))

    def _right_end(self) -> Reckoned:
        last = int(self.anchors.course[-1])
        total = self.ring.courses if self.anchors.numbered[-1] and self.ring.courses is not None else 0
        listed = [n for n in self._noted | self._noted_missing if n > last]
        between = set(range(last + 1, max([total, last, *listed]) + 1))
        sampled = self._stride > 1 and len(between) < 2 * self._stride
        start = float(self.anchors.middle_mm[-1]) + self.joint_mm / 2
        stretch = Stretch(start, self.length_mm, self._end_variance(-1))
        return self._end(stretch, last, None, between, self._standing(between, sampled=sampled))

    def _end_variance(self, k: int) -> float:
        return float(self.anchors.variance_mm2[k]) + SPRINGING_SIGMA_MM**2 + (self.joint_mm / 4) ** 2

    def _end(
        self, stretch: Stretch, after: int, before: int | None, between: set[int], standing: set[int]
    ) -> Reckoned:
        lacking = tuple(sorted(between - standing))
        off = abs(stretch.length_mm / self.pitch_mm - 0.5 - len(standing))
        odds = CERTAIN
        if lacking or off > 0.5:
            odds = self._odds(stretch, len(standing), len(lacking) or None, at_springing=True)
        edge = (self.anchors.width_mm + self.joint_mm) / 2
        start = stretch.start_mm + (edge - self.joint_mm if before is None else 0.0)
        end = stretch.end_mm - (0.0 if before is None else edge - self.joint_mm)
        return Reckoned(after, before, start, end, len(standing), lacking, odds)
