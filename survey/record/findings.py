"""Where faults and doubts gather while a record folder is read, so that all are told at once."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from survey.errors import Fault


class Findings:
    """Faults (the record cannot be used) and doubts (it can, but something should be measured again)."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.doubts: list[Fault] = []

    def fault(
        self,
        file: str,
        reason: str,
        remedy: str,
        *,
        row: int | None = None,
        column: str | None = None,
        told_once: bool = False,
    ) -> None:
        """Note something that makes the record unusable; ``told_once`` as in ``Fault``."""
        self.faults.append(Fault(file, reason, remedy, row=row, column=column, told_once=told_once))

    def doubt(
        self, file: str, reason: str, remedy: str, *, row: int | None = None, column: str | None = None
    ) -> None:
        """Note something usable but doubtful."""
        self.doubts.append(Fault(file, reason, remedy, row=row, column=column))

    def has_fault_in(self, *files: str) -> bool:
        """Whether any of these files already has a fault."""
        return any(fault.file in files for fault in self.faults)


def one_line(text: str) -> str:
    """Text from a file made fit to stand inside a one-line message.

    Examples
    --------
    >>> one_line("a\\nb" + "c" * 60)
    'a bcccccccccccccccccccccccccccccccccccc…'
    """
    flat = " ".join("".join(ch if ch.isprintable() else " " for ch in text).split())
    return flat if len(flat) <= 40 else flat[:39] + "…"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like a mistyped one, or None.

    Examples
    --------
    >>> nearest("intrado", ["extrados", "intrados"])
    'intrados'
    >>> nearest("zebra", ["intrados"]) is None
    True
    """
    found = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
    return found[0] if found else None


def listed(items: Iterable[object], *, most: int = 6, last: str = "and") -> str:
    """A short list in words.

    Examples
    --------
    >>> listed([4, 7, 12])
    '4, 7 and 12'
    >>> listed(range(1, 10), most=3)
    '1, 2, 3 and 6 more'
    """
    words = [str(item) for item in items]
    if len(words) > most + 1:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return f" {last} ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def plain_length(length_mm: float) -> str:
    """A length for a message, in metres where millimetres would be long.

    Examples
    --------
    >>> plain_length(12.34), plain_length(123456.0)
    ('12.3 mm', '123.5 m')
    """
    return f"{length_mm:.1f} mm" if length_mm < 10_000.0 else f"{length_mm / 1000.0:.1f} m"
