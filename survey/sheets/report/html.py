"""The report as one self-contained HTML page: inline pictures and style, no scripts, everything escaped."""

from __future__ import annotations

from html import escape

from survey.sheets.drawing import Anchor, Sheet
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import plain_text
from survey.sheets.kit.page import NOT_A_DESIGN
from survey.sheets.kit.schedule import Schedule
from survey.sheets.render.svg import render_svg
from survey.sheets.report.report import ReportInput, Section

_STYLE = f"""
:root {{ color-scheme: light; }}
body {{ margin: 0 auto; max-width: 1180px; padding: 2rem 1.5rem 4rem; color: {ink.BLACK}; background: #fff;
  font: 15px/1.5 "DejaVu Sans", Verdana, sans-serif; }}
header {{ border-bottom: 3px solid {ink.BLACK}; margin-bottom: 1.5rem; }}
h1 {{ font-size: 1.9rem; margin: 0 0 .2rem; }}
h2 {{ font-size: 1.25rem; margin: 2.4rem 0 .6rem; padding-bottom: .2rem; border-bottom: 1px solid; }}
header p {{ margin: .1rem 0 .8rem; color: {ink.GREY}; }}
section.urgent {{ border: 1px solid {ink.BLACK}; border-left: 8px solid {ink.ACCENT};
  padding: .2rem 1.2rem .6rem; margin: 1.2rem 0; }}
section.urgent h2 {{ border: 0; margin: .6rem 0 .2rem; }}
ul {{ margin: .4rem 0 1rem; padding-left: 1.2rem; }}
li {{ margin: .15rem 0; max-width: 60em; }}
.wide {{ overflow-x: auto; }}
table {{ border-collapse: collapse; margin: .8rem 0 1.4rem; font-size: .82rem; }}
caption {{ text-align: left; font-weight: bold; padding-bottom: .3rem; }}
thead th {{ border-bottom: 2px solid {ink.BLACK}; vertical-align: bottom; white-space: pre-line; }}
th, td {{ padding: .15rem .6rem; text-align: right; }}
td {{ border-bottom: 1px solid {ink.PALE}; vertical-align: top; }}
th.left, td.left {{ text-align: left; }}
tr.ruled td {{ border-top: 1px solid {ink.BLACK}; }}
figure {{ margin: 1rem 0 1.6rem; border: 1px solid {ink.PALE}; }}
figure svg {{ display: block; width: 100%; height: auto; }}
nav a {{ color: inherit; margin-right: 1rem; }}
@media print {{
  body {{ max-width: none; padding: 0; }}
  figure, tr {{ break-inside: avoid; }}
  nav {{ display: none; }}
}}
"""


_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""Nothing is fetched and no script runs, whatever a record holds."""


_UNITS = "Lengths in millimetres; left and right as seen from outside."


def render_report_html(given: ReportInput, sections: tuple[Section, ...]) -> str:
    """The whole report as HTML text.

    Parameters
    ----------
    given : ReportInput
    sections : tuple of Section
        From :func:`survey.sheets.report.report.report_sections`.
    """
    record = given.record
    name = _safe(record.name)
    by = f"recorded by {record.recorded_by}" if record.recorded_by else ""
    under = " · ".join(_safe(part) for part in (record.place, record.recorded_on, by) if part)
    links = " ".join(f'<a href="#s{n}">{_safe(section.title)}</a>' for n, section in enumerate(sections))
    body = "\n".join(_section(section, n) for n, section in enumerate(sections))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{name}: report</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f"<header><h1>{name}</h1><p>{under}</p><p>{NOT_A_DESIGN} {_UNITS}</p></header>\n"
        f"<nav>{links}</nav>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _section(section: Section, number: int) -> str:
    attributes = ' class="urgent"' if section.urgent else ""
    said = "".join(f"<li>{_safe(sentence)}</li>" for sentence in section.sentences)
    words = f"<ul>{said}</ul>\n" if said else ""
    tables = "".join(_table(schedule) for schedule in (*section.tables, *section.page_tables))
    shown = (sheet for sheet in section.sheets if sheet.placed or not section.page_tables)
    figures = "".join(_figure(sheet) for sheet in shown)
    head = f"<h2>{_safe(section.title)}</h2>"
    return f'<section id="s{number}"{attributes}>{head}\n{words}{tables}{figures}</section>'


def _figure(sheet: Sheet) -> str:
    return f"<figure>\n{render_svg(sheet)}</figure>\n"


def _table(schedule: Schedule) -> str:
    """A table with its headings; entries stand left or right as on the sheets."""
    sides = [' class="left"' if column.anchor is Anchor.LEFT else "" for column in schedule.columns]
    heads = "".join(
        f'<th scope="col"{side}>{escape(column.heading.strip())}</th>'
        for side, column in zip(sides, schedule.columns, strict=True)
    )
    rows = []
    for number, row in enumerate(schedule.rows):
        ruled = ' class="ruled"' if number in schedule.ruled_before and number else ""
        cells = "".join(f"<td{side}>{_safe(entry)}</td>" for side, entry in zip(sides, row, strict=True))
        rows.append(f"<tr{ruled}>{cells}</tr>\n")
    caption = f"<caption>{_safe(schedule.title)}</caption>" if schedule.title else ""
    return (
        f'<div class="wide"><table>{caption}<thead><tr>{heads}</tr></thead>\n'
        f"<tbody>{''.join(rows)}</tbody></table></div>\n"
    )


def _safe(text: str) -> str:
    return escape(plain_text(text))
