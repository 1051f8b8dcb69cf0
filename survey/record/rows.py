"""From the cells of one row to values, every error told with its row and column."""

from __future__ import annotations

from enum import StrEnum
from typing import TypeVar

from survey.record.findings import Findings, listed, nearest, one_line
from survey.record.model import UNKNOWN
from survey.record.numbers import CellError, read_number, readings
from survey.record.tables import Row, Table

FARTHEST_MM = 1e11
"""No site grid on earth reaches further; beyond it a hundredth of a millimetre would be lost as well."""
MOST_COUNTED = 99_999
"""No arch has more rings or courses."""

Word = TypeVar("Word", bound=StrEnum)

_OTHER_WORDS = {"soffit": "intrados", "back": "extrados", "springer": "springing", "skewback": "springing"}
"""What else masons call a feature; only proposed, never read as it."""


class RowReader:
    """Reads the cells of one row; what cannot be read becomes a fault and None."""

    def __init__(self, table: Table, row: Row, unit_mm: float, findings: Findings) -> None:
        self.row = row
        self._table = table
        self._unit_mm = unit_mm
        self._findings = findings

    def has(self, column: str) -> bool:
        """Whether the cell is filled."""
        return bool(self.text(column))

    def text(self, column: str) -> str:
        """The cell as text, blank when the file has no such column."""
        return self.row.cells.get(column, "")

    def name(self, column: str) -> str | None:
        """A name that must not be blank."""
        if not self.has(column):
            self._blank(column)
        return self.text(column) or None

    def length_mm(
        self, column: str, *, needed: bool = False, above_zero: bool = False, not_negative: bool = False
    ) -> float | None:
        """A length in ``measure.unit``, in millimetres; None when blank or wrong."""
        if not self.has(column):
            if needed:
                self._blank(column)
                return None
            return None
        value = self._number(column)
        if value is None:
            return None
        if above_zero and value <= 0:
            self.wrong(column, f"{value:.15g} is not greater than 0", "measure it again, or leave it blank")
            return None
        if not_negative and value < 0:
            self.wrong(column, f"{value:.15g} is negative", "measure it again, or leave it blank")
            return None
        if abs(value * self._unit_mm) > FARTHEST_MM:
            self.wrong(column, f"{value:.15g} is too large to be a length here", "measure or write it again")
            return None
        return value * self._unit_mm

    def whole(self, column: str, *, needed: bool = False) -> int | None:
        """A whole number from 0 up; :data:`UNKNOWN` when blank, None when wrong."""
        if not self.has(column):
            if needed:
                self._blank(column)
                return None
            return UNKNOWN
        text = self.text(column)
        ways = [way.value for way in readings(text)]
        if len(ways) != 1 or not 0 <= ways[0] <= MOST_COUNTED or ways[0] != int(ways[0]):
            self.wrong(
                column,
                f"'{one_line(text)}' is not a whole number",
                "write 1, 2, 3 … alone; anything else goes under note"
                if not ways
                else "write 1, 2, 3 … or leave it blank",
            )
            return None
        return int(ways[0])

    def word(self, column: str, words: type[Word], *, needed: bool = False) -> Word | None:
        """One of a set of words in any case; the blank word when blank, None when wrong."""
        text = self.text(column)
        if not text and needed:
            self._blank(column)
            return None
        try:
            return words(text.lower())
        except ValueError:
            known = [str(word) for word in words if word]
        meant = nearest(text, known) or _OTHER_WORDS.get(text.lower())
        self.wrong(
            column,
            f"'{one_line(text)}' is not one of {listed(known, most=len(known), last='or')}",
            f"is '{meant}' meant?" if meant else "write one of these",
        )
        return None

    def yes_or_no(self, column: str) -> bool | None:
        """Yes, no, or None when blank or wrong."""
        text = self.text(column).lower()
        if text in ("yes", "y", "no", "n", ""):
            return text.startswith("y") if text else None
        self.wrong(column, f"'{one_line(text)}' is neither yes nor no", "write yes or no, or leave it blank")
        return None

    def wrong(self, column: str, reason: str, remedy: str, *, told_once: bool = False) -> None:
        """Note a fault in this row."""
        self._findings.fault(
            self._table.schema.file,
            reason,
            remedy,
            row=self.row.number,
            column=column,
            told_once=told_once,
        )

    def _number(self, column: str) -> float | None:
        try:
            return read_number(self.text(column), self._table.style)
        except CellError as error:
            self.wrong(column, error.reason, error.remedy, told_once=error.told_once)
            return None

    def _blank(self, column: str) -> None:
        self.wrong(column, "is blank", "fill it in, or take the row out")
