"""The arches every sheet is drawn for: each family, one ring and three, refused, small and large."""

from __future__ import annotations

from sheets.handmade import Handmade, RingSpec, handmade
from sheets.pictures import NASTY

from survey.curves import elliptical, five_centred, segmental, semicircular, three_centred_sixty

ONE = (RingSpec(215.0, 65.0, 17),)
REFUSALS = (
    "Ring 1: 43 courses of this width leave joints of 2.1 mm; the least allowed is 3.2 mm. Count again.",
    "Ring 3 cannot be laid on ring 2.",
)


def cases() -> dict[str, Handmade]:
    """Arches by name."""
    return {
        "elliptical, three rings": handmade(),
        "segmental, one ring": handmade(segmental(1400.0, 180.0), rings=ONE, missing=range(3, 5)),
        "very flat": handmade(segmental(1400.0, 25.0), rings=ONE, missing=range(0)),
        "semicircular, tilted": handmade(
            semicircular(600.0, tilt_rad=0.02), rings=(RingSpec(102.5, 65.0, 25), RingSpec(102.5, 65.0, 30))
        ),
        "three-centred, large": handmade(
            three_centred_sixty(6000.0, 1900.0),
            rings=(RingSpec(240.0, 60.0, 110), RingSpec(240.0, 60.0, 120)),
        ),
        "five-centred, refused": handmade(
            five_centred(3000.0, 1000.0, 717.0), rings=(RingSpec(240.0, 65.0, 50),), refusals=REFUSALS
        ),
        "nasty name": handmade(elliptical(900.0, 380.0), rings=(RingSpec(110.0, 52.0, 21),), name=NASTY * 2),
    }
