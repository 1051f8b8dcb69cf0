"""What a user may ask of a fit."""

from __future__ import annotations

from dataclasses import dataclass

from survey.curves.shape import Family


@dataclass(frozen=True, slots=True)
class FitOptions:
    """Choices of a fit; the defaults suit a brick arch with level springings.

    Attributes
    ----------
    families : tuple of Family
        Families to try.
    tilt : bool
        Let the whole arch be turned about the middle of its springing line.
    movement : bool
        Look for movement: rigid pieces of one original turned about hinges.
    chosen : Family, optional
        Carry this family into the rebuild whatever the verdict.
    clear_probability : float
        A verdict is clear when its family reaches this probability.
    free_sectors : bool
        Fit the five-centred family with sector angles of its own instead of five equal ones of 36 degrees.
    """

    families: tuple[Family, ...] = tuple(Family)
    tilt: bool = False
    movement: bool = True
    chosen: Family | None = None
    clear_probability: float = 0.99
    free_sectors: bool = False
