"""Numbers as people and spreadsheets write them: decimal point or comma, thousands signs, blanks.

A cell is read in every way it can be read. Most cells allow one reading (``12,5``, ``1.234,5``, ``0.234``)
and so prove the file's decimal sign. A cell with two readings (``1,234``) takes the one the rest of its file
proves, or is refused with both readings named.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from survey.errors import ArchSurveyError
from survey.record.findings import one_line

_SIGNS = (".", ",")
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2012": "-"})
_BLANKS = re.compile(r"[\s\u00a0\u2007\u2009\u202f]")
_ANY_LETTER = re.compile(r"[^\W\d_]|[\"'′″°%]")


class CellError(ArchSurveyError, ValueError):
    """A cell that cannot be read; ``reason`` and ``remedy`` are for the fault's line."""

    def __init__(self, reason: str, remedy: str) -> None:
        self.reason = reason
        self.remedy = remedy
        super().__init__(f"{reason}; {remedy}")


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a cell: its value, and the decimal and thousands signs it uses (blank if none)."""

    value: float
    decimal: str
    thousands: str


@dataclass(frozen=True, slots=True)
class NumberStyle:
    """What the cells of one file prove about its numbers.

    Attributes
    ----------
    decimals : frozenset of str
        Decimal signs proved by cells that allow one reading only.
    thousands : frozenset of str
        Point or comma, where such a cell used it between thousands.
    plain_points : bool
        Whether, with nothing proved, a lone point is the record's own decimal point. Not so in a file
        separated by semicolons: those come from spreadsheets that write decimal commas.
    """

    decimals: frozenset[str] = frozenset()
    thousands: frozenset[str] = frozenset()
    plain_points: bool = True

    @property
    def mixed(self) -> bool:
        """True when some cells prove a decimal point and others a decimal comma."""
        return len(self.decimals) > 1


def readings(text: str) -> tuple[Reading, ...]:
    """Every way a cell can be read as a number, different values only.

    Examples
    --------
    >>> [r.value for r in readings("1.234,5")]
    [1234.5]
    >>> [r.value for r in readings("1,234")]
    [1234.0, 1.234]
    >>> readings("12,5,3")
    ()
    """
    if text.isascii() and text.isdigit():
        return (Reading(float(text), "", ""),)
    tight = text.strip().translate(_MINUS)
    found: list[Reading] = []
    for decimal, other in (_SIGNS, _SIGNS[::-1]):
        match = _PATTERNS[decimal].fullmatch(_BLANKS.sub(" ", tight))
        if match is None:
            continue
        digits = re.sub(f"[{re.escape(other)} '’]", "", match["whole"])
        value = float(f"{match['sign']}{digits}.{match['part'] or '0'}{match['power'] or ''}")
        thousands = other if other in match["whole"] else ""
        used = decimal if match["part"] is not None else ""
        if all(value != reading.value for reading in found):
            found.append(Reading(value, used, thousands))
    return tuple(found)


def style_of(cells: Iterable[str], *, plain_points: bool = True) -> NumberStyle:
    """What the number cells of one file prove about its decimal and thousands signs.

    Examples
    --------
    >>> sorted(style_of(["12,5", "1.234"]).decimals)
    [',']
    """
    decimals: set[str] = set()
    thousands: set[str] = set()
    for cell in cells:
        ways = readings(cell)
        if len(ways) == 1:
            decimals |= {ways[0].decimal} - {""}
            if ways[0].thousands:
                thousands.add(ways[0].thousands)
                decimals.add(_SIGNS[1 - _SIGNS.index(ways[0].thousands)])
    return NumberStyle(frozenset(decimals), frozenset(thousands), plain_points)


def read_number(text: str, style: NumberStyle) -> float:
    """Read one cell in the style of its file.

    Parameters
    ----------
    text : str
        The cell.
    style : NumberStyle
        What the file's cells prove, from :func:`style_of`.

    Returns
    -------
    float

    Raises
    ------
    CellError
        When the cell is no number, not finite, or could mean two numbers.

    Examples
    --------
    >>> read_number("1 250,5", NumberStyle())
    1250.5
    >>> read_number("1.234", NumberStyle())
    1.234
    """
    ways = readings(text)
    shown = f"'{text.strip()}'"
    if not ways:
        raise _not_a_number(text)
    if any(not math.isfinite(way.value) for way in ways):
        raise CellError(f"{shown} is too large to be a length", "measure or write it again")
    if len(ways) == 1:
        return ways[0].value
    grouped, decimal = sorted(ways, key=lambda way: way.decimal)
    sign = decimal.decimal
    if style.decimals == {sign} or (not style.decimals and sign == "." and style.plain_points):
        return decimal.value
    if sign in style.thousands and not style.mixed:
        return grouped.value
    one, two = f"{decimal.value:.15g}", f"{grouped.value:.15g}"
    raise CellError(
        f"{shown} could mean {one} or {two}",
        f"write {one} or {two}, with a decimal point and no thousands sign",
    )


def _pattern(decimal: str, other: str) -> re.Pattern[str]:
    point, comma = re.escape(decimal), re.escape(other)
    grouped = rf"[1-9][0-9]{{0,2}}(?P<mark>[{comma} '’])[0-9]{{3}}(?:(?P=mark)[0-9]{{3}})*"
    return re.compile(
        rf"(?P<sign>[+-]?) ?(?=[{point}]?[0-9])"
        rf"(?P<whole>{grouped}(?![0-9eE])|[0-9]*)(?:{point}(?P<part>[0-9]*))?"
        rf"(?P<power>[eE][+-]?[0-9]{{1,3}})?"
    )


_PATTERNS = {decimal: _pattern(decimal, other) for decimal, other in (_SIGNS, _SIGNS[::-1])}


def _not_a_number(text: str) -> CellError:
    shown = f"'{one_line(text)}'"
    if re.fullmatch(r"[+-]?(?:inf|infinity|nan|#.*)", text.strip(), re.IGNORECASE):
        return CellError(f"{shown} is not a finite number", "measure it again, or leave the row out")
    if re.match(r"\s*[+-]?[0-9]", text) and _ANY_LETTER.search(text):
        return CellError(
            f"{shown} is not a number alone", "write only the number; the unit stands once in arch.toml"
        )
    return CellError(f"{shown} is not a number", "write it like 1234.5")
