"""Writing files whole or not at all, and names made harmless."""

from __future__ import annotations

import os
import re
import secrets
import unicodedata
from pathlib import Path


def write_whole(path: Path, content: str | bytes, *, durable: bool = False) -> Path:
    """Write a file under a temporary name in its own folder and rename it into place.

    A run killed at any moment leaves the old file or the new one, never a part of either.

    Parameters
    ----------
    path : Path
        Where the file shall stand; its folder is made if missing.
    content : str or bytes
        Text is written as UTF-8 with ``\\n`` line ends.
    durable : bool
        Wait until the disk holds the content before renaming, so that not even a power cut loses the old
        file: for what was measured. What can be computed anew need not wait, which takes longer than
        computing it.

    Returns
    -------
    Path
        ``path``.

    Raises
    ------
    OSError
        When the disk refuses; the old file is then untouched and no temporary file is left.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    data = content.encode() if isinstance(content, str) else content
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with temporary.open("xb") as stream:
            stream.write(data)
            if durable:
                stream.flush()
                os.fsync(stream.fileno())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
    return path


def safe_file_name(name: str, *, default: str = "unnamed", max_length: int = 60) -> str:
    """Turn any recorded name into a harmless file name: ASCII letters, digits, ``-`` and ``_``.

    Examples
    --------
    >>> safe_file_name("../../Süd door <1>")
    'Sud_door_1'
    >>> safe_file_name("...")
    'unnamed'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    kept = re.sub(r"[^A-Za-z0-9-]+", "_", plain).strip("_-")[:max_length].rstrip("_-")
    return kept or default


def safe_cell(text: str) -> str:
    """Make a free text harmless in a spreadsheet cell: no formula, no control characters.

    Examples
    --------
    >>> safe_cell("=1+1")
    "'=1+1"
    >>> safe_cell("north side")
    'north side'
    """
    flat = "".join(" " if unicodedata.category(ch)[0] == "C" else ch for ch in text)
    return f"'{flat}" if flat.lstrip()[:1] in ("=", "+", "-", "@") else flat
