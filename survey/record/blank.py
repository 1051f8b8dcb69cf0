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

# All below is optional. Lengths are in measure.unit; the values shown are examples in mm.

# [joints]                  # limits for the rebuild
# min = 4                   # least joint at the intrados
# max = 18                  # greatest joint at the intrados
# extrados_max = 25         # greatest joint at the extrados: joints widen outwards

# [tolerance]               # what is called out in the survey; shown: what is taken where nothing is written
# intrados = 5              # how far a course may stand off the curve
# joint = 2                 # how far a joint may depart from the rhythm
# face = 3                  # how far a course may stand before or behind the face
# lip = 3                   # step in the soffit between neighbouring courses
# bed_deg = 2               # tilt of a bed against the curve, in degrees
# templet = 0.5             # how far a joint may be off because cut bricks share a templet

# [known]                   # dimensions known beforehand, from a drawing or another survey: value, and how
#                             well it is known (standard uncertainty)
# span = { value = 1200, sigma = 3 }
# rise = { value = 450, sigma = 3 }
# springing_y = { value = 0, sigma = 2 }  # level of the springing line: site z, or y where points have no z
# axis_x = { value = 0, sigma = 2 }       # x of the middle of the arch; only where points have no z

# [centring]
# lagging = 20              # thickness of the strips across the ribs
# slack = 5                 # by how much the lagging stays below the soffit, for the wedges to close
# board_length = 2400       # boards the ribs are cut from
# board_width = 225
# board_thickness = 38
# wall_thickness = 330      # how far the arch goes into the wall: the length of the lagging

# [mortar]
# name = "lime 1:3"
# bed_depth = 240           # how far into the wall the joints are filled
# waste = 0.10              # mortar wasted, as a share: 0.10 is ten in a hundred
# brick_waste = 0.03        # bricks broken or refused, as a share

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
