"""A line of arch.toml that is no TOML, told in the words of whoever wrote it."""

from __future__ import annotations

import re

from survey.record.findings import Findings, one_line


def tell_broken_line(file: str, text: str, message: str, findings: Findings) -> None:
    """Note a fault with the line the parser stopped at, what is wrong there and how to write it.

    Parameters
    ----------
    file : str
    text : str
        Content of the file.
    message : str
        What ``tomllib`` says.
    findings : Findings
    """
    place = re.search(r"\(at line (\d+)", message)
    lines = text.splitlines() or [""]
    number = min(int(place[1]), len(lines)) if place else len(lines)
    opened = _left_open(lines[:number])
    number = opened or number
    reason, remedy = ("has a quotation mark that is not closed", "close it") if opened else ("", "")
    if not reason:
        what = one_line(re.sub(r"\s*\(at .*\)$", "", message))
        reason, remedy = _told(lines[number - 1], message) or (
            f"is not valid TOML ({what})",
            "look at this line and the one before it",
        )
    findings.fault(file, reason, remedy, row=number)


def _left_open(lines: list[str]) -> int:
    """Number of the last line with an odd count of one kind of quotation marks, 0 if there is none."""
    for number in range(len(lines), 0, -1):
        line = lines[number - 1].split("#")[0]
        for mark, other in (('"', "'"), ("'", '"')):
            if line.count(mark) % 2 and other not in line and "=" in line:
                return number
    return 0


def _told(line: str, message: str) -> tuple[str, str] | None:
    """Reason and remedy for a line, None where it is broken in no usual way."""
    comma = re.search(r"=\s*([+-]?\d+,\d+)", line)
    twice = re.search(r"Cannot (?:overwrite a value|declare \('(\w+)'.*twice)", message)
    if comma:
        return f"'{comma[1]}' has a decimal comma", f"write {comma[1].replace(',', '.')}"
    if re.search("[“”„‘’«»]", line):
        return "has curved quotation marks", 'write straight ones: "…"'
    if twice and line.lstrip().startswith("[["):
        return "has double brackets, an earlier one of its kind has not", "write double brackets in both"
    if twice:
        what = f"[{twice[1]}]" if twice[1] else f"'{one_line(line.split('=')[0].strip())}'"
        return f"{what} stands twice", "keep one of them"
    if "\\" in line:
        return "has a backslash within quotation marks", "write / for it, or two of them"
    heading = re.fullmatch(r"\s*(\[{1,2})\s*(\w+)[\s\]]*(?:#.*)?", line)
    if heading:
        return "is no heading of a table", f"write {heading[1]}{heading[2]}{']' * len(heading[1])}"
    if re.match(r"\s*\w+ +\w[\w ]*[=:]", line):
        return "has a key of two words", "write it in one word, as a new folder has it"
    if not re.search(r"[=:]", line.split("#")[0]):
        return f"'{one_line(line)}' says nothing", "write key = value, or # before the line"
    pair = re.fullmatch(r"\s*(\w+)\s*([=:])\s*([^\"'#\[{=:]*?)\s*(?:#.*)?", line)
    return _told_of_pair(pair[1], pair[2], pair[3]) if pair else None


def _told_of_pair(key: str, sign: str, value: str) -> tuple[str, str] | None:
    """Reason and remedy for ``key = value`` with a value that is in no quotation marks."""
    shown = one_line(value)
    number = re.match(r"[+-]?0*([0-9]+(?:\.[0-9]+)?)", value)
    meant = number[1] if number and not re.fullmatch(r"[\d.]+\.\d+\.\d+", value) else f'"{shown}"'
    if not value:
        return f"'{one_line(key)}' has no value", "write one, or # before the line"
    if sign == ":":
        return "has a colon for an equals sign", f"write {key} = {meant}"
    if meant == value:
        return None
    return f"'{shown}' is neither a number nor a text in quotation marks", f"write {key} = {meant}"
