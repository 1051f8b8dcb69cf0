"""A sheet as a picture in a notebook."""

from __future__ import annotations

from dataclasses import dataclass

from survey.sheets.drawing import Sheet
from survey.sheets.svg import render_svg


@dataclass(frozen=True, slots=True, repr=False)
class Picture:
    """A sheet that shows itself, sharp at any zoom, wherever a notebook ends a cell with it."""

    sheet: Sheet

    def __repr__(self) -> str:
        """One line, for where no picture can be shown."""
        return f"<picture of the sheet {self.sheet.title!r}>"

    def _repr_svg_(self) -> str:
        """SVG text, as the notebook's display protocol asks for."""
        return render_svg(self.sheet)
