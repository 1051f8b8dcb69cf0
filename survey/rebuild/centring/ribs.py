"""Ribs of the centring: how each is cut from boards in two layers, and how much of the boards is wasted."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from survey.curves.protocol import Curve, Floats
from survey.errors import PlanError
from survey.rebuild.plan import RibBoard
from survey.record.model import Centring

LEAST_DEPTH_RATIO = 0.5
"""Share of the board's width that must remain where the curve cuts it away most, at a board's ends (common
practice, no source)."""
KERF_MM = 5.0
"""Lost at every cut across a board (common practice, no source)."""
MOST_BOARDS = 60
"""A rib of more boards in one layer is no rib of boards; the board is then too small for the curve."""
SAMPLES = 33
"""Points along a board at which its sag is taken; the greatest is then known to a thousandth of itself."""
GRID = 1024
"""Cells in which a rib is walked; chords of a few millimetres leave a thousandth."""
MOST_TURN_RAD = 2.0
"""No board turns through more: its ends, cut along the normals, would run into each other."""
TRIED_BOARDS = 4
"""Numbers of boards in a layer that are tried, from the least that fits: shorter pieces often share boards
better."""


@dataclass(frozen=True, slots=True, eq=False)
class RibCut:
    """Boards of one rib and the boards to buy for all ribs.

    Attributes
    ----------
    boards : tuple of RibBoard
        Layer 1, then layer 2, each from the left.
    n_bought : int
        Boards to buy for all ribs.
    waste_ratio : float
        Share of the area of the boards bought that is not in the ribs.
    """

    boards: tuple[RibBoard, ...]
    n_bought: int
    waste_ratio: float


def cut_ribs(rib: Curve, centring: Centring, n_ribs: int) -> RibCut:
    r"""Cut ribs from boards, nailed in two layers with the joints of one in the middle of the boards of the
    other.

    Parameters
    ----------
    rib : Curve
    centring : Centring
        Length and width of the boards.
    n_ribs : int

    Returns
    -------
    RibCut

    Raises
    ------
    PlanError
        When a board is too small to make a rib of at most 60 in a layer.

    Notes
    -----
    A board's outer edge is cut to the curve, its inner edge stays straight, its ends are cut along the
    normals. It needs the chord as length and the sag plus half the board's width as width. Joints divide the
    rib into equal parts of
    :math:`\int \sqrt{\kappa}\,ds`, which gives all boards about the same sag, :math:`\kappa (\Delta s)^2 /
    8`; of the least number for which every board fits and the few above it, the one with the fewest boards
    to buy is taken. Boards to buy come from laying the longest piece first into the first board with room
    for it (at most 11/9 of the fewest, D. S. Johnson 1973, value from memory); nothing is saved by nesting
    curves.
    """
    walked = _Walked.of(rib)
    cuts = [_cut(walked, splits, centring, n_ribs) for splits in _ways(walked, centring)]
    return min(cuts, key=lambda cut: cut.n_bought)


@dataclass(frozen=True, slots=True, eq=False)
class _Walked:
    """The rib at many stations, so that it is walked once however often it is cut."""

    turning_rad: float
    station: Floats
    columns: Floats
    """(n, 4): point and normal."""
    measure: Floats
    """Integral of the root of the curvature."""

    @classmethod
    def of(cls, rib: Curve) -> _Walked:
        """Walk a rib."""
        station = np.linspace(0.0, rib.length_mm, GRID + 1)
        columns = np.hstack([rib.point(station), rib.normal(station)])
        density = np.sqrt(np.abs(rib.curvature((station[1:] + station[:-1]) / 2.0)))
        measure = np.concatenate([[0.0], np.cumsum(density * np.diff(station))])
        return cls(rib.turning_rad, station, columns, measure)

    def at(self, station_mm: Floats) -> Floats:
        """Points and normals (n, 4) at stations (n,)."""
        return np.column_stack([np.interp(station_mm, self.station, column) for column in self.columns.T])

    def split(self, shares: Floats) -> Floats:
        """Stations at shares of the measure."""
        return np.asarray(np.interp(shares * self.measure[-1], self.measure, self.station))


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    length: Floats
    width: Floats
    area: Floats


def _cut(rib: _Walked, splits: tuple[Floats, Floats], centring: Centring, n_ribs: int) -> RibCut:
    """Boards between given joints of the two layers."""
    pieces = [_pieces(rib, layer, centring) for layer in splits]
    boards = tuple(
        RibBoard(
            layer=number,
            start_mm=float(stations[k]),
            end_mm=float(stations[k + 1]),
            length_mm=float(piece.length[k]),
            width_needed_mm=float(piece.width[k]),
        )
        for number, (stations, piece) in enumerate(zip(splits, pieces, strict=True), start=1)
        for k in range(len(stations) - 1)
    )
    n_bought = boards_to_buy(np.tile([b.length_mm for b in boards], n_ribs), centring.board_length_mm)
    used = n_ribs * float(sum(piece.area.sum() for piece in pieces))
    bought = n_bought * centring.board_length_mm * centring.board_width_mm
    return RibCut(boards, n_bought, 1.0 - used / bought)


def _ways(rib: _Walked, centring: Centring) -> list[tuple[Floats, Floats]]:
    """Stations of the joints of both layers, ends included: for the least number of boards and a few more."""
    ways: list[tuple[Floats, Floats]] = []
    least = math.floor(rib.turning_rad / MOST_TURN_RAD) + 1
    for n in range(least, MOST_BOARDS + 1):
        first = rib.split(np.linspace(0.0, 1.0, n + 1))
        piece = _pieces(rib, first, centring)
        fits = (piece.length <= centring.board_length_mm) & (piece.width <= centring.board_width_mm)
        if np.all(fits):
            ways.append((first, rib.split(np.concatenate([[0.0], (np.arange(n) + 0.5) / n, [1.0]]))))
        if len(ways) == TRIED_BOARDS:
            break
    if not ways:
        size = f"{centring.board_length_mm:.0f} x {centring.board_width_mm:.0f} mm"
        raise PlanError(
            f"boards of {size} are too small for a rib {rib.station[-1]:.0f} mm long; give longer or wider "
            "boards under [centring]"
        )
    return ways


def _pieces(rib: _Walked, stations: Floats, centring: Centring) -> _Pieces:
    """Length, width and area of the boards between stations."""
    share = np.linspace(0.0, 1.0, SAMPLES)
    at = stations[:-1, None] + np.diff(stations)[:, None] * share
    xy, normal = np.split(rib.at(at.ravel()).reshape(*at.shape, 4), 2, axis=2)
    normal = normal[:, [0, -1]]
    chord = xy[:, -1] - xy[:, 0]
    length = np.hypot(*chord.T)
    along = chord / length[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]])
    sag = np.einsum("bij,bj->bi", xy - xy[:, :1], across)
    run = np.einsum("bij,bj->bi", xy - xy[:, :1], along)
    depth = LEAST_DEPTH_RATIO * centring.board_width_mm - sag.min(axis=1)  # from the chord to the inner edge
    lean = np.einsum("bij,bj->bi", normal, along) / np.einsum("bij,bj->bi", normal, across)
    segment = np.sum((sag[:, 1:] + sag[:, :-1]) / 2.0 * np.diff(run, axis=1), axis=1)
    area = segment + depth * length - depth**2 / 2.0 * (lean[:, 1] - lean[:, 0])
    return _Pieces(run.max(axis=1) - run.min(axis=1), sag.max(axis=1) + depth, area)


def boards_to_buy(lengths_mm: Floats, board_length_mm: float) -> int:
    """Boards needed for pieces, the longest laid first into the first board that has room for it and a saw
    cut.

    Examples
    --------
    >>> boards_to_buy(np.array([1200.0, 900.0, 900.0, 600.0]), 2400.0)
    2
    """
    room: list[float] = []
    for length in sorted(map(float, lengths_mm), reverse=True):
        for k, left in enumerate(room):
            if length <= left:
                room[k] = left - length - KERF_MM
                break
        else:
            room.append(board_length_mm - length - KERF_MM)
    return len(room)
