"""Templets: the fewest different pieces to cut, what each looks like, and how far a joint is off for sharing
them."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.errors import PlanError
from survey.rebuild.grouping import group_widths
from survey.rebuild.plan import Brick, BrickKind, RingPlan, Templet

NEW = "new"
"""``Brick.source`` of a brick that must be bought or cut; every other brick of the plan already has its
shape."""

PARALLEL_MM = 0.05
"""A brick whose two faces differ by less is not tapered: the accuracy to which corners lie on the curve."""

SAME_SIZE_MM = 0.2
"""Whole bricks closer than this are of one size: the chords of one width differ by as much over a curve."""

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""No I and no O: chalked on a brick they read as one and nought (common practice, no source)."""

RingCourse = tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """A new brick as it lies on the bench: flat faces square across the brick, mm."""

    ring: int
    course: int
    intrados_mm: float
    extrados_mm: float
    depth_mm: float
    skew_rad: float
    cut: bool
    kind: str

    @property
    def place(self) -> RingCourse:
        """Ring and course."""
        return self.ring, self.course

    @property
    def kin(self) -> tuple[str, float]:
        """Pieces of different kin never share a templet."""
        return self.kind, round(self.depth_mm, 1)


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Pieces that share a templet."""

    pieces: tuple[_Piece, ...]
    fewest: bool


def group_templets(rings: Iterable[RingPlan], tolerance_mm: float) -> tuple[Templet, ...]:
    r"""Group the new bricks of all rings into the fewest templets.

    Parameters
    ----------
    rings : iterable of RingPlan
    tolerance_mm : float, mm
        How far a joint may be off because pieces share a templet.

    Returns
    -------
    tuple of Templet
        In the order in which they first occur, ring by ring from the left springing; named A, B, C …

    Raises
    ------
    PlanError
        When the tolerance is negative or not a number.

    Notes
    -----
    A piece stays centred on its own bed line, so a templet wider than the piece it stands for takes half of
    the difference from the joint on either side: a joint is off by :math:`\tfrac12 |e_i + e_{i+1}|` at each
    face, where
    :math:`e_i` is templet less piece. Every :math:`|e_i| \le t` therefore keeps every joint within
    :math:`t`, and of two like neighbours with the same templet the joint is off by exactly :math:`|e_i|`:
    the condition cannot be relaxed for runs of alike pieces. Under it, the number of groups is the least
    possible (:func:`survey.rebuild.grouping.group_widths`, with its proof, and the one case that sets
    ``fewest`` to false). Fewer would do only where errors of neighbours happen to cancel, and then a piece
    laid out of its turn would spoil a joint.

    What is grouped are flat widths across the brick: chords between its corners, for a turned brick times the
    cosine of its turn. Whole uncut bricks make one templet for each recurring size, with ``cut`` false. A
    parallel piece that is none of its ring's recurring sizes must be sawn and counts as cut. Bricks left
    standing, original bricks put back and salvaged ones have their shape already and get no templet.
    In a ring of tangent arcs with even widths and joints, each arc makes one templet; a piece across a
    junction joins one of the two when it lies within the tolerance, and makes its own when not.

    A templet is symmetric. Where the curvature changes along a piece (an ellipse, a junction of arcs) the
    bevels of its two sides differ; laid with its sides along the beds, such a piece has one soffit arris in
    and one out of the curve by ``soffit_step_mm``.
    """
    rings = tuple(rings)
    pieces = [piece for ring in rings for piece in _pieces(ring, max(tolerance_mm, PARALLEL_MM))]
    groups: list[_Group] = []
    for kin in dict.fromkeys(piece.kin for piece in pieces):
        for alike in _sizes([piece for piece in pieces if piece.kin == kin]):
            shared = group_widths([(piece.intrados_mm, piece.extrados_mm) for piece in alike], tolerance_mm)
            for n in range(shared.n_groups):
                members = tuple(p for p, k in zip(alike, shared.labels, strict=True) if k == n)
                groups.append(_Group(members, shared.n_groups == shared.at_least))
    groups.sort(key=lambda group: group.pieces[0].place)
    templets = tuple(_templet(templet_name(k), group) for k, group in enumerate(groups))
    errors = joint_errors(rings, templets)
    return tuple(replace(t, joint_error_mm=error) for t, error in zip(templets, errors, strict=True))


def assign_templets(rings: Iterable[RingPlan], templets: Iterable[Templet]) -> tuple[RingPlan, ...]:
    """Write the templets' names into the bricks they serve; bricks without a templet get a blank name.

    Raises
    ------
    PlanError
        When a templet serves a course that the rings do not have, or two templets serve the same one.
    """
    rings = tuple(rings)
    name_of: dict[RingCourse, str] = {}
    known = {(brick.ring, brick.course) for ring in rings for brick in ring.bricks}
    for templet in templets:
        for ring, course in templet.courses:
            if (ring, course) not in known:
                raise PlanError(
                    f"templet {templet.name} serves course {course} of ring {ring}, which the plan does not "
                    "have; "
                    "group the templets from these same rings"
                )
            if (ring, course) in name_of:
                raise PlanError(
                    f"course {course} of ring {ring} has templets {name_of[ring, course]} and "
                    f"{templet.name}; "
                    "give each course one"
                )
            name_of[ring, course] = templet.name
    return tuple(
        replace(
            ring,
            bricks=tuple(replace(b, templet=name_of.get((b.ring, b.course), "")) for b in ring.bricks),
        )
        for ring in rings
    )


def joint_errors(rings: Iterable[RingPlan], templets: Iterable[Templet]) -> tuple[float, ...]:
    """Greatest departure of a joint next to each templet's pieces, at the worse face, mm square across the
    joint.

    A joint between two pieces takes half of each one's excess over its planned width; bricks without a
    templet have no excess.
    """
    templets = tuple(templets)
    index = {rc: k for k, templet in enumerate(templets) for rc in templet.courses}
    worst = np.zeros(len(templets))
    for ring in rings:
        if not ring.bricks:
            continue
        serves = np.array([index.get((brick.ring, brick.course), -1) for brick in ring.bricks])
        planned = flat_widths_mm(ring)
        given = planned.copy()
        for k, templet in enumerate(templets):
            given[serves == k] = templet.width_intrados_mm, templet.width_extrados_mm
        excess = np.vstack([np.zeros(2), given - planned, np.zeros(2)])
        error = np.abs(excess[:-1] + excess[1:]).max(axis=1) / 2.0
        beside = np.maximum(error[:-1], error[1:])
        np.maximum.at(worst, serves[serves >= 0], beside[serves >= 0])
    return tuple(float(value) for value in worst)


def templet_name(index: int) -> str:
    """Letter of the templet with this index: A, B, C …, without I and O; then AA, AB …

    Examples
    --------
    >>> [templet_name(k) for k in (0, 7, 8, 23, 24, 25)]
    ['A', 'H', 'J', 'Z', 'AA', 'AB']
    """
    name = LETTERS[index % len(LETTERS)]
    return name if index < len(LETTERS) else templet_name(index // len(LETTERS) - 1) + name


def flat_widths_mm(ring: RingPlan) -> Floats:
    """Flat widths (n, 2) across every brick at the intrados and the extrados, mm, as one lays a rule over
    them.

    Chords between corners; for a turned ring times the cosine of the turn, since the layout's section cuts
    the brick slantwise.
    """
    corners = np.array([brick.corners_mm for brick in ring.bricks]).reshape(-1, 4, 2)
    chords = np.column_stack(
        [
            np.hypot(*(corners[:, 1] - corners[:, 0]).T),
            np.hypot(*(corners[:, 2] - corners[:, 3]).T),
        ]
    )
    return chords * (math.cos(ring.turn_rad) if ring.sawtooth else 1.0)


def needs_templet(brick: Brick) -> bool:
    """Whether a brick must be bought or cut."""
    return brick.kind is not BrickKind.IN_SITU and brick.source == NEW


def _pieces(ring: RingPlan, same_mm: float) -> list[_Piece]:
    """New bricks of one ring as pieces on the bench."""
    if not ring.bricks:
        return []
    flat = flat_widths_mm(ring)
    skew = _skew_rad(ring)
    recurring = ring.original_widths_mm * (math.cos(ring.turn_rad) if ring.sawtooth else 1.0)
    tapered = np.abs(flat[:, 1] - flat[:, 0]) > PARALLEL_MM
    recurs = np.any(np.abs(recurring[None, :] - flat[:, :1]) <= same_mm, axis=1)
    way = "turned" if ring.sawtooth else "radial"
    rows = zip(ring.bricks, flat.tolist(), skew.tolist(), tapered.tolist(), recurs.tolist(), strict=True)
    return [
        _piece(brick, widths, turn, way if taper or not known else "", taper)
        for brick, widths, turn, taper, known in rows
        if needs_templet(brick)
    ]


def _piece(brick: Brick, widths: list[float], skew_rad: float, way: str, tapered: bool) -> _Piece:
    """One piece; ``way`` is blank for a whole brick."""
    kind = f"{way} {'tapered' if tapered else 'sawn'}" if way else "whole"
    intrados, extrados = widths
    return _Piece(brick.ring, brick.course, intrados, extrados, brick.depth_mm, skew_rad, bool(way), kind)


def _sizes(pieces: list[_Piece]) -> list[list[_Piece]]:
    """Whole bricks by recurring size; pieces that are cut stay together.

    Bricks are bought by their sizes, so two sizes are never merged for being within the tolerance.
    """
    if pieces[0].cut:
        return [pieces]
    ordered = sorted(piece.intrados_mm for piece in pieces)
    starts = [b for a, b in pairwise(ordered) if b - a > SAME_SIZE_MM]
    sizes: list[list[_Piece]] = [[] for _ in range(len(starts) + 1)]
    for piece in pieces:
        sizes[bisect_right(starts, piece.intrados_mm)].append(piece)
    return sizes


def _skew_rad(ring: RingPlan) -> NDArray[np.float64]:
    """Half the difference of the two bevels of every brick (n,), rad."""
    corners = np.array([brick.corners_mm for brick in ring.bricks])
    chord = corners[:, 1] - corners[:, 0]
    left, right = corners[:, 3] - corners[:, 0], corners[:, 2] - corners[:, 1]

    def lean(side: Floats) -> Floats:
        """Angle from the square on the chord to the side, clockwise."""
        across = chord[:, 0] * side[:, 1] - chord[:, 1] * side[:, 0]
        return np.asarray(np.arctan2(np.sum(chord * side, axis=1), across))

    return (lean(right) + lean(left)) / 2.0


def _templet(name: str, group: _Group) -> Templet:
    """The piece midway between the extremes of its group: no other departs less at worst."""
    pieces = group.pieces
    intrados = [piece.intrados_mm for piece in pieces]
    extrados = [piece.extrados_mm for piece in pieces]
    a, b = (min(intrados) + max(intrados)) / 2.0, (min(extrados) + max(extrados)) / 2.0
    depth = pieces[0].depth_mm
    return Templet(
        name=name,
        count=len(pieces),
        width_intrados_mm=a,
        width_extrados_mm=b,
        depth_mm=depth,
        courses=tuple(piece.place for piece in pieces),
        bevel_rad=math.atan2(b - a, 2.0 * depth),
        joint_error_mm=0.0,
        cut=pieces[0].cut,
        soffit_step_mm=max(abs(piece.skew_rad) * piece.intrados_mm / 2.0 for piece in pieces),
        fewest=group.fewest,
    )
