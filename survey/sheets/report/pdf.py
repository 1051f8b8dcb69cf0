"""The report as PDF: its words and tables on A4 pages, then every key sheet in its own size."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from survey.rebuild.cautions import NOT_TO_BE_BUILT
from survey.sheets.drawing import Box, Layer, Line, Primitive, Sheet, Text
from survey.sheets.kit import ink
from survey.sheets.kit.furniture import (
    cautions,
    cautions_height_mm,
    notes,
    notes_height_mm,
    refused_band,
    refused_letters,
)
from survey.sheets.kit.lettering import text_width_mm
from survey.sheets.kit.page import Page, Paper, TitleBlock, finish
from survey.sheets.kit.placing import exploded
from survey.sheets.kit.schedule import Schedule, fixed, rows_that_fit, schedule_height_mm, schedule_primitives
from survey.sheets.kit.widths import widened
from survey.sheets.report.report import ReportInput, Section

NAME = "report"
_GAP_MM = 6.0
_HEAD_MM = 12.0
"""Height of a section's heading with its rule."""
_BAND_MM = 9.0
"""Height of the black band at the head of every page of a refused report."""
_EDGE_MM, _MARGIN_BAND_MM = 10.0, 6.0
"""Where the band stands in the upper margin of the sheets that follow, and how high it is."""
_WHERE = "reasons on the first page of the report"


def report_sheets(given: ReportInput, sections: tuple[Section, ...]) -> tuple[Sheet, ...]:
    """Framed A4 pages with all words and tables, followed by the sheets of all sections."""
    refused = bool(given.plan.refusals)
    column = _column(refused=refused)
    for section in sections:
        _set_section(column, section)
    pages = finish(column.finished(), TitleBlock.of(given.record))
    sheets = (*pages, *(sheet for section in sections for sheet in section.sheets))
    return tuple(map(stamped, sheets)) if refused else sheets


def stamped(sheet: Sheet) -> Sheet:
    """A sheet of a refused report with the words in its upper margin, where they are not on it already."""
    if any(isinstance(mark, Text) and mark.text == NOT_TO_BE_BUILT for mark in exploded(sheet.primitives)):
        return sheet
    low, width = sheet.height_mm - _EDGE_MM + 1.0, sheet.width_mm - 2 * _EDGE_MM
    band = Box(_EDGE_MM, low, width, _MARGIN_BAND_MM)
    return replace(sheet, primitives=(*sheet.primitives, *_stamp(band)))


def _stamp(band: Box) -> tuple[Primitive, ...]:
    """The words of a refused plan in a black band, and where the reasons stand."""
    (words,) = refused_letters(band)
    at = (words.at[0] + text_width_mm(words.text, words.height_mm, bold=True) + 3.0, words.at[1])
    size = min(words.height_mm, ink.HEAD_MM)
    where = Text(at, _WHERE, size, ink.letters(Layer.CAUTION, ink.WHITE))
    return (refused_band(band), words, where)


@dataclass
class _Column:
    """Pages being filled from the top down."""

    title: str
    area: Box
    head: tuple[Primitive, ...] = ()
    """What stands above the area on every page."""
    done: list[tuple[Primitive, ...]] = field(default_factory=list)
    marks: list[Primitive] = field(default_factory=list)
    y: float = field(init=False)

    def __post_init__(self) -> None:
        """Begin at the head of the first page."""
        self.y = self.area.top

    @property
    def room(self) -> float:
        """Height left on the page."""
        return self.y - self.area.bottom

    def turn(self) -> None:
        """Go on at the head of a new page, unless this one is still empty."""
        if self.marks:
            self.done.append(tuple(self.marks))
            self.marks = []
            self.y = self.area.top

    def take(self, height: float) -> Box:
        """Area of this height, on a new page where it does not fit below."""
        if height > self.room:
            self.turn()
        box = Box(self.area.left, self.y - height, self.area.width, height)
        self.y -= height + _GAP_MM
        return box

    def finished(self) -> tuple[Page, ...]:
        """All pages, ready for their frames."""
        self.turn()
        return tuple(
            Page(NAME, self.title, (*self.head, *marks), paper=Paper.A4_PORTRAIT) for marks in self.done
        )


def _column(*, refused: bool) -> _Column:
    """An empty first page, below the band of a refused report."""
    whole = Paper.A4_PORTRAIT.area
    if not refused:
        return _Column("Report", whole)
    band = Box(whole.left, whole.top - _BAND_MM, whole.width, _BAND_MM)
    below = Box(whole.left, whole.bottom, whole.width, whole.height - _BAND_MM - _GAP_MM)
    return _Column("Report", below, _stamp(band))


def _set_section(column: _Column, section: Section) -> None:
    """Heading, sentences, tables; a heading never stands alone at the foot of a page."""
    if not (section.sentences or section.tables):
        return
    if section.urgent:
        height = cautions_height_mm(section.sentences, column.area.width, title=section.title)
        column.marks.extend(cautions(section.sentences, column.take(height), title=section.title))
        return
    if column.room < _HEAD_MM + 30.0:
        column.turn()
    head = column.take(_HEAD_MM - _GAP_MM)
    column.marks.append(
        Text((head.left, head.bottom + 2.0), section.title, ink.HEAD_MM, ink.letters(), bold=True)
    )
    column.marks.append(
        Line((head.left, head.bottom), (head.right, head.bottom), ink.pen(Layer.TEXT, ink.FINE_MM))
    )
    column.y += _GAP_MM - 2.0
    for sentence in section.sentences:
        height = notes_height_mm((sentence,), column.area.width, height_mm=ink.TEXT_MM)
        column.marks.extend(notes((sentence,), column.take(height), height_mm=ink.TEXT_MM))
        column.y += _GAP_MM - 0.8
    column.y -= _GAP_MM if section.sentences else 0.0
    for schedule in section.tables:
        _set_table(column, fixed(widened(schedule, column.area.width)))


def _set_table(column: _Column, schedule: Schedule) -> None:
    """A table, parted over pages where it must be, its heading repeated."""
    rest = schedule
    while rest.rows:
        count = rows_that_fit(rest, column.room)
        if count < min(4, len(rest.rows)) and column.marks:
            column.turn()
            continue
        part = replace(rest, rows=rest.rows[:count], ruled_before=frozenset())
        box = column.take(schedule_height_mm(part))
        column.marks.extend(schedule_primitives(part, box.left, box.top))
        title = schedule.title and f"{schedule.title}, continued"
        rest = replace(rest, rows=rest.rows[count:], title=title)
