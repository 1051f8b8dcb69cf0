"""The demo records: made anew byte for byte, read without fault or doubt, true to their READMEs."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from survey.curves import Family, curve_of
from survey.record import RecordCounts, Status, check_record, read_record
from survey.record.model import Condition, Edge, Feature, Laid, Record
from survey.shipped import datasets_folder

NAMES = ("cellar_doorway", "loft_window", "cart_gateway")


@pytest.fixture(scope="module")
def generator() -> ModuleType:
    """``datasets/generate.py`` as a module."""
    spec = importlib.util.spec_from_file_location("demo_generator", datasets_folder() / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def records() -> dict[str, Record]:
    """All three, read once."""
    return {name: read_record(datasets_folder() / name) for name in NAMES}


def test_generator_writes_the_committed_files(generator: ModuleType, tmp_path: Path) -> None:
    generator.main(tmp_path)
    written = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*.csv"))
    committed = sorted(
        path.relative_to(datasets_folder())
        for name in NAMES
        for path in (datasets_folder() / name).glob("*.csv")
    )
    assert written == committed
    assert len(written) == 7
    for path in written:
        assert (tmp_path / path).read_bytes() == (datasets_folder() / path).read_bytes(), path


@pytest.mark.parametrize(
    ("name", "counts"),
    [
        ("cellar_doorway", RecordCounts(points=181, rings=3, courses=109, salvaged=5)),
        ("loft_window", RecordCounts(points=54, rings=1, courses=14)),
        ("cart_gateway", RecordCounts(points=270, rings=2, courses=108)),
    ],
)
def test_demo_records_have_no_fault_and_no_doubt(name: str, counts: RecordCounts) -> None:
    report = check_record(datasets_folder() / name)
    assert (report.status, report.faults, report.doubts) == (Status.READY, (), ())
    assert report.counts == counts


@pytest.mark.parametrize(
    ("name", "turn_deg", "span_mm"),
    [("cellar_doorway", 23.0, 1400.0), ("loft_window", 0.0, 900.0), ("cart_gateway", 141.0, 2732.0)],
)
def test_face_and_span_are_those_of_the_readme(
    records: dict[str, Record], name: str, turn_deg: float, span_mm: float
) -> None:
    record = records[name]
    turn = math.degrees(math.atan2(record.frame.x_axis[1], record.frame.x_axis[0]))
    # Some two hundred points of 2.5 mm over a metre and a half fix the turn to hundredths of a degree.
    assert turn == pytest.approx(turn_deg, abs=0.1)
    points = record.points
    springing = points.on(Feature.SPRINGING)
    left, right = (points.xy_mm[springing & (points.edge == edge)][0] for edge in (Edge.LEFT, Edge.RIGHT))
    assert np.linalg.norm(right - left) == pytest.approx(
        span_mm, abs=4.0 * math.sqrt(2.0) * record.point_sigma_mm
    )
    assert abs(right[1] - left[1]) < 4.0 * math.sqrt(2.0) * record.point_sigma_mm
    if record.has_depth:
        face = record.points.w_mm[points.on(Feature.INTRADOS) | points.on(Feature.EXTRADOS)]
        assert abs(np.median(face)) < 1.0
        assert np.std(face) < 3.0
        assert np.all(record.points.w_mm[points.on(Feature.DATUM)] > 0.0)


@pytest.mark.parametrize("name", ["cellar_doorway", "loft_window"])
def test_unmoved_rings_lie_on_the_curves_of_the_readme(
    records: dict[str, Record], generator: ModuleType, name: str
) -> None:
    scene = next(scene for scene in generator.SCENES if scene.folder == name)
    record = records[name]
    points = record.points
    on_it = points.on(Feature.INTRADOS)
    springings = points.xy_mm[points.on(Feature.SPRINGING)]
    located = curve_of(scene.shape).locate(points.xy_mm[on_it] - springings.mean(axis=0))
    spread = math.hypot(record.point_sigma_mm, scene.irregularity_mm)
    # The middle of two springings is itself off by a share of the measuring error.
    assert np.std(located.distance_mm) == pytest.approx(spread, rel=0.5)
    assert abs(np.mean(located.distance_mm)) < 2.0 * spread
    order = np.argsort(points.course[on_it] * 2 + (points.edge[on_it] == Edge.RIGHT))
    assert np.all(np.diff(located.station_mm[order]) > 0.0)


@pytest.mark.parametrize(("name", "ring"), [("cellar_doorway", 3), ("loft_window", 1), ("cart_gateway", 2)])
def test_widths_and_joints_add_up_to_the_ring(
    records: dict[str, Record], generator: ModuleType, name: str, ring: int
) -> None:
    scene = next(scene for scene in generator.SCENES if scene.folder == name)
    inner = sum(spec.depth_mm + spec.collar_mm for spec in scene.rings[: ring - 1])
    inner += scene.rings[ring - 1].collar_mm
    notes = [note for note in records[name].courses if note.ring == ring]
    total = sum((note.width_mm or 0.0) + (note.joint_mm or 0.0) for note in notes)
    length = curve_of(scene.shape).offset(inner).length_mm
    measured = len(notes) * 2 - 1
    # The crown hinge of the gateway is an opened joint of some millimetres.
    opened = 8.0 if scene.spread_mm else 0.0
    assert -4.0 * 0.4 * math.sqrt(measured) < total - length < 4.0 * 0.4 * math.sqrt(measured) + opened


def test_missing_courses_have_no_points_and_no_sizes(records: dict[str, Record]) -> None:
    record = records["cellar_doorway"]
    missing = {(n.ring, n.course) for n in record.courses if n.condition is Condition.MISSING}
    assert missing == {(1, 7), (1, 8), (1, 9), (1, 10), (2, 7), (2, 8)}
    measured = set(zip(record.points.ring.tolist(), record.points.course.tolist(), strict=True))
    assert not measured & missing
    assert all(
        (n.width_mm, n.depth_mm, n.joint_mm) == (None, None, None)
        for n in record.courses
        if (n.ring, n.course) in missing
    )
    assert {course for ring, course in measured if ring == 1 and course > 0} == set(range(1, 34)) - {
        7,
        8,
        9,
        10,
    }


def test_sawtooth_ring_is_measured_along_the_arch(records: dict[str, Record]) -> None:
    record = records["cellar_doorway"]
    ring = record.rings[1]
    assert (ring.laid, ring.turn_rad, ring.brick_width_mm) == (Laid.SAWTOOTH, math.pi / 4, 52.0)
    widths = [n.width_mm for n in record.courses if n.ring == 2 and n.width_mm is not None]
    assert np.mean(widths) == pytest.approx(52.0 * math.sqrt(2.0), abs=4.0 * 1.2 / math.sqrt(len(widths)))


def test_joints_tighten_towards_the_crown(records: dict[str, Record]) -> None:
    joints = {n.course: n.joint_mm for n in records["cellar_doorway"].courses if n.ring == 1 and n.joint_mm}
    ends = [joint for course, joint in joints.items() if course < 5 or course > 28]
    crown = [joint for course, joint in joints.items() if 14 <= course <= 19]
    assert np.mean(crown) / np.mean(ends) == pytest.approx(0.72, abs=0.08)


def test_gateway_has_opened_at_the_crown(records: dict[str, Record], generator: ModuleType) -> None:
    record = records["cart_gateway"]
    joints = {n.course: n.joint_mm for n in record.courses if n.ring == 1 and n.joint_mm is not None}
    assert max(joints, key=lambda course: joints[course]) == generator.GATEWAY.hinge_after == 25
    points = record.points
    crown = points.xy_mm[points.on(Feature.INTRADOS) & (points.course == 26)].mean(axis=0)
    level = points.xy_mm[points.on(Feature.SPRINGING)].mean(axis=0)
    # A half turned about its foot so that its hinge reaches s/2 further goes down by half-span / hinge height
    # times that: 1350 / 1239 of 16 mm.
    assert crown[1] - level[1] == pytest.approx(1020.0 - 17.4, abs=6.0)
    assert generator.GATEWAY.shape.family is Family.THREE_CENTRED
    assert generator.GATEWAY.shape.radii_mm == pytest.approx((899.2, 1800.8), abs=0.05)


@pytest.mark.parametrize("name", NAMES)
def test_every_demo_record_says_what_was_invented(name: str) -> None:
    text = (datasets_folder() / name / "README.md").read_text(encoding="utf-8")
    assert "**Known (in the record):**" in text
    assert "**Invented (the truth behind it):**" in text
