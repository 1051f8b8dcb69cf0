"""The order of laying: which brick next, on which mark, at what bevel, and what is checked before going
on."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count, zip_longest

from survey.curves import ArchShape, curve_of
from survey.errors import PlanError
from survey.rebuild.plan import Brick, BrickKind, CentringMark, CentringPlan, LayingStep, RingPlan
from survey.rebuild.striking import plain_mm
from survey.rebuild.templets import NEW

STOP_EVERY = 5
"""A second person checks the first pair and every fifth (judgement)."""

Marks = dict[tuple[int, int, str], CentringMark]


@dataclass(frozen=True, slots=True)
class DryLayRow:
    """One brick of the trial on the bench or on the bare centre, from the middle outwards.

    Attributes
    ----------
    near_mm, far_mm : float
        Distance along the ring's inner curve from the crown to the nearer and the farther edge; negative
        where the brick straddles the crown.
    joint_mm : float
        Spacer on its outer side.
    """

    ring: int
    course: int
    side: str
    near_mm: float
    far_mm: float
    width_mm: float
    joint_mm: float


def order_laying(
    rings: Iterable[RingPlan], centring: CentringPlan, shape: ArchShape
) -> tuple[LayingStep, ...]:
    """Put the bricks that are to be laid in order, ring by ring from the opening outwards.

    Parameters
    ----------
    rings : iterable of RingPlan
    centring : CentringPlan
        Its course marks must be those of the same rings.
    shape : ArchShape
        Gives the skewbacks' angle, which the springers are set to.

    Returns
    -------
    tuple of LayingStep
        Bricks left standing are not among them. ``from_springing_mm`` and ``from_crown_mm`` are running
        distances along the soffit, from the nearer springing and from the crown, to the edge that is free
        once the brick lies: the upper edge of a plain brick, the outer edge of a turned one, the left edge of
        the key. ``bevel_rad`` is the angle of that free bed above the level, or the turn of a turned brick
        against the face. ``joint_below_mm`` is the joint on the springing side (left of a key).

    Raises
    ------
    PlanError
        When a course has no mark on the centring.

    Notes
    -----
    Plain rings go up from both springings, one brick left and one right by turns, so that neither side is
    more than one course ahead while both have bricks to lay; the brick next to the crown is tried dry and
    goes in last. Turned rings start at the crown and go outwards, so that both ends come out alike.
    """
    marks: Marks = {(m.ring, m.course, m.edge): m for m in centring.marks if m.what == "mark"}
    steps: list[LayingStep] = []
    for ring in sorted(rings, key=lambda ring: ring.ring):
        scaffold = _Scaffold(ring, marks, count(len(steps) + 1))
        steps += _turned(scaffold) if ring.sawtooth else _plain(scaffold, _skewback_words(shape))
    return tuple(steps)


def dry_lay(ring: RingPlan) -> tuple[DryLayRow, ...]:
    """Trial lay of one ring: marks from the crown outwards on both sides, so that the two ends can be
    compared.

    The brick over the crown comes first (side ``middle``), then left and right by turns.
    """
    left, middle, right = _halves(ring)
    rows = []
    for brick in [*middle, *_by_turns(left[::-1], right[::-1])]:
        crown = (brick.station_start_mm + brick.station_end_mm) / 2.0 - brick.from_crown_mm
        from_left, from_right = crown - brick.station_end_mm, brick.station_start_mm - crown
        on_right = brick.from_crown_mm > 0.0
        near = from_right if on_right else from_left
        rows.append(
            DryLayRow(
                ring=ring.ring,
                course=brick.course,
                side="middle" if brick in middle else "right" if on_right else "left",
                near_mm=near,
                far_mm=near + brick.width_intrados_mm,
                width_mm=brick.width_intrados_mm,
                joint_mm=brick.joint_after_intrados_mm if on_right else _joint_before(ring, brick),
            )
        )
    return tuple(rows)


def _halves(ring: RingPlan) -> tuple[list[Brick], list[Brick], list[Brick]]:
    """Bricks from the left springing up, those over the crown (at most one), and from the right springing
    up."""
    middle = [b for b in ring.bricks if abs(b.from_crown_mm) < b.width_intrados_mm / 2.0]
    left = [b for b in ring.bricks if b.from_crown_mm < 0.0 and b not in middle]
    right = [b for b in reversed(ring.bricks) if b.from_crown_mm >= 0.0 and b not in middle]
    return left, middle, right


def _by_turns(left: list[Brick], right: list[Brick]) -> list[Brick]:
    return [brick for pair in zip_longest(left, right) for brick in pair if brick is not None]


def _skewback_words(shape: ArchShape) -> str:
    """What the bed under a springer must read."""
    out = curve_of(shape).normal(0.0)
    angle = math.degrees(math.atan2(float(out[1]), -float(out[0])) + shape.tilt_rad)
    return "level bed under it" if abs(angle) < 0.05 else f"skewback at {plain_mm(angle)}° above the level"


@dataclass(frozen=True, slots=True, eq=False)
class _Scaffold:
    """A ring, the marks on its centre, and the numbers of its steps."""

    ring: RingPlan
    marks: Marks
    numbers: Iterator[int]


def _plain(scaffold: _Scaffold, skewback: str) -> list[LayingStep]:
    """From both springings to the key."""
    ring = scaffold.ring
    left, middle, right = (_to_lay(half) for half in _halves(ring))
    standing = {b.course for b in ring.bricks if b.kind is BrickKind.IN_SITU}
    key = middle[-1] if middle else _last_at_the_crown(left, right, ring)
    left, right = ([b for b in half if b is not key] for half in (left, right))
    steps: list[LayingStep] = []
    pairs = list(zip_longest(left, right))
    for number, pair in enumerate(pairs, start=1):
        laid = [brick for brick in pair if brick is not None]
        watched = number == 1 or number % STOP_EVERY == 0 or (number == len(pairs) and key is not None)
        for brick in laid:
            on_left = brick.from_crown_mm < 0.0
            closing = brick.course + (1 if on_left else -1) in standing
            words = [_whose(brick), *_face(ring)]
            if brick.course in (1, ring.count):
                words.append(f"springer: {skewback}, joint with the spacer")
            if closing:
                words.append("closes a gap: try it dry, then butter both beds and press it home")
            stop = closing or (watched and brick is laid[-1])
            if stop and not closing:
                words.append(_second_person(number, len(pairs) if key else 0, key))
            steps.append(_step(scaffold, brick, "left" if on_left else "right", words, stop))
    if key is not None:
        steps.append(_step(scaffold, key, "key", _key_words(ring, key), True))
    return steps


def _to_lay(bricks: list[Brick]) -> list[Brick]:
    return [brick for brick in bricks if brick.kind is not BrickKind.IN_SITU]


def _last_at_the_crown(left: list[Brick], right: list[Brick], ring: RingPlan) -> Brick | None:
    """With a joint at the crown: the brick right of it, or left of it where the right one stands."""
    beside = [half[-1] for half in (left, right) if half]
    at_crown = [
        b
        for b in beside
        if abs(b.from_crown_mm) - b.width_intrados_mm / 2.0
        <= max(b.joint_after_intrados_mm, _joint_before(ring, b))
    ]
    return at_crown[-1] if at_crown else None


def _turned(scaffold: _Scaffold) -> list[LayingStep]:
    """From the crown outwards."""
    ring = scaffold.ring
    left, middle, right = (_to_lay(half) for half in _halves(ring))
    steps: list[LayingStep] = []
    turn = plain_mm(math.degrees(ring.turn_rad))
    face = f"protractor {turn}° to the face, outer edge to the mark"
    for brick in middle:
        words = [
            _whose(brick),
            face,
            "middle on the crown mark: second person checks it before the next is laid",
        ]
        steps.append(_step(scaffold, brick, "middle", words, True))
    pairs = list(zip_longest(left[::-1], right[::-1]))
    for number, pair in enumerate(pairs, start=1):
        laid = [brick for brick in pair if brick is not None]
        watched = number == 1 or number % STOP_EVERY == 0 or number == len(pairs)
        for brick in laid:
            side = "left" if brick.from_crown_mm < 0.0 else "right"
            stop = watched and brick is laid[-1]
            joint = brick.joint_after_intrados_mm if side == "left" else _joint_before(ring, brick)
            words = [
                _whose(brick),
                face,
                f"spacer {plain_mm(joint * math.cos(ring.turn_rad))} across the joint",
            ]
            if stop:
                last = number == len(pairs)
                alike = "both ends alike" if last else "left and right alike"
                words.append(f"second person: {alike if len(laid) == 2 else 'mark, turn and joint'}")
            steps.append(_step(scaffold, brick, side, words, stop))
    return steps


def _face(ring: RingPlan) -> list[str]:
    """What to do with every plain brick of a ring."""
    down = ", smooth face down" if ring.ring == 1 else ""
    return [f"fair face out{down}", "upper edge to the mark, square on the upper bed"]


def _whose(brick: Brick) -> str:
    """Where the brick comes from, as it is said on the scaffold."""
    if brick.source == NEW:
        return f"new, templet {brick.templet}" if brick.templet else "new"
    return "the original of this place" if brick.source == "original" else f"saved brick {brick.source}"


def _second_person(number: int, last: int, key: Brick | None) -> str:
    """What the second person looks at."""
    if key is not None and number == last:
        gap = f"{plain_mm(key.width_intrados_mm)} and two joints"
        return f"second person: the gap for the key is {gap}, both sides level with each other"
    return "second person: marks left and right, joints, face under the straightedge"


def _key_words(ring: RingPlan, key: Brick) -> list[str]:
    low, high = plain_mm(ring.joint_min_mm), plain_mm(ring.joint_max_mm)
    return [
        _whose(key),
        f"key: try it dry, joints as listed, none under {low} or over {high}; butter both beds, press it "
        "down",
        "second person: crown level, face, depth gauge",
    ]


def _step(scaffold: _Scaffold, brick: Brick, side: str, words: list[str], stop: bool) -> LayingStep:
    """One step, with the running marks of the edge that stays free."""
    ring = scaffold.ring
    on_left = side == "left" or (side in ("key", "middle"))
    free = _free_edge(ring, side)
    mark = scaffold.marks.get((ring.ring, brick.course, free))
    if mark is None:
        raise PlanError(
            f"course {brick.course} of ring {ring.ring} has no mark on the centring; plan the centring from "
            "these same rings"
        )
    before, after = _joint_before(ring, brick), brick.joint_after_intrados_mm
    return LayingStep(
        step=next(scaffold.numbers),
        ring=ring.ring,
        course=brick.course,
        side=side,
        from_springing_mm=mark.along_left_mm if on_left else mark.along_right_mm,
        from_crown_mm=abs(mark.along_crown_mm),
        bevel_rad=ring.turn_rad if ring.sawtooth else _bed_rad(brick, side),
        joint_below_mm=before if on_left else after,
        joint_above_mm=after if on_left else before,
        depth_gauge_mm=ring.depth_gauge_mm,
        check="; ".join(words),
        stop=stop,
    )


def _free_edge(ring: RingPlan, side: str) -> str:
    """The edge that is free once the brick lies."""
    if side in ("key", "middle"):
        return "left"
    upper, outer = ("right", "left") if side == "left" else ("left", "right")
    return outer if ring.sawtooth else upper


def _bed_rad(brick: Brick, side: str) -> float:
    """Angle of the upper bed above the level, seen from its own springing; the centre line's for a key."""
    if side == "key":
        return brick.bed_angle_rad
    corners = brick.corners_mm.tolist()
    (x1, y1), (x2, y2) = (corners[1], corners[2]) if side == "left" else (corners[0], corners[3])
    return math.atan2(y2 - y1, x1 - x2 if side == "left" else x2 - x1)


def _joint_before(ring: RingPlan, brick: Brick) -> float:
    """Joint on the left of a brick."""
    index = brick.course - 1
    return ring.bricks[index - 1].joint_after_intrados_mm if index else ring.springing_joint_intrados_mm
