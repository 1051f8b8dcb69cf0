"""The drawing model on matplotlib axes, for figures in notebooks and papers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from survey.sheets.drawing import (
    Anchor,
    Arc,
    Circle,
    Dash,
    Drawing,
    EllipticArc,
    Hatch,
    Line,
    Polyline,
    Style,
    Text,
)
from survey.sheets.kit.lettering import CAP_RATIO, FONT_FAMILY, printed_text
from survey.sheets.kit.placing import DASHES_MM, Mark, exploded, sweep_rad

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.patches import Patch

POINTS_PER_MM = 72.0 / 25.4
_HATCHES = {
    Hatch.NONE: None,
    Hatch.DIAGONAL: "////",
    Hatch.BACK_DIAGONAL: "\\\\\\\\",
    Hatch.CROSS: "xxxx",
    Hatch.DOTS: "....",
}
_ALIGNMENT = {Anchor.LEFT: "left", Anchor.MIDDLE: "center", Anchor.RIGHT: "right"}


def plot_drawing(ax: Axes, drawing: Drawing, *, scale: float = 10.0) -> tuple[Artist, ...]:
    """Add a drawing to axes in model millimetres, and return the artists in the drawing's order.

    Limits, aspect and style of the axes are left alone.

    Parameters
    ----------
    ax : matplotlib Axes
    drawing : Drawing
    scale : float
        Scale 1 : ``scale`` for which dimensions are laid out (their ticks and offsets are paper millimetres).
    """
    artists: list[Artist] = []
    for mark in exploded(drawing.primitives, scale):
        artists.extend(_artists(ax, mark))
    return tuple(artists)


def _artists(ax: Axes, mark: Mark) -> Iterator[Artist]:
    from matplotlib import lines, patches

    match mark:
        case Text():
            yield _text(ax, mark)
        case Line((x1, y1), (x2, y2)):
            yield ax.add_line(lines.Line2D([x1, x2], [y1, y2], **_line_style(mark.style)))
        case Polyline(points) if not mark.closed:
            xs, ys = zip(*points, strict=True)
            yield ax.add_line(lines.Line2D(xs, ys, **_line_style(mark.style)))
        case Polyline(points):
            yield ax.add_patch(patches.Polygon(points, closed=True, **_area_style(mark.style)))
        case Circle((x, y), radius):
            size = 2 * radius * POINTS_PER_MM
            yield ax.add_line(
                lines.Line2D(
                    [x],
                    [y],
                    linestyle="none",
                    marker="o",
                    markersize=size,
                    markerfacecolor=mark.style.fill or "none",
                    markeredgecolor=mark.style.colour or "none",
                    markeredgewidth=mark.style.width_mm * POINTS_PER_MM,
                )
            )
        case Arc() | EllipticArc():
            yield ax.add_patch(_arc(mark))


def _arc(mark: Arc | EllipticArc) -> Patch:
    from matplotlib import patches

    a, b, tilt = (
        (mark.radius, mark.radius, 0.0)
        if isinstance(mark, Arc)
        else (mark.semi_x, mark.semi_y, mark.tilt_rad)
    )
    start = math.degrees(mark.start_rad)
    return patches.Arc(
        mark.centre,
        2 * a,
        2 * b,
        angle=math.degrees(tilt),
        theta1=_visual_angle(start, a, b),
        theta2=_visual_angle(start + math.degrees(sweep_rad(mark)), a, b),
        **_line_style(mark.style),
    )


def _visual_angle(eccentric_deg: float, a: float, b: float) -> float:
    """Polar angle of an ellipse's point from its eccentric angle, on the same turn."""
    t = math.radians(eccentric_deg)
    polar = math.atan2(b * math.sin(t), a * math.cos(t))
    return math.degrees(polar + round((t - polar) / (2 * math.pi)) * 2 * math.pi)


def _text(ax: Axes, mark: Text) -> Artist:
    return ax.text(
        *mark.at,
        printed_text(mark.text).replace("$", r"\$"),
        fontsize=mark.height_mm / CAP_RATIO * POINTS_PER_MM,
        family=FONT_FAMILY,
        weight="bold" if mark.bold else "normal",
        color=mark.style.colour,
        ha=_ALIGNMENT[mark.anchor],
        va="baseline",
        rotation=math.degrees(mark.turn_rad),
        rotation_mode="anchor",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5} if mark.backed else None,
    )


def _line_style(style: Style) -> dict[str, Any]:
    """Keyword arguments of a line or open arc; dash lengths are in units of the pen width there."""
    width = style.width_mm * POINTS_PER_MM
    dash: object = "solid"
    if style.dash is not Dash.SOLID and style.width_mm > 0.0:
        dash = (0.0, tuple(length / style.width_mm for length in DASHES_MM[style.dash]))
    return {"linewidth": width, "color": style.colour or "none", "linestyle": dash}


def _area_style(style: Style) -> dict[str, Any]:
    line = _line_style(style)
    return {
        "linewidth": line["linewidth"],
        "linestyle": line["linestyle"],
        "edgecolor": style.colour or "none",
        "facecolor": style.fill or "none",
        "hatch": _HATCHES[style.hatch],
    }
