"""SVG: well formed, harmless, true to the drawing, the same every time."""

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from sheets.pictures import NASTY, everything, page_with

from survey.errors import DrawingError
from survey.sheets.drawing import Arc, Box, Drawing, EllipticArc, Layer, Line, Placed, Sheet, Style
from survey.sheets.render.dxf import render_dxf
from survey.sheets.render.pdf import render_pdf
from survey.sheets.render.svg import render_drawing_svg, render_svg

SVG = "{http://www.w3.org/2000/svg}"
HARMLESS = {"svg", "title", "desc", "defs", "rect", "g", "path", "circle", "text", "polygon", "pattern"} | {
    "clipPath"
}


def path_arcs(svg: str) -> list[np.ndarray]:
    """End points of every path that has arc commands."""
    found = []
    for path in ET.fromstring(svg).iter(f"{SVG}path"):
        d = path.get("d", "")
        if "A" in d:
            start = [float(v) for v in re.match(r"M(\S+) ([^A]+)", d).groups()]
            ends = [[float(v) for v in a.split()[-2:]] for a in d.split("A")[1:]]
            found.append(np.array([start, *ends]))
    return found


def test_picture_is_named_and_sized_in_millimetres():
    root = ET.fromstring(render_svg(page_with(everything(), "The sheet"), description="A drawing."))
    assert root.get("role") == "img"
    assert (root.get("width"), root.get("height")) == ("297mm", "210mm")
    assert root.get("viewBox") == "0 0 297 210"
    named = {e.get("id"): e.text for e in root if e.tag in (f"{SVG}title", f"{SVG}desc")}
    assert [named[i] for i in root.get("aria-labelledby").split()] == ["The sheet", "A drawing."]


def test_nasty_words_stay_words():
    svg = render_svg(page_with(everything(NASTY), NASTY), description=NASTY)
    root = ET.fromstring(svg)
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= HARMLESS
    assert all(not name.startswith("on") for e in root.iter() for name in e.attrib)
    said = [e.text for e in root.iter(f"{SVG}text")]
    assert any("<script>alert(1)</script>" in words for words in said)
    assert "<script" not in svg
    assert "\x07" not in svg
    assert "\u202e" not in svg


def test_arcs_end_on_their_curve_in_pieces_of_thirty_degrees_at_most():
    arc = Arc((0.0, -1600.0), 2000.0, 0.9, 2.2, Style(Layer.CURVE))
    ellipse = EllipticArc((0.0, 0.0), 400.0, 700.0, 0.3, 0.5, 2.5, Style(Layer.CURVE))
    sheet = Sheet("p", "p", 3000.0, 3000.0, (), (arc, ellipse))
    first, second = path_arcs(render_svg(sheet))
    up = np.array([1.0, -1.0])
    circle = first * up + [0.0, 3000.0 + 1600.0]
    assert np.hypot(*circle.T) == pytest.approx(2000.0, abs=2e-3)
    turns = np.unwrap(np.arctan2(circle[:, 1], circle[:, 0]))
    assert turns[[0, -1]] == pytest.approx([0.9, 2.2], abs=1e-5)
    assert np.abs(np.diff(turns)).max() <= math.pi / 6 + 1e-5
    x, y = (second * up + [0.0, 3000.0]).T
    u, v = x * math.cos(0.3) + y * math.sin(0.3), y * math.cos(0.3) - x * math.sin(0.3)
    assert (u / 400.0) ** 2 + (v / 700.0) ** 2 == pytest.approx(1.0, abs=1e-5)


def test_hatches_are_defined_once_and_used():
    root = ET.fromstring(render_svg(page_with(everything())))
    defined = [e.get("id") for e in root.iter(f"{SVG}pattern")]
    used = {e.get("fill")[5:-1] for e in root.iter(f"{SVG}path") if e.get("fill", "").startswith("url")}
    assert len(defined) == len(set(defined)) == 4
    assert used == set(defined)


def test_ids_of_two_sheets_in_one_page_differ():
    sheet = page_with(everything())
    clipped = replace(sheet, placed=(replace(sheet.placed[0], clip=Box(10.0, 10.0, 100.0, 100.0)),))
    ids = [set(re.findall(r'id="([^"]+)"', render_svg(replace(clipped, name=n)))) for n in ("one", "two")]
    assert len(ids[0]) == 7
    assert not ids[0] & ids[1]


def test_clip_is_where_it_was_asked_for():
    sheet = page_with(everything())
    clipped = replace(sheet, placed=(replace(sheet.placed[0], clip=Box(10.0, 20.0, 100.0, 50.0)),))
    rect = next(ET.fromstring(render_svg(clipped)).iter(f"{SVG}clipPath"))[0]
    assert [rect.get(k) for k in ("x", "y", "width", "height")] == ["10", "140", "100", "50"]


def test_marks_of_a_live_picture_can_be_found():
    root = ET.fromstring(render_svg(page_with(everything())))
    assert [e.get("data-mark") for e in root.iter(f"{SVG}path") if e.get("data-mark")] == [
        f"field-{k}" for k in range(5)
    ]


def test_same_drawing_same_text():
    assert render_svg(page_with(everything())) == render_svg(page_with(everything()))


def test_drawing_alone_is_cropped_to_what_it_shows():
    line = Drawing("bar", (Line((0.0, 0.0), (1000.0, 0.0), Style(Layer.CURVE)),))
    root = ET.fromstring(render_drawing_svg(line, scale=10.0, margin_mm=5.0, title="Bar"))
    assert (root.get("width"), root.get("height")) == ("110mm", "10mm")
    path = next(root.iter(f"{SVG}path"))
    assert path.get("d") == "M5 5L105 5"


def test_colour_that_is_no_colour_is_refused_by_every_renderer():
    line = Line((0, 0), (1, 1), Style(Layer.CURVE, colour='red" onload="x'))
    sheet = Sheet("p", "p", 10.0, 10.0, (), (line,))
    for render in (
        lambda: render_svg(sheet),
        lambda: render_pdf([sheet]),
        lambda: render_dxf(Drawing("d", (line,))),
    ):
        with pytest.raises(DrawingError, match="is not written as #rrggbb; write it with six"):
            render()


def test_empty_sheet_of_placed_drawings_still_renders():
    sheet = Sheet("p", "p", 10.0, 10.0, (Placed(Drawing("d", ()), (0, 0), (0, 0), 1.0),), ())
    ET.fromstring(render_svg(sheet))
