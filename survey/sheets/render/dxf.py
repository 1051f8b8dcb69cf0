"""DXF with true arcs and ellipses, millimetre units and a layer for each subject."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import TYPE_CHECKING, Any

from survey.sheets.drawing import (
    Anchor,
    Arc,
    Circle,
    Dash,
    Drawing,
    EllipticArc,
    Hatch,
    Layer,
    Line,
    Polyline,
    Style,
    Text,
)
from survey.sheets.kit.ink import red_green_blue
from survey.sheets.kit.lettering import printed_text
from survey.sheets.kit.placing import DASHES_MM, Mark, exploded, sweep_rad

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.layouts.layout import Modelspace

VERSION = "R2018"
MILLIMETRES = 4
"""$INSUNITS value of the millimetre."""
BLACK_OR_WHITE = 7
"""Colour index that viewers draw black on white paper and white on a black screen."""
TEXT_STYLE = "SURVEY"
_PALEST = 0xE0
"""Fills whose least share of red, green and blue is no less are left out."""
_BLACKEST = 0x30
"""Colours none of whose shares is above this are black, written as ``BLACK_OR_WHITE``."""
_RISING_RAD, _FALLING_RAD = math.pi / 4, 3 * math.pi / 4
_HATCH_TURNS_RAD = {
    Hatch.DIAGONAL: (_RISING_RAD,),
    Hatch.BACK_DIAGONAL: (_FALLING_RAD,),
    Hatch.CROSS: (_RISING_RAD, _FALLING_RAD),
}
_LINEWEIGHTS = (
    0,
    5,
    9,
    13,
    15,
    18,
    20,
    25,
    30,
    35,
    40,
    50,
    53,
    60,
    70,
    80,
    90,
    100,
    106,
    120,
    140,
    158,
    200,
    211,
)
_HALIGN = {Anchor.LEFT: "LEFT", Anchor.MIDDLE: "CENTER", Anchor.RIGHT: "RIGHT"}


def render_dxf(drawing: Drawing, *, scale: float = 10.0) -> str:
    """A drawing as DXF text in model millimetres.

    Parameters
    ----------
    drawing : Drawing
    scale : float
        Plot scale 1 : ``scale`` for which lettering, marks and dimension offsets are sized.

    Returns
    -------
    str
    """
    with _fixed_dates():
        document = _new_document(scale)
        space = document.modelspace()
        for mark in exploded(drawing.primitives, scale):
            _add(space, mark, scale)
        stream = StringIO()
        document.write(stream)
        return stream.getvalue()


@contextmanager
def _fixed_dates() -> Iterator[None]:
    """Fixed dates and identifiers meanwhile, so that the same drawing gives the same file."""
    import ezdxf

    options = ezdxf.options  # type: ignore[attr-defined]  # exported, but not by name
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _new_document(scale: float) -> Document:
    """An empty document in millimetres with the layers, line patterns and lettering of the sheets."""
    from ezdxf import units
    from ezdxf.filemanagement import new

    document = new(VERSION, setup=False)
    document.units = units.MM
    document.header["$INSUNITS"] = MILLIMETRES
    document.header["$MEASUREMENT"] = 1
    document.header["$LTSCALE"] = scale
    document.styles.new(TEXT_STYLE, dxfattribs={"font": "DejaVuSans.ttf"})
    for dash, lengths in DASHES_MM.items():
        if lengths:
            signed = [length if k % 2 == 0 else -length for k, length in enumerate(lengths)]
            document.linetypes.new(
                dash.value.upper(), dxfattribs={"description": dash.value, "pattern": [sum(lengths), *signed]}
            )
    for layer in Layer:
        document.layers.new(layer.value, dxfattribs={"color": BLACK_OR_WHITE})
    return document


def _add(space: Modelspace, mark: Mark, scale: float) -> None:
    attributes = _attributes(mark.style)
    match mark:
        case Line(start, end):
            space.add_line(start, end, dxfattribs=attributes)
        case Polyline(points):
            if mark.closed:
                _add_hatch(space, mark, scale)
            if mark.style.colour:
                space.add_lwpolyline(points, close=mark.closed, dxfattribs=attributes)
        case Arc(centre, radius):
            first = math.degrees(mark.start_rad)
            last = first + math.degrees(sweep_rad(mark))
            space.add_arc(centre, radius, first, last, dxfattribs=attributes)
        case EllipticArc():
            _add_ellipse(space, mark, attributes)
        case Circle(centre, radius_paper):
            space.add_circle(centre, radius_paper * scale, dxfattribs=attributes)
        case Text():
            _add_text(space, mark, scale)


def _add_ellipse(space: Modelspace, mark: EllipticArc, attributes: dict[str, Any]) -> None:
    """Elliptic arc; its major axis comes first in the file, so a tall one is turned a quarter."""
    major, minor, turn, shift = mark.semi_x, mark.semi_y, mark.tilt_rad, 0.0
    if minor > major:
        major, minor, turn, shift = minor, major, turn + math.pi / 2, -math.pi / 2
    start = mark.start_rad + shift
    space.add_ellipse(
        mark.centre,
        major_axis=(major * math.cos(turn), major * math.sin(turn)),
        ratio=minor / major,
        start_param=start,
        end_param=start + sweep_rad(mark),
        dxfattribs=attributes,
    )


def _add_hatch(space: Modelspace, mark: Polyline, scale: float) -> None:
    """Hatch of a closed outline, spaced as on paper at the plot scale; else its fill where that is dark."""
    if mark.style.hatch is Hatch.NONE:
        _add_fill(space, mark)
        return
    step = 1.5 * scale
    if mark.style.hatch is Hatch.DOTS:
        turned = step / math.sqrt(2.0)
        definition = [[45.0, (0.0, 0.0), (-turned, turned), [0.0, -step]]]
    else:
        definition = [
            [math.degrees(turn), (0.0, 0.0), (-step * math.sin(turn), step * math.cos(turn)), []]
            for turn in _HATCH_TURNS_RAD[mark.style.hatch]
        ]
    attributes = {key: value for key, value in _attributes(mark.style).items() if key != "linetype"}
    hatch = space.add_hatch(dxfattribs={**attributes, "lineweight": 13})
    hatch.set_pattern_fill(mark.style.hatch.value.upper(), definition=definition)
    hatch.paths.add_polyline_path(mark.points, is_closed=True)


def _add_fill(space: Modelspace, mark: Polyline) -> None:
    """A plain fill; white and the pale wash under the bricks are none on a ground of another colour."""
    if not mark.style.fill or min(red_green_blue(mark.style.fill)) >= _PALEST:
        return
    hatch = space.add_hatch(color=BLACK_OR_WHITE, dxfattribs={"layer": mark.style.layer.value})
    if max(red_green_blue(mark.style.fill)) > _BLACKEST:
        hatch.rgb = red_green_blue(mark.style.fill)
    hatch.paths.add_polyline_path(mark.points, is_closed=True)


def _add_text(space: Modelspace, mark: Text, scale: float) -> None:
    from ezdxf.enums import TextEntityAlignment

    attributes = {
        **_attributes(mark.style),
        "style": TEXT_STYLE,
        "rotation": math.degrees(mark.turn_rad),
    }
    text = space.add_text(harmless(mark.text), height=mark.height_mm * scale, dxfattribs=attributes)
    text.set_placement(mark.at, align=TextEntityAlignment[_HALIGN[mark.anchor]])


def harmless(text: str) -> str:
    r"""Text that no DXF reader takes for a code: ``%%``, ``^`` and ``\`` are followed by a blank or parted.

    Examples
    --------
    >>> harmless("50 %%u wide \\U+0041 ^J")
    '50 % %u wide \\ U+0041 ^ J'
    """
    flat = printed_text(text).replace("\\", "\\ ").replace("^", "^ ")
    while "%%" in flat:
        flat = flat.replace("%%", "% %")
    return flat


def _attributes(style: Style) -> dict[str, Any]:
    """Layer, colour, line pattern and pen of a style; black stays the index that reads on any ground."""
    attributes: dict[str, Any] = {"layer": style.layer.value}
    red, green, blue = red_green_blue(style.colour) if style.colour else (0, 0, 0)
    if max(red, green, blue) > _BLACKEST:
        attributes["true_color"] = (red << 16) | (green << 8) | blue
    if style.dash is not Dash.SOLID:
        attributes["linetype"] = style.dash.value.upper()
    hundredths = round(style.width_mm * 100)
    attributes["lineweight"] = min(_LINEWEIGHTS, key=lambda weight: abs(weight - hundredths))
    return attributes
