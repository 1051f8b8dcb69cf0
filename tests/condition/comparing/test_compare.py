"""Two surveys of one arch: tied, turned, and what moved between them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from condition.factory import LaidRing, fit_of, record_of

from survey.cli import main
from survey.condition import Comparison, Tie, compare_records
from survey.curves import segmental, semicircular
from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape
from survey.errors import FitError
from survey.fitting.result import ArchFit
from survey.record.model import UNKNOWN, Edge, Feature, Record, SurveyPoints

DATASETS = Path(__file__).parents[3] / "datasets"
SHAPE = semicircular(1000.0)
N = 51
DATUMS = np.array([[-1500.0, 0.0], [1500.0, 100.0], [-1400.0, 1800.0], [1450.0, 1700.0]])


def with_datums(record: Record, xy: Floats = DATUMS, sigma_mm: float = 0.3) -> Record:
    """The record with datum points D1, D2 …"""
    p, n = record.points, len(xy)

    def more(values: np.ndarray, extra: object) -> np.ndarray:
        added = np.empty(n, dtype=values.dtype)
        added[:] = extra
        return np.concatenate([values, added])

    points = SurveyPoints(
        (*p.name, *(f"D{i + 1}" for i in range(n))),
        np.vstack([p.xy_mm, xy]),
        more(p.w_mm, 0.0),
        more(p.sigma_mm, sigma_mm),
        more(p.feature, Feature.DATUM),
        more(p.ring, UNKNOWN),
        more(p.course, UNKNOWN),
        more(p.edge, Edge.UNKNOWN),
        more(p.row, 0),
    )
    return replace(record, points=points)


def elsewhere(record: Record, turn: float = 0.02, shift: tuple[float, float] = (340.0, -120.0)) -> Record:
    """The same survey in a frame of its own."""
    c, s = np.cos(turn), np.sin(turn)
    xy = record.points.xy_mm @ np.array([[c, s], [-s, c]]) + shift
    return replace(record, points=replace(record.points, xy_mm=xy))


def fit_elsewhere(
    record: Record, turn: float = 0.02, shift: tuple[float, float] = (340.0, -120.0)
) -> ArchFit:
    shape: ArchShape = replace(SHAPE, axis_x_mm=shift[0], springing_y_mm=shift[1], tilt_rad=turn)
    return fit_of(record, shape)


def surveyed(laid: LaidRing, seed: int, sigma_mm: float = 0.5) -> Record:
    return record_of(SHAPE, [laid], noise_seed=seed, sigma_mm=sigma_mm)


def compared_plumb(a: Record, b: Record) -> Comparison:
    """Both in frames of their own, both plumb."""
    there = elsewhere(b, 0.0)
    return compare_records(a, fit_of(a, SHAPE), there, fit_elsewhere(there, 0.0))


def compared(a: Record, b: Record) -> Comparison:
    there = elsewhere(b)
    return compare_records(a, fit_of(a, SHAPE), there, fit_elsewhere(there))


def test_the_same_arch_twice_has_not_moved_wherever_it_was_surveyed() -> None:
    a, b = with_datums(surveyed(LaidRing(N), 1)), with_datums(surveyed(LaidRing(N), 2))
    found = compared(a, b)
    assert found.tie.by is Tie.DATUM
    assert found.tie.names == ("D1", "D2", "D3", "D4")
    assert found.tie.turn_rad.value == pytest.approx(-0.02, abs=1e-9)
    assert found.tie.misfit_mm == pytest.approx(0.0, abs=1e-9)
    assert not any(c.moved or c.misread for c in found.courses)
    assert found.sentences[1:] == ("Nothing moved beyond the uncertainty of the two surveys.",)
    z = np.array([c.outwards_mm.value / c.outwards_mm.sigma for c in found.courses])
    assert 0.7 < z.std() < 1.3


def test_courses_that_dropped_between_the_surveys_are_told_as_one_run() -> None:
    down = {c: -6.0 * np.sin(np.pi * (c - 20) / 12) for c in range(21, 32)}
    a, b = with_datums(surveyed(LaidRing(N), 1)), with_datums(surveyed(LaidRing(N, deviation_mm=down), 2))
    found = compared(a, b)
    moved = {c.course for c in found.courses if c.moved}
    assert set(range(23, 30)) <= moved <= set(range(21, 32))
    assert found.courses[25].outwards_mm.value == pytest.approx(-6.0, abs=1.5)
    runs = [s for s in found.sentences if s.startswith("Courses")]
    assert len(runs) == 1
    assert "moved up to" in runs[0]
    assert "into the opening" in runs[0]
    (crown,) = (s for s in found.sentences if s.startswith("The crown has dropped"))
    assert crown.endswith(" against the datum points.")


def test_a_still_course_within_a_run_is_not_said_to_have_moved() -> None:
    down = dict.fromkeys((14, 16, 17, 18), -12.0)
    found = compared(
        with_datums(surveyed(LaidRing(N), 1)), with_datums(surveyed(LaidRing(N, deviation_mm=down), 2))
    )
    (run,) = (s for s in found.sentences if s.startswith("Courses"))
    assert run.startswith("Courses 14 and 16 to 18 of ring 1 moved up to ")


def test_a_crown_between_surveys_tied_by_springings_is_told_against_them() -> None:
    down = dict.fromkeys(range(19, 34), -6.0)
    found = compared_plumb(surveyed(LaidRing(N), 1), surveyed(LaidRing(N, deviation_mm=down), 2))
    (crown,) = (s for s in found.sentences if s.startswith("The crown has dropped"))
    assert crown.endswith(" against the mean level of the springings.")


def test_a_springing_pushed_out_and_sunk_is_told() -> None:
    a = with_datums(surveyed(LaidRing(N), 1))
    b = surveyed(LaidRing(N), 2)
    xy = b.points.xy_mm.copy()
    xy[-1] += [8.0, -5.0]
    b = with_datums(replace(b, points=replace(b.points, xy_mm=xy)))
    found = compared(a, b)
    assert found.spread_mm.value == pytest.approx(8.0, abs=3.0)
    assert found.settlement_mm.value == pytest.approx(5.0, abs=3.0)
    text = " ".join(found.sentences)
    assert "further apart than before" in text
    assert "The right springing has sunk" in text


def test_a_disturbed_datum_is_left_out_and_named() -> None:
    pushed = DATUMS.copy()
    pushed[2] += [12.0, 5.0]
    a, b = with_datums(surveyed(LaidRing(N), 1)), with_datums(surveyed(LaidRing(N), 2), pushed)
    found = compared(a, b)
    assert found.tie.names == ("D1", "D2", "D4")
    assert "D3 was left out" in found.sentences[0]
    assert not any(c.moved for c in found.courses)


def test_three_datums_that_disagree_are_kept_and_doubted() -> None:
    pushed = DATUMS[:3].copy()
    pushed[2] += [12.0, 5.0]
    found = compared(
        with_datums(surveyed(LaidRing(N), 1), DATUMS[:3]), with_datums(surveyed(LaidRing(N), 2), pushed)
    )
    assert found.tie.names == ("D1", "D2", "D3")
    assert "one of them may have been disturbed" in found.sentences[0]


def test_without_datums_the_springings_tie() -> None:
    found = compared_plumb(surveyed(LaidRing(N), 5), surveyed(LaidRing(N, deviation_mm={26: -9.0}), 6))
    assert found.tie.by is Tie.SPRINGINGS
    assert "what both springings did together cannot be seen" in found.sentences[0]
    assert [c.course for c in found.courses if c.moved] == [26]
    assert any(s.startswith("Course 26 of ring 1 moved") for s in found.sentences)
    assert abs(found.settlement_mm.value) < 2.6 * found.settlement_mm.sigma


def test_neither_datums_nor_springings_in_common_is_refused() -> None:
    a = record_of(SHAPE, [LaidRing(N)], springings=False)
    with pytest.raises(FitError, match="neither two datum points of the same name nor both springings"):
        compared(a, surveyed(LaidRing(N), 1))


def test_one_misread_edge_is_named_and_is_no_movement() -> None:
    a, b = with_datums(surveyed(LaidRing(N), 1)), surveyed(LaidRing(N), 2)
    xy = b.points.xy_mm.copy()
    xy[38] *= 1.02
    found = compared(a, with_datums(replace(b, points=replace(b.points, xy_mm=xy))))
    assert [c.course for c in found.courses if c.misread] == [20]
    assert not any(c.moved for c in found.courses)
    assert "The edges of course 20 of ring 1 moved too differently" in found.sentences[-1]


def test_only_courses_read_in_both_are_compared() -> None:
    a = with_datums(surveyed(LaidRing(N, surveyed=range(1, 41)), 1))
    b = with_datums(surveyed(LaidRing(N, surveyed=range(20, N + 1), recorded=N), 2))
    found = compared(a, b)
    assert [c.course for c in found.courses] == list(range(20, 41))
    edges = with_datums(surveyed(LaidRing(N, edges=(Edge.MID,)), 3))
    nothing = compared(with_datums(surveyed(LaidRing(N, edges=(Edge.LEFT,)), 1)), edges)
    assert nothing.courses == ()
    assert np.isnan(nothing.crown_drop_mm.value)


def test_without_springings_in_one_survey_their_movement_is_not_known() -> None:
    a = with_datums(record_of(SHAPE, [LaidRing(N)], springings=False))
    found = compared(a, with_datums(surveyed(LaidRing(N), 1)))
    assert np.isnan(found.spread_mm.value)
    assert np.isnan(found.settlement_mm.value)


def test_the_tie_lends_its_uncertainty_far_from_its_points() -> None:
    near = DATUMS[:2] * [0.1, 1.0]
    a, b = with_datums(surveyed(LaidRing(N), 1), near), with_datums(surveyed(LaidRing(N), 2), near)
    loose, firm = (
        compared(a, b),
        compared(with_datums(surveyed(LaidRing(N), 1)), with_datums(surveyed(LaidRing(N), 2))),
    )
    crown, springing = loose.courses[25], loose.courses[0]
    assert springing.along_mm.sigma > 2 * crown.outwards_mm.sigma
    assert crown.along_mm.sigma > 2 * firm.courses[25].along_mm.sigma


def test_movement_by_noise_alone_is_claimed_in_few_arches() -> None:
    claimed = 0
    for seed in range(40):
        a = with_datums(surveyed(LaidRing(N), 2 * seed))
        claimed += any(c.moved for c in compared(a, with_datums(surveyed(LaidRing(N), 2 * seed + 1))).courses)
    # One in twenty is expected; 40 arches give more than 6 once in a thousand times.
    assert claimed <= 6


@pytest.mark.parametrize(("drop", "n_courses"), [(-80.0, 1), (80.0, 1), (-80.0, 2)])
def test_a_loose_course_at_the_crown_is_no_drop_of_the_crown(drop: float, n_courses: int) -> None:
    loose = dict.fromkeys(range(26, 26 + n_courses), drop)
    found = compared(
        with_datums(surveyed(LaidRing(N), 1)), with_datums(surveyed(LaidRing(N, deviation_mm=loose), 2))
    )
    assert abs(found.crown_drop_mm.value) < 1.5
    assert not any("The crown" in s for s in found.sentences)
    assert any(s.startswith("Course") and "26" in s and "moved" in s for s in found.sentences)


def test_a_crown_that_came_down_as_a_whole_is_told_to_its_full_size() -> None:
    down = dict.fromkeys(range(19, 34), -6.0) | {26: -60.0}
    found = compared(
        with_datums(surveyed(LaidRing(N), 1)), with_datums(surveyed(LaidRing(N, deviation_mm=down), 2))
    )
    # Along the normals, which lean by up to 18 degrees within a tenth of the arch.
    assert found.crown_drop_mm.value == pytest.approx(6.0, abs=0.6)
    assert any(s.startswith("The crown has dropped") for s in found.sentences)


def test_the_uncertainty_of_the_crown_holds() -> None:
    """Without movement its value over its uncertainty scatters by about one."""
    scores = []
    for seed in range(24):
        a = with_datums(surveyed(LaidRing(N), 2 * seed), sigma_mm=0.01)
        found = compared(a, with_datums(surveyed(LaidRing(N), 2 * seed + 1), sigma_mm=0.01))
        scores.append(found.crown_drop_mm.value / found.crown_drop_mm.sigma)
    # Of 24 values the root mean square is known to 15 %.
    assert 0.6 < float(np.sqrt(np.mean(np.square(scores)))) < 1.4


def other_arch(shape: ArchShape, n_courses: int) -> tuple[Record, ArchFit]:
    record = record_of(shape, [LaidRing(n_courses, recorded=n_courses)], noise_seed=9, sigma_mm=0.5)
    return record, fit_of(record, shape)


@pytest.mark.parametrize(
    ("shape", "n_courses", "said"),
    [
        (semicircular(1250.0), 51, "the clear span was 2000 mm in the earlier survey and is 2500 mm"),
        (segmental(2000.0, 700.0), 51, "the rise was 1000 mm in the earlier survey and is 700 mm"),
        (SHAPE, 43, "ring 1 has 51 courses in the earlier survey and 43 in the later one"),
    ],
)
def test_another_arch_is_refused(shape: ArchShape, n_courses: int, said: str) -> None:
    a = surveyed(LaidRing(N, recorded=N), 1)
    with pytest.raises(FitError, match=rf"not of one arch.*{said}") as refused:
        compare_records(a, fit_of(a, SHAPE), *other_arch(shape, n_courses))
    assert "measure its springings again" in str(refused.value)


@pytest.mark.parametrize(
    ("shape", "n_courses", "said"),
    [
        (semicircular(1050.0), 51, "The clear span was 2000 mm in the earlier survey and is 2100 mm"),
        (segmental(2000.0, 880.0), 51, "The rise was 1000 mm in the earlier survey and is 880 mm"),
        (SHAPE, 50, "Ring 1 has 51 courses in the earlier survey and 50 in the later one"),
    ],
)
def test_a_change_hard_to_survive_is_asked_about_before_it_is_told(
    shape: ArchShape, n_courses: int, said: str
) -> None:
    a = surveyed(LaidRing(N, recorded=N), 1)
    found = compare_records(a, fit_of(a, SHAPE), *other_arch(shape, n_courses))
    assert found.sentences[0].startswith("Are these two surveys of the same arch?")
    assert said in found.doubts[0]
    assert said in found.sentences[0]
    assert "tied by the middle of their springings" in found.sentences[1]


def test_a_spread_an_arch_survives_is_told_without_a_doubt() -> None:
    a = surveyed(LaidRing(N, recorded=N), 1)
    found = compare_records(a, fit_of(a, SHAPE), *other_arch(semicircular(1015.0), N))
    assert found.doubts == ()
    assert any("further apart than before" in s for s in found.sentences)


def test_without_springings_the_fitted_spans_are_compared() -> None:
    a = with_datums(record_of(SHAPE, [LaidRing(N)], springings=False))
    shape = semicircular(1250.0)
    b = with_datums(record_of(shape, [LaidRing(N)], springings=False))
    with pytest.raises(FitError, match="the fitted span was 2000 mm in the earlier survey and is 2500 mm"):
        compare_records(a, fit_of(a, SHAPE), b, fit_of(b, shape))
    vague = fit_of(b, shape, sigma_mm=150.0)
    assert compare_records(a, fit_of(a, SHAPE), b, vague).doubts[:1] != (
        "The fitted span was 2000 mm in the earlier survey and is 2500 mm in the later one.",
    )


def test_datum_points_that_share_only_their_names_are_refused() -> None:
    a = with_datums(surveyed(LaidRing(N), 1), DATUMS[:2])
    b = with_datums(surveyed(LaidRing(N), 2), DATUMS[[0, 3]])
    with pytest.raises(FitError, match="D1, D2 have the same names in both surveys but stand"):
        compared(a, b)


def test_courses_numbered_from_elsewhere_are_asked_about() -> None:
    late = LaidRing(N, label={c: c + 1 for c in range(1, N + 1)}, surveyed=range(1, N), recorded=N)
    found = compared(with_datums(surveyed(LaidRing(N, recorded=N), 1)), with_datums(surveyed(late, 2)))
    assert "all lie about 1.0 of a course further left under the same numbers" in found.sentences[0]


def test_surveys_that_hardly_meet_are_asked_about() -> None:
    a = with_datums(surveyed(LaidRing(N, surveyed=range(1, 29), recorded=N), 1))
    b = with_datums(surveyed(LaidRing(N, surveyed=range(26, N + 1), recorded=N), 2))
    assert "Only 3 courses were read in both surveys, of 28 and 26." in compared(a, b).sentences[0]
    c = with_datums(surveyed(LaidRing(N, surveyed=range(28, N + 1), recorded=N), 2))
    assert "Only 1 course was read in both surveys, of 28 and 24." in compared(a, c).sentences[0]


def test_edges_that_fit_no_one_course_are_asked_about() -> None:
    a, b = with_datums(surveyed(LaidRing(N), 1)), surveyed(LaidRing(N), 2)
    xy = b.points.xy_mm.copy()
    xy[: 2 * N : 2] *= 1.02
    found = compared(a, with_datums(replace(b, points=replace(b.points, xy_mm=xy))))
    assert "too differently to be those of the same bricks" in found.sentences[0]
    assert found.sentences[-1].startswith("The edges of courses 1 to 51 of ring 1 moved too differently")


def test_the_command_refuses_two_arches_and_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    arches = [str(DATASETS / name) for name in ("loft_window", "cellar_doorway")]
    assert main(["compare", *arches, "--out", str(out)]) == 1
    assert "the two surveys are not of one arch" in capsys.readouterr().err
    assert not out.exists()
