"""PDF: exact page sizes, true arcs, searchable words in any of three scripts, the same bytes every time."""

import io
import math
from dataclasses import replace

import numpy as np
import pypdfium2 as pdfium
import pytest
from pypdf import PdfReader
from sheets.pictures import NASTY, everything, page_with

from survey.errors import DrawingError
from survey.sheets.drawing import Arc, Box, EllipticArc, Layer, Line, Sheet, Style
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import check_bar
from survey.sheets.kit.page import Paper
from survey.sheets.kit.placing import arc_points
from survey.sheets.render.pdf import arc_cubics, render_pdf

DPI = 300


def rendered(data: bytes, page: int = 0) -> np.ndarray:
    """Grey values of a page at ``DPI``, row 0 at the top."""
    document = pdfium.PdfDocument(data)
    try:
        return document[page].render(scale=DPI / 72, grayscale=True).to_numpy()
    finally:
        document.close()


def longest_run_mm(dark: np.ndarray) -> float:
    """Longest run of true values along the rows of an array, in mm at ``DPI``."""
    edges = np.diff(np.pad(dark.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    longest = 0
    for row in edges:
        starts, ends = np.flatnonzero(row == 1), np.flatnonzero(row == -1)
        longest = max(longest, int((ends - starts).max(initial=0)))
    return longest * 25.4 / DPI


@pytest.mark.parametrize("paper", list(Paper))
def test_pages_have_the_size_of_the_paper(paper):
    width, height = paper.value
    reader = PdfReader(io.BytesIO(render_pdf([Sheet("p", "p", width, height, (), ())])))
    assert [float(v) * 25.4 / 72 for v in reader.pages[0].mediabox] == pytest.approx(
        [0.0, 0.0, width, height], abs=0.001
    )


def test_every_sheet_is_a_page_in_its_order():
    sheets = [replace(page_with(everything(f"number {k}")), width_mm=200.0 + k) for k in range(3)]
    reader = PdfReader(io.BytesIO(render_pdf(sheets, title="Three")))
    assert reader.metadata.title == "Three"
    for k, page in enumerate(reader.pages):
        assert f"number {k}" in page.extract_text()
        assert float(page.mediabox.width) * 25.4 / 72 == pytest.approx(200.0 + k, abs=0.001)


@pytest.mark.parametrize("upright", [False, True])
def test_check_bar_measures_100_mm_on_the_rendered_page(upright):
    sheet = Sheet("p", "p", 150.0, 150.0, (), check_bar((30.0, 20.0), upright=upright))
    dark = rendered(render_pdf([sheet])) < 128
    assert longest_run_mm(dark.T if upright else dark) == pytest.approx(100.0, abs=2 * 25.4 / DPI)


def test_print_is_not_scaled_by_the_viewer():
    reader = PdfReader(io.BytesIO(render_pdf([page_with(everything())])))
    assert reader.viewer_preferences["/PrintScaling"] == "/None"


def test_words_of_three_scripts_can_be_read_back():
    reader = PdfReader(io.BytesIO(render_pdf([page_with(everything(NASTY), NASTY)])))
    text = reader.pages[0].extract_text()
    for part in ("<script>", "../../etc", "=1+1", "ΔЖü"):
        assert part in text
    fonts = reader.pages[0]["/Resources"]["/Font"]
    assert all("/FontFile2" in f.get_object()["/FontDescriptor"] for f in fonts.values()
               if f.get_object()["/Subtype"] == "/TrueType")  # fmt: skip
    names = {str(f.get_object()["/BaseFont"]) for f in fonts.values()}
    assert any("DejaVuSans" in name for name in names)


def test_nothing_in_the_file_acts():
    data = render_pdf([page_with(everything(NASTY), NASTY)])
    assert not any(word in data for word in (b"/JavaScript", b"/JS", b"/OpenAction", b"/URI"))


def test_same_sheets_same_bytes():
    sheets = [page_with(everything())]
    assert render_pdf(sheets) == render_pdf(sheets)


@pytest.mark.parametrize(
    "arc",
    [
        Arc((10.0, -20.0), 2000.0, 0.3, 2.9, Style(Layer.CURVE)),
        EllipticArc((10.0, -20.0), 1000.0, 600.0, 0.2, 0.0, math.pi, Style(Layer.CURVE)),
    ],
)
def test_cubics_keep_within_a_thousandth_of_a_millimetre(arc):
    a, b, tilt = (
        (arc.radius, arc.radius, 0.0) if isinstance(arc, Arc) else (arc.semi_x, arc.semi_y, arc.tilt_rad)
    )
    t = np.linspace(0.0, 1.0, 21)[:, None]
    worst = 0.0
    for p0, p1, p2, p3 in np.array(arc_cubics(arc)):
        x, y = ((1 - t) ** 3 * p0 + 3 * (1 - t) ** 2 * t * p1 + 3 * (1 - t) * t**2 * p2 + t**3 * p3).T
        dx, dy = x - arc.centre[0], y - arc.centre[1]
        u = dx * math.cos(tilt) + dy * math.sin(tilt)
        v = dy * math.cos(tilt) - dx * math.sin(tilt)
        worst = max(worst, float(np.abs(np.hypot(u / a, v / b) - 1.0).max()) * max(a, b))
    assert worst < 1e-3
    assert arc_cubics(arc)[0][0] == pytest.approx(arc_points(arc, 2)[0])
    assert arc_cubics(arc)[-1][-1] == pytest.approx(arc_points(arc, 2)[1])


def test_nothing_shows_outside_a_clip():
    sheet = page_with(everything())
    window = Box(100.0, 50.0, 80.0, 60.0)
    clipped = replace(sheet, placed=(replace(sheet.placed[0], clip=window),))
    dark = rendered(render_pdf([clipped])) < 200
    rows, columns = np.nonzero(dark)
    x, y = columns * 25.4 / DPI, 210.0 - rows * 25.4 / DPI
    assert len(x) > 1000
    assert x.min() >= window.left - 0.2
    assert x.max() <= window.right + 0.2
    assert y.min() >= window.bottom - 0.2
    assert y.max() <= window.top + 0.2


def test_hatches_differ_without_colour():
    """Share of ink and its direction tell the five fields apart on a grey print."""
    page = rendered(render_pdf([page_with(everything())])).astype(float)
    shares = []
    for k in range(5):
        x, y = 148.0 + (-710.0 + 400 * k) / 10, 60.0 + 74.0
        row, column = int((210.0 - y) * DPI / 25.4), int(x * DPI / 25.4)
        field = 255.0 - page[row - 40 : row + 40, column - 40 : column + 40]
        rising = np.abs(field[1:, :-1] - field[:-1, 1:]).mean()
        falling = np.abs(field[1:, 1:] - field[:-1, :-1]).mean()
        shares.append((field.mean(), rising, falling))
    ink_share = [s[0] for s in shares]
    assert ink_share[0] == 0.0  # plain
    assert ink_share[3] > 1.5 * max(ink_share[1], ink_share[2])  # crossed is darkest
    assert 0.0 < ink_share[4] < 0.6 * min(ink_share[1], ink_share[2])  # dots are lightest
    assert shares[1][1] < 0.5 * shares[1][2]  # rising lines
    assert shares[2][2] < 0.5 * shares[2][1]  # falling lines


def test_no_sheet_no_file():
    with pytest.raises(DrawingError, match="a PDF needs at least one sheet"):
        render_pdf([])


def test_pen_without_width_draws_no_line():
    nothing = Sheet("p", "p", 50.0, 50.0, (), (Line((0, 25), (50, 25), Style(Layer.FRAME, 0.0)),))
    assert rendered(render_pdf([nothing])).min() == 255
    drawn = Sheet("p", "p", 50.0, 50.0, (), (Line((0, 25), (50, 25), ink.pen(Layer.FRAME)),))
    assert rendered(render_pdf([drawn])).min() < 128
