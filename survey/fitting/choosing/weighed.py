"""What all hypotheses share, and all of them with their log evidence: the values the verdict is told from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import Family
from survey.fitting.choosing.movement_fit import MovedFit
from survey.fitting.choosing.still import Still
from survey.fitting.families.builds import Build
from survey.fitting.families.priors import BENDING_SHARE, KNOWN_OTHER_SHARE, MOVED_SHARE, SAGGING_SHARE
from survey.fitting.sightings import Sightings
from survey.fitting.solving.noise import Nodes, Scatter, Whitener, whitener
from survey.fitting.solving.scatter_grid import ScatterGrid

MOST_SCATTERS = 16
SCATTER_NEGLIGIBLE = 6.0
"""Scatters whose log weight lies further below the likeliest are not averaged over where it is costly."""
MOVES_FROM = 0.6
"""Probability from which the arch is said to have moved."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What all hypotheses share: the points, their weights, and the scatters to average over.

    ``bends`` (g,) is the log evidence, by scatter, of a curve that bends freely; ``loose`` (g,) the
    same with its ends free, by which the likely scatters are chosen.
    """

    sightings: Sightings
    nodes: Nodes
    weight: Floats
    pitch_mm: float
    grid: ScatterGrid
    bends: Floats
    loose: Floats

    @property
    def likely(self) -> np.ndarray:
        """Numbers of the scatters, the likeliest first."""
        return np.argsort(self.loose)[::-1]

    @property
    def most_likely(self) -> np.ndarray:
        """Numbers of those scatters that matter where averaging is costly, the likeliest first."""
        likely = self.likely
        return np.asarray(likely[self.loose[likely] > self.loose.max() - SCATTER_NEGLIGIBLE][:MOST_SCATTERS])

    def whitener_of(self, scatter: Scatter) -> Whitener:
        """Whitener of these points under any scatter."""
        return whitener(self.nodes, self.sightings.sigma_mm, self.weight, scatter)


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Every hypothesis with its log evidence, the shares included.

    Attributes
    ----------
    ground : Ground
    stills : mapping of Family to Still
    moved : mapping of Family to MovedFit
        Only those not hopeless.
    others : mapping of Build to Still
    failed : mapping of Family to str
        Families that could not be fitted, with the reason.
    moves : bool
        Whether movement was looked for.
    doubts : tuple of str
        What is doubtful about the springing points, in sentences.
    sagging : mapping of Family to float
        Log evidence of a family that hangs smoothly off its curve; weighed only where a movement is.
    """

    ground: Ground
    stills: Mapping[Family, Still]
    moved: Mapping[Family, MovedFit]
    others: Mapping[Build, Still]
    failed: Mapping[Family, str]
    moves: bool
    doubts: tuple[str, ...] = ()
    sagging: Mapping[Family, float] = field(default_factory=dict)

    def log_share(self, *, moved: bool) -> float:
        """Log share of one family, still or moved, among everything."""
        of_families = 1 - BENDING_SHARE - KNOWN_OTHER_SHARE * len(self.others)
        of_these = (MOVED_SHARE if moved else 1 - MOVED_SHARE) if self.moves else 1.0
        return float(np.log(of_families * of_these / len(self.stills)))

    def log_still(self, family: Family) -> float:
        """Log weight of a family standing still, on its curve or hanging smoothly off it."""
        on_curve = self.stills[family].log_total
        if family not in self.sagging:
            return on_curve + self.log_share(moved=False)
        off = self.sagging[family] + np.log(SAGGING_SHARE)
        return float(np.logaddexp(on_curve + np.log(1 - SAGGING_SHARE), off) + self.log_share(moved=False))

    def hangs_smoothly(self, family: Family) -> float:
        """Probability that a family, if it stands still, hangs smoothly off its curve; 0 if never weighed."""
        if family not in self.sagging:
            return 0.0
        off = self.sagging[family] + float(np.log(SAGGING_SHARE)) + self.log_share(moved=False)
        return float(np.exp(off - self.log_still(family)))

    def log_moved(self, family: Family) -> float:
        """Log weight of a family having moved; minus infinity where that is hopeless."""
        if family not in self.moved:
            return -np.inf
        return self.moved[family].log_evidence + self.log_share(moved=True)

    @property
    def is_of_a_family(self) -> bool:
        """Whether some family, still or moved, is likelier than all curves of no family."""
        return self.log_other < max(
            f(family) for f in (self.log_still, self.log_moved) for family in self.stills
        )

    @property
    def has_moved(self) -> bool:
        """Whether it is likelier that the arch moved than that it stands still, by the odds that are told."""
        still = np.logaddexp.reduce([self.log_still(family) for family in self.stills])
        moved = np.logaddexp.reduce([self.log_moved(family) for family in self.stills])
        return bool(moved - still > np.log(MOVES_FROM / (1 - MOVES_FROM)))

    @property
    def log_other(self) -> float:
        """Log weight of all curves of no family: bending freely, or one of the known ones."""
        free = float(np.logaddexp.reduce(self.ground.bends) + np.log(BENDING_SHARE))
        known = [still.log_total + np.log(KNOWN_OTHER_SHARE) for still in self.others.values()]
        return float(np.logaddexp.reduce([free, *known]))

    @property
    def log_all(self) -> float:
        """Log weight of everything."""
        every = [f(family) for f in (self.log_still, self.log_moved) for family in self.stills]
        return float(np.logaddexp.reduce([*every, self.log_other]))
