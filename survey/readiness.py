"""What every stage can make of a record as it stands.

The stages themselves are asked: they run in about a second, and no other judgement would agree with theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from survey.errors import ArchSurveyError
from survey.fitting import fit_arch
from survey.fitting.result import ArchFit
from survey.rebuild import Scope, plan_rebuild
from survey.rebuild.words import listed
from survey.record.model import Feature, Record


class Stage(StrEnum):
    """A stage of the job, by its command."""

    FIT = "fit"
    DEVIATIONS = "deviations"
    REBUILD = "rebuild"


@dataclass(frozen=True, slots=True)
class Outlook:
    """What one stage can do with a record.

    Attributes
    ----------
    stage : Stage
    possible : bool
    because : str
        What it rests on, or what is in the way and what to do about it.
    doubtful : bool
        Whether something should be measured or counted again before its result is relied on.
    """

    stage: Stage
    possible: bool
    because: str
    doubtful: bool = False

    def __str__(self) -> str:
        """One line.

        Examples
        --------
        >>> print(Outlook(Stage.FIT, True, "66 points on the intrados"))
        fit: can be done; 66 points on the intrados
        """
        can = "can be done" if self.possible else "cannot be done yet"
        return f"{self.stage}: {can}{', with doubts' if self.doubtful else ''}; {self.because}"


def outlooks_of(record: Record) -> tuple[Outlook, ...]:
    """Ask every stage what it can do with a record.

    Returns
    -------
    tuple of Outlook
        One a stage, in the order of the job.
    """
    try:
        fit = fit_arch(record)
    except ArchSurveyError as error:
        later = (Stage.DEVIATIONS, Stage.REBUILD)
        return Outlook(Stage.FIT, False, str(error)), *(Outlook(s, False, "it needs the fit") for s in later)
    return _fitted(record, fit), _deviations(record, fit), _rebuild(record, fit)


def _fitted(record: Record, fit: ArchFit) -> Outlook:
    springings = _springing_doubts(record, fit)
    if not fit.verdict.clear:
        return Outlook(Stage.FIT, True, " ".join((fit.verdict.because, *springings)), doubtful=True)
    family = fit.verdict.family
    which = "none of the families" if family is None else f"the family is {family.replace('_', '-')}"
    told = f"{len(fit.points.index)} points, {which}"
    if springings:
        return Outlook(Stage.FIT, True, f"{told}. {' '.join(springings)}", doubtful=True)
    return Outlook(Stage.FIT, True, told)


def _springing_doubts(record: Record, fit: ArchFit) -> tuple[str, ...]:
    """What the fit makes of springing points it does not believe, and what to measure again, in sentences.

    A springing alone fixes where a segmental arch ends, so that leaving one out is no small matter.
    """
    told = fit.springing_doubts
    aside = fit.points.index[fit.points.set_aside]
    names = [record.points.name[i] for i in aside if record.points.feature[i] is Feature.SPRINGING]
    if names:
        points = "springing point" if len(names) == 1 else "springing points"
        told += (
            f"Left out: {points} {listed(names)}; measure both edges of the courses beside it again too.",
        )
    return told


def _deviations(record: Record, fit: ArchFit) -> Outlook:
    if not record.rings:
        no_ring = "arch.toml describes no ring: add a [[rings]] table with depth and brick_width"
        return Outlook(Stage.DEVIATIONS, False, no_ring)
    doubts = [count.doubt for count in fit.courses if count.doubt]
    doubts += [collar.told for collar in fit.collars if collar.doubtful]
    if doubts:
        return Outlook(Stage.DEVIATIONS, True, " ".join(doubts), doubtful=True)
    told = ", ".join(
        f"{count.count} courses in ring {count.ring}{'' if count.counted else ' by its rhythm'}"
        for count in fit.courses
    )
    return Outlook(Stage.DEVIATIONS, True, ". ".join((told, *(c.told for c in fit.collars if c.told))))


def _rebuild(record: Record, fit: ArchFit) -> Outlook:
    try:
        plan = plan_rebuild(record, fit)
    except ArchSurveyError as error:
        return Outlook(Stage.REBUILD, False, str(error))
    if plan.refusals:
        more = len(plan.refusals) - 1
        return Outlook(Stage.REBUILD, False, plan.refusals[0] + (f" (And {more} more.)" if more else ""))
    # What the plan warns of is about the work, not about the record, and is told with the plan.
    return Outlook(Stage.REBUILD, True, _SCOPES[plan.scope])


_SCOPES = {
    Scope.REPAIR: "a repair that leaves the standing courses where they are",
    Scope.WHOLE: "the whole arch taken down and laid anew",
}
