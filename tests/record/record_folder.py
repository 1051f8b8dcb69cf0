"""A small sound record to spoil: a segmental arch of five bricks, measured in the face, in millimetres."""

from __future__ import annotations

from pathlib import Path

ARCH = """\
[arch]
name = "Small arch"
[measure]
unit = "mm"
point_sigma = 1.5
[[rings]]
ring = 1
courses = 5
depth = 105
brick_width = 70
"""

POINTS = """\
point,x,y,z,feature,ring,course,edge,sigma,note
SL,-200.0,0.0,,springing,1,,left,,
SR,200.0,0.0,,springing,1,,right,,
A1L,-189.6,6.6,,intrados,1,1,left,,
A1R,-126.8,37.2,,intrados,1,1,right,,
A2L,-115.2,41.2,,intrados,1,2,left,,
A2R,-47.1,56.9,,intrados,1,2,right,,
A3L,-34.9,58.3,,intrados,1,3,left,,
A3R,34.9,58.3,,intrados,1,3,right,,
A4L,47.1,56.9,,intrados,1,4,left,,
A4R,115.2,41.2,,intrados,1,4,right,,
A5L,126.8,37.2,,intrados,1,5,left,,
A5R,189.6,6.6,,intrados,1,5,right,,
"""

COURSES = """\
ring,course,width,depth,joint,condition,reuse,note
1,0,,,12.3,,,
1,1,70.0,105.0,12.1,sound,yes,
1,2,70.2,104.0,12.5,sound,yes,
1,3,69.8,105.5,12.2,sound,yes,
1,4,70.1,105.2,12.0,sound,yes,
1,5,70.0,104.8,12.4,sound,yes,
"""

SALVAGE = """\
brick,width,depth,ring,note
B1,70.5,105.0,1,
B2,69.5,,,
"""

LAID = """\
ring,course,edge,along
1,1,left,12.3
1,1,right,82.4
1,2,left,94.6
"""

SOUND = {
    "arch.toml": ARCH,
    "points.csv": POINTS,
    "courses.csv": COURSES,
    "salvage.csv": SALVAGE,
    "laid.csv": LAID,
}


def write_folder(folder: Path, files: dict[str, str | bytes]) -> Path:
    """Write files into a folder as they are."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder


def spoiled(folder: Path, file: str, old: str, new: str) -> Path:
    """The sound record with one piece of one file put otherwise; the piece must be there."""
    assert old in SOUND[file], old
    return write_folder(folder, {**SOUND, file: SOUND[file].replace(old, new)})
