"""From arch.toml to millimetres and radians, with the project's own values where it is silent."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from record.record_folder import ARCH, SOUND, write_folder

from survey.record import read_record
from survey.record.model import Centring, JointLimits, Laid, Mortar, Record, Tolerances

_IN = 25.4

_FULL = """\
[arch]
name = "Full"
place = "nowhere"
recorded_on = 2024-05-14
recorded_by = "nobody"
note = "a note"
[measure]
unit = "in"
point_sigma = 0.08
[[rings]]
ring = 2
depth = 4.5
brick_width = 2.25
laid = "Sawtooth"
turn_deg = 45
collar_joint = 0.4
[[rings]]
ring = 1
courses = 5
depth = 9
brick_width = 2.5
cut = "mixed"
thickness = 4.25
[joints]
min = 0.125
max = 1
[tolerance]
intrados = 0.2
joint = 0.1
face = 0.15
lip = 0.12
bed_deg = 3
templet = 0.02
[known]
span = { value = 15.75, sigma = 0.1 }
rise = { value = 2.5, sigma = 0.2 }
springing_y = { value = 1, sigma = 0.3 }
axis_x = { value = 2, sigma = 0.4 }
[centring]
lagging = 1
slack = 0.5
board_length = 96
board_width = 9
board_thickness = 1.5
wall_thickness = 18
[mortar]
name = "lime putty 1:3"
bed_depth = 9
waste = 0.2
brick_waste = 0.05
"""


def _record(tmp_path: Path, arch: str) -> Record:
    return read_record(write_folder(tmp_path, {"arch.toml": arch, "points.csv": SOUND["points.csv"]}))


def test_every_key_reaches_the_record(tmp_path: Path) -> None:
    record = _record(tmp_path, _FULL)
    assert (record.place, record.recorded_on, record.recorded_by) == ("nowhere", "2024-05-14", "nobody")
    assert (record.note, record.unit) == ("a note", "in")
    first, second = record.rings
    assert (first.ring, first.courses, first.cut, first.laid) == (1, 5, "mixed", Laid.RADIAL)
    assert (first.depth_mm, first.brick_width_mm) == pytest.approx((9 * _IN, 2.5 * _IN))
    assert (first.thickness_mm, first.collar_mm, first.turn_rad) == (pytest.approx(4.25 * _IN), 0.0, 0.0)
    assert (second.courses, second.laid, second.thickness_mm) == (None, Laid.SAWTOOTH, None)
    assert (second.turn_rad, second.collar_mm) == pytest.approx((math.pi / 4, 0.4 * _IN))
    # Left out, the collar joint is 0 until the survey tells it; written, it stands.
    assert (first.collar_given, second.collar_given) == (False, True)
    assert record.joints.min_mm == pytest.approx(3.175)
    # A greater joint at the intrados lifts the limit at the extrados with it.
    assert record.joints.max_mm == record.joints.extrados_max_mm == pytest.approx(25.4)
    tolerances = record.tolerances
    assert tolerances.intrados_mm == pytest.approx(5.08)
    assert tolerances.joint_mm == pytest.approx(2.54)
    assert tolerances.face_mm == pytest.approx(3.81)
    assert tolerances.lip_mm == pytest.approx(3.048)
    assert tolerances.bed_rad == pytest.approx(math.radians(3))
    assert tolerances.templet_mm == pytest.approx(0.508)
    centring = record.centring
    assert centring.lagging_mm == pytest.approx(25.4)
    assert centring.slack_mm == pytest.approx(12.7)
    assert centring.board_length_mm == pytest.approx(2438.4)
    assert centring.board_width_mm == pytest.approx(228.6)
    assert centring.board_thickness_mm == pytest.approx(38.1)
    assert centring.wall_thickness_mm == pytest.approx(457.2)
    mortar = record.mortar
    assert (mortar.name, mortar.waste_ratio, mortar.brick_waste_ratio) == ("lime putty 1:3", 0.2, 0.05)
    assert mortar.bed_depth_mm == pytest.approx(228.6)


def test_known_dimensions_stand_in_the_face_frame(tmp_path: Path) -> None:
    record = _record(tmp_path, _FULL)
    known = record.known
    assert known.span is not None
    assert known.rise is not None
    assert known.springing_y is not None
    assert known.axis_x is not None
    assert (known.span.value_mm, known.span.sigma_mm) == pytest.approx((400.05, 2.54))
    assert (known.rise.value_mm, known.rise.sigma_mm) == pytest.approx((63.5, 5.08))
    level = record.frame.to_site([[known.axis_x.value_mm, known.springing_y.value_mm]])[0]
    assert level.tolist() == pytest.approx([50.8, 25.4, 0.0])
    assert (known.axis_x.sigma_mm, known.springing_y.sigma_mm) == pytest.approx((10.16, 7.62))


def test_silence_means_the_projects_own_values(tmp_path: Path) -> None:
    record = _record(tmp_path, ARCH)
    assert record.joints == JointLimits()
    assert record.joints.defaulted == ("min", "max", "extrados_max")
    assert record.tolerances == Tolerances()
    assert record.centring == Centring()
    assert record.mortar == Mortar()
    assert (record.known.span, record.known.rise) == (None, None)
    assert (record.place, record.recorded_on, record.recorded_by, record.note) == ("", "", "", "")


def test_limits_that_were_not_given_are_named(tmp_path: Path) -> None:
    record = _record(tmp_path, f"{ARCH}\n[joints]\nmin = 4\n")
    assert record.joints.defaulted == ("max", "extrados_max")
    given = _record(tmp_path, f"{ARCH}\n[joints]\nmin = 4\nmax = 15\nextrados_max = 25\n")
    assert given.joints.defaulted == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_arch_file_in_the_encodings_editors_save(tmp_path: Path, encoding: str) -> None:
    arch = ARCH.replace("Small", "Süd").replace("\n", "\r\n")
    folder = write_folder(tmp_path, {"arch.toml": arch.encode(encoding), "points.csv": SOUND["points.csv"]})
    assert read_record(folder).name == "Süd arch"


@pytest.mark.parametrize("written", ["2024-05-14", '"14 May 2024"', "2024-05-14T09:30:00"])
def test_date_may_be_a_date_or_words(tmp_path: Path, written: str) -> None:
    arch = ARCH.replace("[measure]", f"recorded_on = {written}\n[measure]")
    assert _record(tmp_path, arch).recorded_on == written.strip('"')
