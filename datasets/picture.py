"""Make the picture of the elevation sheet that README.md shows.

    python datasets/picture.py

Needs the test extra (pypdfium2 renders the page).
"""

from __future__ import annotations

from pathlib import Path

import pypdfium2

from survey.fitting import fit_arch
from survey.rebuild import plan_rebuild
from survey.record import read_record
from survey.sheets.rebuild.sets import make_rebuild_sets
from survey.sheets.render.pdf import render_pdf

RECORD = Path(__file__).resolve().parent / "cellar_doorway"
DOTS_PER_INCH = 110


def main() -> None:
    """Render the first elevation sheet of the demo doorway beside its record."""
    record = read_record(RECORD)
    fit = fit_arch(record)
    sets = {made.name: made for made in make_rebuild_sets(record, fit, plan_rebuild(record, fit))}
    page = pypdfium2.PdfDocument(render_pdf(sets["elevation"].sheets[:1]))[0]
    path = RECORD / "elevation.png"
    page.render(scale=DOTS_PER_INCH / 72).to_pil().save(path, optimize=True)
    print(path.name)


if __name__ == "__main__":
    main()
