"""Words and tables down the columns of a sheet, and on to further sheets where they do not fit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from survey.errors import DrawingError
from survey.sheets.drawing import Box, Primitive
from survey.sheets.kit import ink
from survey.sheets.kit.caution_print import in_caution_print
from survey.sheets.kit.furniture import cautions, cautions_height_mm, notes, notes_height_mm
from survey.sheets.kit.lettering import text_width_mm, wrap
from survey.sheets.kit.schedule import (
    Schedule,
    fixed,
    rows_that_fit,
    schedule_height_mm,
    schedule_primitives,
    schedule_width_mm,
)

GAP_MM = 5.0
"""Between two parts, one below the other."""
_SLACK_MM = 0.5
_CONTINUED = ", continued"


@dataclass(frozen=True, slots=True)
class Said:
    """Sentences under a heading."""

    title: str
    sentences: tuple[str, ...]


Part = Said | Schedule


@dataclass(frozen=True, slots=True)
class _Laid:
    """What went into a box, how high it stands, and what is left."""

    marks: tuple[Primitive, ...]
    height: float
    rest: Part | None


def flow_parts(
    parts: Sequence[Part], first: Sequence[Box], further: Sequence[Box]
) -> tuple[tuple[Primitive, ...], ...]:
    """Parts from the top of each column downwards, page by page.

    Parameters
    ----------
    parts : sequence of Said or Schedule
        Tables are parted between rows, sentences between one and the next; a sentence higher than a whole
        column is cut there and ends with an ellipsis mark. A single row is parted from its table only where
        that saves a page.
    first : sequence of Box
        Columns of the first page, in reading order.
    further : sequence of Box
        Columns of every further page.

    Returns
    -------
    tuple of tuple of Primitive
        One tuple a page, the first page always among them.

    Raises
    ------
    DrawingError
        A table is wider than a column, or one of its rows higher than a whole column.
    """
    together, parted = (_flowed(parts, first, further, least_rows=n) for n in (2, 1))
    return together if len(together) <= len(parted) else parted


def _flowed(
    parts: Sequence[Part], first: Sequence[Box], further: Sequence[Box], *, least_rows: int
) -> tuple[tuple[Primitive, ...], ...]:
    """Parts in their columns, no fewer rows of a table parted from the others where it can be helped."""
    columns = _columns(first, further)
    page, box = next(columns)
    pages: list[list[Primitive]] = [[]]
    top = box.top
    for part in parts:
        rest: Part | None = part
        while rest is not None:
            room = Box(box.left, box.bottom, box.width, top - box.bottom)
            laid = _lay(rest, room, whole=top == box.top, least_rows=least_rows)
            pages[page].extend(laid.marks)
            top -= laid.height + GAP_MM if laid.marks else 0.0
            rest = laid.rest
            if rest is not None:
                page, box = next(columns)
                top = box.top
                if page == len(pages):
                    pages.append([])
    return tuple(tuple(marks) for marks in pages)


def cautioned_columns(
    parts: Sequence[Part], warned: Sequence[str], column: Box, further: Sequence[Box]
) -> tuple[tuple[Primitive, ...], ...]:
    """Parts down one column with cautions at its foot, in print as large as costs no further page.

    Parameters
    ----------
    parts : sequence of Said or Schedule
    warned : sequence of str
        The cautions.
    column : Box
        The column of the first page.
    further : sequence of Box
        Columns of every further page.
    """

    def made(caution_mm: float) -> tuple[tuple[Primitive, ...], ...]:
        high = cautions_height_mm(warned, column.width, height_mm=caution_mm)
        foot = Box(column.left, column.bottom, column.width, high)
        above = Box(column.left, foot.top + 4.0, column.width, column.height - high - 4.0)
        first, *rest = flow_parts(parts, (above,), further)
        return ((*cautions(warned, foot, height_mm=caution_mm), *first), *rest)

    return in_caution_print(made, lambda pages: (len(pages),))


def _columns(first: Sequence[Box], further: Sequence[Box]) -> Iterator[tuple[int, Box]]:
    """Columns one after the other, each with the number of its page, without end."""
    yield from ((0, box) for box in first)
    page = 1
    while True:
        yield from ((page, box) for box in further)
        page += 1


def _lay(part: Part, room: Box, *, whole: bool, least_rows: int) -> _Laid:
    """As much of a part as a room holds; ``whole`` when nothing stands above it in its column."""
    if isinstance(part, Said):
        return _lay_words(part, room, whole=whole)
    return _lay_table(part, room, whole=whole, least_rows=least_rows)


def _lay_words(said: Said, room: Box, *, whole: bool) -> _Laid:
    head = notes_height_mm([], room.width, title=said.title) + _SLACK_MM
    used, count = head, 0
    for sentence in said.sentences:
        height = notes_height_mm([sentence], room.width)
        if used + height > room.height:
            break
        used, count = used + height, count + 1
    shown, left = said.sentences[:count], said.sentences[count:]
    if count == 0 and whole:
        shown, left = (_cut(said.sentences[0], room, head),), said.sentences[1:]
        used = room.height
    if not shown:
        return _Laid((), 0.0, said)
    place = Box(room.left, room.top - used, room.width, used)
    return _Laid(notes(shown, place, title=said.title), used, _continued(said, left))


def _continued(said: Said, left: tuple[str, ...]) -> Said | None:
    if not left:
        return None
    title = said.title if said.title.endswith(_CONTINUED) or not said.title else said.title + _CONTINUED
    return Said(title, left)


def _cut(sentence: str, room: Box, head_mm: float) -> str:
    """The beginning of a sentence that fills a whole room."""
    n_lines = int((room.height - head_mm) / notes_height_mm(["x"], room.width))
    if n_lines < 1:
        raise DrawingError(
            f"a column {room.height:.0f} mm high holds no line of words; give the words more height"
        )
    lines = wrap(f"– {sentence}", room.width, ink.SMALL_TEXT_MM)[:n_lines]
    last = lines[-1]
    while text_width_mm(last + "…", ink.SMALL_TEXT_MM) > room.width:
        last = last[:-1]
    return " ".join((*lines[:-1], last + "…")).removeprefix("– ")


def _lay_table(table: Schedule, room: Box, *, whole: bool, least_rows: int) -> _Laid:
    width = schedule_width_mm(table)
    if width > room.width + 1e-9:
        raise DrawingError(
            f"the table {table.title!r} is {width:.0f} mm wide and the column has {room.width:.0f} mm; "
            "leave out columns of the table"
        )
    count = rows_that_fit(table, room.height)
    if count == 0 and whole and table.rows:
        raise DrawingError(
            f"a row of the table {table.title!r} does not fit a column {room.height:.0f} mm high; "
            "give the table more height"
        )
    n_rows = len(table.rows)
    if count < n_rows < count + least_rows:
        count = max(n_rows - least_rows, min(count, 1))
    if count == 0 or (count < min(least_rows, n_rows) and not whole):
        return _Laid((), 0.0, table if table.rows else None)
    kept = fixed(table)
    shown = replace(kept, rows=kept.rows[:count])
    marks = schedule_primitives(shown, room.left, room.top)
    rest = None if count == n_rows else _rest_of(kept, count)
    return _Laid(marks, schedule_height_mm(shown), rest)


def _rest_of(table: Schedule, count: int) -> Schedule:
    ruled = frozenset(row - count for row in table.ruled_before if row >= count)
    title = table.title if table.title.endswith(_CONTINUED) else table.title + _CONTINUED
    return replace(table, rows=table.rows[count:], ruled_before=ruled, title=title)
