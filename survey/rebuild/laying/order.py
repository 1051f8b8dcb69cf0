"""Which brick comes next: gap by gap, plain rings upwards to a key, turned rings from the middle outwards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from survey.rebuild.plan import Brick, BrickKind, RingPlan

LEFT, RIGHT, MIDDLE, KEY = "left", "right", "middle", "key"
"""Sides of a laying step: of the arch, the brick over the crown of a turned ring, the brick laid last."""


@dataclass(frozen=True, slots=True, eq=False)
class Halves:
    """Bricks from the left springing up, those over the crown (at most one), and from the right springing
    up."""

    left: tuple[Brick, ...]
    middle: tuple[Brick, ...]
    right: tuple[Brick, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Turn:
    """One brick when its turn has come.

    Attributes
    ----------
    side : str
        ``left``, ``right``, ``middle`` or ``key``.
    pair : int
        Number, within its gap, of the pair laid left and right by turns that it belongs to; 0 for a key and
        for a middle brick.
    ends_pair : bool
        True for the last brick of its pair.
    closes : bool
        True where a standing or laid brick waits on its far side.
    """

    brick: Brick
    side: str
    pair: int = 0
    ends_pair: bool = False
    closes: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Gap:
    """Work between bricks that stand, or between the springings, in the order of laying.

    Attributes
    ----------
    courses : tuple of int
        Every course of it, those laid already included.
    """

    courses: tuple[int, ...]
    turns: tuple[Turn, ...]

    @property
    def n_pairs(self) -> int:
        """How many pairs are laid."""
        return max((turn.pair for turn in self.turns), default=0)

    @property
    def both_sides(self) -> bool:
        """True when it is laid left and right by turns."""
        return len({turn.side for turn in self.turns} - {KEY, MIDDLE}) == 2

    @property
    def parted(self) -> bool:
        """True for the gaps at both springings, which are one piece of work."""
        return len(self.courses) < self.courses[-1] - self.courses[0] + 1

    @property
    def has_key(self) -> bool:
        """True when a key is laid last."""
        return bool(self.turns) and self.turns[-1].side == KEY


def halves(ring: RingPlan) -> Halves:
    """The bricks of a ring left of the crown, over it and right of it."""
    middle = tuple(b for b in ring.bricks if abs(b.from_crown_mm) < b.width_intrados_mm / 2.0)
    return Halves(
        tuple(b for b in ring.bricks if b.from_crown_mm < 0.0 and b not in middle),
        middle,
        tuple(b for b in reversed(ring.bricks) if b.from_crown_mm >= 0.0 and b not in middle),
    )


def by_turns(left: Sequence[Brick], right: Sequence[Brick]) -> list[Brick]:
    """Left and right by turns; what one side has more follows."""
    n = max(len(left), len(right))
    return [half[k] for k in range(n) for half in (left, right) if k < len(half)]


def gaps_to_lay(ring: RingPlan) -> tuple[Gap, ...]:
    """The gaps of a ring in the order in which they are closed; a ring without standing bricks is one.

    Bricks already laid have no turn any more; a gap in which all are laid is left out.

    Notes
    -----
    A gap is closed before the next is begun, so that what stands is bedded again on both sides of it before
    more is asked of it. In a plain ring the gap whose lower end is nearest to a springing comes first: what
    is above it rests on it. Gaps at both springings are one piece of work, laid left and right by turns:
    until they are filled the ring bears on neither abutment, and its thrust must find both alike. In a
    turned ring the gap nearest to the crown comes first, as the ring itself goes outwards from there.
    """
    half = halves(ring)
    rank = _ranks(half, from_crown=ring.sawtooth)
    open_ = _open_stretches(ring)
    first, last = (any(c in s for s in open_) for c in (1, ring.count))
    if not ring.sawtooth and len(open_) > 1 and first and last:
        open_ = [[*open_[0], *open_[-1]], *open_[1:-1]]
    open_.sort(key=lambda courses: min(rank[c] for c in courses))
    gaps = (Gap(tuple(courses), tuple(_turns(ring, half, courses, rank))) for courses in open_)
    return tuple(gap for gap in gaps if gap.turns)


def _ranks(half: Halves, *, from_crown: bool) -> dict[int, int]:
    """How many courses up from its springing each course is, or how many out from the crown."""
    sides = (half.left[::-1], half.right[::-1]) if from_crown else (half.left, half.right)
    rank = {b.course: k for side in sides for k, b in enumerate(side, start=1)}
    crown = 0 if from_crown else max(rank.values(), default=0) + 1
    return rank | {b.course: crown for b in half.middle}


def _open_stretches(ring: RingPlan) -> list[list[int]]:
    """Courses, left to right, of every run of bricks that do not stand."""
    stretches: list[list[int]] = []
    for brick in ring.bricks:
        if brick.kind is BrickKind.IN_SITU:
            continue
        if stretches and stretches[-1][-1] == brick.course - 1:
            stretches[-1].append(brick.course)
        else:
            stretches.append([brick.course])
    return stretches


def _turns(ring: RingPlan, half: Halves, courses: Sequence[int], rank: dict[int, int]) -> Iterator[Turn]:
    """Bricks of one gap that are still to be laid, in their order."""
    here = set(courses)

    def to_lay(bricks: Iterable[Brick]) -> list[Brick]:
        return [b for b in bricks if b.course in here and not b.laid]

    left, middle, right = (to_lay(b) for b in (half.left, half.middle, half.right))
    if ring.sawtooth:
        yield from (Turn(b, MIDDLE) for b in middle)
        yield from _paired(left[::-1], right[::-1], rank, ring)
        return
    key = middle[-1] if middle else right[-1] if left and right and _meet(left[-1], right[-1]) else None
    left, right = ([b for b in side if b is not key] for side in (left, right))
    yield from _paired(left, right, rank, ring)
    if key is not None:
        yield Turn(key, KEY)


def _meet(left: Brick, right: Brick) -> bool:
    """True when the uppermost bricks of both sides are neighbours at the crown."""
    return right.course == left.course + 1


def _paired(left: list[Brick], right: list[Brick], rank: dict[int, int], ring: RingPlan) -> Iterator[Turn]:
    """The side that lags goes first; level sides go by turns, the left one first."""
    order: list[tuple[Brick, str]] = []
    i, j = 0, 0
    while i < len(left) or j < len(right):
        if i == len(left) or j == len(right):
            side = LEFT if i < len(left) else RIGHT
        elif rank[left[i].course] != rank[right[j].course]:
            side = LEFT if rank[left[i].course] < rank[right[j].course] else RIGHT
        else:
            side = LEFT if not order or order[-1][1] == RIGHT else RIGHT
        order.append((left[i] if side == LEFT else right[j], side))
        i, j = (i + 1, j) if side == LEFT else (i, j + 1)
    pair_of: dict[int, int] = {}
    for brick, _ in order:
        pair_of.setdefault(rank[brick.course], len(pair_of) + 1)
    open_in = Counter(rank[brick.course] for brick, _ in order)
    settled = {b.course for b in ring.bricks if b.kind is BrickKind.IN_SITU or b.laid}
    for brick, side in order:
        open_in[rank[brick.course]] -= 1
        ahead = brick.course + (1 if (side == LEFT) != ring.sawtooth else -1)
        ends = not open_in[rank[brick.course]]
        yield Turn(brick, side, pair_of[rank[brick.course]], ends, closes=ahead in settled)
