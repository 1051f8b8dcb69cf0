"""PDF pages at exact size, with embedded lettering and the same bytes every time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from io import BytesIO
from typing import Any

from survey.errors import DrawingError
from survey.sheets.drawing import (
    XY,
    Anchor,
    Arc,
    Box,
    Circle,
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
    BOLD_FONT_NAME,
    CAP_RATIO,
    FONT_NAME,
    ground_corners,
    pdf_font,
    plain_text,
    printed_text,
    text_width_mm,
)
from survey.sheets.kit.placing import DASHES_MM, Mark, exploded, mark_box, on_paper, sweep_rad

MM = 72.0 / 25.4
"""Points in a millimetre."""
PIECE_RAD = math.pi / 9
"""Arcs are drawn as cubics of at most 20 degrees: off the true arc by less than 4e-8 of its radius."""
HATCH_STEP_MM = 1.5
HATCH_PEN_MM = 0.13
DOT_MM = 0.28


def render_pdf(sheets: Sequence[Sheet], *, title: str = "") -> bytes:
    """All sheets as one document, a page each in its own size.

    Parameters
    ----------
    sheets : sequence of Sheet
    title : str
        Document title; the first sheet's when blank.

    Returns
    -------
    bytes

    Raises
    ------
    DrawingError
        When there is no sheet.
    """
    from reportlab.pdfgen.canvas import Canvas

    if not sheets:
        raise DrawingError("a PDF needs at least one sheet; none was given")
    _embed_fonts()
    stream = BytesIO()
    canvas = Canvas(stream, pageCompression=1, invariant=1, initialFontName=FONT_NAME)
    canvas.setTitle(plain_text(title or sheets[0].title))
    canvas.setSubject("geometric record, millimetres")
    canvas.setViewerPreference("PrintScaling", "None")  # no shrinking to a printer's margins
    for sheet in sheets:
        canvas.setPageSize((sheet.width_mm * MM, sheet.height_mm * MM))
        canvas.scale(MM, MM)
        for placed in sheet.placed:
            _draw_placed(canvas, placed)
        _draw(canvas, exploded(sheet.primitives))
        canvas.showPage()
    with _binary_streams():
        canvas.save()
    return stream.getvalue()


@contextmanager
def _binary_streams() -> Iterator[None]:
    """Let reportlab write compressed streams as bytes: in letters they are longer by a quarter and slower."""
    from reportlab import rl_config

    usual = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = usual


def _embed_fonts() -> None:
    """Make the two fonts known to reportlab; doing so again changes nothing."""
    from reportlab.pdfbase import pdfmetrics

    known = pdfmetrics.getRegisteredFontNames()
    for font in (pdf_font(), pdf_font(bold=True)):
        if font.fontName not in known:
            pdfmetrics.registerFont(font)


def _draw_placed(canvas: Any, placed: Placed) -> None:
    """A drawing on its place; with a clip, only what reaches into it is written."""
    marks = on_paper(placed)
    if placed.clip is None:
        _draw(canvas, marks)
        return
    canvas.saveState()
    path = canvas.beginPath()
    path.rect(placed.clip.left, placed.clip.bottom, placed.clip.width, placed.clip.height)
    canvas.clipPath(path, stroke=0, fill=0)
    reach = placed.clip.grown(1.0)
    _draw(canvas, (mark for mark in marks if reach.meets(mark_box(mark).grown(0.01))))
    canvas.restoreState()


def _draw(canvas: Any, marks: Iterable[Mark]) -> None:
    """Marks in their order; the pen changes only where the style does."""
    current: Style | None = None
    for mark in marks:
        if isinstance(mark, Text):
            _text(canvas, mark)
            current = None
            continue
        if mark.style != current:
            _set_pen(canvas, mark.style)
            current = mark.style
        _stroke(canvas, mark)
        if isinstance(mark, Polyline) and mark.closed and mark.style.hatch is not Hatch.NONE:
            _hatch(canvas, mark)


def _set_pen(canvas: Any, style: Style) -> None:
    canvas.setLineWidth(style.width_mm)
    canvas.setLineJoin(1)
    canvas.setLineCap(0)
    canvas.setDash(list(DASHES_MM[style.dash]))
    if style.colour:
        canvas.setStrokeColorRGB(*_rgb(style.colour))
    if style.fill:
        canvas.setFillColorRGB(*_rgb(style.fill))


def _stroke(canvas: Any, mark: Line | Polyline | Arc | EllipticArc | Circle) -> None:
    stroke = int(bool(mark.style.colour) and mark.style.width_mm > 0.0)
    fill = int(bool(mark.style.fill))
    path = canvas.beginPath()
    match mark:
        case Line(start, end):
            path.moveTo(*start)
            path.lineTo(*end)
        case Polyline():
            _trace(path, mark)
            fill = fill if mark.closed else 0
        case Circle((x, y), radius):
            path.circle(x, y, radius)
        case Arc() | EllipticArc():
            cubics = arc_cubics(mark)
            path.moveTo(*cubics[0][0])
            for _, first, second, end in cubics:
                path.curveTo(*first, *second, *end)
            fill = 0
    canvas.drawPath(path, stroke=stroke, fill=fill)


def _trace(path: Any, mark: Polyline) -> None:
    path.moveTo(*mark.points[0])
    for point in mark.points[1:]:
        path.lineTo(*point)
    if mark.closed:
        path.close()


def arc_cubics(mark: Arc | EllipticArc) -> tuple[tuple[XY, XY, XY, XY], ...]:
    """Cubic pieces (start, two controls, end) of an arc, each of at most ``PIECE_RAD``.

    Notes
    -----
    Controls lie at 4/3 tan(piece/4) of the radius along the end tangents; an ellipse is the same of the unit
    circle, stretched and turned.
    """
    a, b, tilt = (
        (mark.radius, mark.radius, 0.0)
        if isinstance(mark, Arc)
        else (mark.semi_x, mark.semi_y, mark.tilt_rad)
    )
    cos_tilt, sin_tilt = math.cos(tilt), math.sin(tilt)

    def placed(u: float, v: float) -> XY:
        x, y = a * u, b * v
        return mark.centre[0] + x * cos_tilt - y * sin_tilt, mark.centre[1] + x * sin_tilt + y * cos_tilt

    sweep = sweep_rad(mark)
    n_pieces = max(1, math.ceil(sweep / PIECE_RAD - 1e-9))
    step = sweep / n_pieces
    reach = 4.0 / 3.0 * math.tan(step / 4.0)
    pieces = []
    for k in range(n_pieces):
        t0, t1 = mark.start_rad + k * step, mark.start_rad + (k + 1) * step
        c0, s0, c1, s1 = math.cos(t0), math.sin(t0), math.cos(t1), math.sin(t1)
        pieces.append(
            (
                placed(c0, s0),
                placed(c0 - reach * s0, s0 + reach * c0),
                placed(c1 + reach * s1, s1 - reach * c1),
                placed(c1, s1),
            )
        )
    return tuple(pieces)


def _hatch(canvas: Any, mark: Polyline) -> None:
    """Hatch lines or dots, clipped to the outline; they lie on one grid for the whole page."""
    canvas.saveState()
    path = canvas.beginPath()
    _trace(path, mark)
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.setDash([])
    canvas.setLineWidth(HATCH_PEN_MM)
    box = mark_box(mark)
    if mark.style.hatch is Hatch.DOTS:
        canvas.setLineCap(1)
        canvas.setLineWidth(DOT_MM)
        dots = canvas.beginPath()
        for x, y in _dot_grid(box):  # strokes next to no length with round ends: a tenth of a circle's bytes
            dots.moveTo(x, y)
            dots.lineTo(x + 0.01, y)
        canvas.drawPath(dots, stroke=1, fill=0)
    else:
        lines = canvas.beginPath()
        for start, end in _hatch_lines(box, mark.style.hatch):
            lines.moveTo(*start)
            lines.lineTo(*end)
        canvas.drawPath(lines, stroke=1, fill=0)
    canvas.restoreState()


def _hatch_lines(box: Box, hatch: Hatch) -> list[tuple[XY, XY]]:
    """Slanting lines across a box at even perpendicular steps."""
    step = HATCH_STEP_MM * math.sqrt(2.0)
    left, right = box.left, box.right
    lines: list[tuple[XY, XY]] = []
    if hatch in (Hatch.DIAGONAL, Hatch.CROSS):  # rising to the right: y - x = c
        for k in range(math.ceil((box.bottom - right) / step), math.floor((box.top - left) / step) + 1):
            lines.append(((left, left + k * step), (right, right + k * step)))
    if hatch in (Hatch.BACK_DIAGONAL, Hatch.CROSS):  # falling to the right: y + x = c
        for k in range(math.ceil((box.bottom + left) / step), math.floor((box.top + right) / step) + 1):
            lines.append(((left, k * step - left), (right, k * step - right)))
    return lines


def _dot_grid(box: Box) -> list[XY]:
    """Dots on a grid turned by 45 degrees."""
    step = HATCH_STEP_MM / math.sqrt(2.0)
    columns = range(math.ceil(box.left / step), math.floor(box.right / step) + 1)
    rows = range(math.ceil(box.bottom / step), math.floor(box.top / step) + 1)
    return [(i * step, j * step) for i in columns for j in rows if (i + j) % 2 == 0]


def _text(canvas: Any, mark: Text) -> None:
    flat = printed_text(mark.text)
    if mark.backed:
        canvas.setFillColorRGB(1, 1, 1)
        path = canvas.beginPath()
        corners = ground_corners(mark)
        path.moveTo(*corners[0])
        for corner in corners[1:]:
            path.lineTo(*corner)
        path.close()
        canvas.drawPath(path, stroke=0, fill=1)
    width = text_width_mm(flat, mark.height_mm, bold=mark.bold)
    shift = {Anchor.LEFT: 0.0, Anchor.MIDDLE: -width / 2.0, Anchor.RIGHT: -width}[mark.anchor]
    canvas.setFillColorRGB(*_rgb(mark.style.colour))
    canvas.setFont(BOLD_FONT_NAME if mark.bold else FONT_NAME, mark.height_mm / CAP_RATIO)
    if mark.turn_rad == 0.0:
        canvas.drawString(mark.at[0] + shift, mark.at[1], flat)
        return
    canvas.saveState()
    canvas.translate(*mark.at)
    canvas.rotate(math.degrees(mark.turn_rad))
    canvas.drawString(shift, 0.0, flat)
    canvas.restoreState()


def _rgb(colour: str) -> tuple[float, float, float]:
    """Shares of red, green and blue, 0 to 1."""
    red, green, blue = red_green_blue(colour)
    return red / 255.0, green / 255.0, blue / 255.0
