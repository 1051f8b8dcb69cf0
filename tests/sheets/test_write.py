"""The whole set of files: complete, harmless, well formed, the same bytes on every run."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import ezdxf
import numpy as np
import pytest
from pypdf import PdfReader
from sheets.cases import REFUSALS, cases
from sheets.handmade import CAUTIONS, handmade
from sheets.legibility import outside, overprints, said
from sheets.pictures import NASTY

from survey.files import write_whole
from survey.rebuild.cautions import NOT_TO_BE_BUILT
from survey.sheets.condition.sets import make_deviation_sets
from survey.sheets.drawing import Line
from survey.sheets.fit.sets import make_fit_sets
from survey.sheets.kit.page import TitleBlock, finish
from survey.sheets.kit.placing import exploded
from survey.sheets.rebuild.sets import make_rebuild_sets
from survey.sheets.record.sets import make_record_sets
from survey.sheets.report.html import render_report_html
from survey.sheets.report.pdf import report_sheets
from survey.sheets.report.report import ReportInput, report_sections
from survey.sheets.results.tables import LAYING_COLUMNS, laying_csv, layout_csv
from survey.sheets.write import (
    refused_drawing,
    write_deviation_sheets,
    write_fit_sheets,
    write_rebuild_sheets,
    write_sheets,
)

CASES = cases()
VOID = frozenset({"meta", "br", "img", "link"})


class Page(HTMLParser):
    """Collects the tags and words of a page, and checks that every tag is closed in its order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += attrs

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def read_page(text: str) -> Page:
    page = Page()
    page.feed(text)
    page.close()
    assert page.open == []
    return page


def drawn(made):
    sets = (
        *make_record_sets(made.record),
        *make_fit_sets(made.record, made.fit),
        *make_deviation_sets(made.record, made.fit, made.map_),
        *make_rebuild_sets(made.record, made.fit, made.plan),
    )
    given = ReportInput(made.record, made.fit, made.map_, made.plan)
    return given, report_sections(given, sets)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    made = handmade(name=NASTY)
    folder = tmp_path_factory.mktemp("out")
    return folder, write_sheets(made.record, made.fit, made.map_, made.plan, folder)


def test_every_file_is_written_inside_the_folder_under_a_plain_name(written):
    folder, paths = written
    assert all(path.is_file() and folder in path.parents for path in paths)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+\.(pdf|svg|dxf|html)", path.name) for path in paths)
    assert {p for p in folder.rglob("*") if p.is_file()} == set(paths)
    assert len(paths) == len(set(paths))
    names = {path.relative_to(folder).as_posix() for path in paths}
    assert {
        "report.html",
        "report.pdf",
        "drawings/elevation.pdf",
        "drawings/elevation.svg",
        "drawings/elevation.dxf",
        "drawings/setting_out.pdf",
        "drawings/template.dxf",
        "drawings/template.svg",
        "drawings/template_A3.pdf",
        "drawings/template_A4.pdf",
    } <= names


def test_every_file_can_be_read(written):
    _, paths = written
    for path in paths:
        match path.suffix:
            case ".pdf":
                assert len(PdfReader(path).pages) >= 1
            case ".svg":
                assert ET.parse(path).getroot().get("role") == "img"
            case ".dxf":
                auditor = ezdxf.readfile(path).audit()
                assert not auditor.errors
                assert not auditor.fixes
            case ".html":
                read_page(path.read_text(encoding="utf-8"))


def test_no_markup_of_the_record_reaches_a_page(written):
    folder, paths = written
    page = read_page((folder / "report.html").read_text(encoding="utf-8"))
    assert not page.tags & {"script", "iframe", "object", "embed", "link", "img", "foreignobject", "a-x"}
    assert not any(name.startswith("on") for name, _ in page.attributes)
    links = [value or "" for name, value in page.attributes if name in ("href", "src", "xlink:href")]
    assert all(link.startswith("#s") for link in links)
    assert "<script>alert(1)</script>" in "".join(page.words)
    for path in paths:
        if path.suffix in (".svg", ".html"):
            assert "<script" not in path.read_text(encoding="utf-8")


def test_full_size_picture_of_the_template_is_full_size(written):
    folder, _ = written
    root = ET.parse(folder / "drawings" / "template.svg").getroot()
    assert float(root.get("width").removesuffix("mm")) > 2200.0


def test_second_run_gives_the_same_bytes(written, tmp_path):
    folder, paths = written
    made = handmade(name=NASTY)
    again = write_sheets(made.record, made.fit, made.map_, made.plan, tmp_path)
    assert [p.relative_to(tmp_path) for p in again] == [p.relative_to(folder) for p in paths]
    assert all(a.read_bytes() == b.read_bytes() for a, b in zip(again, paths, strict=True))


def test_each_stage_writes_its_own_share(tmp_path):
    made = handmade()
    stages = (
        write_fit_sheets(made.record, made.fit, tmp_path),
        write_deviation_sheets(made.record, made.fit, made.map_, tmp_path),
        write_rebuild_sheets(made.record, made.fit, made.plan, tmp_path),
    )
    whole = write_sheets(made.record, made.fit, made.map_, made.plan, tmp_path)
    early = {p.stem for stage in stages[:2] for p in stage}
    only_whole = {
        p for p in whole if p.stem in ("report", "survey") or (p.suffix == ".dxf" and p.stem in early)
    }
    assert {p for stage in stages for p in stage} == set(whole) - only_whole
    assert {p.suffix for stage in stages[:2] for p in stage} == {".pdf", ".svg"}


def words_of(sheets) -> str:
    from survey.sheets.render.pdf import render_pdf

    pages = PdfReader(io.BytesIO(render_pdf(sheets))).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


@pytest.mark.parametrize("name", list(CASES))
def test_reports_carry_every_caution_refusal_and_warning(name):
    made = CASES[name]
    given, sections = drawn(made)
    html = " ".join("".join(read_page(render_report_html(given, sections)).words).split())
    a4 = tuple(s for s in report_sheets(given, sections) if s.name.startswith("report"))
    pdf = words_of(a4)
    for sentence in (*CAUTIONS, *made.plan.refusals, *made.plan.warnings):
        assert sentence in html
        assert sentence in pdf
    assert ("Do not build from this report" in html) == bool(made.plan.refusals)
    assert ("Do not build from this report" in pdf) == bool(made.plan.refusals)


def test_refusals_come_before_everything_else():
    _, sections = drawn(CASES["five-centred, refused"])
    assert sections[0].sentences == REFUSALS
    assert sections[0].urgent


@pytest.mark.parametrize("name", list(CASES))
def test_report_pages_are_legible(name):
    given, sections = drawn(CASES[name])
    for sheet in report_sheets(given, sections):
        if sheet.name.startswith("report"):
            assert overprints(sheet) == []
            assert outside(sheet, 10.0) == []


@pytest.mark.parametrize("name", list(CASES))
def test_report_tables_stay_inside_the_frame(name):
    """Rules of tables as well as words: the frame is 20 mm from the left edge and 10 from the others."""
    given, sections = drawn(CASES[name])
    for sheet in report_sheets(given, sections):
        if sheet.name.startswith("report"):
            lines = [m for m in exploded(sheet.primitives) if isinstance(m, Line)]
            ends = np.array([end for line in lines for end in (line.start, line.end)])
            assert ends[:, 0].min() >= 20.0
            assert ends[:, 0].max() <= sheet.width_mm - 10.0


def test_every_page_of_a_refused_report_says_so_and_no_other():
    given, sections = drawn(CASES["five-centred, refused"])
    for sheet in report_sheets(given, sections):
        assert said((sheet,)).count(NOT_TO_BE_BUILT) == 1, sheet.name
        assert outside(sheet, 3.0) == []
    sound = drawn(CASES["elliptical, three rings"])
    assert NOT_TO_BE_BUILT not in said(report_sheets(*sound))


def test_report_tables_print_every_row():
    made = CASES["three-centred, large"]
    given, sections = drawn(made)
    a4 = [s for s in report_sheets(given, sections) if s.name.startswith("report")]
    text = words_of(a4)
    for step in made.plan.laying:
        assert f"{step.from_springing_mm:.1f}" in text
    html = render_report_html(given, sections)
    rows = html.count("<tr>") + html.count('<tr class="ruled">')
    tables = [t for s in sections for t in (*s.tables, *s.page_tables)]
    assert rows == sum(len(t.rows) + 1 for t in tables)


def test_report_needs_nothing_from_elsewhere():
    given, sections = drawn(CASES["elliptical, three rings"])
    html = render_report_html(given, sections)
    assert re.findall(r"(?:https?:)?//[^\s\"'<)]+", html.replace("http://www.w3.org/2000/svg", "")) == []
    assert "default-src 'none'" in html
    assert finish((), TitleBlock.of(given.record)) == ()


def test_every_drawing_of_a_refused_plan_says_so(tmp_path):
    made = CASES["five-centred, refused"]
    paths = write_rebuild_sheets(made.record, made.fit, made.plan, tmp_path)
    drawings = [p for p in paths if p.suffix == ".dxf"]
    assert len(drawings) > 3
    for path in drawings:
        texts = [e for e in ezdxf.readfile(path).modelspace().query("TEXT") if e.dxf.layer == "caution"]
        assert texts[0].dxf.text == "NOT TO BE BUILT:"
        assert [e.dxf.text for e in texts[1:]] == list(REFUSALS)
    assert "NOT TO BE BUILT:" in (tmp_path / "drawings" / "template.svg").read_text(encoding="utf-8")
    assert all("NOT TO BE BUILT" in words_of_file(path) for path in paths if path.suffix == ".pdf")


def words_of_file(path) -> str:
    return " ".join(" ".join(page.extract_text().split()) for page in PdfReader(path).pages)


def test_drawings_of_a_plan_that_holds_are_left_as_they_are():
    made = handmade()
    (elevation,) = (s for s in make_rebuild_sets(made.record, made.fit, made.plan) if s.name == "elevation")
    placed = elevation.sheets[0].placed[0]
    assert refused_drawing(placed.drawing, (), placed.scale) is placed.drawing
    refused = refused_drawing(placed.drawing, REFUSALS, placed.scale)
    assert refused.primitives[: len(placed.drawing.primitives)] == placed.drawing.primitives


def test_pages_of_an_earlier_run_do_not_stay(tmp_path):
    made = handmade()
    write_sheets(made.record, made.fit, made.map_, made.plan, tmp_path)
    older = ("rib_9.svg", "laying_12.svg", "elevation_2.svg", "templet_Z.dxf", "movement.svg")
    others = ("rib_mine.svg", "rib_9.txt", "note.pdf", "my_rib_2.svg", "compare.dxf")
    for name in (*older, *others):
        (tmp_path / "drawings" / name).write_text("x", encoding="utf-8")
    paths = write_sheets(made.record, made.fit, made.map_, made.plan, tmp_path)
    left = {p.name for p in (tmp_path / "drawings").iterdir()}
    assert left == {p.name for p in paths if p.parent.name == "drawings"} | set(others)


def test_a_stage_takes_away_only_its_own_older_pages(tmp_path):
    made = handmade()
    for name in ("fit_9.svg", "soffit.pdf", "rib_9.svg"):
        write_whole(tmp_path / "drawings" / name, "x")
    write_fit_sheets(made.record, made.fit, tmp_path)
    assert not (tmp_path / "drawings" / "fit_9.svg").exists()
    assert (tmp_path / "drawings" / "rib_9.svg").exists()
    assert (tmp_path / "drawings" / "soffit.pdf").exists()
    write_deviation_sheets(made.record, made.fit, made.map_, tmp_path)
    assert (tmp_path / "drawings" / "rib_9.svg").exists()


def test_laying_csv_of_a_refused_plan_says_why_and_orders_nothing():
    made = CASES["five-centred, refused"]
    rows = list(csv.DictReader(io.StringIO(laying_csv(made.plan))))
    assert list(rows[0]) == LAYING_COLUMNS
    assert [row["check"] for row in rows] == [f"NOT TO BE BUILT: {r}" for r in REFUSALS]
    assert {(row["step"], row["ring"], row["course"], row["stop"]) for row in rows} == {("0", "", "", "yes")}
    rows = list(csv.DictReader(io.StringIO(laying_csv(CASES["elliptical, three rings"].plan))))
    assert [row["step"] for row in rows] == [
        str(s.step) for s in CASES["elliptical, three rings"].plan.laying
    ]


def test_layout_csv_tells_what_is_laid():
    plan = handmade().plan
    first = plan.rings[0]
    laid = replace(first, bricks=tuple(replace(b, laid=b.course in (1, 3)) for b in first.bricks))
    rows = list(csv.DictReader(io.StringIO(layout_csv(replace(plan, rings=(laid, *plan.rings[1:]))))))
    assert [(r["ring"], r["course"]) for r in rows if r["laid"] == "yes"] == [("1", "1"), ("1", "3")]
    assert {r["laid"] for r in rows if r["course"] == "0"} == {""}
