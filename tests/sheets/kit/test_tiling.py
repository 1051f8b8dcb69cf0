"""Tiles at 1 : 1: together they show everything, they match where they meet, their bars measure 100 mm."""

from __future__ import annotations

import io
from itertools import pairwise

import numpy as np
import pypdfium2 as pdfium
import pytest
from pypdf import PdfReader
from sheets.cases import cases
from sheets.legibility import said

from survey.curves import curve_of
from survey.sheets.drawing import Drawing, Layer, Line
from survey.sheets.kit.ink import pen
from survey.sheets.kit.page import Paper, TitleBlock, finish
from survey.sheets.kit.tiling import OVERLAP_MM, row_letters, tile, tile_pages, window
from survey.sheets.rebuild.template import template_drawing, template_pages
from survey.sheets.render.pdf import render_pdf

CASES = cases()
EVERY = pytest.mark.parametrize("made", CASES.values(), ids=list(CASES))
SIZES = {"A4": (Paper.A4_PORTRAIT, Paper.A4_LANDSCAPE), "A3": (Paper.A3_LANDSCAPE, Paper.A3_PORTRAIT)}
DPI = 200


def sheets_of(made, size):
    return finish(template_pages(made.record, made.plan, size), TitleBlock.of(made.record))


def shown_in(sheet, points):
    """Which model points (n, 2) a tile shows."""
    (placed,) = sheet.placed
    on_paper = points - placed.origin_model + placed.origin_paper
    box = placed.clip
    inside_x = (on_paper[:, 0] >= box.left) & (on_paper[:, 0] <= box.right)
    return inside_x & (on_paper[:, 1] >= box.bottom) & (on_paper[:, 1] <= box.top)


@EVERY
@pytest.mark.parametrize("size", list(SIZES))
def test_every_part_of_soffit_rib_and_marks_is_on_a_tile_at_full_size(made, size):
    _, *tiles = sheets_of(made, size)
    ring, rib = made.plan.rings[0], made.plan.centring.rib
    points = [curve.point(np.linspace(0.0, curve.length_mm, 4001)) for curve in (ring.inner, rib)]
    edges = np.array([(b.station_start_mm, b.station_end_mm) for b in ring.bricks]).ravel()
    points += [ring.inner.point(edges) + reach * ring.inner.normal(edges) for reach in (0.0, 45.0)]
    points = np.vstack(points)
    shown = np.array([shown_in(sheet, points) for sheet in tiles])
    assert shown.any(axis=0).all()
    lines = [m for m in template_drawing(made.plan).primitives if isinstance(m, Line)]
    walked = [m.start + t * np.subtract(m.end, m.start) for m in lines for t in np.linspace(0.0, 1.0, 30)]
    points = np.vstack([points, walked])
    assert all(shown_in(sheet, points).any() for sheet in tiles)  # no empty tile is printed
    assert all(sheet.placed[0].scale == 1.0 for sheet in tiles)
    assert {(s.width_mm, s.height_mm) for s in tiles} <= {p.value for p in SIZES[size]}


def test_neighbours_share_a_strip_with_the_match_line_in_its_middle():
    drawing = Drawing("bar", (Line((0.0, 0.0), (1000.0, 0.0), pen(Layer.CURVE)),))
    tiling = tile(drawing, (Paper.A4_PORTRAIT,))
    pages = tile_pages(drawing, tiling, name="bar", title="Bar", arch="Arch")
    shown = window(Paper.A4_PORTRAIT)
    assert [t.name for t in tiling.tiles] == [f"A{k}" for k in range(1, len(pages) + 1)]
    for left, right in pairwise(pages):
        pitch = right.placed[0].origin_model[0] - left.placed[0].origin_model[0]
        assert pitch == pytest.approx(shown.width - OVERLAP_MM)
        lines = [
            {m.start[0] for m in page.primitives if isinstance(m, Line) and m.start[0] == m.end[0]
             and abs(m.end[1] - m.start[1]) == pytest.approx(shown.height)}
            for page in (left, right)
        ]  # fmt: skip
        on_left = max(lines[0]) - left.placed[0].origin_paper[0] + left.placed[0].origin_model[0]
        on_right = min(lines[1]) - right.placed[0].origin_paper[0] + right.placed[0].origin_model[0]
        assert on_left == pytest.approx(on_right)
        start = right.placed[0].origin_model[0]
        assert on_right - start == pytest.approx(OVERLAP_MM / 2)


def test_tiles_name_their_neighbours():
    made = CASES["elliptical, three rings"]
    drawing = template_drawing(made.plan)
    tiling = tile(drawing, SIZES["A3"])
    _, *tiles = sheets_of(made, "A3")
    for part, sheet in zip(tiling.tiles, tiles, strict=True):
        words = said((sheet,))
        assert f"row {row_letters(part.row)}, column {part.column + 1}" in words
        around = [(0, 1), (0, -1), (1, 0), (-1, 0)]
        found = [tiling.at(part.row + r, part.column + c) for r, c in around]
        names = {n.name for n in found if n is not None}
        assert {w.split()[0] for w in words.split("joins ")[1:]} == names


def test_index_shows_every_tile_and_says_how_many():
    made = CASES["elliptical, three rings"]
    index, *tiles = sheets_of(made, "A4")
    words = said((index,)).split()
    tiling = tile(template_drawing(made.plan), SIZES["A4"])
    assert {t.name for t in tiling.tiles} <= set(words)
    assert f"{len(tiles)} tiles; empty ones are left out." in said((index,))
    assert (index.width_mm, index.height_mm) == Paper.A4_PORTRAIT.value


def test_fewer_tiles_are_not_to_be_had_by_the_other_way_of_the_paper():
    drawing = template_drawing(CASES["three-centred, large"].plan)
    both = [len(tile(drawing, (paper,)).tiles) for paper in SIZES["A4"]]
    assert len(tile(drawing, SIZES["A4"]).tiles) == min(both)


def longest_run_mm(dark):
    edges = np.diff(np.pad(dark.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    rows = (np.flatnonzero(row == -1) - np.flatnonzero(row == 1) for row in edges)
    return max(int(run.max(initial=0)) for run in rows) * 25.4 / DPI


@pytest.mark.parametrize("size", ["A4", "A3"])
def test_both_check_bars_of_every_rendered_tile_measure_100_mm(size):
    sheets = sheets_of(CASES["segmental, one ring"], size)
    data = render_pdf(sheets)
    for page, sheet in zip(PdfReader(io.BytesIO(data)).pages, sheets, strict=True):
        box = [float(v) * 25.4 / 72 for v in page.mediabox]
        assert box == pytest.approx([0.0, 0.0, sheet.width_mm, sheet.height_mm], abs=0.001)
    document = pdfium.PdfDocument(data)
    for k in range(1, len(sheets)):
        grey = document[k].render(scale=DPI / 72, grayscale=True).to_numpy()
        box = sheets[k].placed[0].clip
        foot = round((sheets[k].height_mm - box.bottom + 1.0) * DPI / 25.4)
        side = round((box.left - 0.8) * DPI / 25.4)
        assert longest_run_mm(grey[foot:] < 140) == pytest.approx(100.0, abs=2 * 25.4 / DPI)
        assert longest_run_mm(grey[:, :side].T < 140) == pytest.approx(100.0, abs=2 * 25.4 / DPI)
    document.close()


def test_soffit_printed_on_a_tile_lies_on_the_curve():
    """Dark pixels of the soffit on the rendered tiles, brought back to the model, lie on the curve."""
    made = CASES["elliptical, three rings"]
    sheets = sheets_of(made, "A4")
    curve = curve_of(made.plan.shape)
    document = pdfium.PdfDocument(render_pdf(sheets))
    checked = 0
    for k in range(1, len(sheets)):
        (placed,) = sheets[k].placed
        colours = document[k].render(scale=DPI / 72).to_numpy()
        rows, columns = np.nonzero(colours.max(axis=2) < 100)  # black, so no match line
        paper = np.column_stack([columns + 0.5, len(colours) - rows - 0.5]) * 25.4 / DPI
        box = placed.clip.grown(-1.0)
        inside = (np.abs(paper - box.middle) < (box.width / 2, box.height / 2)).all(axis=1)
        model = paper[inside] - placed.origin_paper + placed.origin_model
        located = curve.locate(model)
        # between two course marks nothing else stands within a millimetre of the soffit
        near = (np.abs(located.distance_mm) < 1.0) & (located.station_mm > 0)
        near &= located.station_mm < curve.length_mm
        edges = np.array([(b.station_start_mm, b.station_end_mm) for b in made.plan.rings[0].bricks]).ravel()
        crown = curve.length_mm / 2
        aside = np.abs(located.station_mm[:, None] - [*edges, crown, 0.0, curve.length_mm]).min(axis=1) > 2.0
        soffit = located.distance_mm[near & aside]
        checked += len(soffit)
        assert np.abs(soffit).max(initial=0.0) < 0.2 + 25.4 / DPI  # half the pen and a pixel
        if len(soffit) > 100:
            assert abs(soffit.mean()) < 25.4 / DPI / 2
    document.close()
    assert checked > 10000


def test_rows_after_z_go_on_with_two_letters():
    assert [row_letters(k) for k in (0, 25, 26, 51, 52, 701, 702)] == [
        "A",
        "Z",
        "AA",
        "AZ",
        "BA",
        "ZZ",
        "AAA",
    ]
