"""Mortar by polygons, against areas that shapely takes off the same faces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rebuild.works_factory import ring_of
from shapely import Polygon, unary_union

from survey.curves import elliptical, segmental, semicircular, three_centred_sixty
from survey.rebuild.mortar import brick_faces_mm2, collar_face_mm2, mortar_face_mm2, stretches
from survey.rebuild.plan import RingPlan

SHAPES = [semicircular(1000), segmental(2400, 400), elliptical(2400, 800), three_centred_sixty(2000, 600)]


def band(ring: RingPlan, low: float, high: float) -> Polygon:
    """Face of a ring between two stations, by many points."""
    s = np.linspace(low, high, 8001)
    inner = ring.inner.point(s)
    return Polygon([*inner, *(inner + ring.depth_mm * ring.inner.normal(s))[::-1]])


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("cut", [False, True])
def test_a_whole_ring_needs_its_face_less_its_bricks(shape, cut):
    ring = ring_of(shape, np.full(38, 50.0), cut=cut)
    face = band(ring, 0.0, ring.inner.length_mm).area
    bricks = sum(Polygon(b.corners_mm).area for b in ring.bricks)
    assert mortar_face_mm2(ring) == pytest.approx(face - bricks, rel=1e-5)


@settings(max_examples=30, deadline=None)
@given(
    shape=st.sampled_from(SHAPES),
    gaps=st.lists(st.tuples(st.integers(1, 38), st.integers(1, 6)), min_size=1, max_size=3),
)
def test_a_repair_needs_the_face_between_the_standing_bricks(shape, gaps):
    new = {c for first, size in gaps for c in range(first, min(38, first + size - 1) + 1)}
    standing = tuple(set(range(1, 39)) - new)
    ring = ring_of(shape, np.full(38, 50.0), in_situ=standing)
    faces = [Polygon(ring.bricks[c - 1].corners_mm) for c in standing]
    free = 0.0
    for s in stretches(ring):
        low, high = (
            (b.station_start_mm + b.station_end_mm) / 2 if b else end
            for b, end in ((s.before, 0.0), (s.after, ring.inner.length_mm))
        )
        free += band(ring, low, high).difference(unary_union(faces)).area
    # slivers of the band over the backs of the standing halves: a chord's sagitta over half a brick's width
    backs = sum(25.0 * 50.0**2 / 8 * 0.004 for s in stretches(ring) for b in (s.before, s.after) if b)
    bricks = brick_faces_mm2(ring.bricks[c - 1] for c in new).sum()
    assert mortar_face_mm2(ring) == pytest.approx(free - bricks, abs=2 * backs + 5.0)


def test_stretches_tell_gaps_apart():
    ring = ring_of(
        semicircular(1000),
        np.full(38, 50.0),
        in_situ=tuple(c for c in range(1, 39) if c not in (1, 2, 9, 38)),
    )
    found = stretches(ring)
    assert [[b.course for b in s.bricks] for s in found] == [[1, 2], [9], [38]]
    assert (found[0].start_mm, found[2].end_mm) == (0.0, ring.inner.length_mm)
    assert found[1].before.course == 8
    assert found[1].after.course == 10
    assert stretches(ring_of(semicircular(1000), np.full(3, 50.0), in_situ=(1, 2, 3))) == ()
    assert mortar_face_mm2(ring_of(semicircular(1000), np.full(3, 50.0), in_situ=(1, 2, 3))) == 0.0


def test_a_leaning_bed_of_a_standing_brick_takes_or_gives_a_wedge():
    straight = ring_of(semicircular(1000), np.full(38, 50.0), in_situ=(8, 12))
    corners = straight.bricks[7].corners_mm.copy()
    side = corners[2] - corners[1]
    corners[2] = corners[1] + side + 6.0 * np.array([side[1], -side[0]]) / np.hypot(*side)
    bricks = tuple(replace(b, corners_mm=corners) if b.course == 8 else b for b in straight.bricks)
    leaning = replace(straight, bricks=bricks)
    taken = mortar_face_mm2(straight) - mortar_face_mm2(leaning)
    assert taken == pytest.approx(240.0 * 6.0 / 2 * np.cos(0.025), rel=1e-6)


def test_a_collar_joint_between_whole_rings():
    """Annulus between radii 1215 and 1225, half of it: pi / 2 (1225^2 - 1215^2)."""
    shape = semicircular(1000)
    rings = (ring_of(shape, np.full(39, 65.0), depth=215.0),
             ring_of(shape, np.full(50, 65.0), ring=2, depth=215.0, inner_mm=225.0))  # fmt: skip
    assert collar_face_mm2(*rings, 10.0) == pytest.approx(np.pi / 2 * (1225**2 - 1215**2), rel=1e-9)
    assert collar_face_mm2(*rings, 0.0) == 0.0


def test_a_collar_joint_is_counted_once_where_both_rings_are_laid_anew():
    shape = semicircular(1000)
    inside = ring_of(shape, np.full(39, 65.0), depth=215.0, in_situ=tuple(range(11, 40)))
    outside = ring_of(
        shape, np.full(50, 65.0), ring=2, depth=215.0, inner_mm=225.0, in_situ=tuple(range(6, 51))
    )
    end = inside.bricks[10].station_start_mm / 1000
    assert collar_face_mm2(inside, outside, 10.0) == pytest.approx(end / 2 * (1225**2 - 1215**2), rel=1e-9)


def _with_laid(ring: RingPlan, *courses: int) -> RingPlan:
    return replace(ring, bricks=tuple(replace(b, laid=b.course in courses) for b in ring.bricks))


def test_laid_bricks_and_their_joints_are_left_out():
    """After two bricks on each side, the face between their inner beds less the bricks there."""
    ring = _with_laid(ring_of(semicircular(1000), np.full(38, 50.0)), 1, 2, 37, 38)
    (still,) = stretches(ring)
    assert [b.course for b in still.bricks] == list(range(3, 37))
    laid = unary_union([Polygon(ring.bricks[c - 1].corners_mm) for c in (2, 37)])
    middle = [(ring.bricks[c - 1].station_start_mm + ring.bricks[c - 1].station_end_mm) / 2 for c in (2, 37)]
    bricks = brick_faces_mm2(still.bricks).sum()
    slivers = 2 * 25.0 * 50.0**2 / 8 * 0.004
    face = band(ring, *middle).difference(laid).area
    assert mortar_face_mm2(ring) == pytest.approx(face - bricks, abs=2 * slivers + 5.0)
    assert mortar_face_mm2(_with_laid(ring, *range(1, 39))) == 0.0


def test_a_collar_joint_is_made_with_the_outer_ring():
    """All of ring 1 and five bricks of ring 2 laid: the collar is left from the fifth brick on."""
    shape = semicircular(1000)
    inside = _with_laid(ring_of(shape, np.full(39, 65.0), depth=215.0), *range(1, 40))
    outside = _with_laid(ring_of(shape, np.full(50, 65.0), ring=2, depth=215.0, inner_mm=225.0), *range(1, 6))
    left = np.pi - outside.bricks[4].station_end_mm / 1225
    assert collar_face_mm2(inside, outside, 10.0) == pytest.approx(left / 2 * (1225**2 - 1215**2), rel=1e-9)
