"""The order of laying: which brick next, on which mark, at what bevel, and what is checked before going
on."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count

from survey.curves import ArchShape, curve_of
from survey.errors import PlanError
from survey.rebuild.centring.striking import plain_mm
from survey.rebuild.laying.order import KEY, LEFT, MIDDLE, RIGHT, Gap, Turn, by_turns, gaps_to_lay, halves
from survey.rebuild.plan import Brick, BrickKind, CentringMark, CentringPlan, LayingStep, RingPlan
from survey.rebuild.refusals import courses_named
from survey.rebuild.templets import NEW

STOP_EVERY = 5
"""A second person checks the first pair and every fifth (judgement)."""
CLOSING = "closes a gap: try it dry, then butter both beds and press it home"
"""What is done with the brick that goes in below one that stands."""

LEVEL_DEG = 0.05
"""A bed closer to level than this reads as level on any gauge."""

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
        Bricks left standing and bricks already laid are not among them. ``from_springing_mm`` and
        ``from_crown_mm`` are running distances along the soffit, from the nearer springing and from the
        crown, to the edge that is free once the brick lies: the upper edge of a plain brick, the outer edge
        of a turned one, the left edge of the key. ``bevel_rad`` is the angle of that free bed above the
        level, or the turn of a turned brick against the face. ``joint_below_mm`` is the joint on the
        springing side (left of a key).

    Raises
    ------
    PlanError
        When a course has no mark on the centring.

    Notes
    -----
    Plain rings go up from both springings, one brick left and one right by turns, so that neither side is
    more than one course ahead while both have bricks to lay; the side that lags is brought up first. The
    brick next to the crown is tried dry and goes in last. Turned rings start at the crown and go outwards, so
    that both ends come out alike. In a repair one gap is closed after the other (see
    :func:`~survey.rebuild.laying.order.gaps_to_lay`).
    """
    marks: Marks = {(m.ring, m.course, m.edge): m for m in centring.marks if m.what == "mark"}
    steps: list[LayingStep] = []
    skewbacks = _skewback_words(shape)
    for ring in sorted(rings, key=lambda ring: ring.ring):
        scaffold = _Scaffold(ring, marks, count(len(steps) + 1))
        gaps = gaps_to_lay(ring)
        for number, gap in enumerate(gaps, start=1):
            named = f"gap {number} of {len(gaps)}, {courses_named(gap.courses)}"
            begins = named if len(gaps) > 1 else ""
            steps += (
                _turned(scaffold, gap, begins) if ring.sawtooth else _plain(scaffold, gap, begins, skewbacks)
            )
    return tuple(steps)


def laying_notes(rings: Iterable[RingPlan]) -> tuple[str, ...]:
    """Why the gaps of a repair come in the order they do; nothing where each ring has one piece of work."""
    notes: list[str] = []
    for ring in rings:
        if all(b.kind is not BrickKind.IN_SITU for b in ring.bricks):
            continue
        gaps = gaps_to_lay(ring)
        if len(gaps) > 1:
            order = ", then ".join(courses_named(gap.courses) for gap in gaps)
            nearest = "nearest to the crown" if ring.sawtooth else "with the lowest end"
            notes.append(
                f"Order of laying of ring {ring.ring}: {order}. The gap {nearest} comes first and each is "
                "closed before the next is begun, so that what stands is bedded again on both sides of it "
                "before more is asked of it."
            )
        if any(gap.parted for gap in gaps):
            notes.append(
                f"Ring {ring.ring} is open at both springings: it goes up left and right by turns, since it "
                "bears on neither abutment until both are filled, and its thrust must find both alike. Prop "
                "and wedge what stands between before the first brick is laid."
            )
    return tuple(notes)


def where_to_go_on(rings: Iterable[RingPlan], steps: Sequence[LayingStep]) -> str:
    """What is laid already and which brick is next, in a sentence; blank before anything is laid."""
    laid = [(r.ring, [b.course for b in r.bricks if b.laid]) for r in rings]
    done = "; ".join(f"ring {ring}, {courses_named(courses)}" for ring, courses in laid if courses)
    if not done:
        return ""
    if not steps:
        return f"Laid already: {done}."
    first = steps[0]
    where = {KEY: "the key", MIDDLE: "over the crown"}.get(first.side, f"on the {first.side}")
    return f"Laid already: {done}. Go on with ring {first.ring}, course {first.course}, {where}."


def dry_lay(ring: RingPlan) -> tuple[DryLayRow, ...]:
    """Trial lay of one ring: marks from the crown outwards on both sides, so that the two ends can be
    compared.

    The brick over the crown comes first (side ``middle``), then left and right by turns.
    """
    half = halves(ring)
    rows = []
    for brick in [*half.middle, *by_turns(half.left[::-1], half.right[::-1])]:
        crown = (brick.station_start_mm + brick.station_end_mm) / 2.0 - brick.from_crown_mm
        from_left, from_right = crown - brick.station_end_mm, brick.station_start_mm - crown
        on_right = brick.from_crown_mm > 0.0
        near = from_right if on_right else from_left
        rows.append(
            DryLayRow(
                ring=ring.ring,
                course=brick.course,
                side="middle" if brick in half.middle else "right" if on_right else "left",
                near_mm=near,
                far_mm=near + brick.width_intrados_mm,
                width_mm=brick.width_intrados_mm,
                joint_mm=brick.joint_after_intrados_mm if on_right else _joint_before(ring, brick),
            )
        )
    return tuple(rows)


def _skewback_words(shape: ArchShape) -> dict[str, str]:
    """What the level must show on the bed under the springer of each side, seen facing the arch."""
    curve = curve_of(shape)
    words: dict[str, str] = {}
    for side, station, outwards in ((LEFT, 0.0, -1.0), (RIGHT, curve.length_mm, 1.0)):
        out = curve.normal(station)
        angle = math.degrees(math.atan2(float(out[1]), outwards * float(out[0])))
        leans = "rising" if angle > 0.0 else "falling"
        tilted = f"skewback {leans} {plain_mm(abs(angle))}° to the {side}"
        words[side] = "level bed under it" if abs(angle) < LEVEL_DEG else tilted
    return words


@dataclass(frozen=True, slots=True, eq=False)
class _Scaffold:
    """A ring, the marks on its centre, and the numbers of its steps."""

    ring: RingPlan
    marks: Marks
    numbers: Iterator[int]


def _plain(scaffold: _Scaffold, gap: Gap, begins: str, skewbacks: Mapping[str, str]) -> Iterator[LayingStep]:
    """One gap of a plain ring, upwards to its key or to the brick that closes it."""
    ring = scaffold.ring
    last_pair = gap.n_pairs if gap.has_key else -1
    for k, turn in enumerate(gap.turns):
        brick = turn.brick
        words = [*([begins] if begins and not k else []), _whose(brick)]
        if turn.side == KEY:
            yield _step(scaffold, turn, [*words, *_key_words(ring)], stop=True)
            continue
        words += _face(ring)
        if brick.course in (1, ring.count):
            words.append(
                f"springer: {skewbacks[LEFT if brick.course == 1 else RIGHT]}, joint with the spacer"
            )
        if turn.closes:
            words.append(CLOSING)
        last = turn.pair == last_pair
        stop = turn.closes or (turn.ends_pair and (_watched(turn) or last))
        if stop and not turn.closes:
            words.append(_second_person(gap, last=last))
        yield _step(scaffold, turn, words, stop=stop)


def _turned(scaffold: _Scaffold, gap: Gap, begins: str) -> Iterator[LayingStep]:
    """One gap of a turned ring, from the crown outwards."""
    ring = scaffold.ring
    degrees = plain_mm(math.degrees(ring.turn_rad))
    face = f"protractor {degrees}° to the face, outer edge to the mark"
    last_pair = gap.n_pairs
    for k, turn in enumerate(gap.turns):
        brick = turn.brick
        words = [*([begins] if begins and not k else []), _whose(brick), face]
        if turn.side == MIDDLE:
            words.append("middle on the crown mark: second person checks it before the next is laid")
            yield _step(scaffold, turn, words, stop=True)
            continue
        joint = brick.joint_after_intrados_mm if turn.side == LEFT else _joint_before(ring, brick)
        words.append(f"spacer {plain_mm(joint * math.cos(ring.turn_rad))} mm across the joint")
        if turn.closes:
            words.append(CLOSING)
        last = turn.pair == last_pair
        stop = turn.ends_pair and (_watched(turn) or last)
        if stop:
            alike = "both ends alike" if last else "left and right alike"
            words.append(f"second person: {alike if _two(gap, turn) else 'mark, turn and joint'}")
        yield _step(scaffold, turn, words, stop=stop or turn.closes)


def _watched(turn: Turn) -> bool:
    return turn.pair == 1 or turn.pair % STOP_EVERY == 0


def _two(gap: Gap, turn: Turn) -> bool:
    """True when a pair is of two bricks."""
    return sum(other.pair == turn.pair for other in gap.turns) == 2


def _face(ring: RingPlan) -> list[str]:
    """What to do with every plain brick of a ring."""
    down = ", smooth face down" if ring.ring == 1 else ""
    return [f"fair face out{down}", "upper edge to the mark, square on the upper bed"]


def _whose(brick: Brick) -> str:
    """Where the brick comes from, as it is said on the scaffold."""
    if brick.source == NEW:
        return f"new, templet {brick.templet}" if brick.templet else "new"
    return "the original of this place" if brick.source == "original" else f"saved brick {brick.source}"


def _second_person(gap: Gap, *, last: bool) -> str:
    """What the second person looks at."""
    if last:
        room = f"{plain_mm(gap.turns[-1].brick.width_intrados_mm)} mm and two joints"
        return f"second person: the gap for the key is {room}, both sides level with each other"
    marks = "marks left and right" if gap.both_sides else "mark"
    return f"second person: {marks}, joints, face under the straightedge"


def _key_words(ring: RingPlan) -> list[str]:
    low, high = plain_mm(ring.joint_min_mm), plain_mm(ring.joint_max_mm)
    return [
        f"key: try it dry, joints as listed, none under {low} or over {high} mm; butter both beds, press it "
        "down",
        "second person: crown level, face, depth gauge",
    ]


def _step(scaffold: _Scaffold, turn: Turn, words: list[str], *, stop: bool) -> LayingStep:
    """One step, with the running marks of the edge that stays free."""
    ring, brick, side = scaffold.ring, turn.brick, turn.side
    on_left = side != RIGHT
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
    if side in (KEY, MIDDLE):
        return LEFT
    upper, outer = (RIGHT, LEFT) if side == LEFT else (LEFT, RIGHT)
    return outer if ring.sawtooth else upper


def _bed_rad(brick: Brick, side: str) -> float:
    """Angle of the upper bed above the level, seen from its own springing; the centre line's for a key."""
    if side == KEY:
        return brick.bed_angle_rad
    corners = brick.corners_mm.tolist()
    (x1, y1), (x2, y2) = (corners[1], corners[2]) if side == LEFT else (corners[0], corners[3])
    return math.atan2(y2 - y1, x1 - x2 if side == LEFT else x2 - x1)


def _joint_before(ring: RingPlan, brick: Brick) -> float:
    """Joint on the left of a brick."""
    index = brick.course - 1
    return ring.bricks[index - 1].joint_after_intrados_mm if index else ring.springing_joint_intrados_mm
