"""What a mason has to be told of each ring: its rhythm in words, and what is doubtful about standing work."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.rebuild.layout.draft import RingDraft
from survey.rebuild.refusals import courses_named
from survey.rebuild.rhythm.pattern import JointScatter, Trait
from survey.rebuild.rhythm.readings import notes_of, section_scale
from survey.rebuild.rhythm.rhythm import RingRhythm
from survey.rebuild.rhythm.rings import is_sawtooth, section_factor
from survey.rebuild.words import counted, listed
from survey.record.model import Condition, JointLimits, Record, Ring

TRAIT_WORDS = {
    Trait.LEFT_RIGHT: ("wider on the right than on the left", "wider on the left than on the right"),
    Trait.ALTERNATING: ("wider and narrower by turns", "narrower and wider by turns"),
    Trait.ALTERNATING_MIRRORED: (
        "wider and narrower by turns from both springings",
        "narrower and wider by turns from both springings",
    ),
    Trait.SKEWBACK: ("wider at the skewbacks", "narrower at the skewbacks"),
}
"""How each trait but the trend is said, when its size is positive and when it is negative."""
TREND_WORDS = ("wider at the springings than at the crown", "narrower at the springings than at the crown")


def rhythm_words(ring: Ring, rhythm: RingRhythm) -> str:
    """The original rhythm of a ring in a sentence or two; blank where nothing of it was read.

    Sizes are in the section along the arch, which is said of a turned ring: its bricks are narrower.
    """
    if not rhythm.joint_read.any() and not rhythm.width_read.any():
        return ""
    sizes = [f"{w:.1f}" for w in rhythm.sizes.sizes_mm]
    bricks = f"bricks of {' and '.join([', '.join(sizes[:-1]), sizes[-1]] if len(sizes) > 1 else sizes)} mm"
    if len(sizes) > 1 and rhythm.sizes.order != "mostly":
        bricks += f" ({rhythm.sizes.order})"
    if is_sawtooth(ring):
        bricks += f" along the arch, turned {np.degrees(ring.turn_rad):.0f}°"
    inferred = int((~rhythm.joint_read).sum())
    return (
        f"Ring {ring.ring}: {bricks}, joints of {rhythm.joint_mm.mean():.1f} mm in the mean"
        f"{_traits(rhythm)}; {_scatter(rhythm.pattern.scatter, rhythm.count + 1)}"
        f"{_mirrored(rhythm)}. {inferred} of {counted(rhythm.count + 1, 'joint')} "
        f"{'is' if inferred == 1 else 'are'} inferred."
    )


def _traits(rhythm: RingRhythm) -> str:
    size = dict(zip(rhythm.pattern.traits, rhythm.pattern.size_mm.tolist(), strict=True))
    trend = size.get(Trait.TIGHTENING, 0.0) + size.get(Trait.CURVED, 0.0)
    told = [(trend, TREND_WORDS)] if trend else []
    told += [(size[trait], words) for trait, words in TRAIT_WORDS.items() if trait in size]
    return "".join(
        f", {abs(mm):.1f} mm {words[0 if mm > 0.0 else 1]}" for mm, words in told if abs(mm) >= LEAST_TOLD_MM
    )


def _scatter(scatter: JointScatter, n_joints: int) -> str:
    """How far measured joints lie off the pattern, or that their readings cannot tell.

    Examples
    --------
    >>> _scatter(JointScatter(0.8, 0.5, 1.1, 52, shows=True), 52)
    '0.8 mm of scatter about that'
    >>> _scatter(JointScatter(0.2, 2.1, 1.4, 16), 52)
    'scatter of the 16 measured joints about that hidden by reading errors of 2.1 mm (at most 1.4 mm)'
    """
    some = scatter.n_joints < n_joints
    of = f" of the {counted(scatter.n_joints, 'measured joint')}" if some else ""
    if not np.isfinite(scatter.most_mm):
        return "too few joints were measured to tell their scatter about that"
    if scatter.shows:
        return f"{scatter.own_mm:.1f} mm of scatter{of} about that"
    return (
        f"scatter{of} about that hidden by reading errors of {scatter.reading_mm:.1f} mm "
        f"(at most {scatter.most_mm:.1f} mm)"
    )


def _mirrored(rhythm: RingRhythm) -> str:
    if rhythm.pattern.mirror_correlation < MIRRORED_FROM or not rhythm.pattern.scatter.shows:
        return ""
    return f", mirrored joints alike (correlation {rhythm.pattern.mirror_correlation:.2f})"


FEWEST_WIDTHS = 5
"""With fewer widths read nothing is said of them."""
WIDTH_SHARE = 0.15
"""Share of brick_width by which the middle width may differ before it is called another brick (judgement)."""
MIRRORED_FROM = 0.7
"""Correlation of mirrored joints from which they are called alike: half of how they vary is then common."""
LEAST_TOLD_MM = 0.15
"""A smaller trait of a rhythm, a joint's reading to a tenth apart, is nothing to lay to."""
LIMIT_WORDS = {
    "min": "least joint {0.min_mm:.1f} mm",
    "max": "greatest joint {0.max_mm:.1f} mm",
    "extrados_max": "greatest joint at the back {0.extrados_max_mm:.1f} mm",
}
"""How each limit is said, by its key in ``[joints]``."""


def default_limit_warnings(limits: JointLimits) -> tuple[str, ...]:
    """Which joint limits were not given, what was taken instead, and that it is a judgement.

    Examples
    --------
    >>> default_limit_warnings(JointLimits(4.0, 15.0, 25.0))
    ()
    >>> default_limit_warnings(JointLimits(min_mm=4.0, defaulted=("max",)))[0].split(":")[0]
    'Joint limits by default, for want of max in [joints] of arch.toml'
    """
    if not limits.defaulted:
        return ()
    taken = ", ".join(LIMIT_WORDS[key].format(limits) for key in limits.defaulted)
    keys = listed(limits.defaulted)
    return (
        f"Joint limits by default, for want of {keys} in [joints] of arch.toml: {taken}. They are this "
        "project's judgement after handbooks on new brick arches (1/8 and 3/4 in), not a finding on this "
        "arch: measure the sound joints and write the limits agreed for the job.",
    )


def width_warnings(ring: Ring, rhythm: RingRhythm) -> tuple[str, ...]:
    """A sentence where the bricks measured are far from the brick that arch.toml describes.

    Of a turned ring that is easily so: a brick of width w turned by the angle a reaches w / cos(a) along the
    arch, and points taken on its own arrises, or widths noted along the arch, tell another brick.
    """
    read = rhythm.width_read
    if read.sum() < FEWEST_WIDTHS:
        return ()
    along_mm, factor = float(np.median(rhythm.width_mm[read])), section_factor(ring)
    across_mm, given_mm = along_mm / factor, ring.brick_width_mm
    if abs(across_mm / given_mm - 1.0) <= WIDTH_SHARE:
        return ()
    turned = ""
    if is_sawtooth(ring):
        turned = f" across, {along_mm:.1f} mm along the arch"
        given = f"{given_mm:.1f} mm, which would reach {given_mm * factor:.1f} mm along the arch"
    else:
        given = f"{given_mm:.1f} mm"
    return (
        f"Ring {ring.ring}: its bricks measure {across_mm:.1f} mm{turned}, but brick_width in arch.toml is "
        f"{given}; the plan takes what was measured. Measure a loose brick before any is bought, and correct "
        "brick_width or the readings.",
    )


def sawtooth_notes(record: Record, draft: RingDraft) -> tuple[str, ...]:
    """How a turned ring's widths were taken, and the pieces it needs at the springings."""
    ring = draft.lines.ring
    if not is_sawtooth(ring):
        return ()
    notes = notes_of(record, ring.ring)
    told: tuple[str, ...] = ()
    if any(n.width_mm is not None for n in notes):
        on_brick = section_scale(ring, notes) == section_factor(ring)
        where = "on the bricks themselves" if on_brick else "along the arch, across the tooth"
        told = (f"Ring {ring.ring}: the widths and joints of courses.csv are taken as read {where}.",)
    side_mm = ring.brick_width_mm * abs(np.sin(ring.turn_rad))
    return (
        *told,
        f"Ring {ring.ring}: the turned bricks next to the skewbacks leave a wedge {side_mm:.0f} mm deep at "
        "each springing, to be filled with pieces cut on site to what is found there.",
    )


def standing_warnings(record: Record, draft: RingDraft, gross: NDArray[np.bool_]) -> tuple[str, ...]:
    """What is doubtful about the bricks that a repair leaves in place.

    Parameters
    ----------
    gross : (N, 2) bool
        Left and right edges whose survey was left out.
    """
    number, stands = draft.lines.ring.ring, draft.stands
    warnings: list[str] = []
    loose = [
        c
        for n in notes_of(record, number)
        if n.condition is Condition.LOOSE
        and 1 <= (c := draft.count.numbers.plan_course(n.course)) <= stands.size
        and stands[c - 1]
    ]
    if loose:
        warnings.append(
            f"Ring {number}: loose, and planned where it stands: {courses_named(loose)}. Rebed it there, or "
            "note reuse = no to have it laid anew."
        )
    bad = np.flatnonzero(stands & gross.any(axis=1)) + 1
    if bad.size:
        warnings.append(
            f"Ring {number}: an edge surveyed where it cannot be is drawn where the others put it; measure "
            f"{courses_named(bad.tolist())} again."
        )
    joint = draft.fixed_mm[1:, 0] - draft.fixed_mm[:-1, 1]
    tight = np.flatnonzero(joint < 0.0) + 1
    if tight.size:
        warnings.append(
            f"Ring {number}: as surveyed, a brick overlaps the next one; measure "
            f"{courses_named(tight.tolist())} again."
        )
    return tuple(warnings)
