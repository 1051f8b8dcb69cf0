"""The timber centre: rib, lagging, wedges and props, with everything the carpenter marks on it."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from survey.curves import ArchShape, Curve
from survey.errors import GeometryError, PlanError
from survey.rebuild.centring.ribs import cut_ribs
from survey.rebuild.centring.striking import plain_mm, striking_sentences
from survey.rebuild.layout.marks import Profile, crown_station_mm, rib_marks, soffit_of
from survey.rebuild.plan import CentringPlan, RingPlan
from survey.rebuild.rhythm.rings import smallest_radius_mm
from survey.rebuild.templets import flat_widths_mm
from survey.record.model import Centring, Record

THIRD_RIB_MM = 304.8
"""A third rib where the arch goes further through the wall: 12 in (F. E. Kidder, *Building Construction and
Superintendence*, art. 200; text seen)."""
RIB_SPACING_MM = 609.6
"""Ribs no further apart: 2 ft, the closer end of the 2 to 6 ft of *Notes on Building Construction*, ch.
Centres (text seen)."""
NARROWER_MM = 15.0
"""The centre is so much narrower than the wall, so that line and plumb rule pass the face (10 to 20 mm;
common practice, no source)."""
STRIP_MM = 40.0
"""Width of a lagging strip (common practice, no source)."""
LEAST_STRIP_MM = 20.0
"""Narrowest strip for small bricks; *Building Construction* ch. XXII has strips from 3/4 in (text seen)."""
STRIKING_DROP_MM = 15.0
"""How far the wedges let the centre down when it is struck; 10 to 25 mm for a small opening (common
practice, no source)."""
PROP_SPACING_MM = 1200.0
"""Props under a rib no further apart (judgement; the engineer of the temporary works decides)."""
PROP_INSET_MM = 100.0
"""From the foot of a rib to the middle of its outer prop (judgement)."""
NO_PACKING_MM = 0.1
"""Less than this between lagging and soffit needs no packing."""
UNKNOWN_WALL_MM = 100.0
"""Where the wall's thickness is not recorded, figures are given for so much of it."""


def plan_centring(shape: ArchShape, rings: Iterable[RingPlan], record: Record) -> CentringPlan:
    """Plan the centre an arch is laid on.

    Parameters
    ----------
    shape : ArchShape
        The soffit that is built to.
    rings : iterable of RingPlan
    record : Record
        Its ``centring`` gives lagging, slack, boards and the wall's thickness.

    Returns
    -------
    CentringPlan

    Raises
    ------
    PlanError
        When lagging and slack leave no rib, or the boards are too small for it.

    Notes
    -----
    The rib is the parallel of the soffit inside it by lagging and slack, measured along the normals. The
    wedges raise the finished centre by the slack, so that the lagging meets the soffit at the crown; at a
    place whose normal stands at the angle a from plumb, slack (1 - cos a) is then left between lagging and
    soffit and is made up by packing. Running marks are stations along the soffit itself, the surface the
    bricks lie on.
    """
    rings = tuple(rings)
    timber = record.centring
    soffit = soffit_of(shape, rings)
    rib = _rib(soffit, timber)
    profile = Profile(soffit, crown_station_mm(shape, soffit), rib)
    wall = timber.wall_thickness_mm
    n_ribs = ribs_for(wall)
    cut = cut_ribs(rib, timber, n_ribs)
    props = props_for(rib)
    strip, pitch = _lagging(rings)
    n_wedge_pairs = n_ribs * len(props)
    return CentringPlan(
        rib=rib,
        lagging_mm=timber.lagging_mm,
        slack_mm=timber.slack_mm,
        marks=rib_marks(profile, rings),
        boards=cut.boards,
        n_ribs=n_ribs,
        n_lagging=math.ceil(rib.length_mm / pitch - 1e-9) + 1,
        lagging_length_mm=UNKNOWN_WALL_MM if wall is None else max(wall - NARROWER_MM, 0.0),
        has_wall=wall is not None,
        wedge_travel_mm=timber.slack_mm + STRIKING_DROP_MM,
        n_wedge_pairs=n_wedge_pairs,
        n_props=n_wedge_pairs,
        waste_ratio=cut.waste_ratio,
        setting_out=(
            *striking_sentences(shape, timber.lagging_mm + timber.slack_mm, rings),
            *_packing(soffit, timber),
        ),
        n_boards=cut.n_bought,
        lagging_strip_mm=strip,
        lagging_pitch_mm=pitch,
        props_x_mm=props,
        notes=_notes(wall, rib),
    )


def _rib(soffit: Curve, timber: Centring) -> Curve:
    """Parallel of the soffit inside lagging and slack."""
    inwards = timber.lagging_mm + timber.slack_mm
    try:
        return soffit.offset(-inwards)
    except GeometryError as fault:
        raise PlanError(
            f"lagging of {timber.lagging_mm:g} mm and slack of {timber.slack_mm:g} mm leave no rib inside "
            f"this soffit, which bends down to a radius of {smallest_radius_mm(soffit):.0f} mm; "
            "give thinner lagging or less slack under [centring]"
        ) from fault


def ribs_for(wall_mm: float | None) -> int:
    """Number of ribs for a wall thickness: one under each face, a third over 12 in, none more than 2 ft
    apart.

    Where the thickness is not known, the two that every centre has.

    Examples
    --------
    >>> [ribs_for(wall) for wall in (None, 215.0, 330.0, 1500.0)]
    [2, 2, 3, 4]
    """
    if wall_mm is None:
        return 2
    least = 2 if wall_mm <= THIRD_RIB_MM else 3
    return max(least, math.ceil((wall_mm - NARROWER_MM) / RIB_SPACING_MM) + 1)


def props_for(rib: Curve) -> tuple[float, ...]:
    """Where props stand under a rib: near both feet, in the middle, and evenly between, at most 1.2 m apart.

    The number is odd so that one stands in the middle, although that one hardly carries.
    """
    feet = rib.point([0.0, rib.length_mm])[:, 0]
    inset = min(PROP_INSET_MM, (feet[1] - feet[0]) / 10.0)
    first, last = float(feet[0] + inset), float(feet[1] - inset)
    half_bays = max(1, math.ceil((last - first) / 2.0 / PROP_SPACING_MM - 1e-9))
    return tuple(float(x) for x in np.linspace(first, last, 2 * half_bays + 1))


def _lagging(rings: tuple[RingPlan, ...]) -> tuple[float, float]:
    """Width and pitch of the strips: close boarding under cut bricks, else gaps no wider than a strip.

    Every course must rest on a strip, so the gap is also kept under half the narrowest course.
    """
    if not rings or not rings[0].bricks:
        return STRIP_MM, STRIP_MM
    flat = flat_widths_mm(rings[0])
    if np.any(flat[:, 1] - flat[:, 0] > 1.0):
        return STRIP_MM, STRIP_MM
    narrowest = min(brick.width_intrados_mm for brick in rings[0].bricks)
    strip = min(STRIP_MM, max(LEAST_STRIP_MM, narrowest / 2.0))
    return strip, strip + min(strip, narrowest / 2.0)


def _packing(soffit: Curve, timber: Centring) -> tuple[str, ...]:
    """How the slack is taken up, in sentences."""
    if timber.slack_mm <= 0.0:
        return ("No slack is allowed for: the lagging is the soffit itself.",)
    left = timber.slack_mm * (1.0 - math.cos(soffit.turning_rad / 2.0))
    most = f"growing to {plain_mm(left)} mm at the springings"
    rest = f"; make up what is left, {most}, with packing on the lagging"
    return (
        f"The rib stands {plain_mm(timber.lagging_mm)} mm of lagging and {plain_mm(timber.slack_mm)} mm of "
        "slack "
        f"inside the soffit. Raise the centre {plain_mm(timber.slack_mm)} mm on its wedges until the "
        "lagging meets "
        f"the soffit at the crown{rest if left >= NO_PACKING_MM else ''}.",
    )


def _notes(wall_mm: float | None, rib: Curve) -> tuple[str, ...]:
    feet = rib.point([0.0, rib.length_mm])
    notes = [
        "Props, ties and bracing are a proposal: whoever answers for the temporary works checks them.",
        f"Tie the feet of each rib with a board {plain_mm(float(np.hypot(*(feet[1] - feet[0]))))} mm long "
        "from foot to foot.",
    ]
    if wall_mm is None:
        notes.append(
            f"The wall's thickness is not recorded: lagging is given for {UNKNOWN_WALL_MM:.0f} mm of it, "
            "and two ribs are "
            "the least; give wall_thickness under [centring]."
        )
    return tuple(notes)
