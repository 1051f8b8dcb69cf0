"""Tables on sheets: columns as wide as their widest entry, rows over as many pages as they need."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from survey.errors import DrawingError
from survey.rebuild.words import counted
from survey.sheets.drawing import Anchor, Box, Layer, Line, Primitive, Text
from survey.sheets.kit import ink
from survey.sheets.kit.lettering import text_width_mm, wrap

PAD_MM = 1.2
"""Air on both sides of an entry."""
LEADING_RATIO = 1.75
"""Line distance over capital height."""
ROW_AIR_MM = 0.5
"""Added to the line distances of a row's own lines."""
BLOCK_GAP_MM = 5.0
"""Between two blocks of one table side by side."""


@dataclass(frozen=True, slots=True)
class Column:
    """Heading of a column (``\\n`` parts its lines), how entries stand, and a width to wrap them in."""

    heading: str
    anchor: Anchor = Anchor.RIGHT
    wrap_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Schedule:
    """A table: columns, rows of as many entries, and an optional heading line."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""
    height_mm: float = ink.SMALL_TEXT_MM
    """Capital height of the entries."""
    ruled_before: frozenset[int] = frozenset()
    """Indices of rows that a stronger rule stands above."""
    widths_mm: tuple[float, ...] = ()
    """Column widths to keep, air included; worked out from the entries when empty."""


def figure(value: float, decimals: int = 0) -> str:
    """A number as sheets print it: rounded on its own, never a minus before a zero; blank for NaN.

    Examples
    --------
    >>> figure(-0.04, 1), figure(1234.56, 1), figure(float("nan"))
    ('0.0', '1234.6', '')
    """
    if value != value:
        return ""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0.0 else text.replace("-", "−")


@lru_cache(maxsize=64)
def column_widths_mm(schedule: Schedule) -> tuple[float, ...]:
    """Printed width of every column, air included.

    Raises
    ------
    DrawingError
        When a row has more or fewer entries than there are columns.
    """
    for number, row in enumerate(schedule.rows, start=1):
        if len(row) != len(schedule.columns):
            raise DrawingError(
                f"row {number} of the table {schedule.title!r} has {counted(len(row), 'entry', 'entries')} "
                f"for {counted(len(schedule.columns), 'column')}; give one entry a column"
            )
    if schedule.widths_mm:
        return schedule.widths_mm
    widths = []
    for k, column in enumerate(schedule.columns):
        head = max(text_width_mm(line, schedule.height_mm, bold=True) for line in column.heading.split("\n"))
        if column.wrap_mm is not None:
            widths.append(max(head, column.wrap_mm) + 2 * PAD_MM)
            continue
        body = max((text_width_mm(row[k], schedule.height_mm) for row in schedule.rows), default=0.0)
        widths.append(max(head, body) + 2 * PAD_MM)
    return tuple(widths)


def schedule_width_mm(schedule: Schedule) -> float:
    """Printed width of the whole table."""
    return sum(column_widths_mm(schedule))


def schedule_height_mm(schedule: Schedule) -> float:
    """Printed height of the whole table in one block."""
    rows = sum(_row_height(schedule, lines) for lines in _cells(schedule))
    return _head_height(schedule) + rows


def schedule_primitives(schedule: Schedule, left: float, top: float) -> tuple[Primitive, ...]:
    """The whole table in one block, its upper left corner at (left, top) on paper."""
    cells = _cells(schedule)
    return _block(schedule, cells, range(len(cells)), (left, top))


def fixed(schedule: Schedule) -> Schedule:
    """The same table with its column widths kept, so that parts of it line up."""
    return replace(schedule, widths_mm=column_widths_mm(schedule))


def rows_that_fit(schedule: Schedule, height_mm: float) -> int:
    """Number of leading rows that fit a height together with the heading."""
    room = height_mm - _head_height(schedule)
    for count, lines in enumerate(_cells(schedule)):
        room -= _row_height(schedule, lines)
        if room < -1e-9:
            return count
    return len(schedule.rows)


def flow(schedule: Schedule, box: Box) -> tuple[tuple[Primitive, ...], ...]:
    """The table over as many pages as it needs, in blocks side by side, the heading repeated on each.

    Parameters
    ----------
    schedule : Schedule
    box : Box
        Area of a page that the table may use, paper mm.

    Returns
    -------
    tuple of tuple of Primitive
        One tuple a page.

    Raises
    ------
    DrawingError
        When the table is wider than the box, or a single row does not fit below the heading.
    """
    width = schedule_width_mm(schedule)
    if width > box.width + 1e-9:
        raise DrawingError(
            f"the table {schedule.title!r} is {width:.0f} mm wide and the sheet has {box.width:.0f} mm; "
            "leave out columns or take a larger sheet"
        )
    cells = _cells(schedule)
    parts = _blocks(schedule, cells, box)
    n_across = blocks_across(width, box)
    pages = []
    for first in range(0, len(parts), n_across):
        page: list[Primitive] = []
        for k, rows in enumerate(parts[first : first + n_across]):
            page.extend(_block(schedule, cells, rows, (box.left + k * (width + BLOCK_GAP_MM), box.top)))
        pages.append(tuple(page))
    return tuple(pages)


def _blocks(schedule: Schedule, cells: list[list[tuple[str, ...]]], box: Box) -> list[range]:
    """Rows of each block of a table in a box."""
    room = box.height - _head_height(schedule)
    return _parts([_row_height(schedule, lines) for lines in cells], room, schedule.title)


def blocks_across(width: float, box: Box) -> int:
    """Number of blocks of a width side by side in a box that is no narrower."""
    return 1 + int((box.width - width) / (width + BLOCK_GAP_MM) + 1e-9)


def pages_needed(schedule: Schedule, box: Box) -> int:
    """Number of pages :func:`flow` makes of a table that is no wider than the box."""
    n_blocks = len(_blocks(schedule, _cells(schedule), box))
    return -(-n_blocks // blocks_across(schedule_width_mm(schedule), box))


def _parts(heights: list[float], room: float, title: str) -> list[range]:
    """Runs of rows that fit in one block each."""
    parts: list[range] = []
    start, used = 0, 0.0
    for row, height in enumerate(heights):
        if height > room:
            raise DrawingError(
                f"row {row + 1} of the table {title!r} needs {height:.0f} mm and there are {room:.0f} mm; "
                "give the table more height"
            )
        if used + height > room + 1e-9:
            parts.append(range(start, row))
            start, used = row, 0.0
        used += height
    return [*parts, range(start, len(heights))]


def _cells(schedule: Schedule) -> list[list[tuple[str, ...]]]:
    """Lines of every entry, row by row."""
    column_widths_mm(schedule)
    return [
        [
            (entry,) if column.wrap_mm is None else wrap(entry, column.wrap_mm, schedule.height_mm) or ("",)
            for entry, column in zip(row, schedule.columns, strict=True)
        ]
        for row in schedule.rows
    ]


def _row_height(schedule: Schedule, lines: list[tuple[str, ...]]) -> float:
    return max(len(entry) for entry in lines) * schedule.height_mm * LEADING_RATIO + ROW_AIR_MM


def _title_mm(schedule: Schedule) -> float:
    """Capital height of the title, never below that of the entries."""
    return max(ink.HEAD_MM, schedule.height_mm)


def _title_height(schedule: Schedule) -> float:
    return (_title_mm(schedule) * LEADING_RATIO + 1.0) if schedule.title else 0.0


def _head_height(schedule: Schedule) -> float:
    """Title line and column headings."""
    n_lines = max(column.heading.count("\n") + 1 for column in schedule.columns)
    return _title_height(schedule) + n_lines * schedule.height_mm * LEADING_RATIO + 1.5


def _block(
    schedule: Schedule, cells: list[list[tuple[str, ...]]], rows: range, corner: tuple[float, float]
) -> tuple[Primitive, ...]:
    """Heading and a run of rows, from the upper left corner downwards."""
    left, top = corner
    right = left + schedule_width_mm(schedule)
    marks: list[Primitive] = list(_heading(schedule, corner))
    y = top - _head_height(schedule)
    marks.append(Line((left, y), (right, y), ink.pen(Layer.TABLE, ink.BOLD_MM)))
    step = schedule.height_mm * LEADING_RATIO
    stands = [_stand(schedule, k, left) for k in range(len(schedule.columns))]
    letters = ink.letters(Layer.TABLE)
    for row in rows:
        if row in schedule.ruled_before and row != rows.start:
            marks.append(Line((left, y), (right, y), ink.pen(Layer.TABLE, ink.FINE_MM)))
        for (x, anchor), lines in zip(stands, cells[row], strict=True):
            for n, line in enumerate(lines):
                base = y - ROW_AIR_MM / 2 - (n + 0.5) * step - schedule.height_mm / 2
                marks.append(Text((x, base), line, schedule.height_mm, letters, anchor))
        y -= _row_height(schedule, cells[row])
        marks.append(Line((left, y), (right, y), ink.pen(Layer.TABLE, ink.HAIR_MM, ink.PALE)))
    marks[-1] = Line((left, y), (right, y), ink.pen(Layer.TABLE, ink.MEDIUM_MM))
    return tuple(mark for mark in marks if not (isinstance(mark, Text) and not mark.text))


def _heading(schedule: Schedule, corner: tuple[float, float]) -> list[Text]:
    left, top = corner
    marks = []
    if schedule.title:
        height = _title_mm(schedule)
        at = (left + PAD_MM, top - height * 1.3)
        marks.append(Text(at, schedule.title, height, ink.letters(Layer.TABLE), bold=True))
    n_lines = max(column.heading.count("\n") + 1 for column in schedule.columns)
    step = schedule.height_mm * LEADING_RATIO
    y = top - _title_height(schedule)
    for k, column in enumerate(schedule.columns):
        x, anchor = _stand(schedule, k, left)
        lines = column.heading.split("\n")
        for n, line in enumerate(lines, start=n_lines - len(lines)):
            base = y - (n + 0.5) * step - schedule.height_mm / 2
            marks.append(
                Text((x, base), line, schedule.height_mm, ink.letters(Layer.TABLE), anchor, bold=True)
            )
    return marks


def _stand(schedule: Schedule, k: int, left: float) -> tuple[float, Anchor]:
    """Where the entries of a column stand, and how."""
    widths = column_widths_mm(schedule)
    start = left + sum(widths[:k])
    anchor = schedule.columns[k].anchor
    x = {
        Anchor.LEFT: start + PAD_MM,
        Anchor.MIDDLE: start + widths[k] / 2,
        Anchor.RIGHT: start + widths[k] - PAD_MM,
    }[anchor]
    return x, anchor
