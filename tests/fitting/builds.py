"""One example of every curve the fits know, and records of points laid exactly where a test wants them."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from survey.curves.protocol import Floats
from survey.fitting.families import builds as families
from survey.fitting.families.standing import Standing
from survey.fitting.sightings import Sightings, sightings_of
from survey.record.model import (
    UNKNOWN,
    Edge,
    FaceFrame,
    Feature,
    KnownDimensions,
    Record,
    Ring,
    SurveyPoints,
)

EXAMPLES: dict[str, tuple[families.Build, Floats]] = {
    "semicircular": (families.SEMICIRCULAR, np.array([1000.0])),
    "segmental": (families.SEGMENTAL, np.array([1200.0, 400.0])),
    "elliptical": (families.ELLIPTICAL, np.array([1000.0, 600.0])),
    "tall elliptical": (families.ELLIPTICAL, np.array([1000.0, 1150.0])),
    "three-centred": (families.THREE_CENTRED, np.array([1000.0, 600.0, 1.0])),
    "five-centred": (families.FIVE_CENTRED, np.array([1000.0, 600.0, 400.0])),
    "free five-centred": (families.FIVE_CENTRED_FREE, np.array([1000.0, 600.0, 390.0, 0.66, 0.62])),
    "pointed": (families.POINTED, np.array([1000.0, 1300.0])),
    "parabolic": (families.PARABOLIC, np.array([1000.0, 500.0])),
}
FAMILY_EXAMPLES = [name for name, (build, _) in EXAMPLES.items() if build.family is not None]


def points_beside(name: str, n: int = 60, seed: int = 3) -> tuple[Floats, Floats]:
    """Points (n,), (n,) within 20 mm of the right half of an example."""
    build, numbers = EXAMPLES[name]
    profile = families.profile_of(build, numbers)
    rng = np.random.default_rng(seed)
    u, v = on_profile(profile, rng.uniform(0.02, 0.98, n))
    return np.abs(u + rng.uniform(-14, 14, n)), v + rng.uniform(-14, 14, n)


def on_profile(profile: families.HalfProfile, share: Floats) -> tuple[Floats, Floats]:
    """Points of a right half at shares (n,) of its turning, by their normals' angles."""
    if isinstance(profile, families.HalfParabola):
        u = profile.half_span_mm * (1 - share)
        return u, profile.rise_mm * (1 - (u / profile.half_span_mm) ** 2)
    start = profile.end.angle_rad
    top = profile.bound_rad[-1] if isinstance(profile, families.HalfArcs) else np.pi / 2
    places = [profile.at_angle(float(a)).point_mm for a in start + share * (top - start)]
    return np.array(places)[:, 0], np.array(places)[:, 1]


def record_of(
    soffit: Floats,
    springings: Floats | None = None,
    *,
    sigma_mm: float = 1.0,
    numbered: bool = True,
    known: KnownDimensions | None = None,
) -> Record:
    """A record of soffit points (n, 2), two a course, left to right, and springings (2, 2), left first."""
    ends = np.empty((0, 2)) if springings is None else springings
    n, m = len(soffit), len(ends)
    course = np.arange(n) // 2 + 1 if numbered else np.full(n, UNKNOWN)
    sides = [Edge.LEFT, Edge.RIGHT]
    edge = np.array([sides[i % 2] if numbered else Edge.UNKNOWN for i in range(n)] + sides[:m], dtype=object)
    feature = np.array([Feature.INTRADOS] * n + [Feature.SPRINGING] * m, dtype=object)
    points = SurveyPoints(
        name=tuple(f"P{i + 1}" for i in range(n + m)),
        xy_mm=np.vstack([soffit, ends]),
        w_mm=np.zeros(n + m),
        sigma_mm=np.full(n + m, sigma_mm),
        feature=feature,
        ring=np.ones(n + m, dtype=np.int64),
        course=np.concatenate([course, np.full(m, UNKNOWN)]),
        edge=edge,
        row=np.arange(2, n + m + 2),
    )
    return Record(
        folder=Path("made"),
        name="Made arch",
        place="",
        recorded_on="",
        recorded_by="",
        note="",
        unit="mm",
        point_sigma_mm=sigma_mm,
        has_depth=False,
        frame=FaceFrame(np.zeros(3), np.eye(3)[0], np.eye(3)[2], -np.eye(3)[1]),
        points=points,
        rings=(Ring(1, None, 240.0, 50.0),),
        known=KnownDimensions() if known is None else known,
    )


def whole_arch(name: str, n: int = 60) -> tuple[Floats, Floats]:
    """Points (2n, 2) exactly on an example, left to right, and its two springings (2, 2)."""
    build, numbers = EXAMPLES[name]
    u, v = on_profile(families.profile_of(build, numbers), np.linspace(0.01, 0.99, n))
    half = np.column_stack([u, v])
    soffit = np.vstack([half * [-1, 1], half[::-1]])
    return soffit, np.array([[-numbers[0], 0.0], [numbers[0], 0.0]])


def standing_on(name: str, soffit: Floats, springings: Floats | None, *, tilt: bool = False) -> Standing:
    """An example's build against made points."""
    seen: Sightings = sightings_of(record_of(soffit, springings))
    return Standing(seen, EXAMPLES[name][0], tilt)
