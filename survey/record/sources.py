"""The sources of geometry a record folder may hold, and which of them are read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from survey.record.arch_file import FILE, ArchFile
from survey.record.findings import Findings

NOT_READ_YET = "are not read yet"


@dataclass(frozen=True, slots=True)
class Source:
    """One source of geometry: a CSV file, or a table of arch.toml that names a file."""

    name: str
    what: str
    is_read: bool


POINTS = Source("points.csv", "surveyed points", is_read=True)
OFFSETS = Source("offsets.csv", "offsets from strings and levels", is_read=False)
TIES = Source("ties.csv", "tape distances between named points", is_read=False)
SCAN = Source("[scan]", "point clouds", is_read=False)
PHOTO = Source("[photo]", "photographs", is_read=False)
SOURCES = (POINTS, OFFSETS, TIES, SCAN, PHOTO)


def find_file(folder: Path, name: str, findings: Findings) -> Path | None:
    """The file of that name in any case, None when there is none; two of them are a fault, as is a folder."""
    named = [path for path in folder.iterdir() if path.name.lower() == name]
    found = sorted(path for path in named if path.is_file())
    if named and not found:
        findings.fault(name, "is no file but a folder or the like", "put the file itself in its place")
    if len(found) > 1:
        findings.fault(name, f"stands twice, as {' and '.join(p.name for p in found)}", "keep one of them")
    return found[0] if found else None


def tell_unread(folder: Path, arch: ArchFile | None, findings: Findings, *, has_points: bool) -> None:
    """Say of every source that is present but not read yet: a doubt beside points.csv, else a fault."""
    for source in SOURCES:
        if source.is_read or not _present(source, folder, arch, findings):
            continue
        file, column = (FILE, source.name) if source.name.startswith("[") else (source.name, None)
        if has_points:
            findings.doubt(
                file,
                f"{source.what} {NOT_READ_YET} and were left out",
                "only points.csv was used",
                column=column,
            )
        else:
            findings.fault(
                file,
                f"{source.what} {NOT_READ_YET}",
                "give the points in points.csv as well",
                column=column,
            )


def _present(source: Source, folder: Path, arch: ArchFile | None, findings: Findings) -> bool:
    if source is SCAN:
        return arch is not None and arch.scan is not None
    if source is PHOTO:
        return arch is not None and arch.photo is not None
    path = find_file(folder, source.name, findings)
    # A new record folder carries every file with its headings only.
    return path is not None and len([line for line in path.read_bytes().splitlines() if line.strip()]) > 1
