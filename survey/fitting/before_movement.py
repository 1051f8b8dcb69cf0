"""Where points of a moved arch were before it moved: every brick taken back with the piece it lies in."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from survey.curves.protocol import Curve, Floats
from survey.fitting.mechanism.pieces import turned
from survey.fitting.result import Movement, Piece
from survey.record.model import UNKNOWN


def brought_back(
    original: Curve, movement: Movement, xy_mm: ArrayLike, *, brick: ArrayLike | None = None
) -> Floats:
    """Points as they lay before the arch moved.

    Parameters
    ----------
    original : Curve
        The intrados before the movement, in the arch frame.
    movement : Movement
    xy_mm : (n, 2) array_like
        Points of the arch frame as they stand now, mm.
    brick : (n,) array_like of int, optional
        Points of one number belong to one brick, which no hinge divides: they go back with the same piece.
        ``UNKNOWN`` for points of no known brick.

    Returns
    -------
    (n, 2) float
        Points of the arch frame, mm.

    Notes
    -----
    A piece takes p to ``R p + t``, so that a point q came from ``R^-1 (q - t)``. Of all pieces the one is
    taken on whose own stretch of the original the point then lies, or comes nearest to lying. A joint that a
    hinge opened closes again, at the back of the ring as at its front.
    """
    xy = np.asarray(xy_mm, dtype=float).reshape(-1, 2)
    back = np.stack([turned(xy - p.shift_mm, -p.rotation_rad) for p in movement.pieces])
    beyond = np.empty(back.shape[:2])
    for k, piece in enumerate(movement.pieces):
        start, end = _reach(original, piece)
        station = original.locate(back[k]).station_mm
        beyond[k] = np.maximum(np.maximum(start - station, station - end), 0.0)
    if brick is not None:
        number = np.asarray(brick)
        alone = np.arange(len(number)) + number.max(initial=0) + 1
        _, group = np.unique(np.where(number == UNKNOWN, alone, number), return_inverse=True)
        beyond = np.stack([np.bincount(group, row)[group] for row in beyond])
    return np.asarray(back[beyond.argmin(axis=0), np.arange(len(xy))])


def _reach(original: Curve, piece: Piece) -> tuple[float, float]:
    """Stations a piece answers for: the outermost pieces go on beyond the springings."""
    start = -np.inf if piece.start_mm <= 0.0 else piece.start_mm
    end = np.inf if piece.end_mm >= original.length_mm else piece.end_mm
    return float(start), float(end)
