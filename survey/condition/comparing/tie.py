"""Two surveys of one arch brought into one frame: by common datum points, or by the springings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.fitting.result import ArchFit, Estimate
from survey.record.model import Edge, Feature, Record

DISTURBED_SIGMAS = 3.5
"""A datum that misses by more than this was disturbed; it is left out while at least three remain."""
PLUMB_BY_INSTRUMENT_RAD = 0.0002
"""How plumb the z of a site grid stands (standard uncertainty): levelled instruments keep a fifth of a
millimetre in a metre with ease (this project's judgement)."""
PLUMB_BY_HAND_RAD = 0.001
"""How plumb y stands in points without z: a spirit level is read to a millimetre in a metre (judgement)."""
TURNED_FRAME_RAD = 0.02
"""Springing lines turned against each other by more than this, without z: a frame that was never levelled is
likelier than a springing that sank by a fiftieth of the span (judgement)."""
LAID_ALONG_SHARE = 1e-7
"""Springings whose heights differ by less than this share of the span have the same height to any digit."""
UNSEEN_SETTLEMENT = (
    "Whether one springing sank cannot be seen in this tie: measure two datum points next time."
)


class Tie(StrEnum):
    """What two surveys are tied by."""

    DATUM = "datum"
    SPRINGINGS = "springings"


@dataclass(frozen=True, slots=True, eq=False)
class SurveyTie:
    """A rigid motion from the later survey's arch frame into the earlier one's: ``R(turn) p + shift``.

    Attributes
    ----------
    by : Tie
    names : tuple of str
        The points it rests on.
    turn_rad : Estimate
    shift_mm : tuple of float
    shift_variance_mm2 : float
        Of either coordinate, at ``centre_mm``.
    centre_mm : tuple of float
        Middle of the tied points, in the earlier frame, where turn and shift are independent.
    misfit_mm : float
        Root mean square of what the tied points still miss.
    because : str
        In a sentence.
    sees_settlement : bool
        False where the springings themselves gave the turn, so that neither can be seen to sink.
    is_plumb_by_hand : bool
        Whether a settlement rests on a y that no levelled instrument gave.
    """

    by: Tie
    names: tuple[str, ...]
    turn_rad: Estimate
    shift_mm: tuple[float, float]
    shift_variance_mm2: float
    centre_mm: tuple[float, float]
    misfit_mm: float
    because: str
    sees_settlement: bool = True
    is_plumb_by_hand: bool = False

    def carry(self, xy_mm: Floats) -> Floats:
        """Points (n, 2) of the later survey in the earlier frame."""
        c, s = np.cos(self.turn_rad.value), np.sin(self.turn_rad.value)
        return np.asarray(xy_mm @ np.array([[c, s], [-s, c]]) + np.asarray(self.shift_mm), dtype=float)

    def variance(self, xy_mm: Floats, direction: Floats) -> Floats:
        """Variance (n,) the tie lends to points (n, 2) along unit directions (n, 2)."""
        arm = xy_mm - np.asarray(self.centre_mm)
        across = arm[:, 0] * direction[:, 1] - arm[:, 1] * direction[:, 0]
        return np.asarray(self.shift_variance_mm2 + (across * self.turn_rad.sigma) ** 2, dtype=float)


def tie_surveys(record_a: Record, fit_a: ArchFit, record_b: Record, fit_b: ArchFit) -> SurveyTie:
    """Tie two surveys by datum points of the same name, or by the springings where fewer than two are common.

    Tied by the springings the later survey is shifted only, so that they may be seen to sink against each
    other, unless one of the records may be out of plumb: then it is turned as well.

    Raises
    ------
    FitError
        Neither is there in both.
    """
    a, b = _datums(record_a, fit_a), _datums(record_b, fit_b)
    names = tuple(sorted(a.keys() & b.keys()))
    if len(names) >= 2:
        return _tie_by_datums(names, a, b)
    a, b = _springings(record_a, fit_a), _springings(record_b, fit_b)
    names = tuple(sorted(a.keys() & b.keys()))
    if len(names) < 2:
        raise FitError(
            "the two surveys have neither two datum points of the same name nor both springings in common; "
            "measure the springings, or the first survey's datum points, again"
        )
    turned = _rigid(Tie.SPRINGINGS, names, a, b)
    why = _why_not_plumb(record_a, record_b, _arrays(names, a)[0], _arrays(names, b)[0])
    if why:
        return replace(
            turned,
            because=f"The surveys are tied by their springings and turned by them, since {why}: what both "
            f"springings did together cannot be seen. {UNSEEN_SETTLEMENT}",
            sees_settlement=False,
        )
    return _level(turned, names, a, b, by_hand=not (record_a.has_depth and record_b.has_depth))


@dataclass(frozen=True, slots=True)
class _Spot:
    x_mm: float
    y_mm: float
    variance_mm2: float


def _datums(record: Record, fit: ArchFit) -> dict[str, _Spot]:
    on = np.flatnonzero(record.points.on(Feature.DATUM))
    xy = fit.to_arch(record.points.xy_mm[on])
    sigma = record.points.sigma_mm[on]
    return {
        record.points.name[i]: _Spot(float(p[0]), float(p[1]), float(s) ** 2)
        for i, p, s in zip(on, xy, sigma, strict=True)
    }


def _springings(record: Record, fit: ArchFit) -> dict[str, _Spot]:
    found = {}
    for side in (Edge.LEFT, Edge.RIGHT):
        on = record.points.on(Feature.SPRINGING) & np.asarray(record.points.edge == side, dtype=bool)
        if on.any():
            weight = record.points.sigma_mm[on] ** -2.0
            x, y = weight @ fit.to_arch(record.points.xy_mm[on]) / weight.sum()
            found[f"{side.value} springing"] = _Spot(float(x), float(y), float(1.0 / weight.sum()))
    return found


def _tie_by_datums(names: tuple[str, ...], a: dict[str, _Spot], b: dict[str, _Spot]) -> SurveyTie:
    tie, left_out = _rigid(Tie.DATUM, names, a, b), []
    while len(tie.names) > 3:
        miss = _misses(tie, a, b)
        worst = int(np.argmax(miss))
        if miss[worst] <= DISTURBED_SIGMAS:
            break
        left_out.append(tie.names[worst])
        tie = _rigid(Tie.DATUM, tuple(n for n in tie.names if n != tie.names[worst]), a, b)
    listed = ", ".join(tie.names)
    said = f"The surveys are tied by the datum points {listed}, which agree to {tie.misfit_mm:.1f} mm."
    if left_out:
        said += f" {', '.join(left_out)} was left out: it no longer stands where it stood."
    elif _misses(tie, a, b).max() > DISTURBED_SIGMAS:
        said += " They agree worse than their uncertainty allows: one of them may have been disturbed."
    return replace(tie, because=said)


def _why_not_plumb(record_a: Record, record_b: Record, xy_a: Floats, xy_b: Floats) -> str:
    """Why y may not be plumb in both, as a clause; blank where it is. ``xy`` (2, 2): both springings."""
    lines = (xy_a[1] - xy_a[0], xy_b[1] - xy_b[0])
    if record_a.has_depth and record_b.has_depth:
        return ""
    for which, record, line in zip(("earlier", "later"), (record_a, record_b), lines, strict=True):
        if not record.has_depth and abs(line[1]) < LAID_ALONG_SHARE * abs(line[0]):
            return (
                f"the {which} one has no z and gives both springings the same height to the last digit, as "
                "where x was laid along the string between them"
            )
    rise_a, rise_b = (float(np.arctan2(line[1], line[0])) for line in lines)
    if abs(rise_b - rise_a) > TURNED_FRAME_RAD:
        fall = abs(rise_b - rise_a) * float(np.hypot(*lines[0]))
        return (
            f"their springing lines lie {fall:.0f} mm over the span out of level with each other, and "
            "without z that may be a frame out of plumb as well as a springing that sank"
        )
    return ""


def _level(
    turned: SurveyTie, names: tuple[str, ...], a: dict[str, _Spot], b: dict[str, _Spot], *, by_hand: bool
) -> SurveyTie:
    """Tied by the middle of the springings, y plumb in both.

    Notes
    -----
    The middle is not weighted, so that it is the mean level of the springings whichever was measured better.
    """
    (xy_a, var_a), (xy_b, var_b) = _arrays(names, a), _arrays(names, b)
    middle = xy_a.mean(axis=0)
    shift = middle - xy_b.mean(axis=0)
    plumb = PLUMB_BY_HAND_RAD if by_hand else PLUMB_BY_INSTRUMENT_RAD
    said = f"y taken as plumb in both to {1000 * plumb:g} mm in a metre" if by_hand else "y plumb in both"
    return replace(
        turned,
        turn_rad=Estimate(0.0, float(np.sqrt(2.0)) * plumb),
        shift_mm=(float(shift[0]), float(shift[1])),
        shift_variance_mm2=float((var_a + var_b).sum()) / 4,
        centre_mm=(float(middle[0]), float(middle[1])),
        misfit_mm=float(np.sqrt(((xy_b + shift - xy_a) ** 2).sum(axis=1).mean())),
        because=f"The surveys are tied by the middle of their springings, with {said}. Movement is told "
        "against that middle: what both springings did together cannot be seen.",
        is_plumb_by_hand=by_hand,
    )


def _arrays(names: tuple[str, ...], spots: dict[str, _Spot]) -> tuple[Floats, Floats]:
    xy = np.array([(spots[n].x_mm, spots[n].y_mm) for n in names])
    return xy, np.array([spots[n].variance_mm2 for n in names])


def _misses(tie: SurveyTie, a: dict[str, _Spot], b: dict[str, _Spot]) -> Floats:
    """How far each tied point (n,) misses, over its own standard uncertainty."""
    (xy_a, var_a), (xy_b, var_b) = _arrays(tie.names, a), _arrays(tie.names, b)
    return np.asarray(np.hypot(*(tie.carry(xy_b) - xy_a).T) / np.sqrt(var_a + var_b), dtype=float)


def _rigid(by: Tie, names: tuple[str, ...], a: dict[str, _Spot], b: dict[str, _Spot]) -> SurveyTie:
    """The weighted least-squares rigid motion of common points, in closed form.

    Notes
    -----
    With both sets reduced to their weighted middles the turn is ``atan2(sum w b x a, sum w b . a)``; its
    variance is ``1 / sum w |b|^2`` and that of the middles' shift ``1 / sum w``.
    """
    (xy_a, var_a), (xy_b, var_b) = _arrays(names, a), _arrays(names, b)
    weight = 1.0 / (var_a + var_b)
    total = float(weight.sum())
    middle_a, middle_b = weight @ xy_a / total, weight @ xy_b / total
    from_a, from_b = xy_a - middle_a, xy_b - middle_b
    crossed = weight @ (from_b[:, 0] * from_a[:, 1] - from_b[:, 1] * from_a[:, 0])
    dotted = weight @ (from_b * from_a).sum(axis=1)
    turn = float(np.arctan2(crossed, dotted))
    c, s = np.cos(turn), np.sin(turn)
    shift = middle_a - np.array([[c, -s], [s, c]]) @ middle_b
    spread = float(weight @ (from_b**2).sum(axis=1))
    left = from_b @ np.array([[c, s], [-s, c]]) - from_a
    return SurveyTie(
        by=by,
        names=names,
        turn_rad=Estimate(turn, spread**-0.5),
        shift_mm=(float(shift[0]), float(shift[1])),
        shift_variance_mm2=1.0 / total,
        centre_mm=(float(middle_a[0]), float(middle_a[1])),
        misfit_mm=float(np.sqrt((left**2).sum(axis=1).mean())),
        because="",
    )
