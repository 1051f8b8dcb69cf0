"""Quantities of what is still to be done: bricks, mortar, timber and weights, with what is not known said
beside each line."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from survey.rebuild.centring.centring import UNKNOWN_WALL_MM
from survey.rebuild.centring.striking import plain_mm
from survey.rebuild.laying.brick_lots import SizeClass, size_tolerance_mm
from survey.rebuild.mortar import brick_faces_mm2, collar_face_mm2, mortar_face_mm2
from survey.rebuild.plan import Brick, BrickKind, CentringPlan, Quantity, RingPlan
from survey.rebuild.refusals import courses_named
from survey.rebuild.templets import NEW, flat_widths_mm
from survey.rebuild.wall_depth import WallDepth, wall_depths
from survey.record.model import Record

BRICK_KG_M3 = 1800.0
"""Density of old and new solid brick (judgement)."""
MORTAR_KG_M3 = 1900.0
"""Density of fresh mortar (judgement)."""
TIMBER_KG_M3 = 500.0
"""Density of air-dry softwood (judgement)."""
TIMBER_WASTE_RATIO = 0.05
"""Lagging broken or cut short (judgement)."""
TAPER_MM = 1.0
"""Bricks that grow by more towards the back are cut to a taper."""
_CUT = ""
"""Stands before every templet's name in the order of lines."""


def take_quantities(
    rings: Iterable[RingPlan], centring: CentringPlan, record: Record
) -> tuple[Quantity, ...]:
    """Take off the bricks, mortar, timber and weights of what is still to be done.

    Parameters
    ----------
    rings : iterable of RingPlan
        With the templets' names in the bricks.
    centring : CentringPlan
    record : Record
        Gives thicknesses, collar joints, mortar and wastage.

    Returns
    -------
    tuple of Quantity
        Bricks left standing, put back or laid already are counted but not ordered (order 0); nor is timber
        once bricks lie on the centre.

    Notes
    -----
    Mortar is the real area between the bricks on the face (:mod:`survey.rebuild.mortar`) times the bed depth:
    the recorded one, else the wall's thickness, else the thickness of one brick. Where none is recorded it is
    given for each 100 mm of wall and the line says so. What the centre carries is the one figure of the whole
    work: bricks laid while green weigh on it too.
    """
    rings = tuple(sorted(rings, key=lambda ring: ring.ring))
    depths = wall_depths(rings, record)
    mortar = _mortar(rings, depths, record)
    return (
        *_new_bricks(rings, depths, record),
        *_behind_saved(rings, depths, record),
        *_other_bricks(rings, depths),
        *mortar,
        *_timber(centring, record, stands=any(b.laid for ring in rings for b in ring.bricks)),
        *_weights(rings, depths, mortar, centring, record),
    )


def _new_bricks(
    rings: tuple[RingPlan, ...], depths: dict[int, WallDepth], record: Record
) -> tuple[Quantity, ...]:
    """New bricks still to be laid, ring by ring: a line for each whole size, one for all cut to a taper."""
    lines: list[Quantity] = []
    thickness = {ring.ring: ring.thickness_mm for ring in record.rings}
    for ring in rings:
        flat = flat_widths_mm(ring)
        sorts: dict[str, list[int]] = {}
        for k, brick in enumerate(ring.bricks):
            if _is_new(brick):
                tapered = bool(flat[k, 1] - flat[k, 0] > TAPER_MM)
                sorts.setdefault(_CUT if tapered else brick.templet or f"{flat[k].max():.1f}", []).append(k)
        for sort, members in sorted(sorts.items()):
            lines.append(
                _brick_line(ring, sort, members, depths[ring.ring].through, thickness.get(ring.ring), record)
            )
    return tuple(lines)


def _brick_line(
    ring: RingPlan,
    sort: str,
    members: list[int],
    through: float,
    thickness: float | None,
    record: Record,
) -> Quantity:
    """One line of new bricks: the size to buy, how many, and what to mind."""
    flat = flat_widths_mm(ring)[members]
    first = ring.bricks[members[0]]
    size = " × ".join(
        plain_mm(value) for value in (float(flat.max()), first.depth_mm, thickness) if value is not None
    )
    amount, waste = len(members) * through, record.mortar.brick_waste_ratio
    if sort == _CUT:
        names = sorted({ring.bricks[k].templet for k in members} - {""}, key=lambda n: (len(n), n))
        least, most = plain_mm(float(flat[:, 1].min())), plain_mm(float(flat[:, 1].max()))
        item = f"new bricks to be cut, ring {ring.ring}: at least {size} mm"
        back = f"{least} to {most} wide at the back" if least != most else f"{most} wide at the back"
        note = f"{f'templets {names[0]} to {names[-1]}' if len(names) > 1 else ' '.join(names)}: {back}"
    else:
        item = f"new bricks, ring {ring.ring}{f', templet {sort}' if first.templet else ''}: {size} mm"
        note = _lot_words(float(flat[0, 0]))
    return Quantity(
        item=item,
        amount=amount,
        unit="pieces",
        waste_ratio=waste,
        order=float(math.ceil(amount * (1.0 + waste) - 1e-9)),
        note="; ".join(words for words in (note, _through_words(through, thickness, record)) if words),
    )


def _lot_words(width_mm: float) -> str:
    """How far the lot may be off, which the joints would have to take."""
    off = size_tolerance_mm(width_mm, SizeClass.T1)
    return f"a lot may be {plain_mm(off)} mm off on average (EN 771-1, T1): measure ten before buying"


def _through_words(through: float, thickness: float | None, record: Record) -> str:
    """How many bricks stand one behind the other, in words."""
    if record.centring.wall_thickness_mm is not None and thickness is not None:
        return f"{through:g} through the wall" if through != 1.0 else ""
    return "counted one brick deep: thickness of wall or brick not recorded"


def _behind_saved(
    rings: tuple[RingPlan, ...], depths: dict[int, WallDepth], record: Record
) -> tuple[Quantity, ...]:
    """New bricks for the places behind salvaged ones, which fill the face alone."""
    recorded, waste = {ring.ring: ring for ring in record.rings}, record.mortar.brick_waste_ratio
    lines = []
    for ring in rings:
        given, behind = recorded[ring.ring], depths[ring.ring].through - 1.0
        amount = sum(_is_saved(brick) for brick in ring.bricks) * behind
        if amount:
            sides = (given.brick_width_mm, given.depth_mm, given.thickness_mm)
            size = " × ".join(plain_mm(side) for side in sides if side is not None)
            lines.append(
                Quantity(
                    f"new bricks behind salvaged ones, ring {ring.ring}: {size} mm",
                    amount,
                    "pieces",
                    waste,
                    float(math.ceil(amount * (1.0 + waste) - 1e-9)),
                    f"{plain_mm(behind)} behind each",
                )
            )
    return tuple(lines)


def _other_bricks(rings: tuple[RingPlan, ...], depths: dict[int, WallDepth]) -> tuple[Quantity, ...]:
    """Bricks that are not bought: laid already, standing, original, salvaged; counted on the face."""
    bricks = [brick for ring in rings for brick in ring.bricks]
    laid = [b for b in bricks if b.laid]
    standing = [b for b in bricks if b.kind is BrickKind.IN_SITU]
    original = [b for b in bricks if b.to_lay and b.source == "original"]
    saved = [b for b in bricks if _is_saved(b)]
    names = ", ".join(b.source for b in saved)
    where = [(ring.ring, [b.course for b in ring.bricks if b.laid]) for ring in rings]
    done = "; ".join(f"ring {number}, {courses_named(courses)}" for number, courses in where if courses)
    lines = (
        ("bricks laid already", laid, done),
        ("bricks left standing", standing, "not touched"),
        ("original bricks put back", original, "each into its own place; clean and number them"),
        ("salvaged bricks", saved, names),
    )
    on_face = "; counted on the face" if any(d.through != 1.0 for d in depths.values()) else ""
    return tuple(
        Quantity(item, float(len(group)), "pieces", 0.0, 0.0, note + on_face)
        for item, group, note in lines
        if group
    )


def _is_saved(brick: Brick) -> bool:
    return brick.to_lay and brick.source not in ("original", NEW)


def _is_new(brick: Brick) -> bool:
    return brick.to_lay and brick.source == NEW


def _before_laying(ring: RingPlan) -> RingPlan:
    """The ring with none of its bricks laid yet."""
    return replace(ring, bricks=tuple(replace(brick, laid=False) for brick in ring.bricks))


def _mortar(
    rings: tuple[RingPlan, ...], depths: dict[int, WallDepth], record: Record
) -> tuple[Quantity, ...]:
    """Mortar of every ring and every collar joint, and all of it with wastage."""
    waste = record.mortar.waste_ratio
    lines: list[Quantity] = []

    def line(item: str, face_mm2: float, depth: WallDepth, note: str = "") -> None:
        litres = face_mm2 * depth.mm / 1e6
        words = "; ".join(w for w in (f"{depth.words} ({plain_mm(depth.mm)} mm)", note) if w)
        lines.append(Quantity(item, litres, "litres", waste, litres * (1.0 + waste), words))

    for k, ring in enumerate(rings):
        turned = "by the section parallel to the face" if ring.sawtooth else ""
        line(f"mortar, joints of ring {ring.ring}", mortar_face_mm2(ring), depths[ring.ring], turned)
        if k == 0:
            continue
        inside = rings[k - 1]
        recorded = next(r for r in record.rings if r.ring == ring.ring)
        collar = recorded.collar_mm
        known = "thick" if recorded.collar_given else "thick by the survey, not recorded: measure it"
        line(
            f"mortar, collar joint between rings {inside.ring} and {ring.ring}",
            collar_face_mm2(inside, ring, collar),
            depths[ring.ring],
            f"{plain_mm(collar)} mm {known}" if collar else "thickness not recorded: taken as 0, measure it",
        )
    name = record.mortar.name or "kind not recorded: match binder, sand and finish of the old"
    total = sum(q.amount for q in lines)
    lines.append(
        Quantity(
            "mortar, all",
            total,
            "litres",
            waste,
            total * (1.0 + waste),
            "; ".join((name, *_still_words(rings), "bricks with frogs take more")),
        )
    )
    return tuple(lines)


def _timber(centring: CentringPlan, record: Record, *, stands: bool) -> tuple[Quantity, ...]:
    """Timber of the centre; nothing of it is ordered once it stands with bricks on it."""
    lines = _timber_lines(centring, record)
    if not stands:
        return lines
    return tuple(replace(q, order=0.0, note=f"in the centre, which stands; {q.note}") for q in lines)


def _timber_lines(centring: CentringPlan, record: Record) -> tuple[Quantity, ...]:
    given = record.centring
    sizes = (given.board_length_mm, given.board_width_mm, given.board_thickness_mm)
    board = " × ".join(plain_mm(size) for size in sizes)
    feet = centring.rib.point(np.array([0.0, centring.rib.length_mm]))
    tie = plain_mm(float(np.hypot(*(feet[1] - feet[0]))))
    strip = f"{plain_mm(centring.lagging_strip_mm)} × {plain_mm(centring.lagging_mm)}"
    length = plain_mm(centring.lagging_length_mm)
    unknown = (
        ""
        if given.wall_thickness_mm is not None
        else (f"for each {UNKNOWN_WALL_MM:.0f} mm of wall: its thickness is not recorded; ")
    )
    lagging = math.ceil(centring.n_lagging * (1.0 + TIMBER_WASTE_RATIO))
    return (
        Quantity(
            f"boards for {centring.n_ribs} ribs, two layers: {board} mm",
            float(centring.n_boards),
            "pieces",
            0.0,
            float(centring.n_boards),
            f"{100.0 * centring.waste_ratio:.0f} % of them is offcut",
        ),
        Quantity(
            f"ties, foot to foot of each rib: {tie} mm long",
            float(centring.n_ribs),
            "pieces",
            0.0,
            float(centring.n_ribs),
            "of the same board; joined where longer than one",
        ),
        Quantity(
            f"lagging strips: {strip} mm, {length} mm long",
            float(centring.n_lagging),
            "pieces",
            TIMBER_WASTE_RATIO,
            float(lagging),
            f"{unknown}{plain_mm(centring.lagging_pitch_mm)} mm from middle to middle",
        ),
        Quantity(
            "folding wedges",
            float(centring.n_wedge_pairs),
            "pairs",
            0.0,
            float(centring.n_wedge_pairs),
            f"hardwood; travel {plain_mm(centring.wedge_travel_mm)} mm",
        ),
        Quantity(
            "props",
            float(centring.n_props),
            "pieces",
            0.0,
            float(centring.n_props),
            "proposal; sizes and bracing by whoever answers for the temporary works",
        ),
    )


def _still_words(rings: tuple[RingPlan, ...]) -> tuple[str, ...]:
    """That the joints between laid bricks are left out, where any are laid."""
    laid = any(brick.laid for ring in rings for brick in ring.bricks)
    return ("for what is still to be laid",) if laid else ()


def _mortar_kg(mortar: tuple[Quantity, ...]) -> float:
    """Weight of the mortar of all lines, without wastage: the last one adds them up."""
    return mortar[-1].amount * MORTAR_KG_M3 / 1000.0


def _weights(
    rings: tuple[RingPlan, ...],
    depths: dict[int, WallDepth],
    mortar: tuple[Quantity, ...],
    centring: CentringPlan,
    record: Record,
) -> tuple[Quantity, ...]:
    """Weights of what is carried up, and what the centre carries."""

    def bricks_kg(rings: tuple[RingPlan, ...], which: Callable[[Brick], bool]) -> float:
        return sum(
            float(brick_faces_mm2(filter(which, ring.bricks)).sum())
            * depths[ring.ring].mm
            * 1e-9
            * BRICK_KG_M3
            for ring in rings
        )

    mortar_kg = _mortar_kg(mortar)
    given = record.centring
    boards = centring.n_boards * given.board_length_mm * given.board_width_mm * given.board_thickness_mm
    in_ribs = boards * (1.0 - centring.waste_ratio)
    strip = centring.lagging_strip_mm * centring.lagging_mm * centring.lagging_length_mm
    timber_kg = (in_ribs + centring.n_lagging * strip) * 1e-9 * TIMBER_KG_M3
    words = "; ".join(dict.fromkeys(depth.words for depth in depths.values()))
    brick = f"{BRICK_KG_M3:.0f} kg/m³, by judgement; {words}"
    mixed = f"{MORTAR_KG_M3:.0f} kg/m³ fresh, by judgement; {words}"

    def line(item: str, kg: float, note: str) -> Quantity:
        return Quantity(item, kg, "kg", 0.0, kg, note)

    new_kg = bricks_kg(rings, _is_new) + sum(
        (1.0 - 1.0 / depths[ring.ring].through) * bricks_kg((ring,), _is_saved) for ring in rings
    )
    green = tuple(_before_laying(ring) for ring in rings)
    load_kg = bricks_kg(green, lambda brick: brick.to_lay) + _mortar_kg(_mortar(green, depths, record))
    return (
        *((line("weight of the new bricks", new_kg, brick),) if new_kg else ()),
        line("weight of the mortar", mortar_kg, mixed),
        line(
            "load on the centre, all rings green",
            load_kg,
            f"without wall above, people and gear: for the engineer; {words}",
        ),
        line(
            "weight of the centre",
            timber_kg,
            f"ribs and lagging without ties, props and wedges; softwood {TIMBER_KG_M3:.0f} kg/m³, by "
            "judgement",
        ),
    )
