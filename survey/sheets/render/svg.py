"""SVG as plain strings: millimetre units, a named picture, escaped texts, the same bytes every time."""

from __future__ import annotations

import math
from html import escape
from itertools import groupby

from survey.files import safe_file_name
from survey.sheets.drawing import (
    Anchor,
    Arc,
    Box,
    Circle,
    Drawing,
    EllipticArc,
    Hatch,
    Line,
    Placed,
    Polyline,
    Sheet,
    Style,
    Text,
)
from survey.sheets.kit.ink import red_green_blue
from survey.sheets.kit.lettering import (
    CAP_RATIO,
    FONT_FAMILY,
    ground_corners,
    plain_text,
    printed_text,
    text_width_mm,
)
from survey.sheets.kit.placing import DASHES_MM, Mark, arc_point, exploded, extent, on_paper, sweep_rad

PIECE_RAD = math.pi / 6
"""Arcs are cut into pieces no longer than this: some viewers turn an arc into cubics, whose error grows with
the sixth power of the angle: half a millimetre at 1 : 1 for a quarter turn, a thousandth for 30 degrees."""
HATCH_STEP_MM = 1.5
_HATCH_LINES = {
    Hatch.DIAGONAL: ("45", '<path d="M.75 0V1.5"/>'),
    Hatch.BACK_DIAGONAL: ("-45", '<path d="M.75 0V1.5"/>'),
    Hatch.CROSS: ("45", '<path d="M.75 0V1.5M0 .75H1.5"/>'),
}


def render_svg(sheet: Sheet, *, description: str = "") -> str:
    """One sheet as a stand-alone SVG document, also fit to be set inside an HTML page.

    Parameters
    ----------
    sheet : Sheet
    description : str
        What the picture shows, for those who hear it read out; the title alone when blank.

    Returns
    -------
    str
    """
    prefix = safe_file_name(sheet.name, default="sheet").lower()
    layers: list[tuple[str, tuple[Mark, ...]]] = []
    clips: list[str] = []
    for number, placed in enumerate(sheet.placed):
        clip = ""
        if placed.clip is not None:
            name = f"{prefix}-clip-{number}"
            clips.append(_clip_path(name, placed.clip, sheet.height_mm))
            clip = f' clip-path="url(#{name})"'
        layers.append((clip, on_paper(placed)))
    layers.append(("", exploded(sheet.primitives)))
    body = "".join(_group(clip, marks, prefix, sheet.height_mm) for clip, marks in layers)
    hatches = _hatch_patterns([mark for _, marks in layers for mark in marks], prefix)
    width, height = _number(sheet.width_mm), _number(sheet.height_mm)
    title = escape(plain_text(sheet.title))
    told = escape(plain_text(description)) or title
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}" role="img" aria-labelledby="{prefix}-title {prefix}-desc">\n'
        f'<title id="{prefix}-title">{title}</title>\n<desc id="{prefix}-desc">{told}</desc>\n'
        f"<defs>{''.join(clips)}{hatches}</defs>\n"
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n{body}</svg>\n'
    )


def render_drawing_svg(
    drawing: Drawing, *, scale: float = 10.0, margin_mm: float = 4.0, title: str = "", description: str = ""
) -> str:
    """A drawing alone, cropped to what it shows plus a margin, at 1 : ``scale``."""
    at_origin = Placed(drawing, (0.0, 0.0), (0.0, 0.0), scale)
    box = extent(on_paper(at_origin)).grown(margin_mm)
    placed = Placed(drawing, (0.0, 0.0), (-box.left, -box.bottom), scale)
    sheet = Sheet(drawing.name, title or drawing.name, box.width, box.height, (placed,), ())
    return render_svg(sheet, description=description)


def _group(clip: str, marks: tuple[Mark, ...], prefix: str, height: float) -> str:
    """Marks in their order, neighbours of one style under one ``g`` with its attributes."""
    parts = [f"<g{clip}>\n"]
    for (style, is_text), run in groupby(marks, lambda mark: (mark.style, isinstance(mark, Text))):
        attributes = _letter_attributes(style) if is_text else _line_attributes(style)
        parts.append(f'<g class="{style.layer.value}" {attributes}>')
        parts.extend(_element(mark, prefix, height) for mark in run)
        parts.append("</g>\n")
    parts.append("</g>\n")
    return "".join(parts)


def _line_attributes(style: Style) -> str:
    """Pen, fill and dashes of a style."""
    stroke = _colour(style.colour) if style.colour and style.width_mm > 0.0 else "none"
    fill = _colour(style.fill) if style.fill else "none"
    dashes = DASHES_MM[style.dash]
    dash = f' stroke-dasharray="{" ".join(map(_number, dashes))}"' if dashes else ""
    return (
        f'fill="{fill}" stroke="{stroke}" stroke-width="{_number(style.width_mm)}" '
        f'stroke-linejoin="round" stroke-linecap="butt"{dash}'
    )


def _letter_attributes(style: Style) -> str:
    return f'fill="{_colour(style.colour)}" stroke="none" font-family="{FONT_FAMILY}, Verdana, sans-serif"'


def _element(mark: Mark, prefix: str, height: float) -> str:
    """One mark; y is turned over, since SVG counts it downwards."""
    match mark:
        case Line((x1, y1), (x2, y2)):
            return f'<path d="M{_number(x1)} {_number(height - y1)}L{_number(x2)} {_number(height - y2)}"/>'
        case Polyline():
            return _polyline(mark, prefix, height)
        case Arc() | EllipticArc():
            return f'<path d="{_arc_path(mark, height)}"/>'
        case Circle((x, y), radius):
            tag = _tag(mark.tag)
            return f'<circle{tag} cx="{_number(x)}" cy="{_number(height - y)}" r="{_number(radius)}"/>'
        case Text():
            return _text(mark, height)


def _polyline(mark: Polyline, prefix: str, height: float) -> str:
    path = "M" + "L".join(f"{_number(x)} {_number(height - y)}" for x, y in mark.points)
    if mark.closed:
        path += "Z"
    drawn = f'<path{_tag(mark.tag)} d="{path}"/>'
    if mark.closed and mark.style.hatch is not Hatch.NONE:
        drawn += f'<path d="{path}" stroke="none" fill="url(#{_hatch_name(mark.style, prefix)})"/>'
    return drawn


def _arc_path(mark: Arc | EllipticArc, height: float) -> str:
    """Arc commands, in pieces of at most ``PIECE_RAD``."""
    a, b, tilt = (
        (mark.radius, mark.radius, 0.0)
        if isinstance(mark, Arc)
        else (mark.semi_x, mark.semi_y, mark.tilt_rad)
    )
    sweep = sweep_rad(mark)
    n_pieces = max(1, math.ceil(sweep / PIECE_RAD - 1e-9))
    radii = f"{_number(a)} {_number(b)} {_number(-math.degrees(tilt))}"
    x, y = arc_point(mark, mark.start_rad)
    path = f"M{_number(x)} {_number(height - y)}"
    for k in range(1, n_pieces + 1):
        x, y = arc_point(mark, mark.start_rad + sweep * k / n_pieces)
        path += f"A{radii} 0 0 {_number(x)} {_number(height - y)}"
    return path


def _text(mark: Text, height: float) -> str:
    """A line of text, held to its measured width where the viewer lacks the font."""
    flat = printed_text(mark.text)
    x, y = mark.at[0], height - mark.at[1]
    turn = f' transform="rotate({_number(-math.degrees(mark.turn_rad))} {_number(x)} {_number(y)})"'
    anchor = {Anchor.LEFT: "", Anchor.MIDDLE: ' text-anchor="middle"', Anchor.RIGHT: ' text-anchor="end"'}
    width = text_width_mm(flat, mark.height_mm, bold=mark.bold)
    held = f' textLength="{_number(width)}" lengthAdjust="spacingAndGlyphs"' if len(flat) > 1 else ""
    weight = ' font-weight="bold"' if mark.bold else ""
    ground = ""
    if mark.backed:
        corners = " ".join(f"{_number(cx)},{_number(height - cy)}" for cx, cy in ground_corners(mark))
        ground = f'<polygon points="{corners}" fill="#ffffff"/>'
    return (
        f'{ground}<text x="{_number(x)}" y="{_number(y)}" font-size="{_number(mark.height_mm / CAP_RATIO)}"'
        f"{anchor[mark.anchor]}{weight}{held}{turn if mark.turn_rad else ''}>{escape(flat)}</text>"
    )


def _tag(tag: str) -> str:
    return f' data-mark="{escape(plain_text(tag))}"' if tag else ""


def _clip_path(name: str, box: Box, height: float) -> str:
    return (
        f'<clipPath id="{name}"><rect x="{_number(box.left)}" y="{_number(height - box.top)}" '
        f'width="{_number(box.width)}" height="{_number(box.height)}"/></clipPath>'
    )


def _hatch_name(style: Style, prefix: str) -> str:
    return f"{prefix}-{style.hatch.value}-{_colour(style.colour).lstrip('#')}"


def _hatch_patterns(marks: list[Mark], prefix: str) -> str:
    """Pattern definitions of the hatches that occur, each once, in order of first use."""
    used: dict[str, str] = {}
    for mark in marks:
        if isinstance(mark, Polyline) and mark.closed and mark.style.hatch is not Hatch.NONE:
            used.setdefault(_hatch_name(mark.style, prefix), _hatch_pattern(mark.style, prefix))
    return "".join(used.values())


def _hatch_pattern(style: Style, prefix: str) -> str:
    name, colour, step = _hatch_name(style, prefix), _colour(style.colour), _number(HATCH_STEP_MM)
    head = f'<pattern id="{name}" width="{step}" height="{step}" patternUnits="userSpaceOnUse"'
    if style.hatch is Hatch.DOTS:
        dot = f'<circle cx=".75" cy=".75" r=".14" fill="{colour}"/>'
        return f'{head} patternTransform="rotate(45)">{dot}</pattern>'
    turn, lines = _HATCH_LINES[style.hatch]
    ink = f'fill="none" stroke="{colour}" stroke-width=".15"'
    return f'{head} patternTransform="rotate({turn})"><g {ink}>{lines}</g></pattern>'


def _colour(colour: str) -> str:
    red_green_blue(colour)
    return colour


def _number(value: float) -> str:
    """Micrometres at most, without trailing zeros."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
