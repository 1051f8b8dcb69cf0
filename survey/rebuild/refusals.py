"""Why a ring does not close, by how much, and which change would cure it; and courses named in a sentence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from survey.rebuild.words import counted


@dataclass(frozen=True, slots=True)
class Misfit:
    """A run of bricks whose joints cannot close it inside their limits.

    Attributes
    ----------
    place : str
        Which ring, or which gap of it, in words.
    n_bricks : int
    widths_mm : float
        Their widths added up.
    room_mm : float
        Length of curve they and their joints have to fill.
    n_joints : int
    min_mm, max_mm : float
        Limits of one joint.
    brick_mm : float
        Width of the ring's usual brick, for another count.
    across : float
        Of the joints' length along the arch, the share across the joint: the cosine of a turned ring's turn.
    """

    place: str
    n_bricks: int
    widths_mm: float
    room_mm: float
    n_joints: int
    min_mm: float
    max_mm: float
    brick_mm: float
    across: float = 1.0

    @property
    def even_joint_mm(self) -> float:
        """The joint all would have if the limits were no matter."""
        return (self.room_mm - self.widths_mm) / self.n_joints

    def even_joint_with(self, more: int) -> float:
        """The even joint with so many more bricks (negative: fewer)."""
        return (self.room_mm - self.widths_mm - more * self.brick_mm) / (self.n_joints + more)


def explain(misfit: Misfit) -> str:
    """One paragraph: what was given, by how much it fails, and what would cure it.

    Examples
    --------
    >>> import textwrap
    >>> misfit = Misfit("Ring 1", 43, 2150.0, 2200.0, 44, 4.0, 18.0, 50.0)
    >>> print(textwrap.fill(explain(misfit), 90))
    Ring 1: 43 bricks of together 2150.0 mm on 2200.0 mm of curve leave 44 joints of 1.1 mm;
    the least is 4.0 mm, so 126.0 mm are missing. It would close with 40 bricks (joints of 4.9
    mm; changes odd or even), or 39 bricks (joints of 6.2 mm; keeps odd or even), or bricks
    3.0 mm narrower on average, or the least joint set to 1.1 mm in [joints] of arch.toml.
    """
    joint = misfit.even_joint_mm
    tight = joint < misfit.min_mm
    limit = misfit.min_mm if tight else misfit.max_mm
    off_mm = abs(limit - joint) * misfit.n_joints
    one = misfit.n_bricks == 1
    what = (
        f"{misfit.place}: {counted(misfit.n_bricks, 'brick')} of {'' if one else 'together '}"
        f"{misfit.widths_mm:.1f} mm on {misfit.room_mm:.1f} mm of curve leave{'s' if one else ''} "
        f"{counted(misfit.n_joints, 'joint')} of {joint:.1f} mm; the "
        f"{'least' if tight else 'greatest'} is {limit:.1f} mm{_across(misfit, limit)}, "
        f"so {off_mm:.1f} mm are {'missing' if tight else 'left over'}."
    )
    cures = [*_counts(misfit, tight=tight), *_widths(misfit, off_mm, tight=tight)]
    if joint > 0.0:
        word = "least" if tight else "greatest"
        cures.append(
            f"the {word} joint set to {_outward(joint * misfit.across, tight=tight):.1f} mm in [joints] of "
            "arch.toml"
        )
    return f"{what} It would close with {', or '.join(cures)}."


def _across(misfit: Misfit, limit_mm: float) -> str:
    """A turned ring's limit as arch.toml has it: across the joint, not along the arch."""
    return "" if misfit.across == 1.0 else f" along the arch ({limit_mm * misfit.across:.1f} mm across)"


def _outward(joint_mm: float, *, tight: bool) -> float:
    """The joint rounded to 0.1 mm on the side that lets it through."""
    return math.floor(joint_mm * 10.0) / 10.0 if tight else math.ceil(joint_mm * 10.0) / 10.0


def _counts(misfit: Misfit, *, tight: bool) -> list[str]:
    """Other counts that close: the nearest, and the nearest that keeps odd odd and even even."""
    found: list[str] = []
    for change in range(1, max(misfit.n_bricks, 3)):
        more = -change if tight else change
        joint = misfit.even_joint_with(more) if misfit.n_bricks + more > 0 else float("nan")
        if misfit.min_mm <= joint <= misfit.max_mm and (not found or change % 2 == 0):
            parity = "keeps" if change % 2 == 0 else "changes"
            bricks = counted(misfit.n_bricks + more, "brick")
            found.append(f"{bricks} (joints of {joint:.1f} mm; {parity} odd or even)")
        if found and change % 2 == 0:
            break
    return found


def _widths(misfit: Misfit, off_mm: float, *, tight: bool) -> list[str]:
    each = off_mm / misfit.n_bricks if misfit.n_bricks else 0.0
    if misfit.n_bricks == 0 or each >= misfit.widths_mm / misfit.n_bricks:
        return []
    return [f"bricks {math.ceil(each * 10.0) / 10.0:.1f} mm {'narrower' if tight else 'wider'} on average"]


def course_list(courses: Sequence[int]) -> str:
    """Course numbers with runs drawn together.

    Examples
    --------
    >>> course_list([3, 4, 5, 9, 11, 12])
    '3 to 5, 9, 11, 12'
    """
    runs: list[list[int]] = []
    for course in sorted(courses):
        if runs and course == runs[-1][-1] + 1:
            runs[-1].append(course)
        else:
            runs.append([course])
    return ", ".join(f"{r[0]} to {r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs)


def courses_named(courses: Sequence[int]) -> str:
    """Course numbers with the word before them.

    Examples
    --------
    >>> courses_named([7]), courses_named([3, 4, 5])
    ('course 7', 'courses 3 to 5')
    """
    return f"course{'s' if len(courses) > 1 else ''} {course_list(courses)}"
