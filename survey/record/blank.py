"""An empty record folder, ready to be filled in with a spreadsheet and a text editor."""

from __future__ import annotations

from pathlib import Path

from survey.errors import Fault, RecordError
from survey.files import write_whole
from survey.record.arch_file import FILE
from survey.record.findings import one_line
from survey.record.notes_files import COURSES, LAID, SALVAGE
from survey.record.points_file import SCHEMA as POINTS
from survey.record.tables import Schema

SHEETS: tuple[Schema, ...] = (POINTS, COURSES, SALVAGE, LAID)
"""The tables of a new folder: those that are read."""

ARCH_TOML = """\
# One arch, one folder. Lines that begin with # are remarks; take the # away to use a line.
# Left and right are as seen from outside, facing the arch. Courses are counted from the left
# springing (1) to the right springing, rings from the opening outwards (1, 2 ...).

[arch]
name = ""                   # what the arch is called; needed
# place = ""
# recorded_on = 2024-05-14
# recorded_by = ""
# note = ""

[measure]
unit = "mm"                 # mm, cm, m, in or ft: the unit of every length in this folder
point_sigma = 2.0           # how well one coordinate is known (standard uncertainty), in that unit

# One [[rings]] table for each ring of brick.
# [[rings]]
# ring = 1
# courses = 33              # counted on site; leave out when it cannot be counted
# depth = 115               # along the joint, from intrados to extrados
# brick_width = 52          # the brick's dimension along the arch
# laid = "radial"           # radial, or sawtooth (turned about its radial axis)
# turn_deg = 0              # for sawtooth, for instance 45; brick_width is then the brick's own
# cut = "uncut"             # uncut (wedge joints), cut (tapered bricks) or mixed
# thickness = 240           # the brick's dimension into the wall
# collar_joint = 8          # mortar between this ring and the one inside it

# [joints]                  # limits for the rebuild
# min = 4
# max = 18
# extrados_max = 25

# [view]                    # only where points have z and neither springings nor courses tell left from right
# outside = [0.0, 0.0]      # a point of the site plan in front of the face

# points.csv: with z, a right-handed site grid with z up; with z blank in every row, x runs right and
# y up in the face.
"""


def write_blank_record(folder: Path) -> None:
    """Write an empty record folder: arch.toml to be filled in, and the tables with their headings.

    Parameters
    ----------
    folder : Path
        A folder that does not exist yet or is empty.

    Raises
    ------
    RecordError
        When something already stands there; nothing is touched then.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RecordError(
            (
                Fault(
                    one_line(folder.name) or str(folder),
                    "already exists and is not empty",
                    "give a new folder",
                ),
            )
        )
    for schema in SHEETS:
        write_whole(folder / schema.file, ",".join(schema.columns) + "\n")
    # Last, so that a folder with arch.toml is complete.
    write_whole(folder / FILE, ARCH_TOML)
