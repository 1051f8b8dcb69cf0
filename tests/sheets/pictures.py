"""One drawing with every primitive, and a record name that tries every trick."""

from __future__ import annotations

import math

from survey.sheets.drawing import (
    Anchor,
    Arc,
    Circle,
    Dash,
    Dimension,
    Drawing,
    EllipticArc,
    Hatch,
    Layer,
    Line,
    Placed,
    Polyline,
    Sheet,
    Text,
)
from survey.sheets.kit import ink

NASTY = "<script>alert(1)</script> & \"quoted\" 'x' ../../etc =1+1 %%d \\U+0041 ^J ]]> \x07\u202eΔЖü"


def everything(words: str = "words") -> Drawing:
    """Lines, arcs, ellipses, hatched fields, marks, texts and a dimension."""
    pen = ink.pen(Layer.CURVE, ink.BOLD_MM)
    fields = [
        Polyline(
            ((-900.0 + 400 * k, 650.0), (-600.0 + 400 * k, 700.0), (-620.0 + 400 * k, 900.0)),
            ink.area(Layer.BRICK, hatch=hatch),
            closed=True,
            tag=f"field-{k}",
        )
        for k, hatch in enumerate(Hatch)
    ]
    dashes = [
        Line((0.0, 10.0 * k), (500.0, 10.0 * k), ink.pen(Layer.JOINT, dash=d)) for k, d in enumerate(Dash)
    ]
    return Drawing(
        "everything",
        (
            EllipticArc((0.0, 0.0), 1000.0, 600.0, 0.0, 0.0, math.pi, pen),
            EllipticArc((0.0, 0.0), 400.0, 700.0, 0.3, 0.5, 2.5, ink.pen(Layer.CENTRING, colour=ink.ACCENT)),
            Arc((0.0, -1600.0), 2000.0, 0.9, 2.2, pen),
            *fields,
            *dashes,
            Polyline(((0.0, 0.0), (100.0, 40.0), (200.0, 0.0)), ink.pen(Layer.SURVEY)),
            Circle((0.0, 600.0), 1.0, ink.area(Layer.SURVEY, ink.ACCENT), tag=words),
            Text((0.0, -200.0), words, 3.0, ink.letters(), Anchor.MIDDLE, 0.1, backed=True),
            Text((0.0, -300.0), "left", 2.0, ink.letters(), bold=True),
            Text((0.0, -300.0), "right", 2.0, ink.letters(), Anchor.RIGHT),
            Dimension((-1000.0, 0.0), (1000.0, 0.0), "2000", -8.0, ink.pen(Layer.DIMENSION)),
        ),
    )


def page_with(drawing: Drawing, title: str = "A sheet") -> Sheet:
    """The drawing at 1 : 10 on an A4 page."""
    return Sheet("page", title, 297.0, 210.0, (Placed(drawing, (0.0, 0.0), (148.0, 60.0), 10.0),), ())
