"""The cautions printed on everything that leads to work on an arch: the one source for plan and sheets."""

from __future__ import annotations

from typing import Final

ENGINEER: Final = (
    "This plan is drawn from measurements; it is not a structural design. A qualified engineer checks the "
    "arch, its abutments, the props and the order of work, and the local code and the heritage consent are "
    "followed."
)
PROP_FIRST: Final = (
    "Prop the arch before anyone goes under it, measures it or cuts out a brick: one dropped brick can let "
    "the whole ring go."
)
STRIKING: Final = (
    "Do not ease or strike the centring until the engineer agrees: the age of the mortar, cold and wet "
    "decide the date, and striking early can bring the arch down. Lower evenly on all wedges, watch the "
    "gauges, keep everyone from under it."
)
SILICA: Final = (
    "Brick dust holds silica that ruins lungs. Cut wet, with extraction, in a fitted respirator; never "
    "sweep it dry."
)
LIME: Final = (
    "Lime burns eyes and skin. Wear goggles and gloves, keep clean water for the eyes at hand, never slake "
    "quicklime without training."
)
HEIGHT: Final = (
    "Work from a platform with guard rails, not from a ladder. A centre is heavy: lift it with enough people "
    "or with tackle. Mind old paint with lead, and bird droppings."
)
PRINTED_TEMPLATE: Final = (
    "Before a printed template is used, measure its 100 mm check bar and one measured span on the print."
)

CAUTIONS: Final[tuple[str, ...]] = (ENGINEER, PROP_FIRST, STRIKING, SILICA, LIME, HEIGHT, PRINTED_TEMPLATE)
"""All of them, in the order they are printed."""

NOT_TO_BE_BUILT: Final = "NOT TO BE BUILT:"
"""What stands before the reasons on everything that comes from a refused plan."""
