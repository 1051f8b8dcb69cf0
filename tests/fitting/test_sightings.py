"""What a fit sees of a record, and the records it refuses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from fitting.builds import record_of, whole_arch

from survey.errors import FitError
from survey.fitting import fit_arch
from survey.fitting.sightings import LEAST_SIGMA_MM, MOST_POINTS, sightings_of
from survey.record.model import UNKNOWN, Edge, Feature, Record

FAR = np.array([4.5e8, 2.1e8])
SOFFIT, ENDS = whole_arch("semicircular", n=30)


def with_points(record: Record, **changes: object) -> Record:
    return replace(record, points=replace(record.points, **changes))


def one_not_a_number(xy: np.ndarray) -> np.ndarray:
    xy[4, 1] = np.nan
    return xy


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda _: record_of(SOFFIT[:3], ENDS), "3 intrados points of ring 1 were surveyed; at least 4"),
        (
            lambda r: with_points(r, xy_mm=one_not_a_number(r.points.xy_mm.copy())),
            "points P5 have coordinates",
        ),
        (lambda r: with_points(r, sigma_mm=0 * r.points.sigma_mm), "a sigma that is not above 0"),
        (lambda r: with_points(r, xy_mm=r.points.xy_mm * 1e-3), "within about 0.7 mm of one spot"),
        (lambda r: with_points(r, xy_mm=r.points.xy_mm * [1, 1e-4]), "on a straight line"),
        (lambda r: with_points(r, xy_mm=-r.points.xy_mm), "right of the right one"),
        (lambda r: with_points(r, xy_mm=r.points.xy_mm * [1, -1]), "below both its flanks"),
    ],
)
def test_records_that_show_no_arch_are_refused(spoil: Callable[[Record], Record], message: str) -> None:
    with pytest.raises(FitError, match=message):
        fit_arch(spoil(record_of(SOFFIT, ENDS)))


def test_only_the_first_ring_and_the_springings_are_seen() -> None:
    record = record_of(SOFFIT, ENDS)
    ring = record.points.ring.copy()
    ring[:10] = 2
    feature = record.points.feature.copy()
    feature[10] = Feature.EXTRADOS
    seen = sightings_of(with_points(record, ring=ring, feature=feature))
    assert seen.index.tolist() == [*range(11, 60), 60, 61]
    assert seen.end.tolist() == [0] * 49 + [-1, 1]
    assert np.all(np.isinf(seen.end_sigma_mm[:49]))


def test_springings_without_a_side_are_told_by_where_they_stand() -> None:
    record = record_of(SOFFIT, ENDS[::-1])
    edge = record.points.edge.copy()
    edge[-2:] = Edge.UNKNOWN
    assert sightings_of(with_points(record, edge=edge)).end[-2:].tolist() == [1, -1]


def test_lowest_edges_stand_for_springings_nobody_surveyed() -> None:
    seen = sightings_of(record_of(SOFFIT))
    assert np.flatnonzero(seen.end).tolist() == [0, 59]
    assert seen.end[[0, 59]].tolist() == [-1, 1]
    assert "No springing point was surveyed" in seen.notes[0]


def test_a_missing_half_is_said() -> None:
    seen = sightings_of(record_of(SOFFIT[:31], ENDS[:1]))
    assert any("right springing point was not surveyed" in note for note in seen.notes)
    assert any("right half was not surveyed" in note for note in seen.notes)


def test_a_scan_is_thinned_and_says_so() -> None:
    soffit, ends = whole_arch("elliptical", n=2 * MOST_POINTS)
    record = record_of(soffit, ends, numbered=False)
    seen = sightings_of(record)
    assert np.count_nonzero(seen.course == UNKNOWN) == MOST_POINTS + 2
    assert f"Of {4 * MOST_POINTS} intrados points {MOST_POINTS}" in seen.notes[0]


def test_points_said_to_be_exact_are_taken_to_be_nearly_so() -> None:
    record = record_of(SOFFIT, ENDS)
    seen = sightings_of(with_points(record, sigma_mm=1e-6 * record.points.sigma_mm))
    assert np.all(seen.sigma_mm == LEAST_SIGMA_MM)
    assert "Points said to be known better than 0.01 mm are taken to be known as well as that." in seen.notes
    assert sightings_of(record).notes == ()


def test_a_large_grid_loses_nothing() -> None:
    far = with_points(record_of(SOFFIT, ENDS), xy_mm=record_of(SOFFIT, ENDS).points.xy_mm + FAR)
    here = sightings_of(record_of(SOFFIT, ENDS))
    assert sightings_of(far).xy_mm == pytest.approx(here.xy_mm, abs=2e-7)


def test_ends_are_trusted_by_their_weights() -> None:
    seen = sightings_of(record_of(SOFFIT, ENDS, sigma_mm=2.0))
    weight = np.ones(len(seen))
    weight[-1] = 0.25
    assert seen.trusting_ends(weight).end_sigma_mm[-2:].tolist() == [2.0, 4.0]
