"""From a curve and the original count and rhythm to bricks, joints, templets, centring and laying order.

:func:`plan_rebuild` answers a :class:`RebuildPlan`: a whole ring laid anew with its own rhythm, or a repair
that leaves standing bricks where they are. A plan that cannot keep its joints inside their limits carries
refusals, never a silent squeeze. :func:`replan` follows the work with the marks of what is laid.
"""

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
from survey.rebuild.progress import replan

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
