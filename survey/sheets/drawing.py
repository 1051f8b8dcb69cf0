"""The one drawing model, in millimetres: primitives, drawings in model space, sheets on paper.

A :class:`Drawing` holds primitives in the arch's own millimetres, one layer a subject; its text heights and
arrow sizes are paper millimetres, so the same drawing reads well at any scale. A :class:`Sheet` is a page
with drawings placed at a scale and primitives of its own in paper millimetres (origin bottom left, y up). The
renderers only render.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Layer(StrEnum):
    """One layer a subject; the names are the layers of the DXF files."""

    CURVE = "curve"
    FITTED_INTRADOS = "fitted_intrados"
    FITTED_EXTRADOS = "fitted_extrados"
    CANDIDATE = "candidate"
    BRICK = "brick"
    BRICK_NEW = "brick_new"
    JOINT = "joint"
    SURVEY = "survey"
    DEVIATION = "deviation"
    CENTRING = "centring"
    SETTING_OUT = "setting_out"
    DIMENSION = "dimension"
    TEXT = "text"
    TABLE = "table"
    FRAME = "frame"
    CAUTION = "caution"


class Dash(StrEnum):
    """Line patterns by what they say."""

    SOLID = "solid"
    DASHED = "dashed"
    CHAIN = "chain"
    DOUBLE_CHAIN = "double_chain"
    DOTTED = "dotted"


class Hatch(StrEnum):
    """Fills that stay apart in black and white."""

    NONE = "none"
    DIAGONAL = "diagonal"
    BACK_DIAGONAL = "back_diagonal"
    CROSS = "cross"
    DOTS = "dots"


class Anchor(StrEnum):
    """Where a text's position lies in its box."""

    LEFT = "left"
    MIDDLE = "middle"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Style:
    """How a primitive is drawn; widths in paper mm, colours as #rrggbb or blank for none."""

    layer: Layer
    width_mm: float = 0.25
    colour: str = "#000000"
    fill: str = ""
    dash: Dash = Dash.SOLID
    hatch: Hatch = Hatch.NONE


XY = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """Straight line."""

    start: XY
    end: XY
    style: Style


@dataclass(frozen=True, slots=True)
class Polyline:
    """Open or closed chain of straight lines; closed ones may be filled and hatched."""

    points: tuple[XY, ...]
    style: Style
    closed: bool = False
    tag: str = ""
    """What it stands for, such as ``ring-1-course-12``; a live picture finds it by this."""


@dataclass(frozen=True, slots=True)
class Arc:
    """Circular arc, anticlockwise from start to end angle (radians from the x axis)."""

    centre: XY
    radius: float
    start_rad: float
    end_rad: float
    style: Style


@dataclass(frozen=True, slots=True)
class EllipticArc:
    """Elliptic arc, anticlockwise in the eccentric angle; ``semi_x`` lies along ``tilt_rad``."""

    centre: XY
    semi_x: float
    semi_y: float
    tilt_rad: float
    start_rad: float
    end_rad: float
    style: Style


@dataclass(frozen=True, slots=True)
class Circle:
    """Small mark such as a survey point: centre in drawing units, radius in paper mm."""

    centre: XY
    radius_paper_mm: float
    style: Style
    tag: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; ``height_mm`` is the capital height on paper."""

    at: XY
    text: str
    height_mm: float
    style: Style
    anchor: Anchor = Anchor.LEFT
    turn_rad: float = 0.0
    bold: bool = False
    backed: bool = False
    """True for a white ground under the letters, so that hatching does not run through them."""


@dataclass(frozen=True, slots=True)
class Dimension:
    """Straight dimension, its line ``offset_paper_mm`` to the left of the way from start to end."""

    start: XY
    end: XY
    text: str
    offset_paper_mm: float
    style: Style
    height_mm: float = 2.5
    backed: bool = False
    """True for a white ground under the figure, where other lines pass."""


Primitive = Line | Polyline | Arc | EllipticArc | Circle | Text | Dimension


@dataclass(frozen=True, slots=True)
class Drawing:
    """Primitives in model millimetres, with a name used for files and layers."""

    name: str
    primitives: tuple[Primitive, ...]


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle: lower left corner and size, in the unit of what it bounds."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper edge."""
        return self.bottom + self.height

    @property
    def middle(self) -> XY:
        """Middle point."""
        return self.left + self.width / 2.0, self.bottom + self.height / 2.0

    def grown(self, margin: float) -> Box:
        """Larger by a margin on every side (smaller when negative)."""
        return Box(
            self.left - margin, self.bottom - margin, self.width + 2 * margin, self.height + 2 * margin
        )

    def meets(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.bottom < other.top
            and other.bottom < self.top
        )

    def holds(self, other: Box, *, slack: float = 1e-9) -> bool:
        """Whether the other lies wholly inside."""
        return (
            other.left >= self.left - slack
            and other.right <= self.right + slack
            and other.bottom >= self.bottom - slack
            and other.top <= self.top + slack
        )


@dataclass(frozen=True, slots=True)
class Placed:
    """A drawing on a sheet: ``origin_model`` comes to lie at ``origin_paper``, at 1 : ``scale``."""

    drawing: Drawing
    origin_model: XY
    origin_paper: XY
    scale: float
    clip: Box | None = None
    """Paper rectangle outside which nothing of the drawing shows; None for no limit."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page, paper millimetres."""

    name: str
    title: str
    width_mm: float
    height_mm: float
    placed: tuple[Placed, ...]
    primitives: tuple[Primitive, ...]
