"""Two surveys of one arch brought into one frame: by common datum points, or by the springings."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from survey.curves.protocol import Floats
from survey.errors import FitError
from survey.fitting.result import ArchFit, Estimate
from survey.record.model import Edge, Feature, Record

DISTURBED_SIGMAS = 3.5
"""A datum that misses by more than this was disturbed; it is left out while at least three remain."""


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
    """

    by: Tie
    names: tuple[str, ...]
    turn_rad: Estimate
    shift_mm: tuple[float, float]
    shift_variance_mm2: float
    centre_mm: tuple[float, float]
    misfit_mm: float
    because: str

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
    tie = _rigid(Tie.SPRINGINGS, names, a, b)
    return _said(
        tie, "The surveys are tied by their springings: what both springings did together cannot be seen."
    )


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
    return _said(tie, said)


def _said(tie: SurveyTie, because: str) -> SurveyTie:
    return SurveyTie(
        tie.by,
        tie.names,
        tie.turn_rad,
        tie.shift_mm,
        tie.shift_variance_mm2,
        tie.centre_mm,
        tie.misfit_mm,
        because,
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
