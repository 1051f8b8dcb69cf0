"""From the checked arch.toml to the record's values, in millimetres and radians."""

from __future__ import annotations

import math

from survey.record.arch_file import ArchFile, KnownSection, RingSection
from survey.record.model import (
    Centring,
    JointLimits,
    Known,
    KnownDimensions,
    Mortar,
    Ring,
    Tolerances,
)


def ring_values(arch: ArchFile) -> tuple[Ring, ...]:
    """Rings from the opening outwards."""
    return tuple(_ring(ring, arch.measure.unit.in_mm) for ring in sorted(arch.rings, key=lambda r: r.ring))


def joint_limits(arch: ArchFile) -> JointLimits:
    """Joint limits; a greater ``max`` lifts the default limit at the extrados: joints widen outwards."""
    joints, unit_mm, usual = arch.joints, arch.measure.unit.in_mm, JointLimits()
    max_mm = _mm(joints.max, unit_mm, usual.max_mm)
    return JointLimits(
        min_mm=_mm(joints.min, unit_mm, usual.min_mm),
        max_mm=max_mm,
        extrados_max_mm=_mm(joints.extrados_max, unit_mm, max(usual.extrados_max_mm, max_mm)),
        defaulted=tuple(key for key in ("min", "max", "extrados_max") if getattr(joints, key) is None),
    )


def tolerance_values(arch: ArchFile) -> Tolerances:
    """Tolerances, the project's own where arch.toml is silent."""
    given, unit_mm, usual = arch.tolerance, arch.measure.unit.in_mm, Tolerances()
    return Tolerances(
        intrados_mm=_mm(given.intrados, unit_mm, usual.intrados_mm),
        joint_mm=_mm(given.joint, unit_mm, usual.joint_mm),
        face_mm=_mm(given.face, unit_mm, usual.face_mm),
        lip_mm=_mm(given.lip, unit_mm, usual.lip_mm),
        bed_rad=usual.bed_rad if given.bed_deg is None else math.radians(given.bed_deg),
        templet_mm=_mm(given.templet, unit_mm, usual.templet_mm),
    )


def known_dimensions(arch: ArchFile, *, origin_x_mm: float, origin_y_mm: float) -> KnownDimensions:
    """Known dimensions, with levels and axis moved into the face frame whose origin is given."""
    known, unit_mm = arch.known, arch.measure.unit.in_mm
    return KnownDimensions(
        span=_known(known.span, unit_mm, 0.0),
        rise=_known(known.rise, unit_mm, 0.0),
        springing_y=_known(known.springing_y, unit_mm, origin_y_mm),
        axis_x=_known(known.axis_x, unit_mm, origin_x_mm),
    )


def centring_values(arch: ArchFile) -> Centring:
    """How the centring is to be made."""
    given, unit_mm, usual = arch.centring, arch.measure.unit.in_mm, Centring()
    return Centring(
        lagging_mm=_mm(given.lagging, unit_mm, usual.lagging_mm),
        slack_mm=_mm(given.slack, unit_mm, usual.slack_mm),
        board_length_mm=_mm(given.board_length, unit_mm, usual.board_length_mm),
        board_width_mm=_mm(given.board_width, unit_mm, usual.board_width_mm),
        board_thickness_mm=_mm(given.board_thickness, unit_mm, usual.board_thickness_mm),
        wall_thickness_mm=None if given.wall_thickness is None else given.wall_thickness * unit_mm,
    )


def mortar_values(arch: ArchFile) -> Mortar:
    """Mortar and wastes."""
    given, usual = arch.mortar, Mortar()
    return Mortar(
        name=given.name,
        bed_depth_mm=None if given.bed_depth is None else given.bed_depth * arch.measure.unit.in_mm,
        waste_ratio=usual.waste_ratio if given.waste is None else given.waste,
        brick_waste_ratio=usual.brick_waste_ratio if given.brick_waste is None else given.brick_waste,
    )


def _ring(ring: RingSection, unit_mm: float) -> Ring:
    return Ring(
        ring=ring.ring,
        courses=ring.courses,
        depth_mm=ring.depth * unit_mm,
        brick_width_mm=ring.brick_width * unit_mm,
        laid=ring.laid,
        turn_rad=math.radians(ring.turn_deg),
        cut=ring.cut.value,
        thickness_mm=None if ring.thickness is None else ring.thickness * unit_mm,
        collar_mm=_mm(ring.collar_joint, unit_mm, 0.0),
        collar_given=ring.collar_joint is not None,
    )


def _mm(given: float | None, unit_mm: float, usual_mm: float) -> float:
    return usual_mm if given is None else given * unit_mm


def _known(known: KnownSection | None, unit_mm: float, origin_mm: float) -> Known | None:
    return None if known is None else Known(known.value * unit_mm - origin_mm, known.sigma * unit_mm)
