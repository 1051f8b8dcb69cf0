"""A sheet as a picture in a notebook."""

from __future__ import annotations

import re
from dataclasses import dataclass

from survey.sheets.drawing import Sheet
from survey.sheets.render.svg import render_svg

WIDTH_PX = 1040
"""As wide as a notebook's cell on a common screen; a sheet at its own size would be cut off."""


@dataclass(frozen=True, slots=True, repr=False)
class Picture:
    """A sheet that shows itself, sharp at any zoom, wherever a notebook ends a cell with it."""

    sheet: Sheet
    width_px: int = WIDTH_PX

    def __repr__(self) -> str:
        """One line, for where no picture can be shown."""
        return f"<picture of the sheet {self.sheet.title!r}>"

    def _repr_svg_(self) -> str:
        """SVG text, as the notebook's display protocol asks for, as wide as a cell instead of full size."""
        height_px = round(self.width_px * self.sheet.height_mm / self.sheet.width_mm)
        size = f'width="{self.width_px}" height="{height_px}"'
        return re.sub(r'width="[\d.]+mm" height="[\d.]+mm"', size, render_svg(self.sheet), count=1)
