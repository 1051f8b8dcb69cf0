"""Make the three demo records of the invented granary anew: ``python datasets/generate.py [FOLDER]``.

Each arch is laid brick by brick on a known curve with its own joint rhythm, made a little irregular, moved
if it is to have moved, and then "measured" with random errors, so that the record reads like a real survey.
Everything is seeded: the same program writes the same files. No person, firm or place in it is real.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from survey.curves import ArchShape, Curve, curve_of, elliptical, segmental, three_centred_sixty
from survey.curves.protocol import Floats
from survey.files import write_whole

WIDTH_SIGMA_MM = 0.8
"""Spread of hand-moulded bricks of one lot."""
ALIKE_MM = 250.0
"""Length of arc over which the old work's irregularity stays alike."""
CALIPER_MM = 0.4
"""Standard uncertainty of a width or joint measured with a caliper."""


@dataclass(frozen=True, slots=True)
class RingSpec:
    """One ring to be laid. Widths and joints along the arch; a turned brick takes width / cos(turn)."""

    courses: int
    depth_mm: float
    brick_width_mm: float
    collar_mm: float = 0.0
    turn_deg: float = 0.0
    joint_crown_ratio: float = 1.0
    """Joint at the crown against the joint at the springings."""


@dataclass(frozen=True, slots=True)
class Site:
    """Where the middle of the springing line stands, and how the face is turned in plan (0: x is site x)."""

    origin_mm: tuple[float, float, float]
    turn_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class LaidRing:
    """A ring as laid: widths (n,) and joints (n + 1,) along its inner curve, and every brick's corners."""

    spec: RingSpec
    widths_mm: Floats
    joints_mm: Floats
    corners_mm: Floats
    """(n, 4, 2): intrados left, intrados right, extrados right, extrados left."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One surveyed point in the arch's own frame, before it is written down."""

    name: str
    xy_mm: tuple[float, float]
    w_mm: float
    feature: str
    ring: int | None = None
    course: int | None = None
    edge: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Scene:
    """What one demo arch is, how it was measured and what had happened to it."""

    folder: str
    seed: int
    shape: ArchShape
    rings: tuple[RingSpec, ...]
    unit: str
    unit_mm: float
    decimals: int
    point_sigma_mm: float
    irregularity_mm: float
    """Standard deviation of the old work along the normal."""
    site: Site | None
    conditions: dict[tuple[int, int], str] = field(default_factory=dict)
    """(ring, course) to condition; sound where not named."""
    notes: dict[tuple[int, int], str] = field(default_factory=dict)
    every: tuple[int, ...] = ()
    """For each ring, every how many courses its extrados was surveyed."""
    spread_mm: float = 0.0
    hinge_after: int = 0
    """Course of ring 1 after whose joint the crown hinge lies, for an arch that has spread."""
    extras: tuple[Reading, ...] = ()
    """Points taken beside the rings: the wall's face, datum nails, cracks."""


DOORWAY = Scene(
    folder="cellar_doorway",
    seed=1787,
    shape=elliptical(1400.0, 560.0),
    rings=(
        RingSpec(courses=33, depth_mm=115.0, brick_width_mm=52.0, joint_crown_ratio=0.68),
        RingSpec(courses=28, depth_mm=115.0, brick_width_mm=52.0, collar_mm=8.0, turn_deg=45.0),
        RingSpec(courses=45, depth_mm=115.0, brick_width_mm=52.0, collar_mm=8.0, joint_crown_ratio=0.8),
    ),
    unit="mm",
    unit_mm=1.0,
    decimals=1,
    point_sigma_mm=1.0,
    irregularity_mm=2.0,
    site=Site((12_480.0, 8_315.0, 1_240.0), 23.0),
    conditions={
        **{(1, course): "missing" for course in (7, 8, 9, 10)},
        **{(2, course): "missing" for course in (7, 8)},
        (1, 6): "loose", (1, 11): "cracked", (1, 20): "spalled", (1, 27): "replaced",
        (2, 9): "loose", (3, 11): "cracked", (3, 12): "loose",
    },
    notes={
        (1, 7): "imprint of the bed left in the mortar above",
        (1, 20): "left corner off, measured on the sound right corner",
        (1, 27): "harder and redder than the others",
        (3, 12): "held by its neighbours, do not touch before propping",
    },
    every=(1, 1, 3),
    extras=(
        Reading("W1", (-1150.0, 260.0), 0.6, "face"),
        Reading("W2", (-640.0, 1050.0), -0.9, "face"),
        Reading("W3", (610.0, 1060.0), 0.4, "face"),
        Reading("W4", (1160.0, 240.0), 0.2, "face"),
        Reading("D1", (-1180.0, -60.0), 6.0, "datum", note="nail in the bed joint, stays"),
        Reading("D2", (1175.0, -55.0), 6.0, "datum", note="nail in the bed joint, stays"),
        Reading("K1", (-722.0, 716.0), 0.0, "crack", note="lower end"),
        Reading("K2", (-806.0, 871.0), 0.0, "crack", note="upper end, 1 wide"),
    ),
)  # fmt: skip

WINDOW = Scene(
    folder="loft_window",
    seed=1812,
    shape=segmental(900.0, 120.0),
    rings=(RingSpec(courses=13, depth_mm=105.0, brick_width_mm=65.0),),
    unit="cm",
    unit_mm=10.0,
    decimals=2,
    point_sigma_mm=1.5,
    irregularity_mm=1.5,
    site=None,
    every=(1,),
)

GATEWAY = Scene(
    folder="cart_gateway",
    seed=1846,
    shape=three_centred_sixty(2700.0, 1020.0),
    rings=(
        RingSpec(courses=51, depth_mm=105.0, brick_width_mm=65.0),
        RingSpec(courses=55, depth_mm=105.0, brick_width_mm=65.0, collar_mm=9.0),
    ),
    unit="m",
    unit_mm=1000.0,
    decimals=4,
    point_sigma_mm=1.5,
    irregularity_mm=1.0,
    site=Site((453_210_337.0, 5_127_845_612.0, 212_404.0), 141.0),
    conditions={(1, 25): "cracked", (1, 26): "loose", (2, 27): "cracked"},
    notes={(1, 25): "joint to the key open from below"},
    every=(1, 2),
    spread_mm=32.0,
    hinge_after=25,
    extras=(
        Reading("W1", (-1750.0, 420.0), 0.8, "face"),
        Reading("W2", (-1150.0, 1420.0), -0.5, "face"),
        Reading("W3", (1180.0, 1410.0), 0.3, "face"),
        Reading("W4", (1760.0, 400.0), -0.7, "face"),
        Reading("D1", (-2300.0, -120.0), 8.0, "datum", note="bolt in the plinth"),
        Reading("D2", (2310.0, -118.0), 8.0, "datum", note="bolt in the plinth"),
        Reading("K1", (-42.0, 1004.0), 0.0, "crack", note="4 wide below"),
        Reading("K2", (-48.0, 1105.0), 0.0, "crack", note="closed above"),
    ),
)

SCENES = (DOORWAY, WINDOW, GATEWAY)


def lay_ring(inner: Curve, spec: RingSpec, irregularity_mm: float, random: np.random.Generator) -> LaidRing:
    """Lay whole bricks with wedge joints so that widths and joints add up to the inner curve exactly."""
    along = 1.0 / math.cos(math.radians(spec.turn_deg))
    widths = (spec.brick_width_mm + random.normal(0.0, WIDTH_SIGMA_MM, spec.courses)) * along
    place = np.linspace(-1.0, 1.0, spec.courses + 1)
    rhythm = 1.0 + (spec.joint_crown_ratio - 1.0) * (1.0 - place**2)
    joints = rhythm * (1.0 + random.normal(0.0, 0.08, spec.courses + 1))
    joints *= (inner.length_mm - widths.sum()) / joints.sum()
    left = np.cumsum(joints)[:-1] + np.concatenate([[0.0], np.cumsum(widths)[:-1]])
    off = _irregular(left + widths / 2.0, irregularity_mm, random)[:, None] * inner.normal(
        left + widths / 2.0
    )
    one, two = inner.point(left) + off, inner.point(left + widths) + off
    chord = (two - one) / np.linalg.norm(two - one, axis=1)[:, None]
    depth = spec.depth_mm * np.column_stack([-chord[:, 1], chord[:, 0]])
    return LaidRing(spec, widths, joints, np.stack([one, two, two + depth, one + depth], axis=1))


def lay_arch(scene: Scene, random: np.random.Generator) -> tuple[LaidRing, ...]:
    """Lay every ring on the ring below it, and move the arch if it is to have spread."""
    intrados = curve_of(scene.shape)
    rings: list[LaidRing] = []
    out_mm = 0.0
    for spec in scene.rings:
        out_mm += spec.collar_mm
        rings.append(lay_ring(intrados.offset(out_mm), spec, scene.irregularity_mm, random))
        out_mm += spec.depth_mm
    if scene.spread_mm == 0.0:
        return tuple(rings)
    return tuple(_spread(ring, scene, _hinge(scene, rings)) for ring in rings)


def _irregular(station_mm: Floats, irregularity_mm: float, random: np.random.Generator) -> Floats:
    """Departures along the normal, alike over a length: an Ornstein-Uhlenbeck process at the stations."""
    off = np.empty(len(station_mm))
    off[0] = random.normal(0.0, irregularity_mm)
    for i, step in enumerate(np.diff(station_mm), start=1):
        keep = math.exp(-step / ALIKE_MM)
        off[i] = keep * off[i - 1] + random.normal(0.0, irregularity_mm * math.sqrt(1.0 - keep**2))
    return off


def _hinge(scene: Scene, rings: list[LaidRing]) -> Floats:
    """Crown hinge: on the outermost extrados, square above the joint of ring 1 it lies in."""
    below = rings[0].corners_mm
    joint = (below[scene.hinge_after - 1, 1] + below[scene.hinge_after, 0]) / 2.0
    curve = curve_of(scene.shape)
    depth = sum(spec.depth_mm + spec.collar_mm for spec in scene.rings)
    station = curve.locate(joint[None]).station_mm
    return np.asarray(
        curve.offset(depth).point(curve.offset(depth).locate(curve.point(station)).station_mm)[0]
    )


def _spread(ring: LaidRing, scene: Scene, hinge: Floats) -> LaidRing:
    """Turn the two halves about their springings so that they still meet at the crown hinge."""
    half = scene.shape.half_span_mm
    feet = np.array([[-half, 0.0], [half, 0.0]])
    moved = feet + np.array([[-scene.spread_mm / 2.0, 0.0], [scene.spread_mm / 2.0, 0.0]])
    reach = np.linalg.norm(hinge - feet, axis=1)
    base = moved[1, 0] - moved[0, 0]
    x = (reach[0] ** 2 - reach[1] ** 2 + base**2) / (2.0 * base)
    met = moved[0] + np.array([x, math.sqrt(reach[0] ** 2 - x**2)])
    corners = ring.corners_mm.copy()
    middle = corners.mean(axis=1)
    right = np.where(middle[:, 0] > hinge[0], 1, 0)
    for side in (0, 1):
        before, after = hinge - feet[side], met - moved[side]
        turn = math.atan2(after[1], after[0]) - math.atan2(before[1], before[0])
        matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        corners[right == side] = (corners[right == side] - feet[side]) @ matrix.T + moved[side]
    joints = ring.joints_mm.copy()
    after_course = int(np.count_nonzero(right == 0))
    opened = np.linalg.norm(corners[after_course, 0] - corners[after_course - 1, 1])
    shut = np.linalg.norm(ring.corners_mm[after_course, 0] - ring.corners_mm[after_course - 1, 1])
    joints[after_course] += float(opened - shut)
    return LaidRing(ring.spec, ring.widths_mm, joints, corners)


def survey_points(scene: Scene, rings: tuple[LaidRing, ...], random: np.random.Generator) -> list[Reading]:
    """Every point the surveyor took, without measuring error."""
    half = scene.shape.half_span_mm + scene.spread_mm / 2.0
    proud = random.normal(0.0, 1.2, sum(spec.courses for spec in scene.rings))
    readings = [
        Reading("SL", (-half, 0.0), 0.0, "springing", 1, None, "left"),
        Reading("SR", (half, 0.0), 0.0, "springing", 1, None, "right"),
    ]
    first = 0
    for number, ring in enumerate(rings, start=1):
        for course in range(1, ring.spec.courses + 1):
            condition = scene.conditions.get((number, course), "sound")
            if condition != "missing":
                w_mm = float(proud[first + course - 1])
                readings += _on_course(scene, ring, number, course, w_mm)
        first += ring.spec.courses
    return [*readings, *scene.extras]


def _on_course(scene: Scene, ring: LaidRing, number: int, course: int, w_mm: float) -> list[Reading]:
    corner = [(float(x), float(y)) for x, y in ring.corners_mm[course - 1]]
    spalled = scene.conditions.get((number, course)) == "spalled"
    found: list[Reading] = []
    if number == 1:
        if not spalled:
            found.append(Reading(f"A{course}L", corner[0], w_mm, "intrados", 1, course, "left"))
        found.append(Reading(f"A{course}R", corner[1], w_mm, "intrados", 1, course, "right"))
    letter = "EFG"[number - 1]
    if (course - 1) % scene.every[number - 1] == 0:
        if ring.spec.turn_deg:
            middle = ((corner[2][0] + corner[3][0]) / 2.0, (corner[2][1] + corner[3][1]) / 2.0)
            found.append(Reading(f"{letter}{course}", middle, w_mm, "extrados", number, course, "mid"))
        else:
            found.append(Reading(f"{letter}{course}L", corner[3], w_mm, "extrados", number, course, "left"))
            found.append(Reading(f"{letter}{course}R", corner[2], w_mm, "extrados", number, course, "right"))
    return found


def points_csv(scene: Scene, readings: list[Reading], random: np.random.Generator) -> str:
    """points.csv as text."""
    columns = ["point", "x", "y", "feature", "ring", "course", "edge", "note"]
    if scene.site is not None:
        columns.insert(3, "z")
    lines = [",".join(columns)]
    for reading in readings:
        place = np.array([*reading.xy_mm, reading.w_mm])
        if scene.site is None:
            place = place[:2] + np.array([52.0, 118.0])
        else:
            turn = math.radians(scene.site.turn_deg)
            right, front = (math.cos(turn), math.sin(turn)), (math.sin(turn), -math.cos(turn))
            plan = place[0] * np.array(right) + place[2] * np.array(front)
            place = np.array([*plan, place[1]]) + np.array(scene.site.origin_mm)
        place = place + random.normal(0.0, scene.point_sigma_mm, len(place))
        numbers = [f"{value / scene.unit_mm:.{scene.decimals}f}" for value in place]
        known = ["" if value is None else str(value) for value in (reading.ring, reading.course)]
        note = f'"{reading.note}"' if "," in reading.note else reading.note
        lines.append(",".join([reading.name, *numbers, reading.feature, *known, reading.edge, note]))
    return "\n".join(lines) + "\n"


def courses_csv(scene: Scene, rings: tuple[LaidRing, ...], random: np.random.Generator) -> str:
    """courses.csv as text; joints beside a missing brick could not be measured."""
    lines = ["ring,course,width,depth,joint,condition,reuse,note"]
    for number, ring in enumerate(rings, start=1):
        gone = {course for course in range(1, ring.spec.courses + 1)
                if scene.conditions.get((number, course)) == "missing"}  # fmt: skip
        lines.append(f"{number},0,,,{_measured(scene, ring.joints_mm[0], random)},,,")
        for course in range(1, ring.spec.courses + 1):
            width = _measured(scene, ring.widths_mm[course - 1], random)
            depth = _measured(scene, ring.spec.depth_mm, random)
            joint = _measured(scene, ring.joints_mm[course], random)
            condition = scene.conditions.get((number, course), "sound")
            if course in gone:
                width = depth = ""
            if course in gone or course + 1 in gone:
                joint = ""
            reuse = {"sound": "yes", "loose": "yes", "missing": ""}.get(condition, "no")
            note = scene.notes.get((number, course), "")
            note = f'"{note}"' if "," in note else note
            lines.append(f"{number},{course},{width},{depth},{joint},{condition},{reuse},{note}")
    return "\n".join(lines) + "\n"


def salvage_csv(random: np.random.Generator) -> str:
    """salvage.csv of the doorway: bricks found in the rubble below the gap."""
    lines = ["brick,width,depth,ring,note"]
    notes = ("from the rubble below the gap", "", "one end chipped", "", "mortar still on one bed")
    for number, note in enumerate(notes, start=1):
        width, depth = 52.0 + random.normal(0.0, WIDTH_SIGMA_MM), 115.0 + random.normal(0.0, 1.0)
        lines.append(f"B{number},{width:.1f},{depth:.1f},{1 if number <= 3 else 2},{note}")
    return "\n".join(lines) + "\n"


def _measured(scene: Scene, length_mm: float, random: np.random.Generator) -> str:
    value = float(length_mm + random.normal(0.0, CALIPER_MM))
    return f"{value / scene.unit_mm:.{scene.decimals}f}"


def write_scene(scene: Scene, folder: Path) -> None:
    """Write one demo record's tables; its arch.toml and README.md are written by hand."""
    random = np.random.default_rng(scene.seed)
    rings = lay_arch(scene, random)
    readings = survey_points(scene, rings, random)
    write_whole(folder / "points.csv", points_csv(scene, readings, random))
    write_whole(folder / "courses.csv", courses_csv(scene, rings, random))
    if scene is DOORWAY:
        write_whole(folder / "salvage.csv", salvage_csv(random))


def main(folder: Path) -> None:
    """Write all three."""
    for scene in SCENES:
        write_scene(scene, folder / scene.folder)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
