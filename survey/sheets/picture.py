"""A sheet as a picture in a notebook."""

from __future__ import annotations

from dataclasses import dataclass

from survey.sheets.drawing import Sheet
from survey.sheets.svg import render_svg


@dataclass(frozen=True, slots=True)
class Picture:
    """A sheet that shows itself, sharp at any zoom, wherever a notebook ends a cell with it."""

    sheet: Sheet

    def _repr_svg_(self) -> str:
        """SVG text, as the notebook's display protocol asks for."""
        return render_svg(self.sheet)
