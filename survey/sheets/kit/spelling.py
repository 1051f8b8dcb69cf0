"""Letters the sheets' font lacks, spelled out with letters it has: never an empty box in print."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container
from functools import lru_cache

_NAMED = re.compile(
    r"\b(?:LETTER|SYLLABLE|VOWEL SIGN|CHARACTER)(?: SMALL| CAPITAL| FINAL| SARA| GLOTTAL)? (\w+)"
)
"""Where the name of a letter stands in what the Unicode character database calls it."""
_RIGHT_TO_LEFT = frozenset({"R", "AL"})


def runs_right_to_left(letter: str) -> bool:
    """True for a letter of a script written from the right, which a line set from the left would garble."""
    return unicodedata.bidirectional(letter) in _RIGHT_TO_LEFT


def spelled_out(text: str, printable: Container[int]) -> str:
    """A text with every letter that cannot be printed replaced by one or more that can.

    Parameters
    ----------
    text : str
    printable : container of int
        Code points the font has.

    Notes
    -----
    Taken in this order: the plain letters a compatibility form stands for; the name of the letter in the
    Unicode character database (syllables run together, the letters of a script written from the right are
    parted by hyphens); the code point in brackets. A vowel sign takes the place of a syllable's own ``a``.

    Examples
    --------
    >>> ascii_ = range(32, 127)
    >>> spelled_out("カミ 3", ascii_), spelled_out("북문", ascii_), spelled_out("北門", ascii_)
    ('Kami 3', 'Bugmun', '[U+5317][U+9580]')
    >>> spelled_out("देवल", ascii_), spelled_out("שלום", ascii_), spelled_out("ＡＢ ㎜", ascii_)
    ('Devala', 'shin-lamed-vav-mem', 'AB mm')
    """
    out: list[str] = []
    before = " "
    for letter in text:
        plain = _compatible(letter, printable)
        if plain:
            out.append(plain)
        elif runs_right_to_left(letter):
            out.append(("-" if runs_right_to_left(before) else "") + _named(letter))
        else:
            words = _named(letter)
            if _replaces_vowel(letter) and out and out[-1].endswith("a"):
                out[-1] = out[-1][:-1]
            starts = not before.isalnum() and unicodedata.category(before)[0] != "M"
            out.append(words[:1].upper() + words[1:] if starts else words)
        before = letter
    return "".join(out)


def _replaces_vowel(letter: str) -> bool:
    name = unicodedata.name(letter, "")
    return "VOWEL SIGN" in name or name.endswith("VIRAMA")


def _compatible(letter: str, printable: Container[int]) -> str:
    """The letter itself or the plain ones it stands for, if they can be printed; blank if not."""
    for tried in (letter, "".join(c for c in _decomposed(letter) if not unicodedata.combining(c))):
        if tried and all(ord(c) in printable and not runs_right_to_left(c) for c in tried):
            return tried
    return ""


@lru_cache(maxsize=4096)
def _decomposed(letter: str) -> str:
    return unicodedata.normalize("NFKD", letter)


@lru_cache(maxsize=4096)
def _named(letter: str) -> str:
    """A letter by its name, a mark over one that has its own by nothing, other signs by their code point."""
    named = _NAMED.search(unicodedata.name(letter, ""))
    if named is not None:
        return named[1].lower()
    return "" if unicodedata.category(letter)[0] == "M" else f"[U+{ord(letter):04X}]"
