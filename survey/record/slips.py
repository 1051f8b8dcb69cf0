"""Points far off their neighbours: a slip of a metre, a digit or a sign, or just one to measure again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from survey.record.model import Edge, Feature, Floats, Ints
from survey.record.points_file import SitePoints
from survey.record.units import Unit

_FEATURES = (Feature.INTRADOS, Feature.EXTRADOS, Feature.JOINT)
_EDGE_ORDER = {Edge.LEFT: 0, Edge.MID: 1, Edge.UNKNOWN: 1, Edge.RIGHT: 2}
_LEAST_MM = 25.0
"""Less is no slip but the arch itself: a spalled corner, a brick pushed out."""
_OF_STRIDE = 0.25
"""Share of the distance between its neighbours a point may stand off; an arch bows by an eighth."""
_MOST_ASTRAY = 0.25
"""With more of a ring astray than this its points do not follow each other, and nothing can be said."""
_SLIPS_MM = ((1000.0, "a slip of a metre?"), (100.0, "a slip of ten centimetres?"))
_IMPERIAL_SLIPS_MM = (
    (304.8, "a slip of a foot?"),
    (914.4, "a slip of a yard?"),
    (25.4, "a slip of an inch?"),
)


@dataclass(frozen=True, slots=True)
class Astray:
    """A point off its neighbours.

    Attributes
    ----------
    index : int
    place_mm, off_mm : (3,) float
        Where it stands, and how far from the stretch between its neighbours.
    start_mm, end_mm : (3,) float
        That stretch.
    allowed_mm : float
        How far a point may stand off here.
    """

    index: int
    place_mm: Floats
    off_mm: Floats
    start_mm: Floats
    end_mm: Floats
    allowed_mm: float
    is_on_ring: bool = False


@dataclass(frozen=True, slots=True)
class Slip:
    """A point far off its neighbours, and the column of the slip that would explain it, None where none."""

    index: int
    column: str | None
    reason: str
    is_on_ring: bool
    """Whether it lies on the line of the ring, only elsewhere: then its course may be misnumbered instead."""


def find_slips(points: SitePoints, unit_mm: float) -> tuple[Slip, ...]:
    """Points far off their neighbours along a ring, in the order of the file."""
    columns = ("x", "y", "z") if points.has_z else ("x", "y")
    return tuple(
        _explained(astray, points, unit_mm, columns)
        for astray in sorted(_astray(points), key=lambda found: found.index)
    )


def _astray(points: SitePoints) -> Iterator[Astray]:
    for feature in _FEATURES:
        on_it = points.feature == feature
        for ring in np.unique(points.ring[on_it]):
            index = np.flatnonzero(on_it & (points.ring == ring))
            if len(index) < 5:
                continue
            if np.all(points.course[index] >= 1):
                rank = np.array([_EDGE_ORDER[edge] for edge in points.edge[index]])
                index = index[np.lexsort((rank, points.course[index]))]
            yield from _off_their_neighbours(points, index)


def _off_their_neighbours(points: SitePoints, index: Ints) -> list[Astray]:
    """Take out the worst point again and again until the others follow each other."""
    found: list[Astray] = []
    local = points.xyz_mm - np.median(points.xyz_mm[index], axis=0)
    while len(index) >= 4:
        if len(found) > _MOST_ASTRAY * (len(index) + len(found)):
            return []
        place = local[index]
        start, end = _stretches(place)
        off = place - _nearest(place, start, end)
        distance = np.linalg.norm(off, axis=1)
        stride = np.linalg.norm(end - start, axis=1)
        # One point astray also stretches its neighbours' strides; the middle of all strides tells how far
        # apart the points stand.
        stride = np.minimum(stride, 6.0 * np.median(stride))
        allowed = np.maximum(np.maximum(_LEAST_MM, 8.0 * points.sigma_mm[index]), _OF_STRIDE * stride)
        worst = int(np.argmax(distance / allowed))
        if distance[worst] <= allowed[worst]:
            line = np.vstack([start[:1], place, end[-1:]])
            return [replace(one, is_on_ring=_is_near(one, line)) for one in found]
        found.append(
            Astray(
                int(index[worst]), place[worst], off[worst], start[worst], end[worst], float(allowed[worst])
            )
        )
        index = np.delete(index, worst)
    return []


def _is_near(one: Astray, line: Floats) -> bool:
    gap = np.linalg.norm(one.place_mm - _nearest(one.place_mm, line[:-1], line[1:]), axis=1)
    return bool(gap.min() <= one.allowed_mm)


def _stretches(place: Floats) -> tuple[Floats, Floats]:
    """Where each point is expected: between its neighbours, an end up to three strides on from the next."""
    start, end = np.roll(place, 1, axis=0), np.roll(place, -1, axis=0)
    reach = 3.0 * float(np.median(np.linalg.norm(end - start, axis=1)))
    # The direction at an end is taken over two steps: joint and brick alternate, and a joint alone is short.
    start[0], end[0] = _on_from(place[1], place[3], reach), place[1]
    start[-1], end[-1] = place[-2], _on_from(place[-2], place[-4], reach)
    return start, end


def _on_from(near: Floats, far: Floats, reach: float) -> Floats:
    along = near - far
    return np.asarray(near + reach * along / max(float(np.linalg.norm(along)), 1e-9))


def _nearest(place: Floats, start: Floats, end: Floats) -> Floats:
    along = end - start
    length_sq = np.maximum(np.sum(along**2, axis=-1, keepdims=True), 1e-12)
    share = np.clip(np.sum((place - start) * along, axis=-1, keepdims=True) / length_sq, 0.0, 1.0)
    return np.asarray(start + share * along)


def _explained(astray: Astray, points: SitePoints, unit_mm: float, columns: tuple[str, ...]) -> Slip:
    """The slip that would bring the point back, or how far it stands off."""
    here = points.xyz_mm[astray.index]
    least = np.inf
    slip = Slip(
        astray.index,
        None,
        f"stands {float(np.linalg.norm(astray.off_mm)):.1f} mm off its neighbours",
        astray.is_on_ring,
    )
    for axis, column in enumerate(columns):
        for value, saying in _corrections(float(here[axis]), unit_mm):
            there = astray.place_mm.copy()
            there[axis] += value - here[axis]
            expected = _nearest(there, astray.start_mm, astray.end_mm)
            left = float(np.linalg.norm(there - expected))
            # A likelier slip comes first and gives way only to one that fits much better.
            if left <= astray.allowed_mm and left < 0.25 * least:
                least = left
                off = abs(float(astray.place_mm[axis] - expected[axis]))
                reason = f"{column} is {off:.1f} mm from its neighbours: {saying}"
                slip = Slip(astray.index, column, reason, astray.is_on_ring)
    return slip


def _corrections(value_mm: float, unit_mm: float) -> Iterator[tuple[float, str]]:
    """What may have been meant, likeliest first."""
    slips = _IMPERIAL_SLIPS_MM if unit_mm in (Unit.IN.in_mm, Unit.FT.in_mm) else _SLIPS_MM
    for slip, saying in slips:
        yield value_mm + slip, saying
        yield value_mm - slip, saying
    yield -value_mm, "a lost or added minus sign?"
    digits = f"{value_mm / unit_mm:.10g}"
    for i in range(len(digits) - 1):
        if digits[i : i + 2].isdigit() and digits[i] != digits[i + 1]:
            swapped = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
            yield float(swapped) * unit_mm, f"two digits swapped, {swapped} for {digits}?"
    for factor in (10.0, 100.0, 1000.0):
        yield value_mm * factor, "a slip of the decimal sign?"
        yield value_mm / factor, "a slip of the decimal sign?"
