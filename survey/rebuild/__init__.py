"""From a curve and the original count and rhythm to bricks, joints, templets, centring and laying order.

:func:`plan_rebuild` answers a :class:`RebuildPlan`: a whole ring laid anew with its own rhythm, or a repair
that leaves standing bricks where they are. A plan that cannot keep its joints inside their limits carries
refusals, never a silent squeeze. :func:`replan` follows the work with the marks of what is laid.

The modules behind these names are loaded when a name is asked for, so that a sheet of the fit, which only
needs this room's words, does not load its workings.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from survey.rebuild.laying.progress import replan
    from survey.rebuild.plan import (
        Brick,
        BrickKind,
        CentringMark,
        CentringPlan,
        CurveChoice,
        LayingStep,
        Quantity,
        RebuildOptions,
        RebuildPlan,
        RibBoard,
        RingPlan,
        Scope,
        Templet,
    )
    from survey.rebuild.planner import plan_rebuild

__all__ = [
    "Brick",
    "BrickKind",
    "CentringMark",
    "CentringPlan",
    "CurveChoice",
    "LayingStep",
    "Quantity",
    "RebuildOptions",
    "RebuildPlan",
    "RibBoard",
    "RingPlan",
    "Scope",
    "Templet",
    "plan_rebuild",
    "replan",
]

_HOMES = {"plan_rebuild": "planner", "replan": "laying.progress"}
"""Modules of the names that are not in ``plan``."""


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOMES.get(name, 'plan')}"), name)
    globals()[name] = value
    return value
