"""Counted nouns and lists in a sentence."""

from __future__ import annotations

from collections.abc import Sequence


def counted(n: int, noun: str, plural: str = "") -> str:
    """A number with its noun, which takes its plural from two on; a regular plural need not be given.

    Examples
    --------
    >>> counted(1, "joint"), counted(2, "joint"), counted(0, "course"), counted(2, "this", "these")
    ('1 joint', '2 joints', '0 courses', '2 these')
    """
    return f"{n} {noun if n == 1 else plural or f'{noun}s'}"


def listed(words: Sequence[str]) -> str:
    """Words with commas and an ``and`` before the last.

    Examples
    --------
    >>> listed(["min"]), listed(["min", "max"]), listed(["a", "b", "c"])
    ('min', 'min and max', 'a, b and c')
    """
    *firsts, last = words
    return f"{', '.join(firsts)} and {last}" if firsts else last
