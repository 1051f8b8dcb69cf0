"""Numbers as people and spreadsheets write them: decimal point or comma, thousands signs, blanks.

A cell is read in every way it can be read. Most cells allow one reading (``12,5``, ``1.234,5``, ``0.234``)
and so prove the file's decimal sign. A cell with two readings (``1,234``) takes the one the rest of its file
proves, or is refused with both readings named. In metres and feet a file whose numbers all have either no
sign or one with three digits behind it (``12.345``) has decimals: were these thousands, the arch would have
been measured to the whole metre.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from survey.errors import ArchSurveyError
from survey.record.findings import one_line

_SIGNS = (".", ",")
_SIGN_WORDS = {".": "point", ",": "comma"}
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2012": "-"})
_BLANKS = re.compile(r"[\s\u00a0\u2007\u2009\u202f]")
_ANY_LETTER = re.compile(r"[^\W\d_]|[\"'′″°%]")


class CellError(ArchSurveyError, ValueError):
    """A cell that cannot be read; ``reason`` and ``remedy`` are for the fault's line.

    ``told_once`` is as in :class:`~survey.errors.Fault`.
    """

    def __init__(self, reason: str, remedy: str, *, told_once: bool = False) -> None:
        self.reason = reason
        self.remedy = remedy
        self.told_once = told_once
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
    by_unit : str
        Decimal sign that only the unit tells, blank if none: see the head of this module.
    """

    decimals: frozenset[str] = frozenset()
    thousands: frozenset[str] = frozenset()
    plain_points: bool = True
    by_unit: str = ""

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
    if text.isascii():
        # The usual cells by the shortest way; three digits behind a point may also be thousands.
        if text.isdigit():
            return (Reading(float(text), "", ""),)
        whole, point, part = text.partition(".")
        if point and len(part) != 3 and part.isdigit() and whole.removeprefix("-").isdigit():
            return (Reading(float(text), ".", ""),)
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


def style_of(cells: Iterable[str], *, plain_points: bool = True, coarse_unit: bool = False) -> NumberStyle:
    """What the number cells of one file prove about its decimal and thousands signs.

    Parameters
    ----------
    cells : iterable of str
    plain_points : bool
        As in :class:`NumberStyle`.
    coarse_unit : bool
        Whether the file's unit is so great that no arch is measured in whole ones: a metre, a foot.

    Examples
    --------
    >>> sorted(style_of(["12,5", "1.234"]).decimals)
    [',']
    >>> style_of(["12,345", "13,456"], coarse_unit=True).by_unit
    ','
    """
    decimals: set[str] = set()
    thousands: set[str] = set()
    open_signs: set[str] = set()
    for cell in cells:
        ways = readings(cell)
        open_signs |= {way.decimal for way in ways if len(ways) > 1} - {""}
        if len(ways) == 1:
            decimals |= {ways[0].decimal} - {""}
            if ways[0].thousands:
                thousands.add(ways[0].thousands)
                decimals.add(_SIGNS[1 - _SIGNS.index(ways[0].thousands)])
    by_unit = open_signs.pop() if coarse_unit and not decimals and len(open_signs) == 1 else ""
    return NumberStyle(frozenset(decimals), frozenset(thousands), plain_points, by_unit)


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
    value = _chosen(ways, style)
    if value is not None:
        return value
    grouped, decimal = sorted(ways, key=lambda way: way.decimal)
    one, two = f"{decimal.value:.15g}", f"{grouped.value:.15g}"
    if len(style.decimals) == 1:
        written = one.replace(".", next(iter(style.decimals)))
    else:
        # With a fourth decimal the sign before it cannot stand between thousands.
        written = f"{decimal.value:.4f}".replace(".", decimal.decimal)
    settled = "" if style.decimals else " (one such number settles how the whole file is read)"
    raise CellError(
        f"{shown} could mean {one} or {two}",
        f"write {written} if the {_SIGN_WORDS[decimal.decimal]} is a decimal sign{settled}, else {two}",
        told_once=True,
    )


def _chosen(ways: tuple[Reading, ...], style: NumberStyle) -> float | None:
    """The reading that the style of the file allows, None where it leaves two."""
    if len(ways) == 1:
        return ways[0].value
    grouped, decimal = sorted(ways, key=lambda way: way.decimal)
    sign = decimal.decimal
    if style.decimals == {sign} or sign == style.by_unit:
        return decimal.value
    if not style.decimals and sign == "." and style.plain_points:
        return decimal.value
    return grouped.value if sign in style.thousands and not style.mixed else None


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
    if _looks_like_a_date(text):
        return CellError(
            f"{shown} looks like a date",
            "format the column as text in the spreadsheet and enter the number again",
        )
    if re.fullmatch(r"\s*[+-]?[0-9]*\s*[0-9]+/[0-9]+\s*", text):
        return CellError(f"{shown} is a fraction", "write it with decimals, 7 1/2 as 7.5")
    if re.match(r"\s*[+-]?[0-9]", text) and _ANY_LETTER.search(text):
        return CellError(
            f"{shown} is not a number alone", "write only the number; the unit stands once in arch.toml"
        )
    return CellError(f"{shown} is not a number", "write it like 1234.5")


_MONTHS = "jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"


def _looks_like_a_date(text: str) -> bool:
    """Whether a spreadsheet seems to have made a date of a number: ``12.06.2024``, ``01-Feb``."""
    day = r"[0-9]{1,2}"
    numbers = rf"{day}([./-]){day}\1(?:[0-9]{{2}}|[0-9]{{4}})|[0-9]{{4}}-{day}-{day}.*"
    month = rf"(?:{_MONTHS})[a-zä.]*"
    words = rf"{day}[-. ]+{month}.*|{month}[-. ]+[0-9]{{1,4}}.*"
    return re.fullmatch(rf"{numbers}|{words}", text.strip(), re.IGNORECASE) is not None
